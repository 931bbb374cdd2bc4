"""Pieces as data: rings, holes, edges, bevels, splices."""

from __future__ import annotations

import math

import numpy as np

from plybook.verify import plane
from plybook.verify.report import Report
from plybook.verify.tolerances import AREA_SHARE, BEVEL_MM, POINT_MM

SLANTED = ("bevel", "scarf")  # treatments of an edge that has an angle of its own


def ring(points: object) -> np.ndarray:
    """A ring of plan.json as an array.

    Raises:
        ValueError: not a list of at least three points with two finite numbers.
    """
    array = np.array(points, dtype=float)
    if array.ndim != 2 or array.shape[1] != 2 or len(array) < 3 or not np.isfinite(array).all():
        raise ValueError("not a ring of points")
    return array


def check_pieces(plan: dict, report: Report) -> None:
    """Every piece is one clean shape and its edges say what its two outlines show."""
    seen: set[str] = set()
    for piece in plan["pieces"]:
        where = f"piece {piece['id']}"
        if piece["id"] in seen:
            report.fault(where, "the id stands twice in plan.json")
        seen.add(piece["id"])
        try:
            _check_piece(piece, where, report)
        except (ValueError, KeyError, TypeError) as wrong:
            report.fault(where, f"cannot be read: {wrong}")
    _check_splices(plan["pieces"], report)
    _check_layers(plan, report)


def _check_layers(plan: dict, report: Report) -> None:
    """Each layer has just its pieces, of its material, angle and thickness."""
    pieces = {p["id"]: p for p in plan["pieces"]}
    named: list[str] = []
    for layer in plan.get("layers", []):
        named += layer["pieces"]
        report.expect(bool(layer["pieces"]), "layers that are cut", f"layer {layer['id']}",
                      "has no piece")  # fmt: skip
        for name in layer["pieces"]:
            piece = pieces.get(name, {})
            good = all(piece.get(k) == layer[k] for k in ("kind", "material", "stage")) and (
                layer["kind"] != "ply" or piece.get("angle_deg") == layer["angle_deg"]
            )
            good = good and piece.get("layer") == layer["id"]
            report.expect(good, "pieces of their layer's kind, cloth and angle", f"piece {name}",
                          f"differs from its layer {layer['id']}")  # fmt: skip
    for name in sorted(set(pieces) ^ set(named)):
        report.fault(f"piece {name}", "is not in just one layer")


def _check_piece(piece: dict, where: str, report: Report) -> None:
    outline = ring(piece["outline_mm"])
    holes = [ring(h) for h in piece["holes_mm"]]
    simple = plane.is_simple(outline) and all(plane.is_simple(h) for h in holes)
    report.expect(simple, "cut outlines that are one simple closed ring", where,
                  "its outline or a hole crosses itself")  # fmt: skip
    report.expect(not _spikes(outline), "cut outlines without a slit or a spike", where,
                  "its outline turns back upon itself")  # fmt: skip
    report.expect(plane.area(outline) > 0, "outlines counter-clockwise", where,
                  "its outline runs clockwise")  # fmt: skip
    net = plane.area(outline) - sum(abs(plane.area(h)) for h in holes)
    report.expect(abs(net - piece["area_mm2"]) <= AREA_SHARE * abs(net) + 0.1,
                  "areas equal to their outline", where,
                  f"its area is {net:.1f} mm2, plan.json says {piece['area_mm2']:.1f}")  # fmt: skip
    boxes = plane.boxes(holes)
    for k, hole in enumerate(holes):
        near = plane.boxes_meet(boxes[k], boxes[:k])
        apart = all(plane.clearance(hole, holes[other]) > 0 for other in near)
        report.expect(apart, "holes clear of one another", where, "two of its holes meet")
        inside = plane.inside(hole, outline).all()
        report.expect(bool(inside), "holes inside their piece", where, "a hole leaves the piece")
    rings = [outline, *holes]
    boxes = plane.boxes(rings)
    for edge in piece["edges"]:
        points = np.array(edge["points_mm"], dtype=float).reshape(-1, 2)
        near = plane.boxes_meet(plane.boxes([points])[0], boxes, POINT_MM)
        near = near if len(near) else np.arange(len(rings))
        off = min(plane.distance_to_path(points, rings[k]).max() for k in near)
        report.expect(off <= POINT_MM, "edges on their outline", f"{where}, {edge['name']}",
                      f"the edge lies {off:.3f} mm off the outline")  # fmt: skip
        upright = edge["treatment"] in SLANTED or edge["angle_deg"] == 90.0
        report.expect(upright, "edges upright but where they slope", f"{where}, {edge['name']}",
                      f"is {edge['treatment']} at {edge['angle_deg']:g} degrees")  # fmt: skip
    _check_bevels(piece, outline, where, report)


def _spikes(outline: np.ndarray) -> bool:
    """Whether the outline turns back by more than 179.8 degrees between sides of 0.5 mm or more."""
    sides = np.roll(outline, -1, axis=0) - outline
    size = np.hypot(*sides.T)
    before = np.roll(sides, 1, axis=0)
    along = np.sum(sides * before, axis=1) / np.maximum(size * np.roll(size, 1), 1e-12)
    long_enough = (size >= 0.5) & (np.roll(size, 1) >= 0.5)
    return bool(np.any(long_enough & (along < -0.999994)))


