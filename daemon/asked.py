"""What a person writes on the page, read from JSON and checked against the view.

Each reader answers what was asked, or every mistake in it in words.  Nothing is
trimmed to fit or guessed: what is kept is what the person saw, without the spaces
around it.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from daemon import by_hand
from daemon.view import CookView, View
from rules import moving
from rules.channels import Role
from rules.facts import EntryKind
from rules.units import say_ms

MOST_WHO = 20
MOST_TEXT = 1000


@dataclass(frozen=True, slots=True)
class Asked:
    """An entry somebody wants to write."""

    lot: str
    kind: EntryKind
    who: str
    text: str = ""
    about: str = ""


def read_acknowledgement(body: object, view: View) -> Asked | str:
    """Read ``{"alert": 7, "who": "AB"}``, of an alert that waits for somebody."""
    fields = _fields(body, {"alert": int, "who": str})
    if isinstance(fields, str):
        return fields
    who, number = _line(fields["who"]), fields["alert"]
    if wrong := _wrong_who(who):
        return wrong
    for alert in view.alerts:
        if alert.number == number and alert.acknowledged_ms:
            return f"alert {number} was acknowledged by {alert.acknowledged_by}"
        if alert.number == number and not alert.answer:
            return f"alert {number} asks for no answer"
        if alert.number == number:
            return Asked(alert.lot, EntryKind.ACKNOWLEDGE, who, about=str(number))
    return f"there is no alert {number}"


def read_note(body: object, view: View) -> Asked | str:
    """Read ``{"lot": ..., "who": ..., "text": ..., "corrective": false}``.

    ``about`` may name one of the lot's limits, stages or channels.  With ``lifts`` true
    it lifts what a set by hand left unproven of that stage or limit.
    """
    wanted = {"lot": str, "who": str, "text": str, "corrective": bool, "about": str}
    wanted["lifts"] = bool
    if isinstance(body, dict):
        body = {"about": "", "lifts": False, **body}
    fields = _fields(body, wanted)
    if isinstance(fields, str):
        return fields
    lot, about = str(fields["lot"]), str(fields["about"])
    who, text = _line(fields["who"]), str(fields["text"]).strip()
    cooks = {cook.lot: cook for cook in view.cooks}
    if lot not in cooks:
        known = ", ".join(sorted(cooks)) or "none"
        return f"lot: there is no lot {lot[:60]!r} here; there is: {known}"
    ours = [one for one in view.channels if one.smokehouse == cooks[lot].smokehouse]
    names = {one.name for one in cooks[lot].limits}
    names |= {one.name for one in cooks[lot].stages} | {one.name for one in ours}
    if about and about not in names:
        return f"about: lot {lot} has no limit, stage or channel {about[:60]!r}"
    if wrong := _wrong_who(who) or _wrong_text(text):
        return wrong
    kind = EntryKind.CORRECTIVE_ACTION if fields["corrective"] else EntryKind.NOTE
    if fields["lifts"]:
        if fields["corrective"]:
            return "lifts: it is a corrective action or a lifting, not both"
        kind = EntryKind.LIFTED
        if wrong := _wrong_lift(cooks[lot], about):
            return wrong
    return Asked(lot, kind, who, text, about)


def read_move(body: object, view: View) -> Asked | str:
    """Read ``{"lot": ..., "who": ..., "channel": ..., "text": ""}`` of a move."""
    fields = _fields(body, {"lot": str, "who": str, "channel": str, "text": str})
    if isinstance(fields, str):
        return fields
    lot, channel = str(fields["lot"]), str(fields["channel"])
    who, text = _line(fields["who"]), str(fields["text"]).strip()
    houses = {cook.lot: cook.smokehouse for cook in view.cooks if not cook.finished_ms}
    if lot not in houses:
        return f"lot: no lot {lot[:60]!r} goes on here"
    inside = (Role.CORE, Role.MEAT)
    ours = [one for one in view.channels if one.smokehouse == houses[lot]]
    if channel not in [one.name for one in ours if one.role in inside]:
        return f"channel: lot {lot} has no core {channel[:60]!r}"
    if wrong := _wrong_who(who) or (text and _wrong_text(text)):
        return wrong
    if moving.ANOTHER.search(text):
        return "text: which probe is in its place is said by fumarium moved --replaced"
    text = moving.text_of(say_ms(moving.SETTLES_MS), text)
    return Asked(lot, EntryKind.MOVED, who, text, channel)


def read_spots(body: object, view: View) -> Asked | str:
    """Read ``{"lot", "who", "pieces", "instrument", "within", "stage"}``, all text.

    ``pieces`` is as ``fumarium spot-check`` takes it: ``72.1, 71.8 degC``; ``within``
    may be empty where the settings name the thermometer.
    """
    wanted = ("lot", "who", "pieces", "instrument", "within", "stage")
    fields = _fields(body, dict.fromkeys(wanted, str))
    if isinstance(fields, str):
        return fields
    lot, who, pieces, instrument, within, stage = (_line(fields[one]) for one in wanted)
    going_on = [one for one in view.cooks if one.lot == lot and not one.finished_ms]
    if not going_on:
        return f"lot: no lot {lot[:60]!r} goes on here"
    (cook,) = going_on
    if stage not in [one.name for one in cook.stages if one.from_ms]:
        return f"stage: lot {lot} has come to no stage {stage[:60]!r}"
    if wrong := _wrong_who(who):
        return wrong
    try:
        text = by_hand.text_of(
            by_hand.Taken(pieces[:MOST_TEXT], instrument[:MOST_TEXT], within, stage),
            view.thermometers,
            dict(view.schedules).get(lot),
            view.now_ms,
        )
    except by_hand.SetError as error:
        return f"{error.field}: {error}"
    return Asked(lot, EntryKind.SPOT_CHECK, who, text, stage)


WORDS = {int: "a whole number", str: "text", bool: "true or false"}


def _fields(body: object, wanted: Mapping[str, type]) -> dict[str, object] | str:
    if not isinstance(body, dict):
        return f"send an object with {', '.join(wanted)}"
    wrong = [f"{name[:40]!r} is not asked for" for name in body if name not in wanted]
    for name, kind in wanted.items():
        if name not in body:
            wrong.append(f"{name} is missing")
        elif type(body[name]) is not kind:  # true is not a whole number here
            wrong.append(f"{name} is not {WORDS[kind]}")
    return "; ".join(wrong) if wrong else body


def _wrong_lift(cook: CookView, about: str) -> str:
    doubted = [one.stage for one in cook.spots if one.doubts]
    if not doubted:
        return f"lifts: no set by hand leaves anything of lot {cook.lot} unproven"
    if about not in [*doubted, *(one.name for one in cook.limits)]:
        return f"about: a set by hand doubts {', '.join(doubted)}, or name a limit"
    return ""


def _line(text: object) -> str:
    return str(text).strip()


def _wrong_who(who: str) -> str:
    if not 1 <= len(who) <= MOST_WHO or not who.isprintable():
        return f"who: write initials or a name, 1 to {MOST_WHO} letters"
    return ""


def _wrong_text(text: str) -> str:
    if not 1 <= len(text) <= MOST_TEXT:
        return f"text: write 1 to {MOST_TEXT} letters"
    if not all(letter.isprintable() or letter in "\n\t" for letter in text):
        return "text: it holds a letter that cannot be printed"
    return ""
