"""From one message to everything it says: the table of payload forms.

To add a form: one file with ``decode(probes, arrival)``, one word in ``Form``, one
line in ``FORMS``, one test file.  A decoder answers for all probes that listen to
the message's topic; whatever the bytes are, it answers and does not raise.
"""

from collections.abc import Callable, Sequence

from probes import json_object, number, senml, senml_cbor
from probes.contract import Arrival, Decoded, Form, Probe
from probes.screen import refuse

Decoder = Callable[[Sequence[Probe], Arrival], list[Decoded]]

FORMS: dict[Form, Decoder] = {
    Form.SENML: senml.decode,
    Form.SENML_CBOR: senml_cbor.decode,
    Form.JSON: json_object.decode,
    Form.NUMBER: number.decode,
}


def decode(probes: Sequence[Probe], arrival: Arrival) -> list[Decoded]:
    """Every reading in a message, and a refusal for what could not be trusted."""
    listening = [probe for probe in probes if probe.topic == arrival.topic]
    if not listening:
        return [refuse(arrival, "", "no channel listens to this topic")]
    decoded: list[Decoded] = []
    for form in dict.fromkeys(probe.form for probe in listening):
        decoded += FORMS[form]([p for p in listening if p.form is form], arrival)
    return decoded