def _check_bevels(piece: dict, outline: np.ndarray, where: str, report: Report) -> None:
    """The bag-side outline stands off each edge by t/tan(a) where bevelled, by 0 where square."""
    slanted = [e for e in piece["edges"] if e["treatment"] in SLANTED]
    if "bag_side_outline_mm" not in piece:
        if slanted and piece["kind"] == "core":
            report.fault(where, "has bevelled edges and no bag-side outline")
        return
    bag = ring(piece["bag_side_outline_mm"])
    report.expect(plane.is_simple(bag), "bag-side outlines that are one simple ring", where,
                  "its bag-side outline crosses itself")  # fmt: skip
    # a hole has its edge in a ring of its own; where a seam runs through it, in the outline
    every = [(e, np.array(e["points_mm"], dtype=float).reshape(-1, 2)) for e in piece["edges"]]
    every = [(e, line) for e, line in every
             if plane.distance_to_path(line, outline).max() <= BEVEL_MM]  # fmt: skip
    edges, lines = [e for e, _ in every], [line for _, line in every]
    runs = [_run(piece, e) for e in edges]
    for edge, points, run in zip(edges, lines, runs, strict=True):
        probe = _middle_of_longest(points, run)
        off = float(plane.distance_to_path(probe[None], bag)[0])
        if off > BEVEL_MM and not plane.inside(probe[None], bag)[0]:
            # the slopes of other edges cut this one's line short, or meet before it
            astray = [_astray(bag, *one) for one in zip(lines, runs, strict=True)]
            explained = _lie_well(bag, np.min(astray, axis=0)).all()
            if explained and _kept(bag, points, run, _astray(bag, points, run)):
                off = 0.0
        what = "bevel lines at t/tan(a) from their edge" if run else "square edges square"
        report.expect(off <= BEVEL_MM, what, f"{where}, {edge['name']}",
                      f"the bag-side outline is {off:.2f} mm from where a {edge['treatment']} "
                      f"at {edge['angle_deg']:g} degrees puts it")  # fmt: skip


def _run(piece: dict, edge: dict) -> float:
    """How far the bag side stands back from an edge; negative where it is the wide side."""
    if edge["treatment"] not in SLANTED:
        return 0.0
    run = piece["thickness_mm"] / math.tan(math.radians(edge["angle_deg"]))
    return -run if edge["wide_side"] == "bag" else run


def _astray(bag: np.ndarray, points: np.ndarray, run: float) -> np.ndarray:
    """How far the middle of each side of a bag-side outline is from where an edge puts it."""
    middles = 0.5 * (bag + np.roll(bag, -1, axis=0))
    best = np.full(len(bag), np.inf)
    for a, b in zip(points, points[1:], strict=False):
        along = b - a
        size = float(np.hypot(*along))
        if size > 1e-6:
            w = middles - a
            stands = (along[0] * w[:, 1] - along[1] * w[:, 0]) / size
            best = np.minimum(best, np.abs(stands - run))
    return best


def _lie_well(bag: np.ndarray, astray: np.ndarray) -> np.ndarray:
    """Which sides of a bag-side outline lie where they are put, or are too short to tell."""
    sizes = np.hypot(*(np.roll(bag, -1, axis=0) - bag).T)
    return (astray <= BEVEL_MM) | (sizes < 1.0)


def _kept(bag: np.ndarray, points: np.ndarray, run: float, astray: np.ndarray) -> bool:
    """Whether a bag-side outline keeps the run of an edge that other slopes cut short.

    Where the bag side is the narrow one it may only be kept further off; where it is the wide one
    some of it has to reach out to the edge's line.
    """
    if run >= 0:
        near = float(plane.distance_to_path(bag, points, closed=False).min())
        return near >= run - BEVEL_MM
    sizes = np.hypot(*(np.roll(bag, -1, axis=0) - bag).T)
    return bool(np.any((astray <= BEVEL_MM) & (sizes >= 1.0)))


def _middle_of_longest(points: np.ndarray, inwards_mm: float) -> np.ndarray:
    """A point beside the middle of an edge's longest side; the piece lies to its left."""
    sides = np.diff(points, axis=0)
    sizes = np.hypot(*sides.T)
    k = int(np.argmax(sizes))
    along = sides[k] / sizes[k]
    left = np.array([-along[1], along[0]])
    return 0.5 * (points[k] + points[k + 1]) + inwards_mm * left


def _check_splices(pieces: list[dict], report: Report) -> None:
    for piece in pieces:
        splice = piece.get("splice")
        if not splice:
            continue
        where = f"piece {piece['id']}"
        parts = [p for p in pieces if p["layer"] == piece["layer"] and p.get("splice")]
        numbers = sorted({p["splice"]["part"] for p in parts})
        report.expect(numbers == list(range(1, splice["of"] + 1)),
                      "spliced plies with all their parts", where,
                      f"parts {numbers} of {splice['of']} are there")  # fmt: skip
