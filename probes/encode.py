"""What a probe of each payload form would publish: the decoders turned round.

The simulated probes speak through this, and ``decode`` reads back exactly what was
encoded, in every form and unit.

Units: ``_mc`` as in ``rules.facts``; ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

from collections.abc import Sequence

from probes.contract import Probe
from probes.form import Sent
from probes.forms import FORMS


def encode(probe: Probe, at_ms: int, value_mc: int) -> bytes:
    """One message with one value of one probe."""
    return encode_all([(probe, value_mc)], at_ms)


def encode_all(sent: Sequence[Sent], at_ms: int) -> bytes:
    """One message with a value of each of these probes, which share topic and form.

    Raises:
        ValueError: There is none, they do not share a form, or the form cannot
            carry them.
    """
    forms = {probe.form for probe, _ in sent}
    if len(forms) != 1:
        raise ValueError("a message has one form and at least one value")
    if any(probe.conversion for probe, _ in sent):
        raise ValueError("a raw value is not made from a temperature here")
    form = FORMS[forms.pop()]
    if form.encode is None:
        raise ValueError(f"the simulated probes do not speak {form.name}")
    return form.encode(sent, at_ms)
