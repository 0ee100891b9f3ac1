"""Limit: food that is reheated for hot holding is hot enough in time.

One published option says how hot, for how long, and within which time: see
``rules.reach`` for how the clock runs.  It runs from the beginning of the first stage
that the limit is judged in, or, where its author wants it stricter, since leaving the
cold: the Food Code counts the time above 41 degF.
"""

from functools import cached_property
from typing import Annotated, Literal

from pydantic import Field

from rules.limit import listed
from rules.reach import Asked, Reaching
from rules.standards.reheating import REHEATING_OPTIONS, ReheatingOption


class ReheatingLimit(Reaching):
    """One published reheating option."""

    kind: Literal["reheating"]
    name_of_option: Annotated[str, listed(REHEATING_OPTIONS, "reheating option")] = (
        Field(alias="option")
    )

    @property
    def option(self) -> ReheatingOption:
        """The option, as published."""
        return REHEATING_OPTIONS[self.name_of_option]

    @property
    def sources(self) -> str:
        """The option's own source and note, and the author's."""
        parts = (self.source, self.option.source, self.option.note)
        return "; ".join(part for part in parts if part)

    @cached_property
    def asked(self) -> Asked:
        """The option's figures."""
        option = self.option
        return Asked(True, self._degree(option.to_mc), option.run_ms, option.at_most_ms)
