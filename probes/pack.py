"""What a board publishes: SenML JSON packs (RFC 8428) of numbered samples.

Each sample has its time, absolute in seconds with three decimals, and two records:
its value with its unit, and under the same name with ``:seq`` its number, which
counts the samples of that probe without a gap, so that a lost one shows.  A sample
that could not be trusted carries, instead of a value, its reason as a text.

Wire form::

    [{"n":"urn:dev:ow:28...","u":"Cel","t":1768021200.250,"v":23.125},
     {"n":"urn:dev:ow:28...:seq","t":1768021200.250,"v":17}]

Units: ``_ms`` milliseconds since 1970-01-01T00:00:00Z.
"""

import json
from collections.abc import Iterable
from decimal import Decimal
from typing import NamedTuple

from probes.forms.senml import NUMBERED
from probes.units import EXACT, MILLI


class Sample(NamedTuple):
    """One value of one probe, or why there is none."""

    record: str
    at_ms: int
    value: str  # a decimal number; "" where there is none
    code: str
    why: str  # "" where there is a value
    number: int


def pack(samples: Iterable[Sample]) -> str:
    """The message that carries these samples."""
    return f"[{','.join(record for one in samples for record in _records(one))}]"


def _records(one: Sample) -> tuple[str, str]:
    at_s = f'"t":{EXACT.multiply(Decimal(one.at_ms), MILLI):.3f}'
    name = json.dumps(one.record)
    said = f'"u":{json.dumps(one.code)},{at_s},"v":{one.value}'
    if one.why:
        said = f'{at_s},"vs":{json.dumps(one.why)}'
    number = json.dumps(one.record + NUMBERED)
    return f'{{"n":{name},{said}}}', f'{{"n":{number},{at_s},"v":{one.number}}}'
