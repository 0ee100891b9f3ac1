"""Outbox and sender together: an alert counts as sent when it has arrived."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.journal import Cook, Journal
from daemon.outbox import Outbox
from daemon.sender import Sender
from rules.alerts import AlertRule, Outcome
from rules.facts import Event, Subject
from tests.receivers import HttpReceiver, SmtpReceiver

START_MS = 1_767_225_600_000  # 2026-01-01T00:00:00Z
RULES = [AlertRule("operator", frozenset({"missed"}), 600_000, 1_200_000, "backup")]
EVENT = Event(
    START_MS, Subject.LIMIT, "come-up", "core-1", "at risk", "missed", "core-1 is late."
)
LONG_S = 60.0


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    journal = Journal(tmp_path / "journal.db")
    journal.begin(Cook("J-12", "north", "", "", (), START_MS, "operator"), START_MS)
    journal.add_events("J-12", [EVENT], START_MS, START_MS)
    yield journal
    journal.close()


@pytest.fixture
def sender() -> Iterator[Sender]:
    sender = Sender()
    yield sender
    sender.close()


def turn(outbox: Outbox, sender: Sender, now_ms: int) -> list[tuple[str, Outcome, str]]:
    """What the road does once a second; waits until all that was due is answered."""
    due = outbox.due(now_ms)
    for notice in due:
        sender.offer(notice, outbox.address(notice))
    answers: list[tuple[str, Outcome, str]] = []
    while len(answers) < len(due):
        for notice, outcome, why in sender.finished(LONG_S):
            outbox.told(notice, outcome, now_ms, why)
            answers.append((notice.contact, outcome, why))
    return sorted(answers)


def test_it_is_tried_until_it_has_arrived_and_then_repeated(
    journal: Journal, sender: Sender
) -> None:
    with HttpReceiver(status=500) as http, SmtpReceiver() as smtp:
        contacts = {"operator": http.address, "backup": smtp.address}
        outbox = Outbox(journal, contacts)
        outbox.collect(lambda lot: RULES, START_MS)

        failed = ("operator", Outcome.FAILED, "the server answered 500")
        assert turn(outbox, sender, START_MS) == [failed]
        assert turn(outbox, sender, START_MS + 9_999) == []
        http.stop()
        [(_, outcome, _)] = turn(outbox, sender, START_MS + 10_000)
        assert outcome is Outcome.FAILED
        http.status = 200
        http.start()
        sent = [("operator", Outcome.SENT, "")]
        assert turn(outbox, sender, START_MS + 30_000) == sent
        [arrived] = http.arrived
        assert arrived.title == "come-up missed: lot J-12, smokehouse north"
        assert arrived.body == "core-1 is late.\nAlert 1. Not acknowledged."
        [alert] = outbox.open_alerts()
        outcomes = [attempt.outcome for attempt in alert.attempts]
        assert outcomes == [Outcome.FAILED, Outcome.FAILED, Outcome.SENT]

        # The second is called 20 min after the event was taken, by mail.
        assert turn(outbox, sender, START_MS + 1_200_000) == [
            ("backup", Outcome.SENT, ""),
            ("operator", Outcome.SENT, ""),
        ]
        [mail] = smtp.arrived
        assert mail.body.splitlines() == arrived.body.splitlines()
        assert len(http.arrived) == 2


def test_a_contact_that_the_settings_do_not_have_is_a_failure_in_words(
    journal: Journal, sender: Sender
) -> None:
    outbox = Outbox(journal, {})
    outbox.collect(lambda lot: RULES, START_MS)
    why = "the settings have no contact operator"
    assert turn(outbox, sender, START_MS) == [("operator", Outcome.NO_MATCH, why)]
    [alert] = outbox.open_alerts()
    assert [(one.outcome, one.why) for one in alert.attempts] == [
        (Outcome.NO_MATCH, why)
    ]
