"""Templates and cut-plan drawings against plan.json: size, outline, layers, fibre, bevels."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from plybook.verify import plane
from plybook.verify.dxf_tags import read_dxf
from plybook.verify.layouts import placed_ring
from plybook.verify.pieces import ring
from plybook.verify.report import Report
from plybook.verify.svg_paths import read_svg
from plybook.verify.tolerances import ARROW_DEG, POINT_MM

MILLIMETRES = "4"  # $INSUNITS, DXF reference
R12 = "AC1009"  # $ACADVER of a release that knows no $INSUNITS, DXF reference
REFERENCE_MM = 100.0


def check_templates(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Each piece has a DXF and an SVG template with just its outline to cut."""
    for piece in plan["pieces"]:
        stem = f"templates/{file_name(piece['id'])}"
        for ending, name, lines in _both(stem, f"the template of {piece['id']}", files, report):
            _check_cuts(piece, lines, name, ending, report)
            _check_fibre(piece, lines, name, report)


def file_name(piece: str) -> str:
    """How a piece's id becomes a file name."""
    return "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "_" for c in piece)


Lines = dict[str, list[tuple[np.ndarray, bool]]]


def _both(
    stem: str, what: str, files: dict[str, bytes], report: Report
) -> Iterator[tuple[str, str, Lines]]:
    """Ending, name and lines of the DXF and the SVG of one drawing, where they can be read."""
    for ending, reader in (("dxf", _dxf_lines), ("svg", _svg_lines)):
        name = f"{stem}.{ending}"
        if name not in files:
            report.fault(name, f"{what} is missing")
            continue
        try:
            lines = reader(files[name], name, report)
        except (ValueError, KeyError, IndexError) as wrong:
            report.fault(name, f"cannot be read: {wrong}")
            continue
        yield ending, name, lines


def _dxf_lines(data: bytes, name: str, report: Report) -> Lines:
    drawing = read_dxf(data)
    lines: Lines = {}
    for poly in drawing.polylines:
        if poly.bulged:
            raise ValueError("a polyline has arcs")
        lines.setdefault(poly.layer, []).append((poly.points, poly.closed))
    if drawing.header.get("$ACADVER") == R12:
        report.expect(_has_reference(lines), "R12 files with a line of 100 mm", name,
                      "its line of 100 mm is missing or of another length")  # fmt: skip
    else:
        unit = drawing.header.get("$INSUNITS")
        report.expect(unit == MILLIMETRES, "DXF files in millimetres", name,
                      f"$INSUNITS is {unit!r}")  # fmt: skip
    return lines


def _has_reference(lines: Lines) -> bool:
    """Whether the line that proves the size of a drawing without a unit is there."""
    strokes = [points for points, _ in lines.get("REGISTRATION", []) if len(points) == 2]
    longest = max((float(np.hypot(*(s[1] - s[0]))) for s in strokes if np.ptp(s[:, 1]) == 0),
                  default=0.0)  # fmt: skip
    return abs(longest - REFERENCE_MM) < 1e-3


def _svg_lines(data: bytes, name: str, report: Report) -> Lines:
    drawing = read_svg(data)
    report.expect(abs(drawing.unit_mm - 1.0) < 1e-9, "SVG files 1:1 in millimetres", name,
                  f"one unit is {drawing.unit_mm:g} mm")  # fmt: skip
    report.expect(drawing.transformed == 0, "SVG geometry without transforms", name,
                  f"{drawing.transformed} shapes are under a transform")  # fmt: skip
    lines: Lines = {}
    for path in drawing.paths:
        lines.setdefault(path.layer, []).append((path.points, path.closed))
    return lines


def _check_cuts(piece: dict, lines: Lines, name: str, kind: str, report: Report) -> None:
    outline = ring(piece.get("cut_outline_mm", piece["outline_mm"]))
    cuts = lines.get("CUT", [])
    if len(cuts) != 1 or not cuts[0][1]:
        report.fault(name, f"{len(cuts)} outlines on layer CUT, one closed is needed")
        return
    shift = outline.min(axis=0) - cuts[0][0].min(axis=0) if kind == "svg" else np.zeros(2)
    off = plane.apart_by(cuts[0][0] + shift, outline)
    report.expect(off <= POINT_MM, f"{kind.upper()} outlines equal to plan.json", name,
                  f"the outline is {off:.3f} mm from plan.json")  # fmt: skip
    inner = [points + shift for points, closed in lines.get("CUT_INNER", []) if closed]
    holes = [ring(h) for h in piece["holes_mm"]]
    if len(inner) != len(holes):
        report.fault(name, f"{len(inner)} holes drawn, {len(holes)} in plan.json")
    for hole in holes:
        off = min((plane.apart_by(hole, i) for i in inner), default=np.inf)
        report.expect(off <= POINT_MM, f"{kind.upper()} holes equal to plan.json", name,
                      f"a hole is {off:.3f} mm from plan.json")  # fmt: skip
    if "bag_side_outline_mm" in piece:
        _check_bevel_lines(piece, ring(piece["outline_mm"]), lines, shift, name, report)


