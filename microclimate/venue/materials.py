"""Tables of materials, each number with its source beside it.

Root zone: porosity, water and heat. Stands: what the sun, the sky and the eye of a radiometer see. A value is a
default: the venue file may give its own.
"""

from dataclasses import dataclass
from typing import Any, Literal


@dataclass(frozen=True)
class GroundMaterial:
    """One root-zone material. Heat capacity is that of the solids; water is added by the column."""

    porosity: float  # [m3 m-3]
    water_content: float  # [m3 m-3] some days after rain
    quartz: float  # [1] share of the solids
    dry_density: float  # [kg m-3]
    solid_heat_capacity: float  # [J m-3 K-1] of the solids alone
    coarse: bool
    conductivity: float | None = None  # [W m-1 K-1] fixed, for what is no soil

    def defaults(self) -> dict[str, Any]:
        """As keys of a layer."""
        return dict(vars(self))


_MINERAL = 2.0e6  # [J m-3 K-1] soil minerals, de Vries 1963 in van Wijk, Physics of Plant Environment (from memory)
_ORGANIC = 2.5e6  # [J m-3 K-1] organic matter, same

GROUND: dict[str, GroundMaterial] = {
    # porosity and water: sand root zones hold 35..55 % pores, 15..25 % capillary (United States Golf Association 2018);
    # water 0.12..0.19 is the middle class of a sand-field study (Crop Science 2018). Quartz 0.9, density: from memory
    "sand mix": GroundMaterial(0.42, 0.15, 0.90, 1540.0, _MINERAL, True),
    # clean stone: porosity 0.40, drained water 0.03, quartz 0.5, density 1600: from memory
    "gravel": GroundMaterial(0.40, 0.03, 0.50, 1600.0, _MINERAL, True),
    # thatch and mat: conductivity 0.15..0.4 W/mK, porosity 0.8: from memory; 0.25 taken
    "thatch": GroundMaterial(0.80, 0.25, 0.05, 300.0, _ORGANIC, False, 0.25),
    # loam and clay loam: porosity and quartz of Cosby et al. 1984 / Peters-Lidard et al. 1998 tables (from memory:
    # loam 0.439 and 0.40, clay loam 0.465 and 0.35); water near field capacity, from memory
    "loam": GroundMaterial(0.44, 0.27, 0.40, 1500.0, _MINERAL, False),
    "clay loam": GroundMaterial(0.465, 0.32, 0.35, 1430.0, _MINERAL, False),
    # concrete 2000..2400 kg/m3: 1.6 W/mK, 2.0 MJ/m3K (ISO 10456 table of design values, from memory)
    "concrete": GroundMaterial(0.0, 0.0, 0.0, 2300.0, 2.0e6, False, 1.6),
    # asphalt 0.7 W/mK, 2100 kg/m3, 1000 J/kgK (ISO 10456, from memory)
    "asphalt": GroundMaterial(0.0, 0.0, 0.0, 2100.0, 2.1e6, False, 0.7),
    # drain mat or geotextile, mostly air and plastic: 0.10 W/mK, 0.3 MJ/m3K of bulk: from memory
    "mat": GroundMaterial(0.0, 0.0, 0.0, 200.0, 3.0e5, False, 0.10),
    # floor of a tray, solid polyethylene or polypropylene: 0.4 W/mK, 950 kg/m3, 1900 J/kgK (ISO 10456, from memory)
    "tray floor": GroundMaterial(0.0, 0.0, 0.0, 950.0, 1.8e6, False, 0.40),
    # rigid foam board: 0.035 W/mK, 35 kg/m3, 1450 J/kgK (ISO 10456, from memory)
    "board": GroundMaterial(0.0, 0.0, 0.0, 35.0, 5.1e4, False, 0.035),
    # still air layer of some 20..50 mm, radiation included: R about 0.18 m2K/W (ISO 6946, from memory)
    "still air": GroundMaterial(0.0, 0.0, 0.0, 10.0, 1.3e4, False, 0.20),
}


@dataclass(frozen=True)
class StandMaterial:
    """One surface of the stands. Emissivity is its own number, never 1 - albedo."""

    albedo: float  # [1] shortwave
    emissivity: float  # [1] longwave
    specular: float  # [1] share of the reflected shortwave that is mirror-like
    roughness: float  # [1] width of that lobe (0 mirror, .2 wide)
    thermal: Literal["plank", "slab"]
    heat_capacity: float  # [J m-2 K-1] plank: of the sheet; slab: of its whole thickness
    thickness: float  # [m]
    conductivity: float  # [W m-1 K-1]


# Metal planks: 4 mm sheet, 9.7 kJ/m2K (2.43 MJ/m3K, handbook). Specular shares and roughness are rarely known: from
# memory, to be read with a wide range. Emissivity: polished .04-.06, commercial sheet .09, oxidised .2-.4, anodised
# .834-.856, lacquered .92-.94, concrete .92-.97 (handbook tables; Lawrence Berkeley Laboratory report on anodised
# aluminium). Albedo: mill finish .87 measured on clean sheet (Penney et al.), weathered .5-.75 from memory, white
# paint .75, concrete .14-.29 (Adv. Mater. Sci. Eng. 2012:523051, table 3), up to .55 new.
STANDS: dict[str, StandMaterial] = {
    "bare aluminium": StandMaterial(0.65, 0.15, 0.5, 0.20, "plank", 9.7e3, 0.004, 200.0),
    "weathered aluminium": StandMaterial(0.55, 0.30, 0.3, 0.30, "plank", 9.7e3, 0.004, 200.0),
    "anodised aluminium": StandMaterial(0.60, 0.84, 0.3, 0.25, "plank", 9.7e3, 0.004, 200.0),
    "painted metal": StandMaterial(0.45, 0.92, 0.0, 0.0, "plank", 9.7e3, 0.004, 50.0),
    # plastic seats on a deck: 5 mm, 1.8 MJ/m3K; albedo .3 mid colour, emissivity .92: from memory
    "plastic": StandMaterial(0.30, 0.92, 0.0, 0.0, "plank", 9.0e3, 0.005, 0.25),
    # wood bench 40 mm: 0.9 MJ/m3K, .14 W/mK, albedo .35, emissivity .90: from memory (handbook)
    "wood": StandMaterial(0.35, 0.90, 0.0, 0.0, "plank", 3.6e4, 0.040, 0.14),
    # concrete steps 150 mm, 1.6 W/mK, 2.0 MJ/m3K: from memory
    "concrete": StandMaterial(0.30, 0.94, 0.0, 0.0, "slab", 3.0e5, 0.150, 1.6),
    # grass bank: albedo .21 (same table), emissivity .97
    "grass bank": StandMaterial(0.21, 0.97, 0.0, 0.0, "slab", 3.6e5, 0.150, 1.2),
}
