"""A built folder read back: its plan as data, what it was built from, and its cut plan as values.

Terms:
    recut: the folder beside a part's own that says how a spoiled piece was cut again; its plan
        goes before the part's own while both are of the same build.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plybook.diagnostics import MISSHAPEN, Place, SpecError, error

if TYPE_CHECKING:
    import numpy as np

    from plybook.laminate.model import Piece
    from plybook.nest.model import CutPlan, Item, Placement
    from plybook.outside import Outside
    from plybook.spec.model import PartSpec

LARGEST_BYTES = 200_000_000
LARGEST_NUMBER = 1e12  # a build writes no number near it
PLAN, MANIFEST = "plan.json", "manifest.json"
RECUT = "-recut"  # what the folder of a recut is called beyond the part number


def read_json(path: Path, outside: Outside) -> dict[str, Any]:
    """One JSON file of a build.

    Raises:
        SpecError: it is missing, damaged, or no mapping.
    """
    try:
        content = outside.read(path, LARGEST_BYTES)
        data = json.loads(content, parse_float=_number, parse_constant=_number, parse_int=_whole)
    except SpecError as missing:
        raise SpecError(_not_built(path, missing.findings[0].message)) from None
    except (ValueError, RecursionError) as wrong:
        raise SpecError(_not_built(path, f"it is damaged ({wrong})")) from None
    if not isinstance(data, dict):
        raise SpecError(_not_built(path, "it holds no mapping"))
    return data


def _number(text: str) -> float:
    if not abs(value := float(text)) <= LARGEST_NUMBER:
        raise ValueError(f"{text[:40]} is no number of a build")
    return value


def _whole(text: str) -> int:
    _number(text[:400])
    return int(text)


def read_plan(folder: Path, outside: Outside) -> dict[str, Any]:
    """The plan of a built folder.

    Raises:
        SpecError: there is none.
    """
    plan = read_json(folder / PLAN, outside)
    part = plan.get("part")
    lists = (plan.get(key) for key in ("pieces", "layouts", "stages"))
    named = isinstance(part, dict) and all(
        isinstance(part.get(key), str) for key in ("number", "name", "revision", "hand")
    )
    if not named or not all(isinstance(one, list) for one in lists):
        raise SpecError(_not_built(folder / PLAN, "it is no plan of a part"))
    return plan


@contextmanager
def read_as_plan(*paths: Path) -> Iterator[None]:
    """What is done here takes these plans for plans of this version.

    Raises:
        SpecError: one of them has another shape.
    """
    try:
        yield
    except MISSHAPEN as wrong:
        named = " or ".join(str(path) for path in paths)
        why = f"it has not the shape of a plan ({type(wrong).__name__}: {wrong})"
        raise SpecError(_not_built(Path(named), why[:300])) from wrong


def current_plan(spec: PartSpec, out: Path, outside: Outside) -> tuple[dict[str, Any], Path]:
    """The plan a part is being cut by, and the folder it was built into.

    Raises:
        SpecError: the part is not built, or its files have changed since.
    """
    home = out / spec.part.number
    if not _built_from(read_json(home / MANIFEST, outside), spec):
        raise SpecError(
            error(
                "build-out-of-date",
                f"{home} was built before {_names(spec)} was last changed",
                "build again, then repeat this",
                spec.part.place,
            )
        )
    return latest_plan(spec.part.number, out, outside), home


def latest_plan(number: str, out: Path, outside: Outside) -> dict[str, Any]:
    """The plan of a part after its recuts, if there are any of the same build.

    Raises:
        SpecError: the part is not built.
    """
    home, recut = out / number, out / f"{number}{RECUT}"
    plan = read_plan(home, outside)
    try:
        facts, again = read_json(recut / MANIFEST, outside), read_plan(recut, outside)
    except SpecError:
        return plan
    built = read_json(home / MANIFEST, outside)
    same = facts.get("parts") == built.get("parts")
    return again if same and again.get("record_key") == plan.get("record_key") else plan


def _built_from(manifest: Mapping[str, Any], spec: PartSpec) -> bool:
    """Whether the files the build was made from are those the spec was just read from."""
    now = [{"file": f.path, "sha256": f.sha256} for f in spec.files]
    parts = manifest.get("parts")
    entries = parts if isinstance(parts, list) else []
    return any(
        isinstance(e, dict) and e.get("number") == spec.part.number and e.get("spec") == now
        for e in entries
    )


def _names(spec: PartSpec) -> str:
    first, *more = [f.path for f in spec.files]
    return f"{first} or a file it includes" if more else first


def _not_built(path: Path, why: str):
    return error(
        "not-built",
        f"{path} cannot be used: {why}",
        "build the part first, or name the folder it was built into",
        Place(str(path), 0, 0),
    )


# ---------------------------------------------------------------- the cut plan as values


def cut_plan(spec: PartSpec, plan: Mapping[str, Any]) -> CutPlan:
    """The layouts of a plan as the packer's values.

    Pieces of other parts on the same units are there too, each copy as an item of its own that
    may lie in any direction: they are only kept clear of.

    Raises:
        SpecError: the plan has not the shape of a plan.
    """
    with read_as_plan(Path(PLAN)):
        return _cut_plan(spec, plan)


def _cut_plan(spec: PartSpec, plan: Mapping[str, Any]) -> CutPlan:
    from plybook.nest.model import CutPlan, Layout, Unit
    from plybook.nest.needs import item_of
    from plybook.nest.plan import finish_layout

    number = spec.part.number
    placed_here = {p["piece"] for row in plan["layouts"] for p in row["placements"]}
    pieces = [_piece(p) for p in plan["pieces"] if p["id"] in placed_here]
    items = {f"{number}/{piece.id}": item_of(spec, piece) for piece in pieces}
    layouts = []
    for row in plan["layouts"]:
        placed = [_placement(f"{number}/{p['piece']}", p, p["copy"]) for p in row["placements"]]
        for other in row["also_cut"]:
            name = f"{other['part']}/{other['piece']}#{other['copy']}"
            items[name] = _stranger(name, other)
            placed.append(_placement(name, other, 1))
        unit = Unit(
            row["stock"],
            row["kind"],
            row["material"],
            float(row["length_mm"]),
            float(row["width_mm"]),
            None if row["outline_mm"] is None else _ring(row["outline_mm"]),
            tuple(_ring(zone) for zone in row["bad_zones_mm"]),
            bool(row["bought"]),
            float(row.get("edge_mm", 0.0)),
        )
        layout = Layout(
            unit,
            tuple(placed),
            float(row["used_length_mm"]),
            float(row["bound_mm"]),
            float(row["utilisation"]),
            method=row["method"],
            remembered=True,
            gap_mm=float(plan["materials"][unit.material].get("gap_mm", 0.0)),
        )
        layouts.append(finish_layout(layout, items))
    return CutPlan(tuple(layouts), tuple(items.values()), ())


def pieces_of(plan: Mapping[str, Any]) -> tuple[Piece, ...]:
    """The pieces of a plan as far as cutting them goes: without edges and marks.

    Raises:
        SpecError: the plan has not the shape of a plan.
    """
    try:
        return tuple(_piece(row) for row in plan["pieces"])
    except (KeyError, TypeError, ValueError) as wrong:
        raise SpecError(_not_built(Path(PLAN), f"{type(wrong).__name__}: {wrong}")) from wrong


def _piece(row: Mapping[str, Any]) -> Piece:
    from plybook.laminate.model import Piece

    bag = row.get("bag_side_outline_mm")
    return Piece(
        id=row["id"],
        layer=row["layer"],
        kind=row["kind"],
        material=row["material"],
        angle_deg=float(row["angle_deg"]),
        outline_mm=_ring(row["outline_mm"]),
        holes_mm=tuple(_ring(hole) for hole in row["holes_mm"]),
        bag_side_outline_mm=None if bag is None else _ring(bag),
        laid_outline_mm=_ring(row["laid_outline_mm"]),
        area_mm2=float(row["area_mm2"]),
        quantity=int(row["quantity"]),
        stage=row["stage"],
        thickness_mm=float(row["thickness_mm"]),
        edges=(),
        may_turn_over=bool(row["may_turn_over"]),
        bag_side_holes_mm=tuple(_ring(hole) for hole in row.get("bag_side_holes_mm", ())),
    )


def _stranger(name: str, row: Mapping[str, Any]) -> Item:
    from plybook.nest.model import Item

    outline = _ring(row["outline_mm"])
    return Item(name, outline, 1, None, bool(row["flipped"]), row["part"], row["part"])


def _placement(item: str, row: Mapping[str, Any], copy: int) -> Placement:
    from plybook.nest.model import Placement

    x, y, turn = (float(row[key]) for key in ("x_mm", "y_mm", "rotation_deg"))
    return Placement(item, int(copy), x, y, turn, bool(row["flipped"]))


def _ring(points: Any) -> np.ndarray:
    import numpy as np

    return np.array(points, dtype=float)
