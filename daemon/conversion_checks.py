"""What a channel's unit says together with what turns it into a temperature.

The checks of ``daemon.settings_checks`` for one channel whose probe gives ohms or
millivolts: the law must be there and begin with that unit, and it must have what it
asks for, coefficients or a cold junction, and nothing else.
"""

import re
from collections.abc import Iterator, Mapping

from probes.contract import Conversion, Law, Raw, Unit
from probes.form import Form
from probes.forms import FORMS
from rules.channels import Role
from rules.faults import Fault
from rules.reader import Marked, Path, Tree, is_one_of

Part = Mapping[str, Tree]

COLD = "cold junction"
# What each of these keys belongs to, and what is written where it is missing.
ASKS = {
    "coefficients": (
        Law.STEINHART_HART,
        "add a line: coefficients: a b c, as the maker of the thermistor gives them",
    ),
    COLD: (
        Law.TYPE_K,
        "add a line: cold junction: ..., where the message says its degC",
    ),
}


def form_of(channel: Part) -> Form | None:
    """The payload form that a channel names; None if it names none that we know."""
    name = channel.get("payload")
    return FORMS.get(name) if isinstance(name, str) else None


def _unit(marked: Marked, loc: Path, channel: Part) -> Iterator[Fault]:
    unit, law, role = (channel.get(key) for key in ("unit", "conversion", "role"))
    if law is None and is_one_of(unit, Raw):
        fitting = ", ".join(one for one in Law if Conversion(one).raw == unit)
        found, right = f"{unit} is not a temperature yet", "add a line: conversion: "
        yield marked.fault((*loc, "unit"), found, right + fitting)
    if is_one_of(law, Law) and (is_one_of(unit, Unit) or is_one_of(unit, Raw)):
        raw = Conversion(Law(str(law))).raw
        if unit != raw:
            found = f"conversion {law} begins with {raw}, and the unit is {unit}"
            yield marked.fault((*loc, "unit"), found, f"write unit: {raw}")
    if is_one_of(unit, Raw) and role == Role.HUMIDITY:
        found = f"{unit} is not a unit of humidity"
        yield marked.fault((*loc, "unit"), found, "write unit: '%RH'")


def _asks(marked: Marked, loc: Path, channel: Part) -> Iterator[Fault]:
    law = channel.get("conversion")
    for key, (its_law, remedy) in ASKS.items():
        if key in channel and law != its_law:
            found = f"{key!r} goes with conversion {its_law} alone"
            yield marked.fault((*loc, key), found, "take the line out", on_key=True)
        if key not in channel and law == its_law:
            found = f"conversion {law} does not say its {key}"
            yield marked.fault((*loc, "conversion"), found, remedy)


def _cold(marked: Marked, loc: Path, channel: Part) -> Iterator[Fault]:
    form, law, cold = form_of(channel), channel.get("conversion"), channel.get(COLD)
    if form is None:
        return
    if form.cold is None:
        if law == Law.TYPE_K:
            others = ", ".join(one.name for one in FORMS.values() if one.cold)
            found = f"payload {form.name} says nothing of the cold junction"
            right = f"write payload: {others}"
            yield marked.fault((*loc, "payload"), found, right)
    elif isinstance(cold, str) and not re.fullmatch(form.cold.pattern or ".*", cold):
        found = f"{cold!r} is not {form.cold.what}"
        yield marked.fault((*loc, COLD), found, form.cold.remedy)


CONVERSIONS = (_unit, _asks, _cold)
