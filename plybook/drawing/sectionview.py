"""The stack so far, seen in section: each ply a band, drop-offs, core and bevels.

Terms:
    length scale: true along the section line.
    thickness scale: how much thicker than at the length scale a layer is drawn. One figure for
        everything where thin plies stay visible; otherwise one for plies and one for core, both
        said under the picture.
    call-out: a layer's id beside the section with a line to its end; neighbours share one where
        there is no room.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from plybook.drawing.letters import fitted, text_width_mm
from plybook.drawing.rosette import show_angle
from plybook.drawing.scene import Anchor, Path, Primitive, Role, Scene, Text
from plybook.drawing.style import LABEL_MM, NOTE_MM
from plybook.laminate.model import LaidLayer, Laminate, SectionCut

LEAST_PLY_MM, BEST_PLY_MM, LARGEST_PLY_MM = 0.55, 1.1, 2.2  # on paper
LABELS_MM = 40.0  # room for call-outs at the right
PITCH_MM = 4.4
OVER_MM = 0.9  # between call-outs that run over the top
NARROW_MM = 75.0  # up to this length the words below the section take two lines
_ABSENT_MM = 1e-4
_FILM_MM = 0.1  # a peel ply, as drawn
_THICK = ("core", "insert", "rod")
TINT = {"ply": "ply", "film": "film", "core": "core", "insert": "insert", "rod": "rod"}


@dataclass(frozen=True)
class _Band:
    layer: LaidLayer
    at_mm: np.ndarray
    bottom_mm: np.ndarray
    top_mm: np.ndarray

    @property
    def present(self) -> np.ndarray:
        return self.top_mm - self.bottom_mm > _ABSENT_MM


def best_section(laminate: Laminate, layer: str, run: str = "") -> SectionCut | None:
    """The section that says most about a layer.

    Its own ladder where it belongs to a drop-off run, its own section where it is a hardpoint;
    else the one it is seen in with most layers, the earlier one of equals.
    """
    for cut in laminate.sections:
        if cut.name.startswith((f"Drop-off {run}," if run else "\0", f"Hardpoint {layer},")):
            return cut

    def score(cut: SectionCut) -> tuple[bool, int]:
        ids = {id for id, _, bottom, top in cut.bands if (top - bottom > _ABSENT_MM).any()}
        return layer in ids, len(ids)

    return max(laminate.sections, key=score, default=None)


def section_picture(
    cut: SectionCut,
    layers: Sequence[LaidLayer],
    this: Sequence[str],
    width_mm: float = 180.0,
    height_mm: float = 44.0,
) -> Scene:
    """The stack of `layers` along a section line, the layers `this` drawn bold.

    Args:
        cut: true heights along the line; only bands of `layers` are drawn.
        layers: what is in the mould after this step, first laid first.
        this: ids of this step's layers.
        width_mm, height_mm: size of the scene on paper.
    """
    bands = _bands(cut, layers)
    length = float(np.hypot(*(cut.line_mm[1] - cut.line_mm[0]))) or 1.0
    run_mm = width_mm - LABELS_MM - 14.0
    along = run_mm / length
    floor = 9.0 if run_mm > NARROW_MM else 13.4
    drawn, ply_x, core_x = _heights(bands, along, height_mm - 3.0 - floor)
    rows = _grouped(bands, this, int((height_mm - 10.0) / PITCH_MM))
    top = max((float(high.max()) for _, high in drawn), default=0.0)
    own_rows = sum(bands[members[-1]].layer.id in this for members in rows)
    height_mm = floor + max(top + own_rows * OVER_MM, len(rows) * PITCH_MM) + 3.0
    x0 = 12.0
    items: list[Primitive] = [
        Path(Role.FACE, np.array([[x0, floor], [x0 + run_mm, floor]])),
        *_mould_hatch(x0, x0 + run_mm, floor),
    ]
    shapes = []
    for band, (bottom, top) in zip(bands, drawn, strict=True):
        own = band.layer.id in this
        for ring in _rings(x0 + band.at_mm * along, floor + bottom, floor + top, band.present):
            fill = "highlight" if own else TINT.get(band.layer.kind, "ply")
            shapes.append((own, Path(Role.HIGHLIGHT if own else Role.DIMENSION, ring, True, fill)))
            if band.layer.kind in ("core", "insert"):
                shapes += [(own, h) for h in _core_hatch(ring, band.layer.kind)]
    items += [shape for own, shape in shapes if not own]
    items += [shape for own, shape in shapes if own]
    items += _call_outs(bands, drawn, rows, this, x0, along, floor, width_mm)
    items += _captions(cut, x0, run_mm, floor, ply_x, core_x)
    return Scene(tuple(items), (0.0, 0.0, width_mm, height_mm), "The stack so far, in section")


def _bands(cut: SectionCut, layers: Sequence[LaidLayer]) -> list[_Band]:
    """One band per layer on one common grid; the stretches of a layer are brought together. What
    lies on a film stands higher by it: the section itself holds none."""
    if not cut.bands:
        return []
    grid = np.unique(np.concatenate([at for _, at, _, _ in cut.bands]))
    films = np.zeros_like(grid)
    bands = []
    for layer in layers:
        low, high = np.zeros_like(grid), np.zeros_like(grid)
        for _, at, bottom, top in (row for row in cut.bands if row[0] == layer.id):
            here = np.searchsorted(grid, at)
            low[here], high[here] = bottom + films[here], top + films[here]
        if layer.kind == "film" and not high.any():
            low, high = _film(cut, layer, grid, bands)
            films += high - low
        bands.append(_Band(layer, grid, low, high))
    return [b for b in bands if b.present.any()]


def _film(
    cut: SectionCut, layer: LaidLayer, grid: np.ndarray, below: Sequence[_Band]
) -> tuple[np.ndarray, np.ndarray]:
    """A film on what lies below it: it comes off again, so the section itself holds none."""
    at = np.column_stack([np.interp(grid, (0.0, grid[-1]), ends) for ends in cut.line_mm.T])
    here = shapely.intersects(layer.region, shapely.points(at))
    base = np.max([np.zeros_like(grid), *(b.top_mm for b in below)], axis=0)
    return base, np.where(here, base + _FILM_MM, base)


def _heights(bands: Sequence[_Band], along: float, room_mm: float):
    """Bottom and top of each band on paper, and the two thickness scales against `along`."""
    if not bands:
        return [], 1.0, 1.0
    total = max(float(b.top_mm.max()) for b in bands)
    thinnest = min(
        (
            b.layer.thickness_mm
            for b in bands
            if b.layer.kind not in _THICK and b.layer.thickness_mm
        ),
        default=0.0,
    )
    one = room_mm / total
    if thinnest:
        one = min(one, LARGEST_PLY_MM / thinnest)
    if not thinnest or one * thinnest >= LEAST_PLY_MM:
        one = _round_scale(one / along) * along
        return [(b.bottom_mm * one, b.top_mm * one) for b in bands], one / along, one / along
    # thin plies on thick core: plies first, the core takes what room is left
    plies = sum(b.layer.thickness_mm for b in bands if b.layer.kind not in _THICK)
    heights = [b.top_mm - b.bottom_mm for b in bands if b.layer.kind in _THICK]
    thick = max(float(np.sum(heights, axis=0).max()), 1e-9) if heights else 1e-9
    ply = min(BEST_PLY_MM / thinnest, 0.72 * room_mm / max(plies, 1e-9))
    core = max((room_mm - plies * ply) / thick, 0.1 * room_mm / thick)
    ply, core = _round_scale(ply / along) * along, _round_scale(core / along) * along
    drawn = []
    base = np.zeros_like(bands[0].at_mm)
    sunk: dict[int, np.ndarray] = {}
    for index, band in enumerate(bands):
        factor = core if band.layer.kind in _THICK else ply
        rise = np.where(band.present, band.top_mm - band.bottom_mm, 0.0) * factor
        if band.layer.kind == "insert":  # stands in the core's cut-out, on the plies below it
            bottom = np.where(band.present, sunk.get(index, base), base)
            below = [d for b, d in zip(bands, drawn, strict=False) if b.layer.kind == "core"]
            if below:
                bottom = np.where(band.present, below[-1][0], base)
        else:
            bottom = base
        top = bottom + rise
        drawn.append((bottom, top))
        base = np.maximum(base, top)
    return drawn, ply / along, core / along


def _round_scale(value: float) -> float:
    """The next lower figure of 1, 1.5, 2, 3, 4, 5, 6, 8 times a power of ten."""
    power = 10.0 ** np.floor(np.log10(value))
    steps = np.array([1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0]) * power
    return float(steps[steps <= value * (1 + 1e-9)][-1])


def _rings(x: np.ndarray, bottom: np.ndarray, top: np.ndarray, mask: np.ndarray):
    """One ring per stretch where the band is present."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(int), [0]])))
    for start, stop in edges.reshape(-1, 2):
        s = slice(start, max(stop, start + 2))
        low = np.column_stack([x[s], bottom[s]])
        high = np.column_stack([x[s], top[s]])[::-1]
        if len(low) >= 2:
            yield _thinned(np.vstack([low, high]))


