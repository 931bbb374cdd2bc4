"""`plan.json`: a whole build as data, for other programs and for `plybook verify`.

Lengths are mm in the pattern frame, angles degrees, masses grams. This is where numbers are
rounded: coordinates to 0.0001 mm, everything else to six significant decimals.
"""

from __future__ import annotations

import json
import posixpath
from collections.abc import Iterable
from dataclasses import asdict

import numpy as np

from plybook.diagnostics import Finding
from plybook.geometry.rings import canonical_ring
from plybook.laminate.mass import density_of, resin_in_cloth_g_m2
from plybook.laminate.model import BreakJoint, JointStretch, Laminate, Piece, PieceEdge
from plybook.laminate.stock_cut import cut_outline_mm
from plybook.nest.markout import MarkedPiece, mark_out
from plybook.nest.model import CutPlan, Item, Layout, Placement
from plybook.shop.model import BagRoll, Shop, Stage, Step
from plybook.shop.setout import SetOut, set_out
from plybook.spec.model import Cloth, Film, PartSpec
from plybook.surface.model import Face

FORMAT = 1
_COORDINATE_DECIMALS = 4
_FIGURE_DECIMALS = 6
_PART = ("number", "name", "revision", "hand", "date", "units", "other_hand")


def plan_dict(
    spec: PartSpec,
    face: Face,
    laminate: Laminate,
    plan: CutPlan,
    shop: Shop,
    findings: Iterable[Finding] = (),
    setout: SetOut | None = None,
) -> dict:
    """The plan of one part as plain lists and dicts; `setout` is that of its mould as far as it is
    proved, all of it if not said.

    Placements in `layouts` are the part's own; `also_cut` names what other parts take from the
    same stock unit. `marks_mm` are the corner points of the mark-out on the stock, from its end and
    edge, `in_bay_mm` the same from the line of `bay`, as a tape in the part's unit shows them; a
    roll that lies on the table whole has no `bays`, and 0 for that of its pieces. Where `corner_mm`
    is not 0 the corners are rounded to that radius. `bag_rolls` are what the bags take off rolls,
    `wants` what is to be bought before it is rounded up, `kits` what each way of sorting pieces
    into kits takes, for all parts cut together, `folds` where both hands can be cut at once.
    """
    part = spec.part
    pulled = {x.id: x.removed_after for x in spec.layers if isinstance(x, Film)}
    return {
        "plan": FORMAT,
        "part": {key: getattr(part, key) for key in _PART},
        "surface": _surface(face),
        "setout": setout_row(setout or set_out(spec, face, laminate)),
        "materials": _materials(spec, laminate),
        "workshop": {
            "cup_loss_g": _figure(spec.workshop.cup_loss_g),
            "table_mm": _figure(spec.workshop.table_mm),
            "booklets_at": spec.workshop.booklets_at,
            "currency": spec.workshop.currency,
        },
        "layers": [
            {
                "id": layer.id,
                "kind": layer.kind,
                "material": layer.material,
                "angle_deg": _figure(layer.angle_deg),
                "stage": layer.stage,
                "thickness_mm": _figure(layer.thickness_mm),
                "pieces": list(layer.pieces),
                "group": layer.group,
                "removed_after": pulled.get(layer.id, ""),
            }
            for layer in laminate.layers
        ],
        "pieces": [piece_row(piece) for piece in laminate.pieces],
        "joints": [joint_row(joint) for joint in laminate.joints],
        "layouts": [
            layout_row(layout, part.number, {item.id: item for item in plan.items}, part.units)
            for layout in plan.layouts
            if any(owner(p.item)[0] == part.number for p in layout.placements)
        ],
        "kits": [
            {
                "way": way.way,
                "kits": way.kits,
                "chosen": way.chosen,
                "rolls": [
                    {"material": name, "length_mm": None if mm is None else _figure(mm)}
                    for name, mm in way.lengths_mm
                ],
            }
            for way in plan.kits
        ],
        "folds": [asdict(fold) for fold in plan.folds],
        "stages": [_stage(stage) for stage in shop.stages],
        "quantities": _quantities(laminate, shop),
        "wants": [asdict(want) for want in shop.wants],
        "shelf": [asdict(one) for one in shop.shelf],
        "bag_rolls": [_bag_roll(roll) for roll in shop.bag_rolls],
        "zones": [
            {
                "label": zone.label,
                "code": zone.code,
                "layers": list(zone.layers),
                "thickness_mm": _figure(zone.thickness_mm),
                "area_m2": _figure(zone.area_m2),
                "mass_g": _figure(zone.mass_g),
                "symmetric": zone.symmetric,
                "balanced": zone.balanced,
                "abd": None
                if zone.abd is None
                else [[_figure(v) for v in row] for row in zone.abd],
            }
            for zone in laminate.zones
        ],
        "jig": [
            {
                "id": m.id,
                "title": m.title,
                "expected": _figure(m.expected),
                "tolerance": _figure(m.tolerance),
                "unit": m.unit,
            }
            for m in shop.jig
        ],
        "findings": [finding_row(f, posixpath.dirname(part.place.file)) for f in findings],
    }


