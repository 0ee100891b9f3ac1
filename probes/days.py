"""The invented day of the demonstration, the tests and the benchmarks."""

from probes.script import (
    MINUTE_MS,
    Around,
    Happening,
    Piece,
    Probe,
    Script,
    Shows,
    Step,
    What,
)


def long_day(begins_ms: int, every_ms: int = 10_000, seed: int = 1) -> Script:
    """An invented cook of about ten hours in which two things go wrong.

    Dry, smoke, cook to a core of 69 degC, ice water to 4 degC, two hours in the
    cooler.  The fire dies two hours in and burns again 40 minutes later; the second
    core's probe is silent for 12 minutes during the smoke.
    """
    names = ("core-1", "core-2", "core-3")
    return Script(
        begins_ms=begins_ms,
        every_ms=every_ms,
        pieces=tuple(
            Piece(name, diameter_m, starts_c, load_kg=10.0, moist=0.12)
            for name, diameter_m, starts_c in zip(
                names, (0.046, 0.050, 0.054), (11.0, 10.5, 10.0), strict=True
            )
        ),
        probes=(
            Probe("chamber", Shows.CHAMBER, lag_s=30.0),
            *(Probe(name, Shows.CORE, name) for name in names),
        ),
        steps=(
            Step("dry", Around.CHAMBER, 55.0, lasts_ms=45 * MINUTE_MS, damper=1.0),
            Step("smoke", Around.CHAMBER, 60.0, lasts_ms=180 * MINUTE_MS),
            Step("cook", Around.CHAMBER, 79.0, until_c=70.2, damper=0.2),
            Step("chill", Around.ICE_BATH, until_c=3.2),
            Step("cooler", Around.COOLER, 2.5, lasts_ms=120 * MINUTE_MS),
        ),
        happenings=(
            Happening(What.FIRE_OUT, 120 * MINUTE_MS, 160 * MINUTE_MS),
            Happening(What.QUIET, 190 * MINUTE_MS, 202 * MINUTE_MS, channel="core-2"),
        ),
        seed=seed,
    )
