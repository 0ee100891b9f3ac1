"""The site's time: what a clock that may be wrong, or be set, shows while cooks go on.

A small board keeps no time without power.  It starts in 1970 or where it was switched
off, and is set later, by hours or by years; and a clock can be set wrongly.

Rule 1: the site's time never goes back.  Where the board's clock is set back, the
site's time goes on as before, by the count that never steps: lengths stay true.
Rule 2: a step forward is followed, since time may have passed unseen; but not while
what the probes' own clocks say fits the site's time better, and where no probe says
anything, only after ``TRIAL_MS``.  A step that is taken back by then did nothing.
Rule 3: before ``EARLIEST_MS``, or behind what was concluded before the start, the
clock is not *trusted*: what it stamps is no evidence, until it is set.

``looked`` is pure: a pair of clock values in, the next state out.  Units: ``_ms``
milliseconds; of a time since 1970-01-01T00:00:00Z, ``monotonic_ms`` of a real count.
"""

from datetime import UTC, datetime, timedelta
from enum import Enum, StrEnum
from typing import NamedTuple

from daemon.clock import Clock
from rules.units import say_ms

EARLIEST_MS = (
    1_704_067_200_000  # 2024-01-01: no board that was told the time shows less
)
STEP_MS = 2_000  # less is what setting a clock gently does
TRIAL_MS = 300_000
APART_MS = 500  # two clocks that were read further apart say nothing together
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class Word(StrEnum):
    """How the board's clock stands."""

    UNSET = "unset"
    STEPPED = "stepped"  # and the site's time goes its own way
    REPORTING = "reporting"


class Witness(Enum):
    """Which time the probes' own clocks fit better, since a step forward."""

    NOBODY = 0
    SITE = 1
    BOARD = 2


