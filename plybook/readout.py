"""What a spec was read as: a short picture of the stack in text, and of the zones once laid up.

A wrong reading (a region at the other edge, an angle of the wrong sign, inches for millimetres) is
seen here before anything is cut. Nothing here judges; lengths are in the part's own unit.

Terms:
    band: the drawing of one layer in the stack, its fibres seen from above.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from plybook.spec.model import (
    FAR_MM,
    Around,
    AtShare,
    BetweenPoints,
    Common,
    Core,
    EdgeBand,
    Film,
    Insert,
    Inset,
    Layer,
    Less,
    OnFace,
    OnPattern,
    PartSpec,
    Patch,
    Ply,
    PointRef,
    Polygon,
    Region,
    Rod,
    ShareBand,
    SpanBand,
    StationMould,
    Strip,
    Treatment,
    Union,
    Whole,
)
from plybook.units import SQUARE_FOOT_M2, show_length, show_number

if TYPE_CHECKING:
    from plybook.laminate.model import Zone

BAND = 12  # letters of a band
MOST_LAYERS = 60
MOST_ZONES = 8
_STROKES = {0.0: "-", 45.0: "/", -45.0: "\\", 90.0: "|"}


def picture(spec: PartSpec) -> str:
    """Part, face, and the stack with its first layer lowest, as it lies.

    Returns:
        Lines of text; ids and names as the user wrote them.
    """
    return "\n".join([_title(spec), *_face(spec), "", *_stack(spec), _sum(spec)])


def zone_lines(zones: Sequence[Zone], unit: str) -> str:
    """The zones of a laid-up part, largest first: stack, thickness, area."""
    ordered = sorted(zones, key=lambda z: (-round(z.area_m2, 6), z.label))
    rows = [
        f"  {zone.label:4} {zone.code}, {_thick(zone.thickness_mm, unit)}, "
        f"{_area(zone.area_m2, unit)}"
        for zone in ordered[:MOST_ZONES]
    ]
    left = len(ordered) - MOST_ZONES
    more = [f"  and {left} smaller"] if left > 0 else []
    return "\n".join(["zones, largest first", *rows, *more])


def region_words(region: Region, unit: str) -> str:
    """A region in words: "span 0 to 900 mm, share 0.2 to 0.6"."""

    def length(value_mm: float) -> str:
        return show_length(value_mm, unit)

    match region:
        case Whole():
            return "whole face"
        case SpanBand(low, high):
            return f"span {length(low)} to {length(high)}"
        case ShareBand(low, high):
            return f"share {low:g} to {high:g}"
        case EdgeBand(edge, low, high) if high >= FAR_MM:
            return f"{length(low)} and more from {edge}"
        case EdgeBand(edge, low, high):
            return (
                f"within {length(high)} of {edge}"
                if low <= 0
                else (f"{length(low)} to {length(high)} from {edge}")
            )
        case Inset(by):
            return "inside " + ", ".join(
                f"{', '.join(edges)} by {length(mm)}" for mm, edges in _by_length(by).items()
            )
        case Around(layer, by) if by < 0:
            return f"{layer} less {length(-by)} all round"
        case Around(layer, by):
            return f"{layer} and {length(by)} around it"
        case Strip(line, width):
            ends = f"{point_words(line[0], unit)} to {point_words(line[-1], unit)}"
            return f"strip {length(width)} wide from {ends}"
        case Patch():
            size = f"{length(region.length_mm)} x {length(region.width_mm)}"
            turned = f", turned {region.turn_deg:g} deg" if region.turn_deg else ""
            return f"{region.shape} {size} at {point_words(region.at, unit)}{turned}"
        case Polygon(points):
            return f"polygon of {len(points)} points from {point_words(points[0], unit)}"
        case Union(items):
            return " plus ".join(_bracketed(one, unit) for one in items)
        case Common(items):
            return ", ".join(_bracketed(one, unit) for one in items)
        case Less(base, less):
            taken = " and ".join(_bracketed(one, unit) for one in less)
            return f"{_bracketed(base, unit)} less {taken}"
    raise TypeError(f"no words for {type(region).__name__}")


def point_words(point: PointRef, unit: str) -> str:
    """A point in words."""
    if isinstance(point, OnFace):
        return f"span {show_length(point.span_mm, unit)} share {point.share:g}"
    return f"[{show_length(point.x_mm, unit)}, {show_length(point.y_mm, unit)}]"


def _by_length(pairs: Sequence[tuple[str, float]]) -> dict[float, list[str]]:
    """Edges by the length they have in common, in the order of first use."""
    found: dict[float, list[str]] = {}
    for edge, value_mm in pairs:
        found.setdefault(value_mm, []).append(edge)
    return found


def _bracketed(region: Region, unit: str) -> str:
    words = region_words(region, unit)
    return f"({words})" if isinstance(region, Union | Less) else words


# ---------------------------------------------------------------- part and face


def _title(spec: PartSpec) -> str:
    part = spec.part
    hand = {"none": "no hand"}.get(part.hand, f"{part.hand} hand")
    other = f", and {part.other_hand} for the other hand" if part.other_hand else ""
    units = {"mm": "millimetres", "in": "inches"}[part.units]
    return f"{part.number} {part.name}, revision {part.revision}, {hand}{other}, in {units}"


def _face(spec: PartSpec) -> list[str]:
    unit, mould = spec.part.units, spec.mould
    if isinstance(mould, StationMould):
        first, last = mould.stations[0], mould.stations[-1]
        side = "" if mould.side == "all" else f", {mould.side} side"
        span = f"span {show_length(first.at_mm, unit)} to {show_length(last.at_mm, unit)}"
        face = f"{mould.form}{side}, {mould.loft} through {len(mould.stations)} stations, {span}"
        if mould.side != "all":
            chords = (show_length(s.chord_mm, unit) for s in (first, last))
            face += f", chord {' to '.join(chords)}"
    else:
        low, high = mould.ring_mm.min(axis=0), mould.ring_mm.max(axis=0)
        size = " x ".join(show_length(float(v), unit) for v in high - low)
        count = len(mould.holes_mm)
        holes = f", {count} hole{'s' if count > 1 else ''}" if count else ""
        face = f"flat, {size}{holes}"
    return [
        f"  face   {face}",
        f"  axis   0 deg {_axis_words(spec)}",
        f"  trim   {_trim_words(spec)}",
    ]


def _axis_words(spec: PartSpec) -> str:
    axis = spec.axis
    if isinstance(axis, AtShare):
        return f"along share {axis.share:g}, root to tip"
    assert isinstance(axis, BetweenPoints)
    start, end, unit = axis.start, axis.end, spec.part.units
    if isinstance(start, OnPattern) and isinstance(end, OnPattern) and start.y_mm == end.y_mm:
        return "along x" if end.x_mm > start.x_mm else "against x"
    return f"from {point_words(axis.start, unit)} to {point_words(axis.end, unit)}"


def _trim_words(spec: PartSpec) -> str:
    by_trim = _by_length([(rule.edge, rule.trim_mm) for rule in spec.edges])
    return "; ".join(
        f"{show_length(trim, spec.part.units)} at {', '.join(edges)}"
        for trim, edges in by_trim.items()
    )


# ---------------------------------------------------------------- the stack


def _stack(spec: PartSpec) -> list[str]:
    """One line a layer, last laid on top, the mould face at the foot."""
    rows = [_row(layer, spec) for layer in spec.layers]
    widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]) - 1)]
    lines = []
    for number, row in enumerate(rows, 1):
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=False)]
        lines.append(f"{number:4} " + "  ".join([*cells, row[-1]]))
    if len(lines) > MOST_LAYERS:
        half = MOST_LAYERS // 2
        gap = f"     ... {len(lines) - 2 * half} more ..."
        lines = [*lines[:half], gap, *lines[-half:]]
    foot = " " * (5 + widths[0] + 2) + "=" * BAND + "  mould face"
    return [*reversed(lines), foot]


def _row(layer: Layer, spec: PartSpec) -> list[str]:
    """Id, band, kind and angle, thickness, material, where."""
    unit, known = spec.part.units, spec.materials
    where = region_words(layer.region, unit)
    match layer:
        case Ply():
            thick = _thick(known.cloths[layer.material].thickness_mm, unit)
            kind = f"ply {layer.angle_deg:+g}" if layer.angle_deg else "ply 0"
            if layer.drop is not None:
                where = f"{where}; {_drop_words(layer, unit)}"
            return [
                layer.id,
                _strokes(layer.angle_deg),
                kind,
                thick,
                layer.material,
                where,
            ]
        case Core():
            thick = _thick(layer.thickness_mm, unit)
            where = f"{where}; edges {_cut_words(layer)}"
            return [layer.id, "[" + " " * (BAND - 2) + "]", "core", thick, layer.material, where]
        case Insert():
            thick = _thick(layer.thickness_mm, unit)
            where = f"{where}; let into {layer.core}"
            return [layer.id, "#" * BAND, "insert", thick, layer.material, where]
        case Rod():
            thick = _thick(known.rods[layer.material].height_mm, unit)
            rows = f"{layer.rows} side by side" if layer.rows > 1 else "one"
            where = f"{rows}, {' to '.join(point_words(p, unit) for p in layer.line)}"
            return [layer.id, "o" * BAND, "rod", thick, layer.material, where]
        case Film():
            off = f"; off after {layer.removed_after}" if layer.removed_after else ""
            return [layer.id, "." * BAND, "film", "", layer.material, where + off]
    raise TypeError(f"no row for {type(layer).__name__}")


def _cut_words(core: Core) -> str:
    """How the edges are cut: "bevel 45", or "bevel 30 at tip, the rest bevel 45"."""
    own: dict[str, list[str]] = {}
    rest = Treatment("square")
    for name, cut in core.edges:
        if name:
            own.setdefault(_one_cut(cut), []).append(name)
        else:
            rest = cut
    usual = _one_cut(rest)
    own.pop(usual, None)
    parts = [f"{words} at {', '.join(names)}" for words, names in own.items()]
    return ", ".join([*parts, f"the rest {usual}"]) if parts else usual


def _one_cut(cut: Treatment) -> str:
    if cut.kind in ("square", "trim"):
        return cut.kind
    return f"{cut.kind} {cut.angle_deg:g}" + (" bag side" if cut.wide_side == "bag" else "")


def _drop_words(ply: Ply, unit: str) -> str:
    drop = ply.drop
    assert drop is not None
    step = show_length(drop.step_mm, unit)
    return f"{drop.index} of {drop.count}, {step} steps towards {drop.edge}"


def _strokes(angle_deg: float) -> str:
    """The fibres (of a woven cloth its warp) as strokes: the nearest of 0, 45, -45 and 90."""
    folded = (angle_deg + 90.0) % 180.0 - 90.0
    folded = 90.0 if folded == -90.0 else folded
    nearest = min(_STROKES, key=lambda a: min(abs(folded - a), 180.0 - abs(folded - a)))
    return _STROKES[nearest] * BAND


def _thick(value_mm: float, unit: str) -> str:
    if unit == "in":
        return f"{show_number(value_mm / 25.4, 4)} in"
    return f"{show_number(value_mm, 2)} mm"


def _area(value_m2: float, unit: str) -> str:
    if unit == "in":
        return f"{value_m2 / SQUARE_FOOT_M2:.2f} sq ft"
    return f"{value_m2:.3f} m2"


def _sum(spec: PartSpec) -> str:
    """Thickness of all plies together and of each core, where all of them lie."""
    unit, cloths = spec.part.units, spec.materials.cloths
    plies = [cloths[x.material].thickness_mm for x in spec.layers if isinstance(x, Ply)]
    cores = [x.thickness_mm for x in spec.layers if isinstance(x, Core)]
    words = f"{len(plies)} {'ply' if len(plies) == 1 else 'plies'} {_thick(sum(plies), unit)}"
    if len(cores) == 1:
        words += f", core {_thick(cores[0], unit)}, together {_thick(sum(plies) + cores[0], unit)}"
    elif cores:  # they may lie side by side
        words += f"; cores {', '.join(_thick(core, unit) for core in cores)}"
    return f"     where all of them lie: {words}"
