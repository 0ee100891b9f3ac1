"""What the tests of every payload form share: one core probe and how it is heard."""

from dataclasses import replace

from probes.contract import Arrival, Decoded, Probe, Refusal, Unit
from probes.form import Form
from rules.channels import Role
from rules.facts import Reading

TOPIC = "yard/north/cores"
NOW_MS = 1_768_021_200_000  # 2026-01-10T05:00:00Z

CORE = Probe(
    channel="core-1",
    smokehouse="north",
    role=Role.CORE,
    topic=TOPIC,
    form="number",
    unit=Unit.CELSIUS,
    every_ms=10_000,
    quiet_ms=120_000,
    accuracy_mc=500,
)
SENML = replace(CORE, form="senml", record="urn:dev:ow:10e2073a01080063")
JSON = replace(CORE, form="json", pointer="/core1")


def described(probe: Probe, form: Form) -> Probe:
    """The probe with the settings that the examples of the form's keys are."""
    own = {key.field: key.example for key in form.keys if key.field}
    extras = tuple((key.word, key.example) for key in form.keys if not key.field)
    probe = replace(probe, form=form.name, identity="A7", extras=extras)
    return replace(probe, **own)  # type: ignore[arg-type]


def arrival(payload: bytes, *, retained: bool = False, waited: bool = False) -> Arrival:
    """The message as it came in at ``NOW_MS``."""
    return Arrival(TOPIC, payload, NOW_MS, retained, waited)


def only_reading(decoded: list[Decoded]) -> Reading:
    """The one thing decoded, which must be a reading."""
    (reading,) = decoded
    assert isinstance(reading, Reading), reading
    return reading


def only_refusal(decoded: list[Decoded]) -> Refusal:
    """The one thing decoded, which must be a refusal."""
    (refusal,) = decoded
    assert isinstance(refusal, Refusal), refusal
    return refusal


def said(decoded: list[Decoded]) -> list[str]:
    """Each thing decoded in a few words: the channel, and its value or why not."""
    return [
        f"{given.channel}: {given.value_mc}"
        if isinstance(given, Reading)
        else f"{given.channel}: {given.why}"
        for given in decoded
    ]
