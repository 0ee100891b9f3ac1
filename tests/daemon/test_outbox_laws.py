"""Laws of daemon/outbox.py: stopping it anywhere changes nothing of who is told.

What happens is drawn: events of two limits and a channel, answers, sends that
succeed or fail, and time.  It is run once undisturbed and once with restarts.
"""

import tempfile
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from hypothesis import example, given
from hypothesis import strategies as st

from daemon.journal import Cook, Journal
from daemon.outbox import Alert, Outbox
from rules.alerts import AlertRule, AlertState, Notice, Outcome
from rules.facts import Entry, EntryKind, Event, Standing, Subject

START_MS = 1_767_225_600_000  # 2026-01-01T00:00:00Z
MIN_MS = 60_000
RULES = (
    AlertRule(
        "operator",
        frozenset({"at risk", "probe fault", "met", "stage"}),
        10 * MIN_MS,
        20 * MIN_MS,
        "backup",
    ),
    AlertRule("owner", frozenset({"deviation"}), 0),
    AlertRule("backup", frozenset({"missed"}), 5 * MIN_MS),
)
FEW_RULES = (AlertRule("operator", frozenset({"at risk"}), 10 * MIN_MS),)
SUBJECTS = {
    (Subject.LIMIT, "come-up"): [*Standing],
    (Subject.LIMIT, "cooling"): [*Standing],
    (Subject.CHANNEL, "core-1"): ["reporting", "quiet"],
    (Subject.CHANNEL, "core-2"): ["reporting", "quiet"],
    (Subject.STAGE, "smoke"): ["begun", "over"],
}


class Happens(NamedTuple):
    """One event."""

    lot: str
    subject: Subject
    name: str
    channel: str
    now: str


class Answers(NamedTuple):
    """Somebody acknowledges."""

    about: str


class Passes(NamedTuple):
    """Time goes by; then what is due is sent, with these outcomes in turn."""

    ms: int
    outcomes: tuple[Outcome, ...]


Step = Happens | Answers | Passes
Told = tuple[int, Notice, Outcome]  # when, what, and what became of it

happens = st.sampled_from(sorted(SUBJECTS)).flatmap(
    lambda subject: st.builds(
        Happens,
        st.sampled_from(["J-12", ""]),
        st.just(subject[0]),
        st.just(subject[1]),
        st.sampled_from(["core-1", "core-2"]),
        st.sampled_from(SUBJECTS[subject]).map(str),
    )
)
answers = st.builds(Answers, st.sampled_from(["all", "1", "2", "3"]))
passes = st.builds(
    Passes,
    st.sampled_from([0, 1_000, 10_000, 20_000, 5 * MIN_MS, 10 * MIN_MS]),
    st.lists(st.sampled_from(Outcome), min_size=1, max_size=3).map(tuple),
)
steps = st.lists(st.one_of(happens, answers, passes, passes), max_size=25)


def opened(path: Path) -> Journal:
    """The journal, without waiting for the disk: here programs end, not the power."""
    journal = Journal(path)
    journal.connection.execute("PRAGMA synchronous = OFF")
    return journal