def _least_density(spec: PartSpec, cloth: Cloth) -> float:
    """Of the resins that a cloth may be wetted with, its own or a stage's, g/cm3."""
    resins = spec.materials.resins
    names = {cloth.resin, *(rule.resin for rule in spec.stages)} & set(resins)
    return min((resins[name].density_g_cm3 for name in names), default=density_of(None))


def to_json(value: object) -> bytes:
    """Canonical JSON: sorted keys, one space of indent, UTF-8, no NaN.

    Raises:
        ValueError: a number is not finite.
    """
    text = json.dumps(value, indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8", "surrogatepass") + b"\n"


def ring_list(ring_mm: np.ndarray) -> list[list[float]]:
    """A ring in its canonical form, as lists."""
    return _points(canonical_ring(ring_mm))


def _points(points_mm: np.ndarray) -> list[list[float]]:
    rounded = np.round(np.asarray(points_mm, dtype=float), _COORDINATE_DECIMALS) + 0.0
    return rounded.tolist()


def _figure(value: float) -> float:
    return round(float(value), _FIGURE_DECIMALS) + 0.0


def _rows(matrix: np.ndarray) -> list[list[float]]:
    return [[_figure(value) for value in row] for row in matrix]


def owner(item: str) -> tuple[str, str]:
    """Part number and piece id of a nest item."""
    part, _, piece = item.rpartition("/")
    return part, piece


def _surface(face: Face) -> dict:
    strain = face.strain
    return {
        "flat": bool(face.flat),
        "developable": bool(strain.developable),
        "tolerance_pct": _figure(strain.tolerance_pct),
        "largest_tension_pct": _figure(strain.largest_tension_pct),
        "largest_compression_pct": _figure(strain.largest_compression_pct),
        "largest_shear_deg": _figure(strain.largest_shear_deg),
        "triangles": int(strain.triangles),
        "area_mm2": _figure(face.area_mm2),
        "outline_mm": ring_list(face.outline_mm),
        "holes_mm": [ring_list(hole) for hole in face.holes_mm],
        "edges": [{"name": e.name, "points_mm": _points(e.points_mm)} for e in face.edges],
        "kinks": [
            {
                "span_mm": _figure(k.span_mm),
                "turn_deg": _figure(k.turn_deg),
                "gap_mm": _figure(k.gap_mm),
                "accepted": bool(k.accepted),
            }
            for k in face.kinks
        ],
    }


def setout_row(setout: SetOut) -> dict:
    """The set-out of the mould as it stands in plan.json, with the keys of `SetOut`: `marks` are
    points by their number, told by `ties` to `lines`; `outline` is the place in `outlines` of the
    line that a mark is of, -1; `offsets_mm` of `bows` are positive on the left of their string;
    `left_out` says which layers it does not show ("": it shows nothing) and why."""
    return _plain(asdict(setout))


def _plain(value):
    """A dataclass as a dict, with its figures rounded."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, np.ndarray):
        return _points(value)
    if isinstance(value, tuple | list):
        return [_plain(inner) for inner in value]
    return _figure(value) if isinstance(value, float) else value


def _materials(spec: PartSpec, laminate: Laminate) -> dict:
    """What a checker must know of each material that layers and pieces are of."""
    known = spec.materials
    table: dict[str, dict] = {}
    used = {layer.material for layer in laminate.layers}
    for name in sorted(used | {piece.material for piece in laminate.pieces}):
        if name in known.cloths:
            cloth = known.cloths[name]
            table[name] = {
                "kind": "cloth",
                "weave": cloth.weave,
                "axes_alike": cloth.axes_alike,
                "faces_alike": cloth.faces_alike,
                "gap_mm": _figure(spec.nest.knife_gap_mm),
                "elastic": None if cloth.elastic is None else asdict(cloth.elastic),
                "resin_g_m2": _figure(resin_in_cloth_g_m2(cloth, _least_density(spec, cloth))),
            }
        elif name in known.cores:
            table[name] = {
                "kind": "core",
                "grain": known.cores[name].grain,
                "gap_mm": _figure(spec.nest.sheet_gap_mm),
                "resin_uptake_g_m2": _figure(known.cores[name].resin_uptake_g_m2),
            }
        elif name in known.rods:
            table[name] = {"kind": "rod", "gap_mm": _figure(spec.nest.saw_kerf_mm)}
        elif name in known.consumables:
            table[name] = {"kind": "consumable", "axes_alike": True, "faces_alike": True}
    return {name: {"name": known.name_of(name), **row} for name, row in table.items()}


def piece_row(piece: Piece) -> dict:
    """One piece as it stands in plan.json."""
    entry = {
        "id": piece.id,
        "layer": piece.layer,
        "kind": piece.kind,
        "material": piece.material,
        "angle_deg": _figure(piece.angle_deg),
        "outline_mm": ring_list(piece.outline_mm),
        "holes_mm": [ring_list(h) for h in piece.holes_mm],
        "laid_outline_mm": ring_list(piece.laid_outline_mm),
        "area_mm2": _figure(piece.area_mm2),
        "quantity": piece.quantity,
        "stage": piece.stage,
        "thickness_mm": _figure(piece.thickness_mm),
        "edges": [_edge(edge) for edge in piece.edges],
        "growth": {
            "along_mm": _figure(piece.growth.along_mm),
            "across_mm": _figure(piece.growth.across_mm),
            "area_pct": _figure(piece.growth.area_pct),
        },
        "strain_pct": [_figure(s) for s in piece.strain_pct],
        "shear_deg": _figure(piece.shear_deg),
        "may_turn_over": bool(piece.may_turn_over),
        "marks": [
            {"kind": mark.kind, "label": mark.label, "points_mm": _points(mark.points_mm)}
            for mark in piece.marks
        ],
    }
    if piece.bag_side_outline_mm is not None:
        entry["bag_side_outline_mm"] = ring_list(piece.bag_side_outline_mm)
        entry["bag_side_holes_mm"] = [ring_list(h) for h in piece.bag_side_holes_mm]
        if (cut := cut_outline_mm(piece)) is not piece.outline_mm:
            entry["cut_outline_mm"] = ring_list(cut)
    if piece.laid_holes_mm:
        entry["laid_holes_mm"] = [ring_list(hole) for hole in piece.laid_holes_mm]
    if piece.splice is not None:
        entry["splice"] = {
            "part": piece.splice.part,
            "of": piece.splice.of,
            "kind": piece.splice.kind,
            "overlap_mm": _figure(piece.splice.overlap_mm),
            "neighbours": list(piece.splice.neighbours),
        }
    return entry


def _edge(edge: PieceEdge) -> dict:
    return {
        "name": edge.name,
        "points_mm": _points(edge.points_mm),
        "treatment": edge.treatment,
        "angle_deg": _figure(edge.angle_deg),
        "wide_side": edge.wide_side,
        "mate": edge.mate,
    }


def _stretch(stretch: JointStretch) -> dict[str, list[float]]:
    rows = {"line": stretch.line_pct, "across": stretch.across_pct, "beside": stretch.beside_pct,
            "out": stretch.out_pct, "back": stretch.back_pct}  # fmt: skip
    return {key: [_figure(value) for value in row] for key, row in rows.items()}


def joint_row(joint: BreakJoint) -> dict:
    """One joint at a break as it stands in plan.json."""
    return {
        "name": joint.name,
        "overlap_mm": _figure(joint.overlap_mm),
        "sides": [
            {
                "piece": side.piece,
                "line_mm": _points(side.line_mm),
                "on_part_mm": _points(side.on_part_mm),
                "beside_mm": _points(side.beside_mm),
                "beside_on_part_mm": _points(side.beside_on_part_mm),
                **({} if side.meets_mm is None else {"meets_mm": _points(side.meets_mm)}),
                **({} if side.stretch is None else {"stretch_pct": _stretch(side.stretch)}),
            }
            for side in joint.sides
        ],
    }


def layout_row(layout: Layout, number: str, items: dict[str, Item], tape: str) -> dict:
    """One layout as it stands in the plan of a part, marked out with a `tape` in mm or in."""
    unit = layout.unit
    own = [p for p in layout.placements if owner(p.item)[0] == number]
    others = [p for p in layout.placements if owner(p.item)[0] != number]
    rings = {p.item: items[p.item].outline_mm for p in layout.placements}
    marked = {(m.item, m.copy): m for m in mark_out(layout, rings, tape)} if rings else {}
    return {
        "stock": unit.id,
        "kind": unit.kind,
        "material": unit.material,
        "width_mm": _figure(unit.width_mm),
        "edge_mm": _figure(unit.edge_mm),
        "length_mm": _figure(unit.length_mm),
        "used_length_mm": _figure(layout.used_length_mm),
        "bound_mm": _figure(layout.bound_mm),
        "utilisation": _figure(layout.utilisation),
        "bought": unit.bought,
        "outline_mm": None if unit.outline_mm is None else ring_list(unit.outline_mm),
        "bad_zones_mm": [ring_list(zone) for zone in unit.bad_zones_mm],
        "table_mm": _figure(layout.table_mm),
        "bays": [asdict(bay) for bay in layout.bays],
        "placements": [_placement(p, marked[p.item, p.copy]) for p in own],
        "also_cut": [
            {
                "part": owner(p.item)[0],
                "outline_mm": ring_list(items[p.item].outline_mm),
                **_placement(p, marked[p.item, p.copy]),
            }
            for p in others
        ],
        "method": layout.method,
    }


def _bag_roll(roll: BagRoll) -> dict:
    return {
        "role": roll.role,
        "item": roll.name,
        "width_mm": _figure(roll.width_mm),
        "used_length_mm": _figure(roll.used_mm),
        "cuts": [asdict(cut) for cut in roll.cuts],
    }


def _placement(placement: Placement, marked: MarkedPiece) -> dict:
    return {
        "piece": owner(placement.item)[1],
        "copy": placement.copy,
        "x_mm": round(float(placement.x_mm), _COORDINATE_DECIMALS) + 0.0,
        "y_mm": round(float(placement.y_mm), _COORDINATE_DECIMALS) + 0.0,
        "rotation_deg": _figure(placement.rotation_deg),
        "flipped": bool(placement.flipped),
        "marks_mm": _points(marked.points_mm),
        "corner_mm": _figure(marked.corner_mm),
        "bay": marked.bay,
        "in_bay_mm": _points(marked.told_mm),
    }


def _stage(stage: Stage) -> dict:
    return {
        "id": stage.id,
        "kind": stage.kind,
        "title": stage.title,
        "cure_s": stage.cure_s,
        "steps": [_step(step) for step in stage.steps],
    }


def _step(step: Step) -> dict:
    return {
        "id": step.id,
        "name": step.name,
        "title": step.title,
        "text": list(step.text),
        "pieces": list(step.pieces),
        "lays": step.lays,
        "layer": step.layer,
        "shows": step.shows,
        "batches": list(step.batches),
        "cautions": [c.text for c in step.cautions],
        "timers": [
            {"id": t.id, "label": t.label, "seconds": t.seconds, "kind": t.kind}
            for t in step.timers
        ],
        "checks": [
            {
                "id": c.id,
                "text": c.text,
                "kind": c.kind,
                "expected": None if c.expected is None else _figure(c.expected),
                "tolerance": None if c.tolerance is None else _figure(c.tolerance),
                "unit": c.unit,
                "at_least": None if c.at_least is None else _figure(c.at_least),
                "at_most": None if c.at_most is None else _figure(c.at_most),
            }
            for c in step.checks
        ],
    }


def _quantities(laminate: Laminate, shop: Shop) -> dict:
    groups: dict[str, list] = {
        name: [] for name in ("cloth", "core", "rod", "resin", "consumable", "mass")
    }
    for q in shop.quantities:
        groups.setdefault(q.group, []).append(
            {
                "item": q.item,
                "amount": _figure(q.amount),
                "unit": q.unit,
                "detail": q.detail,
                "stage": q.stage,
                "price": _figure(q.price),
            }
        )
    groups["batches"] = [
        {
            "id": b.id,
            "resin": b.resin,
            "stage": b.stage,
            "step": b.step,
            "purpose": b.purpose,
            "mass_g": _figure(b.mass_g),
            "parts": [{"name": name, "mass_g": _figure(mass)} for name, mass in b.parts],
            "filler": b.filler,
            "filler_g": _figure(b.filler_g),
            "pot_life_s": b.pot_life_s,
            "tray_s": b.tray_s,
        }
        for b in shop.batches
    ]
    return {
        **groups,
        "laminate_mass_g": _figure(laminate.mass_g),
        "part_mass_g": _figure(shop.budget.part_g),
        "kit_mass_g": _figure(shop.budget.kit_g),
        "centre_mm": [_figure(v) for v in laminate.centre_mm],
    }


def finding_row(finding: Finding, folder: str) -> dict:
    """A finding as it stands in plan.json; `folder` of the spec, that its files are told from."""
    return {
        "code": finding.code,
        "severity": finding.severity.value,
        "message": finding.message,
        "help": "" if finding.acknowledged else finding.help,  # what is accepted asks for none
        "layers": list(finding.layers),
        "source": finding.source,
        "acknowledged": finding.acknowledged,
        "places": [
            {"file": _inside(p.file, folder), "line": p.line, "column": p.column}
            for p in finding.places
            if p.line
        ],
    }


def _inside(file: str, folder: str) -> str:
    """A file named from the spec's folder, however the spec was named on the command line."""
    near = posixpath.relpath(file, folder) if folder else posixpath.normpath(file)
    return posixpath.basename(file) if near.startswith(("..", "/")) else near
