"""The script of a simulated day: everything that will happen, as frozen values.

``probes.simulator`` walks through it; a person writes one as YAML, read by
``daemon.script_file``.  Times count from the beginning of the day, or of the step that
a happening names.

Units: ``_c`` degrees Celsius; ``_ms`` milliseconds; ``_s`` seconds; ``_m`` metres;
``_kg`` kilograms; ``_w`` watts; ``_w_k`` watts a kelvin.
"""

from dataclasses import dataclass
from enum import StrEnum

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS


class Around(StrEnum):
    """What surrounds the sausages."""

    CHAMBER = "chamber"
    ICE_BATH = "ice bath"
    COOLER = "cooler"
    ROOM = "room"


class Shows(StrEnum):
    """What a probe is in."""

    CHAMBER = "chamber"
    WET_BULB = "wet-bulb"  # of the chamber, a wick around it
    CORE = "core"
    BATH = "bath"
    COOLER = "cooler"
    AMBIENT = "ambient"


class What(StrEnum):
    """What can happen, to the house or to one probe."""

    DOOR_OPEN = "door open"
    FIRE_OUT = "fire out"  # put out at once, and lit again at the end
    UNFED = "fire unfed"  # nobody adds wood: it burns down, and is lit at the end
    ICE_ADDED = "ice added"
    QUIET = "probe quiet"
    FROZEN = "probe frozen"  # it repeats the last thing it said
    STUCK = "probe stuck"  # it says one value, such as that of its power-on register
    PULLED_OUT = "probe pulled out"  # it hangs in what surrounds its piece
    SWAPPED = "probes swapped"
    TOUCHING = "probe touching"  # it lies against the first piece


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing that happens from one time up to, not including, another."""

    what: What
    from_ms: int
    to_ms: int
    step: str = ""  # whose beginning the times count from
    channel: str = ""
    other: str = ""  # the channel it is swapped with
    shows_c: float = 0.0  # what it is stuck at
    ice_kg: float = 0.0


@dataclass(frozen=True, slots=True)
class Piece:
    """One sausage with a probe in it, which stands for its share of the load."""

    name: str
    diameter_m: float
    starts_c: float
    load_kg: float = 8.0
    conductivity: float = 0.45  # W/(m K)
    diffusivity: float = 1.3e-7  # m2/s
    density: float = 1_040.0  # kg/m3
    moist: float = 0.07  # what of its weight can dry away before its surface is dry
    starts_moist: float = 1.0  # what of that is left when the day begins


@dataclass(frozen=True, slots=True)
class Probe:
    """One probe: where it is, how quickly it follows, and how it says so."""

    channel: str
    shows: Shows
    piece: str = ""
    depth: float = 0.0  # from the axis, as a part of the radius [0 to 1]
    lag_s: float = 12.0
    noise_c: float = 0.06  # largest
    off_c: float = 0.0
    resolution_c: float = 0.01


@dataclass(frozen=True, slots=True)
class Step:
    """One part of the day: where the sausages are, at what, and until when."""

    name: str
    around: Around
    target_c: float = 0.0  # of the fire or of the cooler
    lasts_ms: int = 0
    until_c: float | None = None  # until every core has passed this
    damper: float = 0.5  # how far the flue is open [0 to 1]


@dataclass(frozen=True, slots=True)
class House:
    """The smokehouse: a small insulated cabinet with a wood fire."""

    fire_w: float = 6_000.0  # the most it gives
    embers_s: float = 240.0  # how slowly it follows its draught
    bed_kg: float = 2.0  # wood on the fire when it is tended
    heating_j: float = 7.5e6  # what a kilogram of wood gives the air
    air_j_k: float = 8_000.0  # air, racks and sticks
    walls_j_k: float = 90_000.0
    inside_w_k: float = 70.0  # from the air to the walls
    outside_w_k: float = 16.0  # from the walls to the yard
    flue_kg_s: float = 0.012  # air that goes through with the damper open
    door_kg_s: float = 0.15
    starts_c: float = 18.0
    gusts: float = 0.12  # of the draught, as a part of it


@dataclass(frozen=True, slots=True)
class Bath:
    """The ice bath, filled when the sausages go in."""

    water_kg: float = 60.0
    ice_kg: float = 60.0
    starts_c: float = 4.0
    room_w_k: float = 12.0


@dataclass(frozen=True, slots=True)
class Script:
    """Everything that will happen."""

    begins_ms: int  # since 1970-01-01T00:00:00Z
    every_ms: int
    pieces: tuple[Piece, ...]
    probes: tuple[Probe, ...]
    steps: tuple[Step, ...]
    happenings: tuple[Happening, ...] = ()
    house: House = House()
    bath: Bath = Bath()
    outside_c: float = 8.0
    outside_later_c: float = 8.0  # twelve hours on
    room_c: float = 16.0
    seed: int = 1
