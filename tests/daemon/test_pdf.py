"""The record on paper: judged by poppler, qpdf and openssl, not by our own reader."""

import io
import random
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import NamedTuple
from zoneinfo import ZoneInfo

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

from daemon import pdf, record, sheet
from daemon.dossier import Dossier
from daemon.keys import DeviceKey
from daemon.seal import digest
from daemon.signature import certificates, inspect, opened, sign
from daemon.tampering import Failure, Kind
from daemon.verify import verify
from rules.facts import Entry, EntryKind
from tests.daemon import invented

KEY = DeviceKey(ec.derive_private_key(0xF0_0D, ec.SECP256R1()))
OTHER = DeviceKey(ec.derive_private_key(0xBAD, ec.SECP256R1()))
PEM = KEY.public().pem()
CHICAGO = ZoneInfo("America/Chicago")


class Made(NamedTuple):
    """A dossier, its record and its document."""

    dossier: Dossier
    record: bytes
    document: bytes


def tool(name: str, package: str) -> str:
    found = shutil.which(name)
    assert found, f"{name} is missing; install it: apt-get install {package}"
    return found


def run(*command: str | Path, folder: Path) -> str:
    done = subprocess.run(
        [*map(str, command)], cwd=folder, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr


def fonts() -> Path:
    assert (sheet.DEJAVU / "DejaVuSans.ttf").is_file(), (
        "DejaVu Sans is missing; install it: apt-get install fonts-dejavu-core"
    )
    return sheet.DEJAVU


def made(dossier: Dossier, zone: tzinfo = UTC, faces: Path | None = None) -> Made:
    octets = record.write(dossier, KEY)
    document = pdf.write(dossier, octets, KEY, zone, faces or fonts())
    return Made(dossier, octets, document)


@pytest.fixture(scope="module")
def on_hold(tmp_path_factory: pytest.TempPathFactory) -> Made:
    folder = tmp_path_factory.mktemp("yard")
    return made(invented.dossier(folder, invented.BAD), CHICAGO)


@pytest.fixture(scope="module")
def met(tmp_path_factory: pytest.TempPathFactory) -> Made:
    folder = tmp_path_factory.mktemp("yard")
    return made(invented.dossier(folder, invented.GOOD))


def text_of(document: bytes, folder: Path) -> str:
    tool("pdftotext", "poppler-utils")
    (folder / "lot.pdf").write_bytes(document)
    run("pdftotext", "-layout", "lot.pdf", "lot.txt", folder=folder)
    return " ".join((folder / "lot.txt").read_text().split())


# What public tools say


def test_pdfsig_says_valid_and_knows_the_device(tmp_path: Path, met: Made) -> None:
    tool("pdfsig", "poppler-utils")
    (tmp_path / "lot.pdf").write_bytes(met.document)
    said = run("pdfsig", "lot.pdf", folder=tmp_path)
    assert "Signature Validation: Signature is Valid." in said
    assert "Total document signed" in said
    assert f"CN=Fumarium device {KEY.public().thumbprint()}" in said
    assert "Signing Hash Algorithm: SHA-256" in said


def test_qpdf_finds_no_error(tmp_path: Path, met: Made) -> None:
    tool("qpdf", "qpdf")
    (tmp_path / "lot.pdf").write_bytes(met.document)
    said = run("qpdf", "--check", "lot.pdf", folder=tmp_path)
    assert "No syntax or stream encoding errors found" in said
    assert "PDF Version: 2.0" in said


def test_the_record_and_the_public_key_come_out_of_it(
    tmp_path: Path, met: Made
) -> None:
    tool("pdfdetach", "poppler-utils")
    (tmp_path / "lot.pdf").write_bytes(met.document)
    run("pdfdetach", "-saveall", "lot.pdf", folder=tmp_path)
    lot = met.dossier.cook.lot
    assert (tmp_path / f"{lot}.record.jsonl").read_bytes() == met.record
    assert (tmp_path / f"{lot}.public.pem").read_bytes() == PEM


def test_openssl_accepts_the_chain(tmp_path: Path) -> None:
    tool("openssl", "openssl")
    for name, der in zip(("root", "leaf"), certificates(KEY), strict=True):
        certificate = x509.load_der_x509_certificate(der)
        (tmp_path / f"{name}.pem").write_bytes(certificate.public_bytes(Encoding.PEM))
    said = run(
        *("openssl", "verify", "-x509_strict", "-CAfile", "root.pem", "leaf.pem"),
        folder=tmp_path,
    )
    assert said == "leaf.pem: OK\n"


def test_it_claims_to_be_kept_for_long_and_fits_letter_too(met: Made) -> None:
    """PDF/A-4f (ISO 19005-4, annex A: files may be attached)."""
    assert b"<pdfaid:part>4</pdfaid:part>" in met.document
    assert b"<pdfaid:conformance>F</pdfaid:conformance>" in met.document
    # Letter is 792 points high: A4 printed unscaled loses 25 above and below.
    assert sheet.MARGIN >= 25 + 18
    assert 595.28 - sheet.WIDTH - sheet.SIDE <= 612 - 18


def test_the_same_record_is_the_same_document(met: Made) -> None:
    """Nothing in it comes from chance, and no time from the machine."""
    assert made(met.dossier).document == met.document
    today = datetime.now(UTC)
    for form in ("%Y%m%d", "%Y-%m-%d"):
        assert f"{today:{form}}".encode() not in met.document
    signing_time = f"{today:%y%m%d}".encode().hex()  # inside the signature's digits
    assert signing_time.encode() not in met.document.lower()


# What stands on it


def test_a_lot_on_hold_says_so_first(tmp_path: Path, on_hold: Made) -> None:
    text = text_of(on_hold.document, tmp_path)
    head = text[: text.index("Limits")]
    assert "Lot 2026-01-10 N links" in head
    assert "ON HOLD CCP-3 cooling: MISSED." in head
    assert "if cooling is missed: hold the lot apart; ask a process authority." in head
    assert "All critical limits met" not in text


def test_a_lot_with_all_limits_met_leaves_the_release_to_a_person(
    tmp_path: Path, met: Made
) -> None:
    text = text_of(met.document, tmp_path)
    assert "All critical limits met by the readings" in text
    assert "Release is a person's decision." in text
    assert "ON HOLD" not in text
    assert "Review before shipment (9 CFR 417.5(c))" in text


def test_it_never_says_that_food_is_safe(
    tmp_path: Path, met: Made, on_hold: Made
) -> None:
    for one in (met, on_hold):
        assert "safe" not in text_of(one.document, tmp_path).lower()


def test_times_are_in_the_zone_that_was_asked_for(
    tmp_path: Path, on_hold: Made
) -> None:
    text = text_of(on_hold.document, tmp_path)
    assert "2026-01-09 23:00:00 (UTC-06:00)" in text
    assert "10 Jan 02:45" in text


def test_a_clock_that_is_put_forward_shows_in_the_times(tmp_path: Path) -> None:
    """The US spring change of 8 March 2026 lies 57 days after the invented cook."""
    shift_ms = 57 * 86_400_000
    told = invented.dossier(tmp_path, invented.BRIEF)
    cook = told.cook._replace(begun_ms=told.cook.begun_ms + shift_ms)
    stages = tuple(
        one._replace(from_ms=one.from_ms + shift_ms, to_ms=one.to_ms + shift_ms)
        for one in told.outcome.stages
    )
    end_ms = told.outcome.finished_ms + shift_ms
    outcome = told.outcome._replace(stages=stages, finished_ms=end_ms)
    moved = replace(told, cook=cook, outcome=outcome, readings=(), events=())
    text = text_of(made(moved, CHICAGO).document, tmp_path)
    assert "2026-03-07 23:00:00 (UTC-06:00)" in text
    assert "smoke 23:45 08 Mar 03:45 3h" in text  # two o'clock never came
    assert "chill 08 Mar 05:30 08 Mar 07:45 2 h 15 min" in text
    assert "-0500" in text


def test_measured_and_both_bounds_stand_side_by_side(
    tmp_path: Path, on_hold: Made
) -> None:
    text = text_of(on_hold.document, tmp_path)
    assert "core-2 6h 4 h 20 min 4 h 25 min 3 h 58 min met" in text


def test_lethality_never_stands_alone(tmp_path: Path, met: Made) -> None:
    assert "surface: no humidity evidence" in text_of(met.document, tmp_path)


def test_entries_show_both_times_and_late_ones_are_called_late(
    tmp_path: Path, on_hold: Made
) -> None:
    text = text_of(on_hold.document, tmp_path)
    assert "Fire rekindled, damper opened" in text
    assert re.search(r"02:34,? 38.{0,120}min later", text)
    assert "No corrective action is written down for: cooling." in text


def test_alerts_say_who_was_told_and_who_answered(
    tmp_path: Path, on_hold: Made
) -> None:
    text = text_of(on_hold.document, tmp_path)
    assert "operator: 3 times, first 10 Jan 01:37" in text
    assert "(timed out)" in text
    assert "10 Jan 01:56 R. T." in text


def test_probes_show_accuracy_coverage_and_the_longest_hole(
    tmp_path: Path, on_hold: Made
) -> None:
    text = text_of(on_hold.document, tmp_path)
    assert "core-2 core 28-0316a2795e2d ± 0.5 K 1 min 718 97.9 % 15 min 0" in text
    assert "Messages refused: 2." in text


def test_every_page_says_lot_record_and_number(tmp_path: Path, on_hold: Made) -> None:
    text = text_of(on_hold.document, tmp_path)
    foot = f"record {digest(on_hold.record)[:16]}"
    assert text.count(foot) == 4
    assert [f"page {number} of 4" in text for number in (1, 2, 3, 4)] == [True] * 4


def test_it_says_how_to_verify_it(tmp_path: Path, met: Made) -> None:
    text = text_of(met.document, tmp_path)
    assert KEY.public().thumbprint() in text.replace(" ", "")
    assert "openssl dgst -sha256 -verify" in text


# Text of any kind


STRANGE = [
    "4 °C \N{EN DASH} 60 °C, ½ h, ±0.5 K — “quoted” \N{LEFT SINGLE QUOTATION MARK}so",
    "日本語のメモ、温度計を交換した",
    "חוט הבדיקה נותק",
    "تم استبدال المجس ٤٥ دقيقة",
    "🔥🧯 fire 👩‍🍳",
    "zero\u200bwidth, soft\u00adhyphen, a\u0301 b\u0308",
    "tab\there\nand\r\na new line\x00\x07",
    "x" * 700,
    "\ufeff\u202eright to left override\u202c",
    "**bold** __under__ --struck-- {nb} $HOME <b>&amp;",
    "",
]


@pytest.mark.parametrize("faces", ["installed", "none"])
def test_text_in_any_script_can_be_written(tmp_path: Path, faces: str) -> None:
    told = invented.dossier(tmp_path, invented.BRIEF)
    entries = tuple(
        Entry(EntryKind.NOTE, invented.at(n), invented.at(n), words, words, words)
        for n, words in enumerate(STRANGE)
    )
    site = "Räucherei “Wacholder” 燻製"
    strange = replace(told, entries=entries, site=site)
    where = fonts() if faces == "installed" else tmp_path
    found = made(strange, faces=where)
    assert verify_signature(found.document) == []
    text = text_of(found.document, tmp_path)
    assert "4 °C" in text
    assert "½ h" in text
    assert "**bold** __under__" in text
    mark = "□" if faces == "installed" else "?"
    assert f"{mark} stands for a character that this document's font lacks" in text


def test_without_the_font_it_is_an_honest_plain_pdf(tmp_path: Path, met: Made) -> None:
    plain = made(met.dossier, faces=tmp_path)
    assert b"pdfaid" not in plain.document
    assert verify(plain.document, PEM).good
    assert "All critical limits met by the readings" in text_of(
        plain.document, tmp_path
    )


def test_a_day_with_a_thousand_events_stays_readable(tmp_path: Path) -> None:
    told = invented.dossier(tmp_path, invented.BRIEF)
    one = next(each for each in told.events if each.event.now == "missed")
    many = tuple(
        one._replace(event=one.event._replace(at_ms=invented.at(n % 400)))
        for n in range(1000)
    )
    found = made(replace(told, events=many))
    text = text_of(found.document, tmp_path)
    assert "920 more events are in the attached record." in text


# Tampering


def verify_signature(document: bytes) -> list[Failure]:
    return inspect(document, KEY.public())


def the_failure(document: bytes) -> tuple[Kind, str]:
    report = verify(document, PEM)
    assert not report.good
    return report.failures[0].kind, report.failures[0].words


def test_a_document_is_verified_with_the_record_in_it(met: Made) -> None:
    report = verify(met.document, PEM)
    assert report.good
    assert report.lot == "2026-01-10 N links"


def test_something_added_after_signing(met: Made) -> None:
    writer = IncrementalPdfFileWriter(io.BytesIO(met.document))
    writer.root["/Lang"] = writer.root["/Lang"]
    writer.update_root()  # type: ignore[no-untyped-call]
    longer = io.BytesIO()
    writer.write(longer)  # type: ignore[no-untyped-call]
    assert the_failure(longer.getvalue()) == (
        Kind.PDF,
        "the PDF: something was added to it after it was signed",
    )


def test_a_document_that_was_never_signed(met: Made) -> None:
    bare = pdf.unsigned(met.dossier, met.record, KEY)
    assert the_failure(bare) == (
        Kind.PDF,
        "the PDF: it has 0 signatures, and one is wanted",
    )


def test_another_key_signed_it(met: Made) -> None:
    bare = pdf.unsigned(met.dossier, met.record, KEY)
    forged = sign(bare, OTHER, 1_768_000_000_000)
    assert the_failure(forged) == (
        Kind.OTHER_KEY,
        "the PDF: another key signed it: Common Name: Fumarium device "
        f"{OTHER.public().thumbprint()}",
    )


def test_the_record_inside_was_exchanged(met: Made) -> None:
    """Well signed as a document, around a record that was touched."""
    touched = met.record.replace(b"Juniper", b"juniper", 1)
    document = sign(pdf.unsigned(met.dossier, touched, KEY), KEY, 1_768_000_000_000)
    kind, words = the_failure(document)
    assert kind is Kind.CHANGED
    assert words.startswith("line 1 (opening, ")


def test_no_record_inside(met: Made) -> None:
    hidden = met.document.replace(b".record.jsonl", b".rekord.jsonl")
    octets, failures = opened(hidden, KEY.public())
    assert octets == b""
    assert failures[-1].words == (
        "the PDF: it has 0 records attached, and one is wanted"
    )
    assert verify(hidden, PEM).failures == failures


@pytest.mark.parametrize("octets", [b"%PDF-", b"%PDF-1.7\n%%EOF", b"%PDF-2.0" * 99])
def test_what_only_begins_like_a_pdf(octets: bytes) -> None:
    kind, words = the_failure(octets)
    assert kind is Kind.PDF
    assert words.startswith("the PDF: it cannot be read as a signed PDF: ")


def test_one_byte_changed_anywhere_in_it_is_found(met: Made) -> None:
    """Also in the signature's own place, which no signature can cover."""
    chance = random.Random(417)
    document = met.document
    begins = document.index(b"/Contents <") + 10
    ends = document.index(b">", begins) + 1
    places = [begins, ends - 1, *chance.sample(range(begins, ends), 60)]
    places += chance.sample(range(len(document)), 60)
    for place in places:
        touched = bytearray(document)
        touched[place] ^= 1 << chance.randrange(8)
        assert verify_signature(bytes(touched)), place
