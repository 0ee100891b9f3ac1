"""Verifying: each way to tamper has its own name, its own words and its own test."""

import base64
import json
import random
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from daemon.canonical import encode
from daemon.keys import DeviceKeyError, header
from daemon.seal import BY_OPENSSL, digest, seal
from daemon.tampering import Failure, Kind
from daemon.verify import verify
from tests.daemon.records import (
    KEY,
    OTHER,
    PEM,
    Line,
    edited,
    first,
    kinds,
    number_of,
    resealed,
    rows,
)

# Nothing wrong


def test_a_good_record(whole: bytes) -> None:
    report = verify(whole, PEM)
    assert report.failures == ()
    assert report.good
    assert report.lot == "2026-01-10 N links"
    assert report.summary == (
        "the record of lot 2026-01-10 N links is as it was signed, and its 129 "
        "readings give the verdicts in it: every critical limit is met; release is "
        "a person's decision; beside lethality, of the surface: no humidity evidence"
    )


def test_a_record_of_a_lot_on_hold_is_a_good_record(on_hold: bytes) -> None:
    report = verify(on_hold, PEM)
    assert report.good
    assert (
        "give the verdicts in it: the lot is on hold; beside lethality, "
        "of the surface: no humidity evidence"
    ) in report.summary


# Not a record


@pytest.mark.parametrize(
    "octets", [b"", b"\n", b"{}", b"{}\n{}\n", b"hello\n", b"\x00" * 64, b"[" * 9999]
)
def test_something_else_altogether(octets: bytes) -> None:
    assert first(octets) == Failure(
        Kind.NOT_A_RECORD, 0, "no line of it has the form of a record's line"
    )
    assert len(verify(octets, PEM).failures) == 1


def test_another_kind_of_signed_lines() -> None:
    octets = seal([{"kind": "opening", "form": "shopping list"}, {"kind": "x"}], KEY)
    assert kinds(verify(octets, PEM))[0] is Kind.CUT_SHORT
    octets = seal(
        [
            {"kind": "opening", "form": "shopping list"},
            {"kind": "closing", "counts": {"opening": 1, "closing": 1}},
        ],
        KEY,
    )
    assert first(octets) == Failure(
        Kind.NOT_A_RECORD,
        1,
        "its first line does not say that it is a fumarium record",
    )


def test_an_edition_from_the_future(whole: bytes) -> None:
    def newer(body: list[Line]) -> None:
        body[0] |= {"edition": 2, "program": "fumarium 9.9"}

    assert first(resealed(whole, newer)) == Failure(
        Kind.EDITION,
        1,
        "the record is of edition 2, and this program reads edition 1; verify it "
        "with fumarium 9.9",
    )


def test_a_public_key_of_another_kind_is_no_finding() -> None:
    with pytest.raises(DeviceKeyError):
        verify(b"{}", b"no key")


# A changed line


@pytest.mark.parametrize(
    ("kind", "member", "value", "called"),
    [
        ("opening", "site", "Elsewhere", "opening, 2026-01-10 05:00:00Z"),
        ("readings", "rows", [], "readings, of chamber"),
        ("entry", "text", "all was well", "entry, 2026-01-10 05:00:00Z)"),
        ("event", "now", "met", "event, of chamber, 2026-01-10 05:00:00Z to "),
        ("finding", "least", 1, "finding, of core-1, "),
        ("verdict", "verdict", "unproven", "verdict, of core-1, "),
        ("closing", "on_hold", False, "closing, "),
    ],
)
def test_a_changed_line_is_named(
    on_hold: bytes, kind: str, member: str, value: object, called: str
) -> None:
    number = number_of(on_hold, kind)
    octets = edited(on_hold, number, lambda line: line.update({member: value}))
    if octets == on_hold:
        pytest.fail("nothing was changed")
    failure = first(octets)
    assert (failure.kind, failure.line) == (Kind.CHANGED, number)
    assert failure.words.startswith(f"line {number} ({called}")
    why = (
        "it is not the line that was signed"
        if kind == "closing"
        else "the line after it holds another digest"
    )
    assert failure.words.endswith(f"was changed: {why}")
    assert Kind.SIGNATURE in kinds(verify(octets, PEM))


def test_which_readings_were_changed(whole: bytes) -> None:
    number = number_of(whole, "readings", 1)
    octets = edited(whole, number, lambda line: line["rows"][3].__setitem__(1, 99_000))
    assert first(octets).words == (
        f"line {number} (readings, of core-1, 2026-01-10 05:00:00Z to 2026-01-10 "
        "12:45:00Z) was changed: the line after it holds another digest"
    )


def test_two_changed_lines_are_both_named(whole: bytes) -> None:
    octets = edited(whole, 1, lambda line: line.update(site="Elsewhere"))
    octets = edited(octets, 4, lambda line: line.update(rows=[]))
    found = [(one.kind, one.line) for one in verify(octets, PEM).failures]
    assert found[:2] == [(Kind.CHANGED, 1), (Kind.CHANGED, 4)]


