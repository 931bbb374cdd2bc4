"""What materials are called: plan.json has them by id, printed words by name.

The quantities of plan.json tell names with areas, so a name belongs to the material whose pieces
have that area; where they tell none, a material is at least called the same everywhere in a file.
"""

from __future__ import annotations

import re

from plybook.verify.printed import pattern, same, squeeze
from plybook.verify.tolerances import ROUNDED_M2

_AS_CUT = re.compile(r"(?:area of )?(\d+) pieces? as cut")


class Names:
    """The names that each material of a plan may have."""

    def __init__(self, plan: dict) -> None:
        self._may: dict[str, list[str]] = {}
        self._told: dict[str, list[str]] = {}
        self._owners: dict[str, set[str]] = {}
        for material in {piece["material"] for piece in plan["pieces"]}:
            own = [piece for piece in plan["pieces"] if piece["material"] == material]
            group = plan["materials"].get(material, {}).get("kind", "")
            self._may[material] = _names(own, plan["quantities"].get(group, []))
            for name in self._may[material]:
                self._owners.setdefault(squeeze(name), set()).add(material)

    def fits(self, material: str, *said: str) -> bool:
        """Whether printed words, in one of their readings, are a name of the material, or how it
        was called before."""
        known = self._may.get(material, [])
        if known:
            return any(same(words, name) for words in said for name in known)
        before = self._told.setdefault(material, list(said))
        still = [name for name in before if any(same(w, name) or same(name, w) for w in said)]
        self._told[material] = still or before
        return bool(still)

    def another(self, material: str, said: str) -> bool:
        """Whether printed words are the name of some other material alone."""
        owners = self._owners.get(squeeze(said), ())
        return bool(owners) and material not in owners

    def expression(self, material: str) -> str:
        """A name of the material among squeezed words, as a regular expression; an ellipsis may
        stand for its end."""
        known = self._may.get(material, [])
        if not known:
            return ".+?"
        return "|".join(pattern(squeeze(name)).pattern for name in known)


def _names(pieces: list[dict], rows: list[dict]) -> list[str]:
    """Names told with the number and the area of these pieces; of rods with the number alone."""
    count = sum(piece["quantity"] for piece in pieces)
    area = sum(piece["area_mm2"] * piece["quantity"] for piece in pieces) / 1e6
    found = []
    for row in rows:
        told = _AS_CUT.fullmatch(row["detail"])
        good = told is not None and int(told[1]) == count
        if good and (row["unit"] == "m" or abs(row["amount"] - area) <= ROUNDED_M2):
            found.append(row["item"])
    return found
