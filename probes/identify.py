"""Which probe is warm in somebody's hand: the one that rises while no other does.

One ``Watch`` a channel, folded over its readings.  The first ``BASE`` readings say how
it lies when nobody touches it; a channel *rises* when ``TWICE`` readings in a row stand
above the highest of those by ``RISE_MC`` and by four times their spread.  A channel is
named when it rises and no other has come half as far: a chamber that heats up, or two
probes in one hand, name nobody.

Units: ``_mc`` as in ``rules.facts``.
"""

from collections.abc import Mapping
from typing import NamedTuple

BASE = 3
TWICE = 2
# No source: a hand warms a bare tip by far more, a door or a draught by less.
RISE_MC = 2_000
NOISE = 4


class Watch(NamedTuple):
    """What is remembered of one channel."""

    base: tuple[int, ...] = ()  # its first readings
    last_mc: int = 0
    above: int = 0  # readings in a row that stand well above the first ones

    @property
    def ready(self) -> bool:
        """Whether it is known how it lies."""
        return len(self.base) == BASE

    @property
    def rise_mc(self) -> int:
        """How far it stands above the highest of its first readings."""
        return max(self.last_mc - max(self.base), 0) if self.ready else 0

    @property
    def wanted_mc(self) -> int:
        """How far it must rise to be more than noise."""
        spread_mc = max(self.base) - min(self.base) if self.ready else 0
        return max(RISE_MC, NOISE * spread_mc)


def heard(watch: Watch, value_mc: int) -> Watch:
    """Take one reading of the channel."""
    if not watch.ready:
        return Watch((*watch.base, value_mc), value_mc)
    after = watch._replace(last_mc=value_mc)
    rises = after.rise_mc >= after.wanted_mc
    return after._replace(above=watch.above + 1 if rises else 0)


def named(watches: Mapping[str, Watch]) -> str:
    """The channel that rises by itself; "" while there is none."""
    rising = [name for name, one in watches.items() if one.above >= TWICE]
    if len(rising) != 1 or not all(one.ready for one in watches.values()):
        return ""
    half_mc = watches[rising[0]].rise_mc // 2
    others = [one for name, one in watches.items() if name != rising[0]]
    return "" if any(one.rise_mc > half_mc for one in others) else rising[0]
