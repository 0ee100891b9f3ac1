"""The surroundings of the sausages: chamber with its fire, ice bath, cooler.

The chamber is air and walls, each of one temperature; a fire whose draught is tended
towards a target, that burns its wood and can run out of it; a flue and a door through
which air comes in from the yard.  The air carries the water that the sausages and the
wood give, so that its wet bulb is known.  The bath is water and ice that melts in it.

Every part walks in steps of a few seconds, exactly for what is around it held still.

Units: as in ``probes.script``.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from probes.humid_air import saturated, wet_bulb_c
from probes.script import Bath, House

AIR_J = 1_006.0  # heat of a kilogram of air, a kelvin
WATER_J = 4_186.0
MELTING_J = 334_000.0
ICE_W_K_KG = 70.0  # how fast a kilogram of crushed ice takes heat from stirred water
AIR_KG = 2.5
WOOD_WATER = 0.6  # water that a kilogram of wood gives when it burns
LEAST_DRAUGHT = 0.05
DRAUGHT_K = 0.12  # more draught for each kelvin that is missing
DRAUGHT_S = 900.0  # and how soon a difference that stays is made good
BREATHS_S = 90.0  # how long a gust lasts


@dataclass(slots=True)
class Load:
    """What the sausages do to the air during one step."""

    conductance_w_k: float = 0.0
    surface_w: float = 0.0  # conductance times surface temperature, or heat alone
    water_kg_s: float = 0.0


class Chamber:
    """The chamber as it is now."""

    def __init__(
        self, house: House, outside_c: float, chance: Callable[[], float]
    ) -> None:
        """A chamber that has stood cold, its fire laid and not yet burning."""
        self.house = house
        self.chance = chance
        self.air_c = self.walls_c = house.starts_c
        self.outside_ratio = 0.7 * saturated(outside_c)
        self.ratio = self.outside_ratio
        self.wet_c = wet_bulb_c(self.air_c, self.ratio, self.air_c)
        self.fire_w = 0.0
        self.fuel_kg = house.bed_kg
        self.missing = 0.0  # what the draught has learned of a lasting difference
        self.gust = 0.0

    def step(
        self,
        step_s: float,
        target_c: float | None,
        outside_c: float,
        load: Load,
        *,
        damper: float = 0.5,
        door: bool = False,
        fed: bool = True,
        burning: bool = True,
    ) -> None:
        """Let one step pass; without a target nobody tends the fire."""
        house = self.house
        burnt_kg_s = self._burn(step_s, target_c, fed=fed, burning=burning)
        flow = house.flue_kg_s * (0.1 + 0.9 * damper) + house.door_kg_s * door
        conductance = house.inside_w_k + flow * AIR_J + load.conductance_w_k
        heat_w = house.inside_w_k * self.walls_c + flow * AIR_J * outside_c
        heat_w += load.surface_w + self.fire_w
        self.air_c = nearer(
            self.air_c, heat_w / conductance, step_s * conductance / house.air_j_k
        )
        conductance = house.inside_w_k + house.outside_w_k
        heat_w = house.inside_w_k * self.air_c + house.outside_w_k * outside_c
        self.walls_c = nearer(
            self.walls_c, heat_w / conductance, step_s * conductance / house.walls_j_k
        )
        water = load.water_kg_s + WOOD_WATER * burnt_kg_s
        ratio = self.outside_ratio + water / flow
        self.ratio = nearer(self.ratio, ratio, step_s * flow / AIR_KG)
        self.ratio = min(self.ratio, saturated(min(self.air_c, 95.0)))
        self.wet_c = wet_bulb_c(self.air_c, self.ratio, self.wet_c)

    def _burn(
        self, step_s: float, target_c: float | None, *, fed: bool, burning: bool
    ) -> float:
        """Let the fire follow its draught; answer the wood it burns a second."""
        house = self.house
        self.gust = nearer(self.gust, 0.0, step_s / BREATHS_S)
        self.gust += house.gusts * self.chance() * math.sqrt(step_s / BREATHS_S)
        draught = 0.0
        if target_c is not None and burning:
            off_c = target_c - self.air_c
            draught = DRAUGHT_K * off_c + self.missing
            if LEAST_DRAUGHT < draught < 1.0:
                self.missing += DRAUGHT_K * off_c * step_s / DRAUGHT_S
            draught = min(max(draught, LEAST_DRAUGHT), 1.0) * (1 + self.gust)
            if fed:
                self.fuel_kg = house.bed_kg
        bed = min(1.0, 3 * self.fuel_kg / house.bed_kg)  # a low bed gives less
        self.fire_w = nearer(
            self.fire_w, max(draught, 0.0) * bed * house.fire_w, step_s / house.embers_s
        )
        burnt_kg = min(self.fuel_kg, self.fire_w * step_s / house.heating_j)
        self.fuel_kg -= burnt_kg
        return burnt_kg / step_s


class IceBath:
    """The bath as it is now."""

    def __init__(self, bath: Bath) -> None:
        """A bath just filled."""
        self.bath = bath
        self.water_kg, self.ice_kg = bath.water_kg, bath.ice_kg
        self.water_c = bath.starts_c

    def step(self, step_s: float, room_c: float, load: Load) -> None:
        """Let one step pass in which the sausages and the room warm it."""
        melting_w_k = ICE_W_K_KG * self.ice_kg
        heat_w = load.surface_w + self.bath.room_w_k * room_c
        conductance = load.conductance_w_k + self.bath.room_w_k + melting_w_k
        capacity = self.water_kg * WATER_J
        before_c = self.water_c
        self.water_c = nearer(
            before_c, heat_w / conductance, step_s * conductance / capacity
        )
        middle_c = (before_c + self.water_c) / 2
        melted_kg = min(self.ice_kg, melting_w_k * middle_c * step_s / MELTING_J)
        self.ice_kg -= melted_kg
        self.water_c *= self.water_kg / (self.water_kg + melted_kg)
        self.water_kg += melted_kg


def cooler_c(target_c: float, at_ms: int) -> float:
    """The air of a cooler, which its compressor lets swing by half a degree."""
    return target_c + 0.5 * math.sin(2 * math.pi * at_ms / (22 * 60_000))


def nearer(from_c: float, to_c: float, constants: float) -> float:
    """What is left of a difference after so many time constants, exactly."""
    return to_c + (from_c - to_c) * math.exp(-constants)