def test_a_change_with_the_chain_put_right_breaks_the_signature(whole: bytes) -> None:
    def quietly(body: list[Line]) -> None:
        body[0]["site"] = "Elsewhere"

    forged = rows(resealed(whole, quietly, OTHER))[:-1] + rows(whole)[-1:]
    report = verify(b"".join(forged), PEM)
    assert kinds(report) == [Kind.CHANGED, Kind.SIGNATURE]
    assert report.failures[0].words.endswith("it is not the line that was signed")


def test_another_spelling_of_the_same_line(whole: bytes) -> None:
    lines = rows(whole)
    lines[2] = lines[2].replace(b'"kind":', b'"kind": ')
    failure = first(b"".join(lines))
    assert (failure.kind, failure.line) == (Kind.NOT_CANONICAL, 3)
    assert "was changed, it is no line of a record" in failure.words


# Lines missing, added, out of order


def test_every_line_that_is_missing_is_named(whole: bytes) -> None:
    lines = rows(whole)
    for number in range(1, len(lines)):
        octets = b"".join(lines[: number - 1] + lines[number:])
        report = verify(octets, PEM)
        missing = Failure(
            Kind.MISSING,
            number,
            f"line {number} is missing, of {len(lines) - 1} lines",
        )
        assert report.failures[0] == missing
        other = {Kind.COUNTS, Kind.CUT_SHORT} & set(kinds(report))
        assert other == {Kind.CUT_SHORT if number == len(lines) - 1 else Kind.COUNTS}


def test_a_run_of_lines_that_is_missing(whole: bytes) -> None:
    lines = rows(whole)
    octets = b"".join(lines[:3] + lines[6:])
    assert first(octets).words == (
        f"lines 4 to 6 are missing, of {len(lines) - 1} lines"
    )


def test_every_line_that_stands_twice_is_named(whole: bytes) -> None:
    lines = rows(whole)
    for number in range(1, len(lines)):
        octets = b"".join(lines[:number] + lines[number - 1 :])
        failure = first(octets)
        assert (failure.kind, failure.line) == (Kind.ADDED, number + 1)
        assert f"stands twice: line {number} has its number {number}" in failure.words


def test_every_swap_of_two_lines_is_named(whole: bytes) -> None:
    lines = rows(whole)
    for number in range(1, len(lines) - 1):
        pair = [lines[number], lines[number - 1]]
        octets = b"".join(lines[: number - 1] + pair + lines[number + 1 :])
        failure = first(octets)
        assert (failure.kind, failure.line) == (Kind.ORDER, number + 1)
        assert failure.words.endswith(
            f"is line {number} and stands after line {number + 1}"
        )


def test_a_line_that_was_put_in(whole: bytes) -> None:
    lines = rows(whole)
    forged: Any = json.loads(lines[4])
    forged["rows"] = []
    octets = b"".join([*lines[:5], encode(forged) + b"\n", *lines[5:]])
    failure = first(octets)
    assert (failure.kind, failure.line) == (Kind.ADDED, 6)
    assert failure.words.endswith("added: line 5 has its number 5")


# A missing tail


def test_cut_off_anywhere(whole: bytes) -> None:
    lines = rows(whole)
    for number in range(1, len(lines)):
        report = verify(b"".join(lines[:number]), PEM)
        last = number == len(lines) - 1
        assert Kind.NOT_SIGNED in kinds(report)
        assert (Kind.CUT_SHORT in kinds(report)) is not last


def test_the_words_for_a_record_without_its_end(whole: bytes) -> None:
    report = verify(b"".join(rows(whole)[:2]), PEM)
    assert [str(failure) for failure in report.failures] == [
        "not signed: the record is not signed: after its closing line a signature "
        "must stand",
        "cut short: the record ends with line 2 (readings, of chamber, 2026-01-10 "
        "05:00:00Z to 2026-01-10 12:45:00Z); its closing line is missing",
    ]


def test_counts_that_disagree(whole: bytes) -> None:
    def without_a_refusal(body: list[Line]) -> None:
        del body[number_of(whole, "refusal") - 1]

    octets = resealed(whole, without_a_refusal)
    assert verify(octets, PEM).failures == (
        Failure(
            Kind.COUNTS,
            len(rows(octets)) - 1,
            "the closing line counts 2 lines of refusal, and there are 1",
        ),
    )


# The signature


def signature_line(octets: bytes) -> int:
    return len(rows(octets))


def test_the_signature_itself_was_changed(whole: bytes) -> None:
    lines = rows(whole)
    text = lines[-1].decode()
    at = signature_line(whole)
    lines[-1] = (text[:-9] + ("A" if text[-9] != "A" else "B") + text[-8:]).encode()
    assert verify(b"".join(lines), PEM).failures == (
        Failure(
            Kind.SIGNATURE,
            at,
            "the signature does not verify, and yet it names the closing line as it "
            f"stands: line {at}, the signature, was changed, or another key made it",
        ),
    )


