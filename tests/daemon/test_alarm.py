"""What people are told when the journal itself fails, and when it no longer does."""

from daemon.alarm import AGAIN_MS, FIRST_MS, RETRY_MS, Alarm
from rules.alerts import Outcome

WHY = "journal j.db: the disk is full; free some space"


def test_what_mends_itself_soon_is_told_to_nobody() -> None:
    alarm = Alarm(["operator"])
    alarm.failing(WHY, 1_000)
    assert alarm.due(1_000) == []
    assert alarm.well(FIRST_MS) == ""
    assert alarm.due(FIRST_MS * 10) == []


def test_a_lasting_failure_is_told_to_everybody_and_again_and_its_end_once() -> None:
    alarm = Alarm(["operator", "backup"])
    for now_ms in range(0, FIRST_MS, 1_000):
        alarm.failing(WHY, now_ms)
        assert alarm.due(now_ms) == []
    told = alarm.due(FIRST_MS)
    assert [(one.contact, one.title) for one in told] == [
        ("operator", "NOT RECORDING"),
        ("backup", "NOT RECORDING"),
    ]
    assert WHY in told[0].body
    assert alarm.due(FIRST_MS + 1) == []
    assert len(alarm.due(FIRST_MS + AGAIN_MS)) == 2
    words = alarm.well(FIRST_MS + AGAIN_MS + 100_000)
    assert words == f"nothing could be recorded for 12 min: {WHY}"
    over = alarm.due(FIRST_MS + AGAIN_MS + 100_000)
    assert [(one.contact, one.title) for one in over] == [
        ("operator", "Recording again"),
        ("backup", "Recording again"),
    ]
    assert words in over[0].body
    assert alarm.due(1 << 40) == []
    assert alarm.well(1 << 40) == ""


def test_a_contact_that_could_not_be_reached_is_tried_again_soon() -> None:
    alarm = Alarm(["operator"])
    alarm.failing(WHY, 0)
    [notice] = alarm.due(FIRST_MS)
    alarm.answered(notice, Outcome.FAILED, FIRST_MS + 500)
    assert alarm.due(FIRST_MS + RETRY_MS) == []
    [again] = alarm.due(FIRST_MS + 500 + RETRY_MS)
    alarm.answered(again, Outcome.SENT, FIRST_MS + 500 + RETRY_MS)
    assert alarm.due(FIRST_MS + 500 + 2 * RETRY_MS) == []
