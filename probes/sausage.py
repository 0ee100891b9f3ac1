"""One sausage: heat inside by the cylinder's series, a surface that is wet, then dries.

A wet surface is driven by the wet bulb of its air, a dry one by the dry bulb.  Once
most of the water that comes to the surface is gone, it stands between the two, in
proportion to what is left (the falling-rate period of drying).  That holds a core back
for hours in a steady chamber.  The film is the same, wet or dry.

Units: as in ``probes.script``; films in W/(m2 K).
"""

from probes.cylinder import Cylinder
from probes.humid_air import LATENT_J
from probes.script import Around, Piece

# Moving air in a cabinet 10 to 30, still air less, stirred water some hundreds:
# common practice, no source.
FILMS = {
    Around.CHAMBER: 20.0,
    Around.ICE_BATH: 350.0,
    Around.COOLER: 14.0,
    Around.ROOM: 8.0,
}
FALLING = 0.3  # of the water: below this the surface begins to dry


class Sausage:
    """One piece as it is now; all pieces of its share of the load are like it."""

    def __init__(self, piece: Piece) -> None:
        """A piece of one temperature, with the water it begins with."""
        radius_m = piece.diameter_m / 2
        self.piece = piece
        self.cylinder = Cylinder(
            radius_m, piece.conductivity, piece.diffusivity, piece.starts_c
        )
        self.area_m2 = 2 * piece.load_kg / (piece.density * radius_m)
        self.most_kg = piece.load_kg * piece.moist
        self.water_kg = self.most_kg * piece.starts_moist
        self.around: Around | None = None
        self.water_kg_s = 0.0  # what it gave its air in the last step
        self.given_w = 0.0  # and its bath, of heat
        self.heat_j_k = piece.load_kg * piece.conductivity / piece.diffusivity
        self.heat_j_k /= piece.density

    @property
    def wetness(self) -> float:
        """How wet its surface is [0 to 1]."""
        if not self.most_kg:
            return 0.0
        return min(1.0, self.water_kg / self.most_kg / FALLING)

    def driven_by(self, around: Around, dry_c: float, wet_c: float) -> float:
        """The temperature towards which its surface is drawn."""
        if around is not Around.CHAMBER:
            return dry_c
        return dry_c - self.wetness * (dry_c - wet_c)

    def step(self, around: Around, dry_c: float, wet_c: float, step_s: float) -> None:
        """Let one step pass, at the end of which its surroundings are at this."""
        drives_c = self.driven_by(around, dry_c, wet_c)
        film = FILMS[around]
        before_c = self.cylinder.mean_c()
        if around is not self.around:
            self.cylinder.placed(film, drives_c, step_s)
            self.around = around
        self.cylinder.step(drives_c)
        cooled_c = before_c - self.cylinder.mean_c()
        self.given_w = self.heat_j_k * cooled_c / step_s
        self.water_kg_s = 0.0
        if around is Around.CHAMBER:
            heat_w = self.wetness * film * self.area_m2 * (dry_c - wet_c)
            self.water_kg_s = heat_w / LATENT_J
            self.water_kg = max(0.0, self.water_kg - self.water_kg_s * step_s)

    def conductance_w_k(self, around: Around) -> float:
        """How much heat goes through the film of all its share, a kelvin."""
        return FILMS[around] * self.area_m2
