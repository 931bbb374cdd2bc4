"""What stands on which layer: cut layers hold closed cuts alone, and each piece bears its own name.

A cutter cuts whatever lies on a cut layer and a builder trusts the word inside the outline; both
are held here, in templates and in the drawings of the cut plan.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

import numpy as np

from plybook.verify import plane, svg_paths
from plybook.verify.drawings import file_name
from plybook.verify.dxf_tags import Drawing, read_dxf
from plybook.verify.layouts import placed_ring
from plybook.verify.report import Report
from plybook.verify.tolerances import ROUNDING_MM

CUT_LAYERS = ("CUT", "CUT_INNER")
NO_LAYERS = ("0", "Defpoints")  # layers that belong to the CAD program


def check_roles(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Layers of every drawing; names and angles of templates; names in layouts."""
    for name in sorted(files):
        if name.startswith(("templates/", "cutplan/")):
            try:
                _check_layers(name, files[name], report)
            except (ValueError, KeyError, IndexError) as wrong:
                report.fault(name, f"cannot be read: {wrong}")
    for piece in plan["pieces"]:
        stem = f"templates/{file_name(piece['id'])}"
        for name, drawing in _read_both(stem, files):
            _check_title(piece, drawing, name, report)
    pieces = {p["id"]: p for p in plan["pieces"]}
    number = plan["part"]["number"]
    for layout in plan["layouts"]:
        wanted = [(p["piece"], number, pieces[p["piece"]], p) for p in layout["placements"]]
        wanted += [(p["piece"], p["part"], p, p) for p in layout.get("also_cut", [])]
        for name, drawing in _read_both(f"cutplan/{file_name(layout['stock'])}", files):
            _check_names(wanted, drawing, name, report)


def _read_both(
    stem: str, files: dict[str, bytes]
) -> Iterator[tuple[str, Drawing | svg_paths.Drawing]]:
    """The DXF and the SVG of one drawing; one that cannot be read is told elsewhere."""
    for name, reader in ((f"{stem}.dxf", read_dxf), (f"{stem}.svg", svg_paths.read_svg)):
        with suppress(ValueError, KeyError, IndexError):
            if name in files:
                yield name, reader(files[name])


def _check_layers(name: str, data: bytes, report: Report) -> None:
    if name.endswith(".dxf"):
        drawing = read_dxf(data)
        lines = [(p.layer, p.points, p.closed) for p in drawing.polylines]
        words = [(t.layer, t.text) for t in drawing.texts]
        numbers = [t.at for t in drawing.texts] + [c[1:] for c in drawing.circles]
        circles = {c[0] for c in drawing.circles}
        used = {layer for layer, *_ in lines} | {layer for layer, _ in words} | circles
        unknown = sorted(used - drawing.layers)
        report.expect(not unknown, "drawings whose layers are all declared", name,
                      f"layer {unknown[:1]} is not in its table")  # fmt: skip
        report.expect(not drawing.other, "drawings of lines, circles and words alone", name,
                      f"holds {', '.join(sorted(drawing.other))}")  # fmt: skip
    elif name.endswith(".svg"):
        picture = svg_paths.read_svg(data)
        lines = [(p.layer, p.points, p.closed) for p in picture.paths]
        words = [(t.layer, t.text) for t in picture.texts]
        numbers, circles = [t.at for t in picture.texts], set()
    else:
        return
    finite = all(np.isfinite(points).all() for _, points, _ in lines)
    finite = finite and all(np.isfinite(n).all() for n in numbers)
    report.expect(finite, "drawings with finite numbers only", name, "a number is not finite")
    stray = [layer for layer, points, closed in lines if layer in CUT_LAYERS and not closed]
    stray += [layer for layer, _ in words if layer in CUT_LAYERS]
    stray += [layer for layer in circles if layer in CUT_LAYERS]
    report.expect(not stray, "cut layers with closed cuts alone", name,
                  f"layer {stray[:1]} holds something that is no closed cut")  # fmt: skip
    nowhere = [layer for layer, *_ in (*lines, *words) if layer in NO_LAYERS or not layer]
    report.expect(not nowhere, "drawings with every mark on the layer of its role", name,
                  f"{len(nowhere)} marks lie on no layer of their own")  # fmt: skip
    cuts = [points for layer, points, _ in lines if layer in CUT_LAYERS]
    simple = all(plane.is_simple(_thinned(points)) for points in cuts)
    report.expect(simple, "drawings whose cuts neither cross nor touch themselves", name,
                  "a cut crosses or touches itself")  # fmt: skip
    odd = [text for _, text in words if any(ord(c) < 32 or 127 <= ord(c) < 160 for c in text)]
    report.expect(not odd, "drawings with clean words", name,
                  f"the words {odd[:1]!r} hold a control character")  # fmt: skip


def _thinned(points: np.ndarray) -> np.ndarray:
    """A ring without points nearer to the one before than an SVG's last decimals can tell."""
    apart = np.hypot(*(points - np.roll(points, 1, axis=0)).T)
    return points[apart > ROUNDING_MM] if (apart > ROUNDING_MM).sum() >= 3 else points


def _check_title(
    piece: dict, drawing: Drawing | svg_paths.Drawing, name: str, report: Report
) -> None:
    """The largest word of a template is the id of its piece."""
    names = [t for t in drawing.texts if t.layer == "ID"]
    largest = max((t.height for t in names), default=0.0)
    shown = {t.text for t in names if t.height >= largest - 1e-9}
    report.expect(piece["id"] in shown, "templates that bear their piece's id", name,
                  f"its largest words are {sorted(shown)[:2]}, not {piece['id']}")  # fmt: skip


def _check_names(
    wanted: list, drawing: Drawing | svg_paths.Drawing, name: str, report: Report
) -> None:
    """Inside each placed outline stands the id of just its piece; where it is too small for
    words, they stand elsewhere on the drawing."""
    words = [t.text for t in drawing.texts if t.layer == "ID"]
    places = np.array([t.at for t in drawing.texts if t.layer == "ID"]).reshape(-1, 2)
    outlines = [placed_ring(shape, placement) for _, _, shape, placement in wanted
                if "outline_mm" in shape]  # fmt: skip
    shift = np.zeros(2)
    if isinstance(drawing, svg_paths.Drawing) and outlines:  # an SVG has its origin in a corner
        cuts = [path.points for path in drawing.paths if path.layer == "CUT" and path.closed]
        drawn = np.min([points.min(axis=0) for points in cuts], axis=0) if cuts else shift
        shift = np.min([outline.min(axis=0) for outline in outlines], axis=0) - drawn
    for piece, part, shape, placement in wanted:
        if "outline_mm" not in shape:
            continue
        outline = placed_ring(shape, placement)
        inside = _words_within(outline, words, places + shift)
        told = inside or words
        report.expect(any(_names(text, piece, part) for text in told),
                      "placed outlines that bear their piece's id", name,
                      f"in the outline of {part}/{piece} stands {inside[:3]}")  # fmt: skip


def _words_within(outline: np.ndarray, words: list[str], places: np.ndarray) -> list[str]:
    """The words that stand in an outline; those outside its box are not looked at."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    near = np.flatnonzero(((places >= low) & (places <= high)).all(axis=1))
    held = plane.inside(places[near], outline) if len(near) else []
    return [words[k] for k, inside in zip(near, held, strict=True) if inside]


def _names(text: str, piece: str, part: str) -> bool:
    rest = text.split()
    return piece in rest or (rest[:1] == [part] and piece in rest[1:])
