"""The lots that this version of the program cannot judge, and how people learn of it.

An older or a newer version may have begun a cook by a schedule that this one does not
understand.  Its readings are still kept, and so are the verdicts that were given; but
nothing is judged any more, so the lot is on hold, and people are told as of any other
trouble of the site.
"""

from collections.abc import Iterable, Iterator, Mapping

from daemon import VERSION
from daemon.health import Change
from daemon.journal import Noticed

JUDGED, NOT_JUDGED = "judged", "not judged"
HEAD = "lot "


def told(events: Iterable[Noticed]) -> dict[str, str]:
    """How each lot stood when it was last told of, by the site's events."""
    words = (JUDGED, NOT_JUDGED)
    found = [noticed.event for noticed in events if not noticed.lot]
    return {
        one.name.removeprefix(HEAD): one.now
        for one in found
        if one.name.startswith(HEAD) and one.now in words
    }


def changes(
    unjudged: Mapping[str, str], before: Mapping[str, str], judged: Iterable[str]
) -> Iterator[Change]:
    """What is to be said of lots that cannot be judged, or can be again.

    ``unjudged`` says why of each, ``before`` how it stood when it was last told of.
    """
    for lot, fault in unjudged.items():
        if before.get(lot) != NOT_JUDGED:
            why = (
                f"version {VERSION} does not understand the schedule that the lot was"
                f" begun with ({fault}); the lot is on hold and nothing of it is judged"
                " from here on. Its readings are kept, and so are the verdicts given"
                " before. Go back to the version that began it, or judge it by hand."
            )
            yield Change(f"{HEAD}{lot}", JUDGED, NOT_JUDGED, why)
    for lot in judged:
        if before.get(lot) == NOT_JUDGED:
            why = f"version {VERSION} judges it again, from its beginning"
            yield Change(f"{HEAD}{lot}", NOT_JUDGED, JUDGED, why)
