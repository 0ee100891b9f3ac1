"""Which probe a message comes from, where its hardware names itself.

A channel is bound to a probe by ``probe:`` in the settings.  A message that names its
hardware, by the name of its SenML record or at ``probe at`` in a JSON document, and
names another, is refused: two probes exchanged at their plugs, or numbered anew, must
not speak for each other.  Where a SenML channel has a ``record`` of its own, that name
is what binds it.

Source: RFC 8428 section 4.5.1 (a name begins with what tells its device apart),
RFC 9039 section 4.2 (the names of 1-wire devices).
"""

from functools import lru_cache

from probes.contract import Probe
from probes.doubts import Doubt
from probes.json_text import say
from probes.w1 import record_of


def why_another(probe: Probe, named: str) -> str:
    """Why what calls itself so is not the probe of the channel; "" if it is."""
    if same(probe.identity, named):
        return ""
    return (
        f"{Doubt.ANOTHER}: {say(named)} speaks where the settings have "
        f"{say(probe.identity)}; are two probes exchanged? plug them back, or write "
        "the right probe in the settings"
    )


# Cached, because every message of a probe asks the same.
@lru_cache(maxsize=1024)
def same(identity: str, named: str) -> bool:
    """Whether a name is that of this hardware, or begins with it."""
    known, name = identity.casefold(), named.casefold()
    for start in filter(None, (known, _on_1_wire(known))):
        if name.startswith(start) and not name[len(start) : len(start) + 1].isalnum():
            return True
    return False


def _on_1_wire(identity: str) -> str:
    """The other name of a 1-wire sensor; "" of anything else."""
    try:
        return record_of(identity)
    except ValueError:
        return ""
