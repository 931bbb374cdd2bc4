"""The shop of a drawn part: what it asks for is put on the list, with usual figures.

Weights, widths and sheets are the usual ones of the trade (common practice, no source); no maker's
product is meant.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tests.corpus.dice import INCH, Dice

FIBRE_G_CM3 = {"carbon": 1.79, "glass": 2.56, "aramid": 1.44}
# weave, fibre, weights in g/m2, faces alike
WOVEN = (
    ("twill", "carbon", (160, 200, 245), True),
    ("plain", "carbon", (93, 160, 200), True),
    ("twill", "glass", (160, 280, 390), True),
    ("plain", "glass", (80, 100, 163, 200), True),
    ("satin", "glass", (296,), False),
    ("biaxial", "glass", (300, 440), False),
    ("biaxial", "carbon", (150, 300), False),
    ("plain", "aramid", (110, 170), True),
)
UNIDIRECTIONAL = (("carbon", (100, 150, 200, 300)), ("glass", (220, 300)))
WIDTHS_MM = (1000, 1250, 1270, 50 * INCH, 38 * INCH, 60 * INCH)
UD_WIDTHS_MM = (300, 500, 600, 12 * INCH, 25 * INCH, 100, 150, 4 * INCH)
SHEETS_MM = {
    (8 * 12 * INCH, 4 * 12 * INCH): 5.0,
    (2440.0, 1220.0): 1.0,
    (1200.0, 1000.0): 1.5,
    (48 * INCH, 24 * INCH): 1.0,
    (1000.0, 600.0): 0.8,
}
# id -> name, role, roll, its length, weight, thickness, resin it takes up
CONSUMABLES = {
    "release-film": ("Release film", "release_film", "1500 mm", "100 m"),
    "breather": ("Breather 150 g/m2", "breather", "1500 mm", "50 m", "150 g/m2", "2 mm"),
    "bag-film": ("Bag film", "bag_film", "2000 mm", "100 m"),
    "flow-mesh": ("Flow mesh", "flow_mesh", "1200 mm", "50 m", "", "", "500 g/m2"),
    "tape": ("Sealant tape", "sealant_tape", "12 mm", "15 m"),
    "hose": ("Hose 10 mm", "hose", "", "25 m"),
    "wax": ("Mould wax", "wax"),
    "cup": ("Mixing cup 500 ml", "mixing_cup"),
}
THICKNESSES_MM = (3, 4, 5, 6, 8, 10, 12, 15)
RODS_MM = ((12, 3), (10, 1.4), (6, 2), (20, 2), (15, 3))


@dataclass(frozen=True)
class Cloth:
    """A cloth of the shop: what a part has to know of it."""

    id: str
    weave: str
    thickness_mm: float
    usable_mm: float


@dataclass(frozen=True)
class Sheet:
    """A core or a block: thickness and sheet."""

    id: str
    thickness_mm: float
    length_mm: float
    width_mm: float


@dataclass(frozen=True)
class Rod:
    id: str
    width_mm: float
    height_mm: float


class Shop:
    """Materials and shelf of one part, filled as the part asks for them."""

    def __init__(self, dice: Dice, infused: bool) -> None:
        self._dice = dice
        self._infused = infused
        self._materials: dict[str, dict] = {
            kind: {} for kind in ("cloths", "cores", "rods", "consumables", "resins", "thickened")
        }
        self._stock: list[dict] = []
        self._sheet_mm = dice.weighted(SHEETS_MM)
        self._prices = dice.chance(0.5)
        self._resin()
        self._films()

    @property
    def small_sheets(self) -> bool:
        """Are the sheets so small that most cores are parted?"""
        return max(self._sheet_mm) < 1300

    # ------------------------------------------------------------ what a part asks for

    def woven(self) -> Cloth:
        """A woven cloth, on the shelf and to be had."""
        weave, fibre, weights, alike = self._dice.one(WOVEN)
        return self._broad(weave, fibre, self._dice.one(weights), alike)

    def veil(self) -> Cloth:
        """A light cloth for the face."""
        return self._broad("plain", "glass", self._dice.one((48, 80)), True)

    def unidirectional(self) -> Cloth:
        """A cloth or tape with all fibres along the roll."""
        dice = self._dice
        fibre, weights = dice.one(UNIDIRECTIONAL)
        weight, width_mm = dice.one(weights), dice.one(UD_WIDTHS_MM)
        share, thickness_mm = self._laid(fibre, weight)
        card = {
            "name": f"{fibre.capitalize()} unidirectional {weight} g/m2",
            "weave": "unidirectional",
            "fibre": fibre,
            "weight": f"{weight} g/m2",
            "fibre_share": share,
            "roll": self._length(width_mm),
            "splice": {
                "join": "butt",
                "stagger": self._length(min(60, 10 * (width_mm // 40))),
                "narrowest": self._length(min(60, 10 * (width_mm // 30))),
            },
            "strain_limit": "0.2 %",
            "resin": "epoxy",
        }
        return self._cloth(f"{fibre}-ud-{weight}", card, "unidirectional", thickness_mm, width_mm)

    def core(self, thickness_mm: float) -> Sheet:
        """The core sheet next to a thickness."""
        dice = self._dice
        thick = min(THICKNESSES_MM, key=lambda t: abs(t - thickness_mm))
        known = f"foam-{thick}"
        if known not in self._materials["cores"]:
            card = {
                "name": f"Foam {thick} mm",
                "thickness": f"{thick} mm",
                "density": f"{dice.one((60, 80, 100))} kg/m3",
                "sheet": [self._foot_or_mm(side) for side in self._sheet_mm],
                "resin_uptake": f"{dice.one((150, 200, 250))} g/m2",
                "least_bend": f"{30 * thick} mm",
            }
            if dice.chance(0.1):
                card["grain"] = True
            self._materials["cores"][known] = card
            self._shelve_sheet(known)
        return Sheet(known, thick, *self._sheet_mm)

    def block(self, thickness_mm: float) -> Sheet:
        """Plywood of the thickness of a core, for hardpoints."""
        known = f"ply-{thickness_mm:g}"
        if known not in self._materials["cores"]:
            self._materials["cores"][known] = {
                "name": f"Birch plywood {thickness_mm:g} mm",
                "use": "insert",
                "thickness": f"{thickness_mm:g} mm",
                "density": "680 kg/m3",
                "sheet": ["1200 mm", "600 mm"],
                "grain": True,
                "resin_uptake": "120 g/m2",
            }
            self._stock.append(
                {"id": f"BIRCH{thickness_mm:g}", "sheet": known, "quantity": "as needed"}
            )
        return Sheet(known, thickness_mm, 1200.0, 600.0)

    def rod(self) -> Rod:
        """A pultruded strip."""
        width, height = self._dice.one(RODS_MM)
        known = f"strip-{width}x{height}"
        if known not in self._materials["rods"]:
            self._materials["rods"][known] = {
                "name": f"Pultruded strip {width} x {height}",
                "width": f"{width} mm",
                "height": f"{height} mm",
                "density": "1.55 g/cm3",
                "supply": ["100 m"],
                "least_bend": f"{150 * height:g} mm",
            }
            self._stock.append(
                {"id": "STRIP", "bar": known, "length": "100 m", "quantity": "as needed"}
            )
        return Rod(known, width, height)

    def tree(self) -> dict:
        """The file of materials and shelf."""
        dice = self._dice
        materials = {kind: cards for kind, cards in self._materials.items() if cards}
        made = {
            "plybook": 1,
            "units": dice.units,
            "materials": materials,
            "stock": self._stock,
            "workshop": {
                "room": f"{dice.one((18, 20, 21, 23))} C",
                "wetting": dice.one((1.5, 2, 2.5)),
                "people": dice.one((1, 2)),
                "table": dice.one(("1800 mm", "2400 mm", "8 ft", "3 m", "6 m")),
                "paper": "letter" if dice.inches else "a4",
            },
        }
        if dice.chance(0.5):
            made["cutting"] = {
                "knife_gap": f"{dice.one((3, 4, 5))} mm",
                "sheet_gap": "4 mm",
                "saw_kerf": "2 mm",
            }
        return made

    # ------------------------------------------------------------ how it is made up

    def _broad(self, weave: str, fibre: str, weight: int, alike: bool) -> Cloth:
        dice = self._dice
        width_mm = dice.one(WIDTHS_MM)
        selvedge_mm = dice.one((0, 0.5, 1)) * (20 if float(width_mm).is_integer() else INCH)
        usable_mm = width_mm - selvedge_mm
        share, thickness_mm = self._laid(fibre, weight)
        card = {
            "name": f"{fibre.capitalize()} {weave} {weight} g/m2",
            "weave": weave,
            "fibre": fibre,
            "weight": f"{weight} g/m2",
            "fibre_share": share,
            "roll": self._length(width_mm),
            "usable": self._length(usable_mm),
            "splice": self._splice(thickness_mm, usable_mm),
            "resin": "epoxy",
        }
        if alike:
            card["faces_alike"] = True
            if weave != "satin" and dice.chance(0.7):
                card["axes_alike"] = True
        return self._cloth(f"{fibre}-{weave}-{weight}", card, weave, thickness_mm, usable_mm)

    def _cloth(self, known, card, weave, thickness_mm, usable_mm) -> Cloth:
        if known in self._materials["cloths"]:
            known += "b"
        if self._prices:
            card["price"] = self._dice.one((6, 9, 14, 29, 38))
        self._materials["cloths"][known] = card
        number = len(self._materials["cloths"])
        roll = {"roll": known, "length": self._dice.one(("25 m", "50 m", "100 m"))}
        if self._dice.chance(0.4):
            self._stock.append(
                {
                    "id": f"R{number}-OLD",
                    "roll": known,
                    "received": "2026-02-11",
                    "length": f"{self._dice.one((6, 11.5, 18, 42))} m",
                }
            )
        self._stock.append({"id": f"R{number}", **roll, "quantity": "as needed"})
        return Cloth(known, weave, thickness_mm, usable_mm)

    def _shelve_sheet(self, known: str) -> None:
        dice, number = self._dice, len(self._stock)
        if dice.chance(0.3):
            self._stock.append(
                {
                    "id": f"S{number}-R",
                    "sheet": known,
                    "received": "2025-09-30",
                    "outline": self._remnant(),
                }
            )
        if dice.chance(0.2):
            self._stock.append({"id": f"S{number}-2", "sheet": known, "quantity": 2})
        self._stock.append({"id": f"S{number}", "sheet": known, "quantity": "as needed"})

    def _remnant(self) -> list[list]:
        """What is left of a sheet of which a corner was cut off."""
        wide, high = (share * side for share, side in zip((0.45, 0.5), self._sheet_mm, strict=True))
        ring = [(0, 0), (wide, 0), (wide, 0.7 * high), (0.55 * wide, high), (0, high)]
        return [[self._length(round(x)), self._length(round(y))] for x, y in ring]

    def _laid(self, fibre: str, weight_g_m2: float) -> tuple[float, float]:
        """Fibre share by volume and cured thickness of one ply in mm."""
        low, high = (0.48, 0.54) if self._infused else (0.36, 0.46)
        share = round(self._dice.uniform(low, high), 2)
        return share, weight_g_m2 / (1000 * FIBRE_G_CM3[fibre] * share)

    def _splice(self, thickness_mm: float, usable_mm: float) -> dict:
        dice = self._dice
        least = 100 * thickness_mm  # the usual rule for overlaps
        overlap = max(dice.one((20, 25, 30, 40)), 5 * math.ceil(least / 5))
        join = "butt" if dice.chance(0.2) else f"overlap {overlap} mm"
        return {
            "join": join,
            "stagger": f"{dice.one((50, 60, 80, 110))} mm",
            "narrowest": f"{dice.one((80, 100, 120, 150))} mm",
        }

    def _films(self) -> None:
        films = self._materials["consumables"]
        films["peel"] = {
            "name": "Peel ply",
            "role": "peel_ply",
            "roll": "1500 mm",
            "weight": "85 g/m2",
            "thickness": "0.1 mm",
            "resin_uptake": "80 g/m2",
            "roll_length": "100 m",
        }
        self._stock.append({"id": "PEEL", "roll": "peel", "quantity": "as needed"})
        if self._infused or self._dice.chance(0.6):
            for known, (name, role, *figures) in CONSUMABLES.items():
                keys = ("roll", "roll_length", "weight", "thickness", "resin_uptake")
                said = zip(keys, figures, strict=False)
                films[known] = {"name": name, "role": role} | {k: v for k, v in said if v}

    def _resin(self) -> None:
        dice = self._dice
        pot, batch, cure = (40, 300, 12) if dice.chance(0.3) else (90, 400, 16)
        self._materials["resins"]["epoxy"] = {
            "name": "Laminating epoxy",
            "mix": {"resin": 100, "hardener": dice.one((25, 27, 30, 38))},
            "density": f"{dice.one((1.1, 1.12, 1.13, 1.15))} g/cm3",
            "pot_life": {"time": f"{pot} min", "mass": "100 g", "at": "25 C"},
            "largest_batch": f"{batch} g",
            "cure": f"{cure} h",
        }
        self._materials["thickened"]["paste"] = {
            "name": "Core paste",
            "resin": "epoxy",
            "filler": "glass bubbles",
            "filler_to_resin": 2,
            "filler_density": "0.15 g/cm3",
            "coat": f"{dice.one((300, 400, 500))} g/m2",
        }

    def _length(self, mm: float) -> float | int | str:
        """A bare number of the file's unit where it is a round one, else with its own."""
        inches = round(mm / INCH, 4)
        if self._dice.inches:
            return inches if float(inches * 4).is_integer() else f"{mm:g} mm"
        return f"{inches:g} in" if not float(mm).is_integer() else int(mm)

    def _foot_or_mm(self, mm: float) -> str:
        feet = mm / (12 * INCH)
        return f"{feet:g} ft" if abs(feet - round(feet)) < 1e-9 else f"{mm:g} mm"
