"""A built folder read back: its plan as data, what it was built from, and its cut plan as values.

Terms:
    recut: the folder beside that of a build, one for all its parts, that says how spoiled pieces
        were cut again; its layouts go before those of the build it was made for.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plybook.diagnostics import MISSHAPEN, Place, SpecError, error
from plybook.outside import sha256

if TYPE_CHECKING:
    import numpy as np

    from plybook.laminate.model import Piece
    from plybook.nest.model import CutPlan, Item, Placement
    from plybook.outside import Outside
    from plybook.spec.model import PartSpec

LARGEST_BYTES = 200_000_000
LARGEST_NUMBER = 1e12  # a build writes no number near it
PLAN, MANIFEST = "plan.json", "manifest.json"
SHARED = "shared_cut_plan"  # in plan.json: the folder of the set whose cut plan a part shares
RECUT, AGAIN = "-recut", "recut.json"  # the end of a recut's folder, and what it holds


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
    """The plan of a part with its layouts as they are after recuts of the same build.

    Raises:
        SpecError: the part is not built.
    """
    plan = read_plan(out / number, outside)
    again = read_recut(cut_with(plan), out, outside)
    rows = again["layouts"].get(number, []) if again else []
    with read_as_plan(out / (cut_with(plan) + RECUT) / AGAIN):
        return {**plan, "layouts": recut_rows(plan["layouts"], rows)}


def recut_rows(built: list[dict[str, Any]], again: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The layouts of a plan, those that were cut otherwise in their place, new ones last."""
    now = {row["stock"]: row for row in again}
    old = {row["stock"] for row in built}
    return [now.get(row["stock"], row) for row in built] + [
        row for name, row in now.items() if name not in old
    ]


def cut_with(plan: Mapping[str, Any]) -> str:
    """The folder in which a part's cut plan stands: its own, or that of a set.

    Raises:
        SpecError: the plan names no folder beside its own.
    """
    told = plan.get(SHARED)
    name = told.get("folder") if isinstance(told, Mapping) else plan["part"]["number"]
    if not isinstance(name, str) or Path(name).name != name:
        raise SpecError(_not_built(Path(PLAN), "it names no folder of a cut plan"))
    return name


def read_recut(name: str, out: Path, outside: Outside) -> dict[str, Any] | None:
    """What the recut of a build holds; None where there is none, or it is of another build.

    Args:
        name: the folder of the cut plan, see `cut_with`.
    """
    try:
        found = read_json(out / (name + RECUT) / AGAIN, outside)
        builds, layouts = found.get("builds"), found.get("layouts")
        if not isinstance(builds, dict) or not isinstance(layouts, dict):
            return None
        now = {number: build_key(number, out, outside) for number in builds}
    except SpecError:
        return None
    lists = all(isinstance(found.get(key), list) for key in ("spoiled", "stock"))
    return found if builds == now and lists else None


def build_key(number: str, out: Path, outside: Outside) -> str:
    """What tells one build of a part from another: the hash of its manifest.

    Raises:
        SpecError: the part is not built.
    """
    home = out / Path(number).name / MANIFEST
    try:
        return sha256(outside.read(home, LARGEST_BYTES))
    except SpecError as missing:
        raise SpecError(_not_built(home, missing.findings[0].message)) from None


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
    from plybook.nest.model import Bay, CutPlan, Layout, Unit
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
            bays=tuple(
                Bay(int(b["number"]), float(b["at_mm"]), float(b["to_mm"]), bool(b["cut"]))
                for b in row["bays"]
            ),
            table_mm=float(row["table_mm"]),
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