def _check_bevel_lines(
    piece: dict, outline: np.ndarray, lines: Lines, shift: np.ndarray, name: str, report: Report
) -> None:
    """Where the bag side stands off the mould side, a bevel line is drawn, and nowhere else."""
    bag = ring(piece["bag_side_outline_mm"])
    drawn = [points + shift for points, _ in lines.get("BEVEL", [])]
    off_edge = bag[plane.distance_to_path(bag, outline) > POINT_MM]
    if not len(off_edge):
        return
    if not drawn:
        report.fault(name, "the bevel lines are not drawn")
        return
    missed = np.min([plane.distance_to_path(off_edge, d, closed=False) for d in drawn], axis=0)
    report.expect(missed.max() <= POINT_MM, "bevel lines drawn where the plan has them", name,
                  f"a bevel line is {missed.max():.3f} mm off")  # fmt: skip
    rings = [bag, outline, *(ring(h) for h in piece.get("bag_side_holes_mm", []))]
    stray = max(
        float(np.min([plane.distance_to_path(d, r) for r in rings], axis=0).max()) for d in drawn
    )
    report.expect(stray <= POINT_MM, "bevel lines drawn only where the plan has them", name,
                  f"a bevel line strays {stray:.3f} mm")  # fmt: skip


def _check_fibre(piece: dict, lines: Lines, name: str, report: Report) -> None:
    """The longest stroke on layer FIBRE runs at the piece's angle."""
    if piece["kind"] != "ply":
        return
    strokes = [p[i : i + 2] for p, _ in lines.get("FIBRE", []) for i in range(len(p) - 1)]
    if not strokes:
        report.fault(name, "no fibre arrow is drawn")
        return
    longest = max(strokes, key=lambda s: float(np.hypot(*(s[1] - s[0]))))
    run = longest[1] - longest[0]
    off = (np.degrees(np.arctan2(run[1], run[0])) - piece["angle_deg"]) % 180
    off = min(off, 180 - off)
    report.expect(off <= ARROW_DEG, "fibre arrows at the ply's angle", name,
                  f"the fibre arrow is {off:.2f} degrees off")  # fmt: skip


def check_cut_drawings(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Each roll, sheet and bar has its drawing with just the placed outlines."""
    pieces = {p["id"]: p for p in plan["pieces"]}
    for layout in plan["layouts"]:
        wanted = [placed_ring(pieces[p["piece"]], p) for p in layout["placements"]]
        wanted += [placed_ring(p, p) for p in layout.get("also_cut", []) if "outline_mm" in p]
        stem = f"cutplan/{file_name(layout['stock'])}"
        for ending, name, lines in _both(stem, f"the drawing of {layout['stock']}", files, report):
            _check_placed(wanted, [p for p, closed in lines.get("CUT", []) if closed], name,
                          ending, report)  # fmt: skip


def _check_placed(
    wanted: list[np.ndarray], drawn: list[np.ndarray], name: str, kind: str, report: Report
) -> None:
    if len(wanted) != len(drawn):
        report.fault(name, f"{len(drawn)} outlines drawn, {len(wanted)} placed")
        return
    if not wanted:
        return
    shift = np.zeros(2)
    if kind == "svg":
        shift = np.min([w.min(axis=0) for w in wanted], axis=0) - np.min(
            [d.min(axis=0) for d in drawn], axis=0
        )
    boxes = np.array([np.concatenate([d.min(axis=0), d.max(axis=0)]) for d in drawn])
    for points in wanted:
        box = np.concatenate([points.min(axis=0), points.max(axis=0)])
        near = np.flatnonzero(np.abs(boxes + np.tile(shift, 2) - box).max(axis=1) <= 0.1)
        off = min((plane.apart_by(points, drawn[k] + shift) for k in near), default=np.inf)
        report.expect(off <= POINT_MM, f"{kind.upper()} layout outlines equal to plan.json", name,
                      f"an outline is {off:.3f} mm from its place")  # fmt: skip
