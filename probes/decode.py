"""From one message to everything it says, in whatever form it was sent."""

from collections.abc import Sequence

from probes.contract import Arrival, Decoded, Probe
from probes.forms import FORMS
from probes.screen import refuse


def decode(probes: Sequence[Probe], arrival: Arrival) -> list[Decoded]:
    """Every reading in a message, and a refusal for what could not be trusted."""
    listening = [probe for probe in probes if probe.topic == arrival.topic]
    if not listening:
        return [refuse(arrival, "", "no channel listens to this topic")]
    decoded: list[Decoded] = []
    for form in dict.fromkeys(probe.form for probe in listening):
        decoded += FORMS[form].decode([p for p in listening if p.form == form], arrival)
    return decoded
