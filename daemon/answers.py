"""Acknowledgements that come as messages: ``{"alert": "3", "who": "AB"}``."""

import json

from probes.contract import Arrival, Refusal
from rules.facts import Entry, EntryKind


def acknowledge_topic(client_id: str) -> str:
    """Where an acknowledgement may be published."""
    return f"fumarium/{client_id}/acknowledge"


def read_answer(arrival: Arrival, now_ms: int) -> Entry | Refusal:
    """The entry that a message asks for, made at ``now_ms``, or why there is none."""
    try:
        said = json.loads(arrival.payload)
        about, who = str(said["alert"]), str(said["who"]).strip()
    except (ValueError, LookupError, TypeError, RecursionError):
        about = who = ""
    if not who or not (about.isdigit() or about == "all"):
        why = 'not an acknowledgement: write {"alert": "3", "who": "your initials"}'
        return Refusal(arrival.topic, "", arrival.received_ms, why, arrival.payload)
    at_ms, kind = arrival.received_ms, EntryKind.ACKNOWLEDGE
    return Entry(kind, at_ms, now_ms, who, "by message", about)