def _thinned(ring: np.ndarray) -> np.ndarray:
    """The ring without points that lie on the line of those kept (0.01 mm on paper)."""
    kept = shapely.get_coordinates(shapely.LinearRing(ring).simplify(0.01))[:-1]
    return kept if len(kept) >= 3 else ring


def _core_hatch(ring: np.ndarray, kind: str):

    from plybook.drawing.frame import hatch

    area = shapely.Polygon(ring).buffer(0)
    turns = (60.0,) if kind == "core" else (45.0, -45.0)
    for turn in turns:
        yield from hatch(area, turn, 3.0 if kind == "core" else 1.6)


def _mould_hatch(x0: float, x1: float, y: float):
    for x in np.arange(x0 + 1.5, x1, 3.0):
        yield Path(Role.HATCH, np.array([[x, y - 0.2], [x - 1.5, y - 1.7]]))


def _call_outs(bands, drawn, rows, this, x0, along, floor, width_mm) -> list[Primitive]:
    """Ids at the right, bottom up in the order of laying; older ones share a line.

    A layer of this step that ends behind later ones is called out over the top of them, its id
    above the others; the further left it ends, the higher, so that no two lines cross.
    """
    x_label = width_mm - LABELS_MM + 8.0
    straight, over = [], []
    for members in rows:
        band = bands[members[-1]]
        bottom, top = drawn[members[-1]]
        last = int(np.flatnonzero(band.present)[-1])
        middle = floor + (bottom[last] + top[last]) / 2
        x_end = x0 + band.at_mm[last] * along
        own = band.layer.id in this
        ahead = max((float(high[last:].max()) for _, high in drawn), default=0.0) + floor
        if own and ahead > middle + 1.0:
            over.append((members, x_end, middle, ahead))
        else:
            straight.append((members, x_end, middle, own))
    out: list[Primitive] = []
    y = floor - PITCH_MM
    for members, x_end, middle, own in straight:
        y = max(middle if len(rows) < 3 else y + PITCH_MM, y + PITCH_MM)
        way = [[x_end, middle], [max(x_end, x_label - 5.0), middle], [x_label - 1.0, y]]
        out += _call_out(way, _words(bands, members), own)
    height = 0.0
    for members, x_end, middle, ahead in sorted(over, key=lambda one: -one[1]):
        y += PITCH_MM
        height = max(ahead + 1.2, height + OVER_MM)
        way = [[x_end, middle], [x_end, height], [max(x_end, x_label - 5.0), height],
               [x_label - 1.0, y]]  # fmt: skip
        out += _call_out(way, _words(bands, members), True)
    return out


