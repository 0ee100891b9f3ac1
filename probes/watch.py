"""What is remembered of one channel between two readings.

The *path* is the readings that were trusted.  A second one of them, its base, lies one
to two ``WINDOW_MS`` back, so that a move in many small steps shows too.

The *digits* say whether a probe still measures, and how finely.  *Lively* is how often
its changes turn against each other by more than the rounding of a smooth curve can
make of it: that turns the second difference by two steps at most.

Units: ``_mc`` and ``_ms`` as in ``rules.facts``.
"""

from typing import NamedTuple

SETTLED = 3  # trusted readings that make a path; before that, the newer one is it
WINDOW_MS = 60_000
TURNS = 3  # steps
FINE = 5  # changes to a value off the grids that show a finer step
# Half a kelvin and a whole one; one and two degF, of which 9 v + 160 K makes five
# thousand each, and how far a value rounded to thousandths of a kelvin lies off them.
KELVINS_MC, FAHRENHEIT = (500, 1_000), (5_000, 10_000)
NEAR_FAHRENHEIT = 5


class Path(NamedTuple):
    """The newest trusted reading, and one before it."""

    at_ms: int = 0
    value_mc: int = 0
    settled: int = 0  # trusted readings in a row, at most ``SETTLED``
    base_ms: int = 0
    base_mc: int = 0
    next_ms: int = 0  # the trusted reading that will be the base
    next_mc: int = 0


class Digits(NamedTuple):
    """How the value moves, whether it is trusted or not."""

    at_ms: int = -1  # of the newest reading
    value_mc: int = 0
    same_ms: int = 0  # since when the value is the same to the last digit
    same: int = 0  # and in how many readings
    longest: int = 0  # of the runs of one value that are over
    step_mc: int = 0  # the least change seen; 0 where none was
    change_mc: int = 0  # the last change
    bend_mc: int = 0  # by how much it differed from the change before it
    lively: int = 0  # how often changes turn against each other, 0 to 1024
    fine: int = 0  # changes to a value on no grid, at most ``FINE``
    off: int = 0  # of those, in a row
    half: int = 0  # changes in a row to a value on the finer grid or the coarser
    whole: int = 0  # and on the coarser


class Doubted(NamedTuple):
    """A doubt, since when, and in how many readings or refusals in a row."""

    doubt: str = ""  # a ``Doubt``, or "" where there is none
    since_ms: int = 0
    times: int = 0

    def again(self, doubt: str, at_ms: int) -> "Doubted":
        """One more of them; the first says since when, unless another was before."""
        since_ms = self.since_ms if self.doubt else at_ms
        return Doubted(doubt, since_ms, self.times + 1)


NO_DOUBT = Doubted()


class Beside(NamedTuple):
    """How a core goes beside its chamber; ``_ms`` is -1 where it does not."""

    along_ms: int = -1  # since when it is where the chamber is
    low_mc: int = 0  # and its lowest and highest since then
    high_mc: int = 0
    away_ms: int = -1  # since when it is not
    above_ms: int = -1  # since when the chamber is too cold to warm it
    above_mc: int = 0  # and what it was then
    base_air_mc: int = 0  # the chamber at the time of the path's base
    next_air_mc: int = 0  # and at that of the reading that will be the base
    air_mc: int = 0  # and at the newest
    next_ms: int = -1


class Fell(NamedTuple):
    """A chamber that came down to a core, and how that was then."""

    core: str = ""
    at_ms: int = 0
    core_mc: int = 0
    gap_mc: int = 0  # how much warmer it was before


class Watch(NamedTuple):
    """All that is remembered of one channel."""

    path: Path = Path()
    digits: Digits = Digits()
    doubted: Doubted = NO_DOUBT  # what its readings say of it
    fault: Doubted = NO_DOUBT  # what its source says instead of readings
    beside: tuple[Beside, ...] = ()  # a core, beside each chamber of its cook
    fell: Fell = Fell()  # a chamber
    exchanged: str = ""  # the chamber that a swapped core was exchanged with, if known


NEW = Watch()


def along(path: Path, at_ms: int, value_mc: int) -> Path:
    """The path with one more reading."""
    _, _, settled, base_ms, base_mc, next_ms, next_mc = path
    if not settled:
        return Path(at_ms, value_mc, 1, at_ms, value_mc, at_ms, value_mc)
    if settled < SETTLED:
        settled += 1
    if at_ms - next_ms >= WINDOW_MS:
        return Path(at_ms, value_mc, settled, next_ms, next_mc, at_ms, value_mc)
    return Path(at_ms, value_mc, settled, base_ms, base_mc, next_ms, next_mc)


def seen(digits: Digits, at_ms: int, value_mc: int) -> Digits:
    """The digits with one more reading."""
    if digits.at_ms < 0:
        return Digits(at_ms, value_mc, at_ms, 1)
    _, was_mc, _, same, longest, step_mc, change_mc, bend_mc, *rest = digits
    if value_mc == was_mc:
        return digits._replace(at_ms=at_ms, same=same + 1)
    lively, fine, off, half, whole = rest
    moved_mc = value_mc - was_mc
    size_mc = abs(moved_mc)
    step_mc = min(step_mc, size_mc) if step_mc else size_mc
    bent_mc = moved_mc - change_mc
    lively = lively * 15 // 16
    if bent_mc * bend_mc < 0 and min(abs(bent_mc), abs(bend_mc)) >= TURNS * step_mc:
        lively += 64
    if grid := grid_of(value_mc):
        # An even slope can meet a grid again and again, without a stop.
        more = int(bent_mc != 0 or same > 1)
        off, half, whole = 0, half + more, whole + more if grid > 1 else 0
    else:
        fine, off, half, whole = min(fine + 1, FINE), off + 1, 0, 0
    longest = max(longest, same)
    return Digits(
        *(at_ms, value_mc, at_ms, 1, longest, step_mc, moved_mc, bent_mc),
        *(lively, fine, off, half, whole),
    )


def grid_of(value_mc: int) -> int:
    """2 for a whole kelvin or an even degree Fahrenheit, 1 for half of that, else 0."""
    fahrenheit = value_mc * 9 + 160_000 + NEAR_FAHRENHEIT
    if value_mc % KELVINS_MC[0] and fahrenheit % FAHRENHEIT[0] > 2 * NEAR_FAHRENHEIT:
        return 0
    whole = value_mc % KELVINS_MC[1] == 0
    return 2 if whole or fahrenheit % FAHRENHEIT[1] <= 2 * NEAR_FAHRENHEIT else 1
