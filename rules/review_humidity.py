"""What a reviewer asks of a humidity limit, and no rule of the file forbids.

Source: FSIS-GD-2021-14 (December 2021), relative humidity options 1 to 4; table 5,
gap 5.
"""

from collections.abc import Iterator

from rules.humidity import HumidityLimit
from rules.schedule import Schedule
from rules.stages import Way
from rules.standards.humidity import ENDPOINT_MC, Shown


def asked(schedule: Schedule, limit: HumidityLimit) -> Iterator[tuple[str, str]]:
    """What is found, and what would be right, of one limit."""
    if limit.option.shown_by is Shown.SEALED and dried(schedule):
        found = "a sealed oven shows nothing where the product is dried first"
        yield found, "take the option of 90 %RH, or live steam"
    if limit.by_people and not _hot_enough(schedule):
        found = "this option is for an end point of 145 degF or more, and no stage"
        yield f"{found} ends there", "end a stage: when every core rises to 145 degF"
    if limit.whole and 0 in schedule.during(limit):
        found = "nothing is heard before its first stage, so this cannot be proven"
        yield found, "name a stage before loading, and begin this after it"


def dried(schedule: Schedule) -> bool:
    """Whether a stage is called after drying: then no casing exempts it."""
    return any("dry" in one.name.lower() for one in schedule.stages)


def _hot_enough(schedule: Schedule) -> bool:
    return any(
        way is Way.RISES and stage.ends.mc >= ENDPOINT_MC
        for stage, way in zip(schedule.stages, schedule.ways, strict=True)
    )