class Hands(NamedTuple):
    """The board's clocks and the site's time, all of one moment."""

    board_ms: int
    monotonic_ms: int
    site_ms: int
    trusted: bool
    slower: bool = False  # a little ahead of the board: at nine tenths until level
    trial_ms: int | None = None  # monotonic: since when a step forward is on trial

    @property
    def word(self) -> Word:
        """How the board's clock stands."""
        if not self.trusted:
            return Word.UNSET
        apart_ms = abs(self.board_ms - self.site_ms)
        return Word.STEPPED if apart_ms > STEP_MS else Word.REPORTING

    def site_at(self, monotonic_ms: int) -> int:
        """The site's time at a later moment."""
        passed_ms = monotonic_ms - self.monotonic_ms
        return self.site_ms + (passed_ms * 9 // 10 if self.slower else passed_ms)


class Turned(NamedTuple):
    """A change in how the clock stands, in words for a person."""

    was: Word
    now: Word
    why: str
    followed_ms: int  # by how much the site's time has just gone forward


def begun(board_ms: int, monotonic_ms: int, floor_ms: int) -> Hands:
    """The site's time at the start; nothing before ``floor_ms`` is still open."""
    trusted = board_ms >= max(EARLIEST_MS, floor_ms)
    return Hands(board_ms, monotonic_ms, max(board_ms, floor_ms), trusted)


def looked(before: Hands, board_ms: int, monotonic_ms: int, witness: Witness) -> Hands:
    """The site's time after another look at the board's clocks."""
    site_ms, trusted = before.site_at(monotonic_ms), before.trusted
    ahead_ms = board_ms - site_ms
    if trusted and abs(ahead_ms) <= STEP_MS:
        slower, site_ms = ahead_ms < 0, max(site_ms, board_ms)
        return Hands(board_ms, monotonic_ms, site_ms, trusted, slower)
    if ahead_ms < 0 or board_ms < EARLIEST_MS:
        return Hands(board_ms, monotonic_ms, site_ms, trusted)
    since_ms = monotonic_ms if before.trial_ms is None else before.trial_ms
    unspoken = witness is Witness.NOBODY and monotonic_ms - since_ms >= TRIAL_MS
    if not trusted or witness is Witness.BOARD or unspoken:
        return Hands(board_ms, monotonic_ms, board_ms, True)
    return Hands(board_ms, monotonic_ms, site_ms, trusted, trial_ms=since_ms)


class SteadyClock(Clock):
    """The clock of a site: ``now_ms`` is its time, in every thread."""

    def __init__(self, clock: Clock, floor_ms: int) -> None:
        """Begin, at ``floor_ms`` where the board's clock is behind it."""
        self._clock = clock
        board_ms, monotonic_ms = self._pair() or (clock.now_ms(), clock.monotonic_ms())
        self._hands = begun(board_ms, monotonic_ms, floor_ms)
        self._trusted_ms = 0  # the time of the site from which it is trusted
        self._word = Word.REPORTING
        self._witness = Witness.NOBODY

    def trusted_at(self, site_ms: int) -> bool:
        """Whether what this clock stamped at that time of the site is evidence."""
        return self._hands.trusted and site_ms >= self._trusted_ms

    @property
    def on_trial(self) -> bool:
        """Whether it matters what the probes' own clocks say."""
        return self._hands.trial_ms is not None

    def now_ms(self) -> int:
        """The site's time; it never goes back."""
        return self._hands.site_at(self._clock.monotonic_ms())

    def monotonic_ms(self) -> int:
        """A count that never steps, for measuring how long something lasts."""
        return self._clock.monotonic_ms()

    def say_before(self, word: str) -> None:
        """Take up how the clock was said to stand before the start."""
        if word in tuple(Word):
            self._word = Word(word)

    def heard(self, at_ms: int) -> None:
        """Take in the time that a probe's own clock gave to what it has just sent."""
        hands = self._hands
        if self.on_trial:
            fits = abs(at_ms - self.now_ms()) <= abs(at_ms - hands.board_ms)
            self._witness = Witness.SITE if fits else Witness.BOARD

    def look(self) -> Turned | None:
        """Look at the board's clocks; answer what there is to say of them."""
        pair = self._pair()
        if pair is None:
            return None
        before = self._hands
        hands = looked(before, *pair, self._witness)
        if hands.trial_ms is None:
            self._witness = Witness.NOBODY
        site_ms = before.site_at(pair[1])
        step_ms = pair[0] - before.board_ms - (pair[1] - before.monotonic_ms)
        if hands.trusted and not before.trusted:
            self._trusted_ms = hands.site_ms
        self._hands = hands
        was, now = self._word, hands.word
        again = now is Word.STEPPED and abs(step_ms) > STEP_MS
        if now is was and not again:
            return None
        self._word = now
        followed_ms = max(0, hands.site_ms - site_ms)
        return Turned(was, now, _words(hands, step_ms, followed_ms), followed_ms)

    def _pair(self) -> tuple[int, int] | None:
        """Both clocks at one moment, or nothing where the machine was too busy."""
        before_ms = self._clock.monotonic_ms()
        board_ms = self._clock.now_ms()
        after_ms = self._clock.monotonic_ms()
        return (board_ms, after_ms) if after_ms - before_ms <= APART_MS else None


def _words(hands: Hands, step_ms: int, followed_ms: int) -> str:
    if hands.word is Word.UNSET:
        shown = (EPOCH + timedelta(milliseconds=hands.board_ms)).strftime("%Y-%m-%d")
        return (
            f"the board's clock is not set: it shows {shown}; until it is set, a value "
            "without a time of its own is no evidence"
        )
    if hands.word is Word.REPORTING:
        if followed_ms > STEP_MS:
            return f"the board's clock went forward by {say_ms(followed_ms)}: followed"
        return "the board's clock and the site's time agree"
    apart_ms = hands.board_ms - hands.site_ms
    if abs(step_ms) <= STEP_MS:
        side = "ahead of" if apart_ms > 0 else "behind"
        return f"the board's clock is {say_ms(abs(apart_ms))} {side} the site's time"
    way = "forward" if step_ms > 0 else "back"
    words = f"the board's clock went {way} by {say_ms(abs(step_ms))}"
    if hands.trial_ms is None:
        return f"{words}; the site's time goes on as it was"
    return f"{words}; followed unless the probes' own clocks speak against it"
