"""Verifying a record that is well signed and false, or says what it must not say."""

import pytest

from daemon.seal import digest
from daemon.tampering import Kind
from daemon.verify import verify
from tests.daemon.records import PEM, Line, first, kinds, number_of, resealed

# A record that is well signed and false


def test_another_schedule_than_the_one_named(whole: bytes) -> None:
    def milder(body: list[Line]) -> None:
        body[0]["schedule"] = body[0]["schedule"].replace(
            "at most: 6 h", "at most: 9 h"
        )

    failure = first(resealed(whole, milder))
    assert (failure.kind, failure.line) == (Kind.SCHEDULE, 1)
    assert failure.words.startswith(
        "the schedule in the record is not the one whose digest it names: "
    )


def test_a_schedule_that_cannot_be_read(whole: bytes) -> None:
    def broken(body: list[Line]) -> None:
        text = body[0]["schedule"].replace("at most: 6 h", "at most: six")
        body[0] |= {"schedule": text, "schedule_sha256": digest(text.encode())}

    failure = first(resealed(whole, broken))
    assert (failure.kind, failure.line) == (Kind.SCHEDULE, 1)
    assert failure.words == (
        "line 35 of the schedule cannot be read: 'six' is not a length of time"
    )


def test_a_verdict_that_the_readings_do_not_give(on_hold: bytes) -> None:
    number = number_of(on_hold, "verdict", 2)

    def kinder(body: list[Line]) -> None:
        body[number - 1] |= {"verdict": "met", "standing": "met"}

    failures = verify(resealed(on_hold, kinder), PEM).failures
    assert [(one.kind, one.line) for one in failures] == [(Kind.VERDICTS, number)]
    assert failures[0].words.startswith(
        f"line {number} records limit 'cooling' as met: core-"
    )
    assert "; the readings give limit 'cooling' as missed: core-" in (failures[0].words)


def test_a_finding_that_the_readings_do_not_give(on_hold: bytes) -> None:
    number = number_of(on_hold, "finding", 0)

    def kinder(body: list[Line]) -> None:
        body[number - 1]["least"] = 1_000

    failures = verify(resealed(on_hold, kinder), PEM).failures
    assert [(one.kind, one.line) for one in failures] == [(Kind.FINDINGS, number)]
    assert failures[0].words.startswith(
        f"line {number} records of limit 'come-up', on core-1: met, least 1000 and "
    )


def test_a_measured_figure_that_the_readings_do_not_give(on_hold: bytes) -> None:
    number = number_of(on_hold, "finding", 1)

    def other(body: list[Line]) -> None:
        body[number - 1]["measured"] += 1

    failures = verify(resealed(on_hold, other), PEM).failures
    assert [(one.kind, one.line) for one in failures] == [(Kind.FINDINGS, number)]


def test_an_event_left_out(on_hold: bytes) -> None:
    def silent(body: list[Line]) -> None:
        gone = next(line for line in body if line.get("now") == "missed")
        body.remove(gone)
        body[-1]["counts"]["event"] -= 1

    failures = verify(resealed(on_hold, silent), PEM).failures
    assert [(one.kind, one.line) for one in failures] == [(Kind.EVENTS, 0)]
    assert failures[0].words.startswith("the readings give of limit 'smoke chamber'")
    assert failures[0].words.endswith(", and no line records it")


def test_an_event_made_up(on_hold: bytes) -> None:
    number = number_of(on_hold, "event", 5)

    def more(body: list[Line]) -> None:
        body.insert(number, {**body[number - 1], "now": "met", "at_ms": 1})
        body[-1]["counts"]["event"] += 1

    failures = verify(resealed(on_hold, more), PEM).failures
    assert [(one.kind, one.line) for one in failures] == [(Kind.EVENTS, number + 1)]
    assert failures[0].words.endswith(
        ": met at 1 ms, and the readings do not give that"
    )


def test_an_event_recorded_twice(on_hold: bytes) -> None:
    number = number_of(on_hold, "event", 5)

    def more(body: list[Line]) -> None:
        body.insert(number, body[number - 1])
        body[-1]["counts"]["event"] += 1

    failures = verify(resealed(on_hold, more), PEM).failures
    assert [(one.kind, one.line) for one in failures] == [(Kind.EVENTS, number + 1)]


def test_stage_times_that_the_readings_do_not_give(on_hold: bytes) -> None:
    number = number_of(on_hold, "stage", 1)

    def longer(body: list[Line]) -> None:
        body[number - 1]["to_ms"] += 1

    failures = verify(resealed(on_hold, longer), PEM).failures
    assert [(one.kind, one.line) for one in failures] == [(Kind.STAGES, number)]


def test_a_closing_that_releases_the_lot(on_hold: bytes) -> None:
    def release(body: list[Line]) -> None:
        body[-1]["on_hold"] = False

    failures = verify(resealed(on_hold, release), PEM).failures
    assert [one.kind for one in failures] == [Kind.VERDICTS]
    assert failures[0].line == number_of(on_hold, "closing")


def test_readings_changed_by_whoever_holds_the_key_show_in_the_verdicts(
    on_hold: bytes,
) -> None:
    def colder(body: list[Line]) -> None:
        for line in body:
            if line["kind"] == "readings" and line["channel"] == "core-1":
                line["rows"] = [[at, c - 30_000, u] for at, c, u in line["rows"]]

    found = kinds(verify(resealed(on_hold, colder), PEM))
    assert {Kind.EVENTS, Kind.FINDINGS, Kind.VERDICTS} <= set(found)


def test_another_program_version_is_said_where_figures_differ(on_hold: bytes) -> None:
    def older(body: list[Line]) -> None:
        body[0]["program"] = "fumarium 0.0.9"
        body[-1]["on_hold"] = False

    (failure,) = verify(resealed(on_hold, older), PEM).failures
    assert "; the record was made by fumarium 0.0.9, and this is fumarium" in (
        failure.words
    )


# A line that does not say what its kind must say


@pytest.mark.parametrize(
    ("kind", "change", "words"),
    [
        ("readings", {"rows": [[1, 2]]}, "readings: rows.0.2: Field required"),
        ("readings", {"rows": [[1, 2, True]]}, "readings: rows.0.2: Input should be"),
        ("entry", {"entry": "shout"}, "entry: entry: Input should be 'begin', "),
        ("entry", {"extra": 1}, "entry: extra: Extra inputs are not permitted"),
        ("finding", {"measured": "1"}, "finding: measured: two whole numbers"),
        ("verdict", {"critical": 1}, "verdict: critical: Input should be a valid bool"),
        ("closing", {"cautions": 3}, "closing: cautions: Input should be a valid"),
        ("stage", {"kind": "opening"}, "opening stands after event"),
        ("stage", {"kind": "weather"}, "'weather' is no kind of line"),
    ],
)
def test_a_line_of_the_wrong_form(
    whole: bytes, kind: str, change: Line, words: str
) -> None:
    number = number_of(whole, kind)

    def misshape(body: list[Line]) -> None:
        body[number - 1] |= change
        body[-1]["counts"] = count(body)

    failure = first(resealed(whole, misshape))
    assert failure.kind is Kind.FORM
    assert failure.line == number
    assert failure.words.startswith(f"line {number}: {words}")


def count(body: list[Line]) -> dict[str, int]:
    kinds = [line["kind"] for line in body]
    return {kind: kinds.count(kind) for kind in kinds}
