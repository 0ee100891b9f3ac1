"""The outbox's tables on the journal's connection: alerts, and who was told.

Rule 1: every table but the cursor only grows; triggers hold that.  How an alert
stands is its newest signal's ``state``.
Rule 2: no address is ever written here, only the names of contacts.

``at_ms`` is what the clock said; ``steady_ms`` and ``first_ms`` are the outbox's
steady time, which never goes back.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

from daemon.journal import Journal
from daemon.journal_schema import in_words
from rules.alerts import (
    ACKNOWLEDGE,
    CALLING,
    CLEAR,
    NORMAL,
    NOTED,
    WORSE,
    AlertState,
    Notice,
    Outcome,
    Severity,
    Signal,
    Telling,
    Tried,
    Words,
)
from rules.facts import Subject

TABLES = (
    """CREATE TABLE IF NOT EXISTS alert (
    number INTEGER PRIMARY KEY,
    lot TEXT NOT NULL,
    subject TEXT NOT NULL,
    name TEXT NOT NULL,
    answer INTEGER NOT NULL  -- 1 asks for an answer, 0 is only worth knowing
) STRICT""",
    """CREATE TABLE IF NOT EXISTS alert_signal (
    number INTEGER PRIMARY KEY,
    alert INTEGER NOT NULL REFERENCES alert (number),
    signal TEXT NOT NULL,
    state TEXT NOT NULL,  -- of the alert, after it
    at_ms INTEGER NOT NULL,
    steady_ms INTEGER NOT NULL,
    event INTEGER NOT NULL,  -- 0 for an acknowledgement
    who TEXT NOT NULL,
    standing TEXT NOT NULL,
    severity INTEGER NOT NULL,
    title TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT""",
    """CREATE TABLE IF NOT EXISTS telling (
    number INTEGER PRIMARY KEY,
    alert INTEGER NOT NULL REFERENCES alert (number),
    signal INTEGER NOT NULL REFERENCES alert_signal (number),
    contact TEXT NOT NULL,
    first_ms INTEGER NOT NULL,
    again_ms INTEGER NOT NULL
) STRICT""",
    """CREATE TABLE IF NOT EXISTS attempt (
    number INTEGER PRIMARY KEY,
    alert INTEGER NOT NULL REFERENCES alert (number),
    telling INTEGER NOT NULL REFERENCES telling (number),
    contact TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    steady_ms INTEGER NOT NULL,
    outcome TEXT NOT NULL,
    why TEXT NOT NULL
) STRICT""",
    "CREATE INDEX IF NOT EXISTS alert_key ON alert (lot, subject, name)",
    "CREATE INDEX IF NOT EXISTS alert_signal_of ON alert_signal (alert)",
    "CREATE INDEX IF NOT EXISTS telling_of ON telling (alert)",
    "CREATE INDEX IF NOT EXISTS attempt_of ON attempt (alert)",
    "CREATE INDEX IF NOT EXISTS attempt_at ON attempt (telling)",
    *(
        f"CREATE TRIGGER IF NOT EXISTS {table}_{verb} BEFORE {verb} ON {table}"
        f" BEGIN SELECT RAISE(ABORT, '{table} only grows'); END"
        for table in ("alert", "alert_signal", "telling", "attempt")
        for verb in ("UPDATE", "DELETE")
    ),
    """CREATE TABLE IF NOT EXISTS alert_cursor (
    source TEXT PRIMARY KEY,
    reached INTEGER NOT NULL
) STRICT""",
)

SIGNAL = (
    "number, alert, signal, state, at_ms, steady_ms, event, who, standing, severity,"
    " title, body"
)

NEWEST = (
    "(SELECT {} FROM alert_signal WHERE alert = alert.number"
    " ORDER BY number DESC LIMIT 1)"
)
SILENT = Words("", "")


class Attempt(NamedTuple):
    """One attempt to tell one contact, and what came of it."""

    at_ms: int
    contact: str
    outcome: Outcome
    why: str


class Happened(NamedTuple):
    """One signal of one alert."""

    alert: int
    signal: Signal
    state: AlertState  # after it
    at_ms: int
    steady_ms: int
    event: int = 0  # the journal's number; 0 for an acknowledgement
    who: str = ""
    standing: str = ""
    severity: Severity = Severity.NORMAL
    words: Words = SILENT
    number: int = 0


class Key(NamedTuple):
    """What makes two events belong to one alert."""

    lot: str
    subject: Subject
    name: str


@dataclass(frozen=True, slots=True)
class Alert:
    """An alert as it stands, with everybody who was told of it."""

    number: int
    lot: str  # "" for the whole site
    subject: Subject
    name: str
    standing: str  # the worst that was told, in the event's word
    severity: Severity
    state: AlertState
    title: str
    body: str
    since_ms: int  # when the worst that was told became true
    opened_ms: int  # when the first of it became true
    answer: bool  # whether somebody has to acknowledge it
    acknowledged_ms: int  # 0 while nobody has, or since it became worse
    acknowledged_by: str
    returned_ms: int  # 0 while it is not normal again
    attempts: tuple[Attempt, ...]


class AlertTables:
    """Rows in and values out; what they mean is decided elsewhere."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal
        if not self._rows("SELECT 1 FROM sqlite_master WHERE name = 'alert_cursor'"):
            with journal.writing() as connection:
                for statement in TABLES:
                    connection.execute(statement)

    # Rows in; always inside ``Journal.writing``.

    def open(self, key: Key, *, answer: bool) -> int:
        """Open an alert; answer its number."""
        return self._insert(
            "INSERT INTO alert (lot, subject, name, answer) VALUES (?, ?, ?, ?)",
            *(key.lot, key.subject.value, key.name, int(answer)),
        )

    def add_signal(self, one: Happened) -> int:
        """Keep a signal; answer its number."""
        return self._insert(
            f"INSERT INTO alert_signal ({SIGNAL})"
            " VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            *(one.alert, one.signal.value, one.state.value, one.at_ms, one.steady_ms),
            *(one.event, one.who, one.standing, int(one.severity), *one.words),
        )

    def add_telling(self, alert: int, signal: int, telling: Telling) -> None:
        """Keep that a contact is to be told."""
        self._insert(
            "INSERT INTO telling (alert, signal, contact, first_ms, again_ms)"
            " VALUES (?, ?, ?, ?, ?)",
            *(alert, signal, *telling),
        )

    def add_attempt(self, notice: Notice, attempt: Attempt, steady_ms: int) -> None:
        """Keep what became of a notice."""
        self._insert(
            "INSERT INTO attempt (alert, telling, contact, at_ms, steady_ms, outcome,"
            " why) VALUES (?, ?, ?, ?, ?, ?, ?)",
            *(notice.alert, notice.telling, attempt.contact, attempt.at_ms),
            *(steady_ms, attempt.outcome.value, attempt.why),
        )

    def move_on(self, source: str, reached: int) -> None:
        """Keep how far the entries or events of the journal have been taken."""
        self._insert(
            "INSERT OR REPLACE INTO alert_cursor (source, reached) VALUES (?, ?)",
            *(source, reached),
        )

    # Values out.

    def reached(self, source: str) -> int:
        """How far the entries or events of the journal have been taken."""
        rows = self._rows("SELECT reached FROM alert_cursor WHERE source = ?", source)
        return int(rows[0][0]) if rows else 0

    def last_steady_ms(self) -> int:
        """The latest steady time kept; 0 where there is none."""
        [(steady_ms,)] = self._rows(
            "SELECT max(coalesce((SELECT steady_ms FROM alert_signal"
            " ORDER BY number DESC LIMIT 1), 0), coalesce((SELECT steady_ms"
            " FROM attempt ORDER BY number DESC LIMIT 1), 0))"
        )
        return int(steady_ms)

    def latest(self, key: Key) -> int | None:
        """The newest alert of a key, open or not, that asks for an answer."""
        [(number,)] = self._rows(
            "SELECT max(number) FROM alert"
            " WHERE lot = ? AND subject = ? AND name = ? AND answer = 1",
            *(key.lot, key.subject.value, key.name),
        )
        return None if number is None else int(number)

    def key(self, number: int) -> Key:
        """What an alert is about."""
        [(lot, subject, name)] = self._rows(
            "SELECT lot, subject, name FROM alert WHERE number = ?", number
        )
        return Key(lot, Subject(subject), name)

    def newest(self, number: int, *signals: Signal) -> Happened | None:
        """The newest signal of an alert, of one of these kinds if any are given."""
        kinds = signals or tuple(Signal)
        rows = self._rows(
            f"SELECT {SIGNAL} FROM alert_signal WHERE alert = ?"
            f" AND signal IN ({', '.join('?' * len(kinds))})"
            " ORDER BY number DESC LIMIT 1",
            *(number, *(kind.value for kind in kinds)),
        )
        return _happened(*rows[0]) if rows else None

    def state(self, number: int) -> AlertState:
        """How an alert stands; normal before its first signal."""
        newest = self.newest(number)
        return newest.state if newest else NORMAL

    def said(self, number: int) -> Happened:
        """The newest signal that people are told of."""
        told = self.newest(number, WORSE, NOTED)
        assert told is not None  # an alert is opened by one
        return told

    def words(self, number: int) -> Words:
        """What an alert says now: others may have joined it since people were told."""
        rows = self._rows(
            "SELECT title, body FROM alert_signal WHERE alert = ? AND title <> ''"
            " ORDER BY number DESC LIMIT 1",
            number,
        )
        return Words(*rows[0])

    def worse_events(self, lot: str) -> set[int]:
        """The numbers of a lot's events that were told as new or worse."""
        rows = self._rows(
            "SELECT event FROM alert_signal JOIN alert ON alert.number = alert"
            " WHERE lot = ? AND signal = ?",
            *(lot, WORSE.value),
        )
        return {number for (number,) in rows}

    def tellings(self, number: int) -> list[tuple[int, Telling]]:
        """The newest telling of each contact, with its number."""
        rows = self._rows(
            "SELECT max(number), contact, first_ms, again_ms FROM telling"
            " WHERE alert = ? GROUP BY contact ORDER BY 1",
            number,
        )
        return [(row, Telling(*telling)) for row, *telling in rows]

    def unanswered(self, number: int) -> list[Telling]:
        """The tellings of an alert since it was last acknowledged."""
        rows = self._rows(
            "SELECT contact, first_ms, again_ms FROM telling"
            " WHERE alert = ? AND signal > (SELECT coalesce(max(number), 0)"
            " FROM alert_signal WHERE alert = ? AND signal = ?)",
            *(number, number, ACKNOWLEDGE.value),
        )
        return [Telling(*row) for row in rows]

    def tried(self, telling: int) -> list[Tried]:
        """The attempts at one telling."""
        rows = self._rows(
            "SELECT steady_ms, outcome FROM attempt WHERE telling = ? ORDER BY number",
            telling,
        )
        return [Tried(steady_ms, Outcome(outcome)) for steady_ms, outcome in rows]

    def was_told(self, number: int, contact: str) -> bool:
        """Whether a contact has heard of an alert."""
        rows = self._rows(
            "SELECT 1 FROM attempt WHERE alert = ? AND contact = ? AND outcome = ?",
            *(number, contact, Outcome.SENT.value),
        )
        return bool(rows)

    def unfinished(self) -> list[int]:
        """Alerts that wait for an answer, and good news that did not go out yet."""
        rows = self._rows(
            f"SELECT number FROM alert WHERE {NEWEST.format('state')} IN (?, ?)"
            f" OR {NEWEST.format('signal')} = ? AND EXISTS"
            "  (SELECT 1 FROM telling WHERE alert = alert.number AND NOT EXISTS"
            "   (SELECT 1 FROM attempt WHERE telling = telling.number"
            "    AND outcome = ?)) ORDER BY number",
            *(*sorted(state.value for state in CALLING), NOTED.value),
            Outcome.SENT.value,
        )
        return [number for (number,) in rows]

    def not_normal(self) -> list[int]:
        """Every alert that is not normal."""
        rows = self._rows(
            f"SELECT number FROM alert WHERE {NEWEST.format('state')} <> ?",
            NORMAL.value,
        )
        return [number for (number,) in rows]

    def of_lot(self, lot: str) -> list[int]:
        """Every alert there was of a lot."""
        rows = self._rows("SELECT number FROM alert WHERE lot = ? ORDER BY number", lot)
        return [number for (number,) in rows]

    def alert(self, number: int) -> Alert:
        """One alert as it stands."""
        key, told, say = self.key(number), self.said(number), self.words(number)
        answered = self.newest(number, ACKNOWLEDGE)
        if answered and answered.number < told.number:
            answered = None  # that was an answer to something less
        moved = self.newest(number, *(kind for kind in Signal if kind != ACKNOWLEDGE))
        assert moved is not None
        [(opened_ms,)] = self._rows(
            "SELECT at_ms FROM alert_signal WHERE alert = ? ORDER BY number LIMIT 1",
            number,
        )
        return Alert(
            number=number,
            lot=key.lot,
            subject=key.subject,
            name=key.name,
            standing=told.standing,
            severity=told.severity,
            state=self.state(number),
            title=say.title,
            body=say.body,
            since_ms=told.at_ms,
            opened_ms=opened_ms,
            answer=told.signal is WORSE,
            acknowledged_ms=answered.at_ms if answered else 0,
            acknowledged_by=answered.who if answered else "",
            returned_ms=moved.at_ms if moved.signal is CLEAR else 0,
            attempts=self._attempts(number),
        )

    def _attempts(self, number: int) -> tuple[Attempt, ...]:
        rows = self._rows(
            "SELECT at_ms, contact, outcome, why FROM attempt WHERE alert = ?"
            " ORDER BY number",
            number,
        )
        return tuple(
            Attempt(at_ms, contact, Outcome(outcome), why)
            for at_ms, contact, outcome, why in rows
        )

    def _insert(self, statement: str, *values: str | int) -> int:
        number = self._journal.connection.execute(statement, values).lastrowid
        assert number is not None
        return number

    def _rows(self, query: str, *values: str | int) -> list[tuple[Any, ...]]:
        with in_words(self._journal.path):
            return self._journal.connection.execute(query, values).fetchall()


def _happened(
    number: int,
    alert: int,
    signal: str,
    state: str,
    at_ms: int,
    steady_ms: int,
    event: int,
    who: str,
    standing: str,
    degree: int,
    title: str,
    body: str,
) -> Happened:
    return Happened(
        *(alert, Signal(signal), AlertState(state), at_ms, steady_ms, event, who),
        *(standing, Severity(degree), Words(title, body), number),
    )
