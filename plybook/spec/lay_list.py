"""The layers of a part while they are read: what is laid so far and what it is called."""

from __future__ import annotations

from collections.abc import Mapping

from plybook.diagnostics import Place
from plybook.spec.collect import Collector
from plybook.spec.model import (
    Cloth,
    Consumable,
    CoreStock,
    CutOut,
    Layer,
    Materials,
    Region,
    RodStock,
)
from plybook.spec.mould import point_ref
from plybook.spec.regions import RegionReader


class LayList:
    """Layers read so far.

    Attributes:
        layers: from the mould face up; stages are filled in later.
        members: id of a ply, group or run -> ids of the layers it stands for.
        lost: ids of layers something is wrong with; naming them elsewhere is no second mistake.
        named: (layer, layer its region names, where).
        cut_outs: (core, the hole an insert leaves in it).
        keep_clear: regions no ply of the part is spliced in.
    """

    def __init__(
        self, materials: Materials, regions: RegionReader, core_bevel_deg: float, out: Collector
    ):
        self.materials, self.regions, self.out = materials, regions, out
        self.core_bevel_deg = core_bevel_deg
        self.layers: list[Layer] = []
        self.members: dict[str, tuple[str, ...]] = {}
        self.lost: list[str] = []
        self.named: list[tuple[str, str, Place]] = []
        self.cut_outs: list[tuple[str, CutOut]] = []
        self.keep_clear: tuple[Region, ...] = ()
        self.places: dict[str, Place] = {}
        self.removed_after: list[tuple[str, str, Place]] = []

    def add(self, name: str, layers: list, place: Place) -> None:
        """Keep layers under one name; a finding where one of the names is taken."""
        names = list(dict.fromkeys((name, *(layer.id for layer in layers))))
        for one in names:
            taken = self.places.get(one.casefold())
            if taken is not None:
                self.out.error(
                    "duplicate-id",
                    f"`{one}` is the id of two layers (capitals make no difference)",
                    "give one of them another id",
                    place,
                    taken,
                    layers=(one,),
                )
                return
        for one in names:
            self.places[one.casefold()] = place
        self.members[name] = tuple(layer.id for layer in layers)
        for layer in layers:
            self.members.setdefault(layer.id, (layer.id,))
        self.layers.extend(layers)

    def knows(self, name: str) -> bool:
        """Whether a name stands for layers, also for layers that could not be made."""
        return name in self.members or any(name.startswith(stem) for stem in self.lost)

    def point(self, written, owner, *path):
        """A written point as a point of this face."""
        return point_ref(written, self.regions.lofted, owner.place_of(*path), self.out)

    def unknown_material(self, what: str, name: str, right: dict, place: Place) -> None:
        """A material that is not defined, or is of another kind."""
        kinds: dict[str, Mapping[str, Cloth | CoreStock | RodStock | Consumable]] = {
            "cloth": self.materials.cloths,
            "core material": self.materials.cores,
            "rod": self.materials.rods,
            "consumable": self.materials.consumables,
        }
        for other, shelf in kinds.items():
            if name in shelf and shelf is not right:
                self.out.error(
                    "wrong-material",
                    f"`{name}` is a {other}, expected a {what}",
                    f"defined: {', '.join(right) or 'none'}",
                    place,
                    shelf[name].place,
                )
                return
        self.out.unknown(what, name, right, place)


def names_of(stem: str, count: int) -> list[str]:
    """B1, B2 ... or D1-1, D1-2 ... where the stem ends in a digit."""
    dash = "-" if stem[-1].isdigit() else ""
    return [f"{stem}{dash}{n + 1}" for n in range(count)]
