"""Limit: a channel is held at or above, or at or below, one temperature.

It is a band with one end: see ``rules.band`` for how an excursion is counted.
"""

from typing import Literal

from pydantic import Field, model_validator

from rules.band import Bounded
from rules.units import Temperature, refused


class HoldLimit(Bounded):
    """At or above one temperature, or at or below one."""

    kind: Literal["hold"]
    at_or_above_mc: Temperature | None = Field(default=None, alias="at or above")
    at_or_below_mc: Temperature | None = Field(default=None, alias="at or below")

    @model_validator(mode="after")
    def _one_end(self) -> "HoldLimit":
        if (self.at_or_above_mc is None) == (self.at_or_below_mc is None):
            right = "write either 'at or above' or 'at or below' with a temperature"
            raise refused("a hold has one end", right)
        return self

    @property
    def bounds(self) -> tuple[int | None, int | None]:
        """The one end."""
        return self.at_or_above_mc, self.at_or_below_mc