class Run:
    """A journal and its outbox on the way through the steps."""

    def __init__(self, path: Path, rules: Sequence[AlertRule]) -> None:
        self.path, self.rules = path, rules
        self.now_ms = START_MS
        self.journal = opened(path)
        self.journal.begin(Cook("J-12", "north", "", "", (), START_MS, "op"), START_MS)
        self.was: dict[tuple[str, ...], str] = {}
        self.told: list[Told] = []
        self.outbox = Outbox(self.journal, {})

    def restart(self) -> None:
        self.journal.close()
        self.journal = opened(self.path)
        self.outbox = Outbox(self.journal, {})

    def happen(self, one: Happens) -> None:
        chain = (one.lot, one.subject, one.name, one.channel)
        was = self.was.get(chain, "")
        self.was[chain] = one.now
        event = Event(
            *(self.now_ms, one.subject, one.name, one.channel, was, one.now, "why"),
        )
        self.journal.add_events(one.lot, [event], self.now_ms, self.now_ms)

    def answer(self, one: Answers) -> None:
        entry = Entry(
            *(EntryKind.ACKNOWLEDGE, self.now_ms, self.now_ms, "op", "", one.about)
        )
        self.journal.add_entry("", entry)

    def collect(self) -> None:
        self.outbox.collect(lambda lot: self.rules, self.now_ms)

    def send(self, one: Passes, *, dies_before_noting: bool = False) -> None:
        """Send what is due; a crash may fall between sending and noting."""
        notices = self.outbox.due(self.now_ms)
        if dies_before_noting:
            self.told += [(self.now_ms, notice, Outcome.SENT) for notice in notices]
            self.restart()
            notices = self.outbox.due(self.now_ms)
        for place, notice in enumerate(notices):
            outcome = one.outcomes[place % len(one.outcomes)]
            self.outbox.told(notice, outcome, self.now_ms)
            self.told.append((self.now_ms, notice, outcome))


def run(
    drawn: Sequence[Step],
    *,
    rules: Sequence[AlertRule] = RULES,
    restarts: frozenset[int] = frozenset(),
    deaths: frozenset[int] = frozenset(),
) -> tuple[list[Told], list[Alert]]:
    """Who was told what, and the alerts at the end."""
    with tempfile.TemporaryDirectory() as folder:
        going = Run(Path(folder) / "journal.db", rules)
        for place, one in enumerate(drawn):
            going.now_ms += 1  # two events at one time would be one event
            match one:
                case Happens():
                    going.happen(one)
                case Answers():
                    going.answer(one)
                case Passes():
                    going.now_ms += one.ms
            if place in restarts:
                going.restart()
            going.collect()
            if place in restarts:
                going.restart()
            if isinstance(one, Passes):
                going.send(one, dies_before_noting=place in deaths)
        alerts: list[Alert] = [
            alert for lot in ("J-12", "") for alert in going.outbox.alerts(lot)
        ]
        going.journal.close()
    return going.told, alerts


places = st.frozensets(st.integers(min_value=0, max_value=24))


@given(steps, places, st.sampled_from([RULES, FEW_RULES]))
def test_a_restart_changes_nothing(
    drawn: list[Step], at: frozenset[int], rules: Sequence[AlertRule]
) -> None:
    assert run(drawn, rules=rules, restarts=at) == run(drawn, rules=rules)


@given(steps, places)
def test_a_death_before_noting_only_tells_twice(
    drawn: list[Step], at: frozenset[int]
) -> None:
    undisturbed, _ = run(drawn)
    disturbed, _ = run(drawn, deaths=at)
    extra = Counter(disturbed) - Counter(undisturbed)
    assert not Counter(undisturbed) - Counter(disturbed)
    noted = {(at_ms, notice) for at_ms, notice, _ in undisturbed}
    assert {(at_ms, notice) for at_ms, notice, _ in extra} <= noted


@given(steps)
@example([Happens("", Subject.CHANNEL, "core-1", "core-1", "quiet")])
def test_nothing_is_told_that_is_not_durable_and_nothing_open_is_forgotten(
    drawn: list[Step],
) -> None:
    """With sends that succeed, whatever still asks for an answer was told."""
    sends: Step = Passes(24 * 60 * MIN_MS, (Outcome.SENT,))
    told, alerts = run([*drawn, sends])
    sent = {notice.alert for _, notice, outcome in told if outcome is Outcome.SENT}
    for alert in alerts:
        state, number = alert.state, alert.number
        if state in (AlertState.UNACKNOWLEDGED, AlertState.RETURNED):
            assert number in sent
        assert bool(alert.attempts) == (
            number in {notice.alert for _, notice, _ in told}
        )


@given(steps)
def test_one_open_alert_for_one_thing(drawn: list[Step]) -> None:
    _, alerts = run(drawn)
    still_open = [
        (alert.lot, alert.subject, alert.name)
        for alert in alerts
        if alert.state is not AlertState.NORMAL
    ]
    assert len(still_open) == len(set(still_open))
