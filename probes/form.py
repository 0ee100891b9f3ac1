"""What one payload form declares of itself: everything the rest needs to know of it.

A form is one module in ``probes/forms``, and its ``FORM`` is one of these.  Nothing
else names a form: the settings take their words and keys from here, the decoders,
the simulated probes and the tests of all forms too.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from probes.contract import Arrival, Decoded, Probe

Sent = tuple[Probe, int]  # a probe and its value in thousandths
Decoder = Callable[[Sequence[Probe], Arrival], list[Decoded]]
Encoder = Callable[[Sequence[Sent], int], bytes]


@dataclass(frozen=True, slots=True)
class Key:
    """A line of a channel in the settings that only some forms have."""

    word: str
    says: str  # what is unknown without it, to be put after "does not say"
    example: str
    field: str = ""  # of ``Probe``; "" keeps it where ``Probe.own`` finds it
    needed: bool = False
    pattern: str = ""  # that its value must match; "" takes any line of text
    what: str = "a text"  # how a person calls that,
    right: str = ""  # and what to do where it is not

    @property
    def remedy(self) -> str:
        """What to do about a value that does not match, with one that does."""
        return f"{self.right}, for example: {self.example}"


def never(_: object) -> bool:
    """The answer of a form that has no time of its own."""
    return False


@dataclass(frozen=True, slots=True)
class Form:
    """How a message carries its values.

    ``decode`` answers for all probes of this form that listen to the message's topic;
    whatever the bytes are, it answers and does not raise.
    """

    name: str  # as the settings write it
    decode: Decoder
    example: bytes  # of a probe called A7 that the keys' examples describe
    keys: tuple[Key, ...] = ()
    apart: str = ""  # the key that tells a topic's channels apart; "" for one value
    cold: Key | None = None  # where a message says the cold junction, if it can
    encode: Encoder | None = None  # what the simulated probes speak, if they do
    # Whether a message can carry a time of its own for a probe, and whether one look
    # at the bytes shows that all of theirs are absolute: False says nothing.
    timed: Callable[[Probe], bool] = never
    plainly_timed: Callable[[bytes], bool] = never

    def key(self, word: str) -> Key | None:
        """The key of this name; None if the form has none."""
        return next((key for key in self.keys if key.word == word), None)


def pointer_key(
    word: str, says: str, example: str, field: str = "", *, needed: bool = False
) -> Key:
    """A key whose value is a JSON Pointer, which is not the whole document's."""
    return Key(
        word,
        says,
        example,
        field,
        needed,
        pattern=r"(/([^~/]|~[01])*)+",  # RFC 6901, section 3
        what="a JSON Pointer",
        right="begin with a slash (RFC 6901)",
    )
