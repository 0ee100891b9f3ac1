"""Messages that come late, in any order and more than once, all within the lateness."""

import heapq
import random
from pathlib import Path

from tests.faults.inside import inside
from tests.faults.row import Row, together

LATEST_MIN = 8  # of ten that are waited for
COPIES = 3


def disorder(folder: Path, times: int) -> Row:
    """Each core's message comes up to three times, each up to eight minutes late.

    The chamber's bare numbers have no time of their own to be put in order by, so they
    come when they are sent, once.  ``tried`` counts messages.
    """
    return together(_cook(folder / str(seed), seed) for seed in range(times))


def _cook(folder: Path, seed: int) -> Row:
    chance, sent = random.Random(seed), 0
    late: list[tuple[int, int, tuple[str, bytes]]] = []
    with inside(folder) as site:
        site.start()
        site.begin()
        for minute, samples in enumerate([*site.samples(), *([[]] * LATEST_MIN)]):
            for message in site.seen(samples):
                own_time = message[0] != "yard/chamber"
                for _ in range(chance.randint(1, COPIES) if own_time else 1):
                    due = minute + (chance.randint(0, LATEST_MIN) if own_time else 0)
                    heapq.heappush(late, (due, chance.getrandbits(32), message))
            now = []
            while late and late[0][0] <= minute:
                now.append(heapq.heappop(late)[2])
            sent += len(now)
            site.send(now)
        return site.finish("duplicates and disorder", sent)