def test_the_header_of_the_signature_was_changed(whole: bytes) -> None:
    lines = rows(whole)
    _, _, text = lines[-1].partition(b"..")
    kid = KEY.public().thumbprint()
    other = header(kid, len(lines) - 1, digest(b"another line"))
    lines[-1] = other.encode() + b".." + text
    at = signature_line(whole)
    assert verify(b"".join(lines), PEM).failures == (
        Failure(
            Kind.SIGNATURE,
            at,
            f"line {at}, the signature, was changed: its header or its line end",
        ),
    )


@pytest.mark.parametrize("text", [b"x\n", b"..\n", b"e30..\n", b"{..}x\n", b"\xff\n"])
def test_no_form_of_a_signature(whole: bytes, text: bytes) -> None:
    octets = b"".join([*rows(whole)[:-1], text])
    at = signature_line(whole)
    assert verify(octets, PEM).failures == (
        Failure(
            Kind.SIGNATURE,
            at,
            f"line {at}, the signature, was changed: it is not header..signature",
        ),
    )


@pytest.mark.parametrize("end", [b"", b"\n\n", b"\r\n", b" \n", b"\nx"])
def test_the_end_of_the_file_is_signed_too(whole: bytes, end: bytes) -> None:
    assert not verify(whole.rstrip(b"\n") + end, PEM).good


def test_the_loose_bits_of_base64_are_not_loose(whole: bytes) -> None:
    """64 bytes take 86 characters, and four bits of the last one say nothing."""
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
    last = whole[-2:-1].decode()
    near = alphabet[alphabet.index(last) ^ 1]
    text = whole[:-2] + near.encode() + b"\n"
    padded = text[-87:-1] + b"=="
    assert base64.urlsafe_b64decode(padded) == base64.urlsafe_b64decode(
        whole[-87:-1] + b"=="
    )
    assert first(text).kind is Kind.SIGNATURE


def test_signed_by_another_key(whole: bytes) -> None:
    kid = OTHER.public().thumbprint()
    octets = resealed(whole, lambda body: body[0].update(key=kid), OTHER)
    mine = KEY.public().thumbprint()
    assert verify(octets, PEM).failures == (
        Failure(
            Kind.OTHER_KEY,
            signature_line(whole),
            f"the record was signed by the key {kid}, and the given key is {mine}",
        ),
    )
    assert verify(octets, OTHER.public().pem()).good


def test_an_opening_that_names_a_key_that_did_not_sign(whole: bytes) -> None:
    kid = OTHER.public().thumbprint()
    octets = resealed(whole, lambda body: body[0].update(key=kid))
    assert verify(octets, PEM).failures == (
        Failure(
            Kind.OTHER_KEY, 1, f"the opening names the key {kid}, which did not sign it"
        ),
    )


# One byte, anywhere


def flips(octets: bytes) -> list[tuple[int, int]]:
    """Places and new bytes: both ends of every line, and many chosen by chance."""
    chance = random.Random(20260110)
    ends = [match.start() for match in re.finditer(rb"\n", octets)]
    places = [0, *ends, *(end - 1 for end in ends), *(end + 1 for end in ends[:-1])]
    signature = octets.rindex(b"\n", 0, -1) + 1
    places += range(signature, len(octets))
    places += chance.choices(range(len(octets)), k=400)
    return [(place, octets[place] ^ (1 << chance.randrange(8))) for place in places] + [
        (place, ord("\n")) for place in places[::9] if octets[place] != ord("\n")
    ]


def test_one_byte_changed_anywhere_is_found_in_its_line(whole: bytes) -> None:
    for place, byte in flips(whole):
        octets = bytearray(whole)
        octets[place] = byte
        report = verify(bytes(octets), PEM)
        line = whole.count(b"\n", 0, place) + 1
        assert report.failures, place
        assert report.failures[0].line == line, (place, byte, report.failures)
        assert report.failures[0].kind in {
            *(Kind.CHANGED, Kind.NOT_CANONICAL, Kind.SIGNATURE)
        }, (place, byte, report.failures)


# Public tools


def tool(name: str) -> str:
    found = shutil.which(name)
    assert found, f"{name} is missing; install it: apt-get install {name}"
    return found


def by_openssl(folder: Path, octets: bytes) -> subprocess.CompletedProcess[str]:
    tool("openssl")
    (folder / "lot.record.jsonl").write_bytes(octets)
    (folder / "public.pem").write_bytes(PEM)
    arguments = ["lot.record.jsonl", "public.pem"]
    return subprocess.run(
        ["sh", "-c", BY_OPENSSL, "sh", *arguments],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )


def test_openssl_verifies_a_record(tmp_path: Path, whole: bytes) -> None:
    found = by_openssl(tmp_path, whole)
    assert (found.returncode, found.stdout) == (0, "Verified OK\n"), found.stderr


def test_openssl_finds_one_byte(tmp_path: Path, whole: bytes) -> None:
    found = by_openssl(tmp_path, whole.replace(b"Juniper", b"juniper", 1))
    assert found.returncode == 1
    assert found.stdout == "Verification failure\n"