def _call_out(way: list[list[float]], words: str, own: bool) -> list[Primitive]:
    """A line from the end of a layer to its id, and the id."""
    size = LABEL_MM if own else NOTE_MM
    at = (way[-1][0] + 1.0, way[-1][1])
    words = fitted(words, LABELS_MM - 9.0, size, own)
    return [
        Path(Role.DIMENSION, np.array(way)),
        Text(Role.TEXT, at, words, size, rise="centre", bold=own),
    ]


def _grouped(bands: Sequence[_Band], this: Sequence[str], room: int) -> list[list[int]]:
    """Indices of bands in call-out rows: this step's alone, the others joined where needed."""
    rows: list[list[int]] = [[i] for i in range(len(bands))]
    while len(rows) > max(room, 2):
        joined = False
        for k in range(len(rows) - 1):
            pair = rows[k] + rows[k + 1]
            if not any(bands[i].layer.id in this for i in pair) and (
                len({bands[i].layer.kind for i in pair}) == 1 or len(rows) > room + 6
            ):
                # join the smallest neighbours first, from the mould face up
                rows[k : k + 2] = [pair]
                joined = True
                break
        if not joined:
            break
    return rows


def _words(bands: Sequence[_Band], members: Sequence[int]) -> str:
    layers = [bands[i].layer for i in members]
    if len(layers) > 2:
        return f"{layers[0].id} … {layers[-1].id}  ({len(layers)} layers)"
    return ", ".join(_one(layer) for layer in layers)


def _one(layer: LaidLayer) -> str:
    if layer.kind == "ply":
        return f"{layer.id}  {show_angle(layer.angle_deg)}"
    return f"{layer.id}  {layer.kind}"


def _captions(
    cut: SectionCut, x0: float, run_mm: float, floor: float, ply_x: float, core_x: float
) -> list[Primitive]:
    """What the section is and its thickness scale: on one line, or two where it is narrow."""
    if abs(ply_x - core_x) < 1e-9:
        scale = f"thickness ×{ply_x:.3g}"
    else:
        scale = f"thickness: plies ×{ply_x:.3g}, core ×{core_x:.3g}"
    right = x0 + run_mm + LABELS_MM + 2.0
    words = f"S–S: {cut.name}"
    two = run_mm <= NARROW_MM
    anchor: Anchor = "start" if two else "end"
    room = right - x0 - (0.0 if two else text_width_mm(scale, NOTE_MM) + 4.0)
    return [
        Text(Role.TEXT, (x0 - 1.0, floor - 1.0), "mould", NOTE_MM, anchor="end", rise="centre"),
        Text(Role.TEXT, (x0, 5.6 if two else 1.2), fitted(words, room, NOTE_MM), NOTE_MM),
        Text(Role.TEXT, (x0 if two else right, 1.2), scale, NOTE_MM, anchor=anchor),
    ]
