"""What is remembered of a cook, as JSON can hold it, and back.

A state is a tuple of named parts: whole numbers, truth values, texts, words of a
``StrEnum`` and further tuples.  Each becomes a list in the order of its parts, and is
read back by the types that the parts declare.  Only the state of a limit stands where
no type is declared, since the engine names no kind of limit; it is kept beside the
word that ``STATES`` has for it.
"""

from enum import StrEnum
from functools import lru_cache
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

from rules import (
    band,
    cooling,
    dwell,
    humidity,
    integrated,
    predicted,
    rate,
    reach,
    time_between,
)

T = TypeVar("T")

Kept = None | bool | int | str | list["Kept"]

STATES: dict[str, type[Any]] = {
    "band": band.State,
    "cooling": cooling.State,
    "dwell": dwell.State,
    "humidity": humidity.State,
    "integrated": integrated.State,
    "predicted": predicted.State,
    "rate": rate.State,
    "reach": reach.State,
    "time between": time_between.State,
}
WORDS = {state: word for word, state in STATES.items()}


def dump(state: object) -> Kept:
    """The state as lists, numbers, truth values and texts.

    Raises:
        TypeError: Something in it is no part of a state.
    """
    if isinstance(state, tuple):
        hints = _hints(type(state))
        return [
            _kept_limit(part) if hints[i : i + 1] == (Any,) else dump(part)
            for i, part in enumerate(state)
        ]
    if isinstance(state, StrEnum):
        return str(state)
    if isinstance(state, bool | int | str):
        return state
    raise TypeError(f"{state!r} is no part of a state")


def load(kind: type[T], kept: Kept) -> T:
    """The state of this kind that ``dump`` gave as ``kept``.

    Raises:
        TypeError: ``kept`` is of another shape.
        ValueError: A word or the number of parts is not the right one.
    """
    found: T = _loaded(kind, kept)
    return found


@lru_cache
def _hints(kind: type[Any]) -> tuple[Any, ...]:
    """What the parts of a state declare; nothing for a tuple without names."""
    return tuple(get_type_hints(kind).values()) if hasattr(kind, "_fields") else ()


def _kept_limit(state: object) -> Kept:
    return None if state is None else [WORDS[type(state)], dump(state)]


def _loaded(hint: Any, kept: Kept) -> Any:
    if hint is Any:
        return _loaded_limit(kept)
    if isinstance(hint, type) and issubclass(hint, StrEnum):
        return hint(str(kept))
    if get_origin(hint) is tuple and isinstance(kept, list):
        return tuple(_loaded(get_args(hint)[0], one) for one in kept)
    if hasattr(hint, "_fields") and isinstance(kept, list):
        parts = zip(_hints(hint), kept, strict=True)
        return hint(*(_loaded(part, one) for part, one in parts))
    if type(kept) is not hint:
        raise TypeError(f"{kept!r} is not of {hint}")
    return kept


def _loaded_limit(kept: Kept) -> Any:
    if kept is None:
        return None
    if not isinstance(kept, list) or len(kept) != 2 or kept[0] not in STATES:
        raise TypeError(f"{kept!r} is no state of a limit")
    return _loaded(STATES[str(kept[0])], kept[1])
