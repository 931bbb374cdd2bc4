"""Corner sheets: the curves and small corners of a piece that only paper shows, 1:1.

Terms:
    window: the part of a piece's drawing that is printed; several share a sheet.

Each window carries the knots it holds as lettered crosses, to be laid over the knots that were
found with the tape, and tells where the lines that leave it lead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from plybook.drawing import piecewords as words
from plybook.drawing.fibre import arrow_size_mm, fibre_arrow
from plybook.drawing.labels import Block, Box, Line, Placer
from plybook.drawing.letters import clean_text
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene
from plybook.drawing.style import LABEL_MM, NOTE_MM
from plybook.drawing.tapecard import tape_words
from plybook.drawing.tapeplan import TapePlan
from plybook.laminate.model import Piece
from plybook.spec.model import PartSpec

# windows by size: a quarter, a half and the whole of a printed sheet, with 6 mm between them
SIZES_MM = ((92.0, 122.0), (190.0, 122.0), (92.0, 250.0), (190.0, 250.0))
ROOM_MM = 24.0  # around a curve: the straight lines that lead on, crosses and letters
_CROSS_MM = 4.0
_OUT_MM = (4.5, 6.0, 8.0, 10.0, 12.0)  # of the letter of a knot from its cross


@dataclass(frozen=True)
class CornerWindow:
    """`runs` are places in the plan's runs; `window_mm` lies in the piece's cut frame."""

    window_mm: tuple[float, float, float, float]
    runs: tuple[int, ...]
    knots: tuple[int, ...]

    @property
    def size_mm(self) -> tuple[float, float]:
        x0, y0, x1, y1 = self.window_mm
        return x1 - x0, y1 - y0


def corner_windows(plan: TapePlan) -> tuple[CornerWindow, ...]:
    """The printed runs of a piece, neighbours together where one small window holds them."""
    held: list[tuple[np.ndarray, np.ndarray, list[int]]] = []
    for k, run in enumerate(plan.runs):
        if run.kind != "printed":
            continue
        low, high = run.points_mm.min(axis=0), run.points_mm.max(axis=0)
        if held and plan.runs[held[-1][2][-1]].end == run.start:
            both = np.minimum(low, held[-1][0]), np.maximum(high, held[-1][1])
            if _size_for(both[1] - both[0]) == SIZES_MM[0]:
                held[-1] = (*both, [*held[-1][2], k])
                continue
        held.append((low, high, [k]))
    made = []
    for low, high, runs in held:
        size = np.array(_size_for(high - low))
        corner = np.floor((low + high - size) / 2)
        window = (*corner.tolist(), *(corner + size).tolist())
        ends = {k for run in runs for k in (plan.runs[run].start, plan.runs[run].end)}
        made.append(CornerWindow(window, tuple(runs), tuple(sorted(ends))))
    return tuple(made)


def _size_for(extent_mm: np.ndarray) -> tuple[float, float]:
    for wide, high in SIZES_MM:
        if extent_mm[0] + ROOM_MM <= wide and extent_mm[1] + ROOM_MM <= high:
            return wide, high
    return SIZES_MM[-1]


def corner_scene(
    piece: Piece, lines: Sequence[Primitive], plan: TapePlan, shown: CornerWindow, spec: PartSpec,
    serves: Sequence[str] = (),
) -> Scene:  # fmt: skip
    """One window: the lines of the piece's drawing, its knots, and its words.

    Args:
        piece: in its cut frame.
        lines: the piece as drawn; its own words are left out.
        plan: figures of the piece.
        shown: the window.
        spec: for units and the fibre.
        serves: sentences that tell which other pieces are cut by the sheet; left out where the
            window has no room for them.

    Returns:
        A scene in the cut frame; what lies outside the window is to be clipped.
    """
    x0, y0, x1, y1 = shown.window_mm
    box = shapely.box(x0, y0, x1, y1)
    near = [
        item
        for item in lines
        if (isinstance(item, Path) and _line(item).intersects(box))
        or (isinstance(item, Circle) and shapely.Point(item.centre_mm).within(box))
    ]
    items: list[Primitive] = [*near]
    edge = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    items.append(Path(Role.REGISTRATION, edge, True))
    taken = [_line(i).intersection(box).buffer(0.6, quad_segs=1)
             for i in near if isinstance(i, Path) and i.role is not Role.BEVEL_HATCH]  # fmt: skip
    taken += [shapely.Point(i.centre_mm).buffer(i.radius_mm, quad_segs=4)
              for i in near if isinstance(i, Circle)]  # fmt: skip
    taken += [_line(arm).buffer(0.3, quad_segs=1) for arm in _arms(plan, shown)]
    room = shapely.box(x0 + 1.5, y0 + 1.5, x1 - 1.5, y1 - 1.5)
    place = Placer(room, shapely.Polygon(), (), taken)
    items += _crosses(plan, shown, spec, place)
    cells = np.array([(x, y) for x in np.arange(x0 + 3, x1 - 2, 3.0)
                      for y in np.arange(y1 - 3, y0 + 2, -3.0)])  # fmt: skip
    cost = np.hypot(*(cells - (x0, y1)).T)
    for height in (7.0, 5.0, 3.5, NOTE_MM):
        block = Block((Line(clean_text(piece.id), height, True, Role.ID),), pad_mm=0.6)
        if (spot := place.find(block.size_mm, cells, 0.0, cost)) is not None:
            items += place.put(block, spot)
            break
    face_up = Line(words.face_up_words(piece), 1.8, True)
    more = tuple(Line(clean_text(said), 1.8) for said in serves)
    for told in ((face_up, *more), (face_up,)):
        block = Block(told, pad_mm=0.6, left=True)
        if (spot := place.find(block.size_mm, cells, 0.0, cost)) is not None:
            items += place.put(block, spot)
            break
    said = words.fibre_words(piece, spec)
    if said is not None:
        size = arrow_size_mm(24.0, said)
        centre = np.hypot(*(cells - ((x0 + x1) / 2, (y0 + y1) / 2)).T)
        if (spot := place.find(size, cells, piece.angle_deg, centre)) is not None:
            place.put(Box(size), spot)
            items += fibre_arrow(spot.centre_mm, piece.angle_deg, 24.0, said)
    return Scene(tuple(items), shown.window_mm, f"Corners of {piece.id}")


def _line(item: Path) -> shapely.LineString:
    points = np.asarray(item.points_mm, float)
    return shapely.LineString(np.vstack([points, points[:1]]) if item.closed else points)


def _arms(plan: TapePlan, shown: CornerWindow) -> list[Path]:
    """The two lines of the cross on each knot."""
    arms = []
    for k in shown.knots:
        x, y = plan.knots[k].at_mm
        for dx, dy in ((_CROSS_MM, 0.0), (0.0, _CROSS_MM)):
            arms.append(Path(Role.REGISTRATION, np.array([(x - dx, y - dy), (x + dx, y + dy)])))
    return arms


def _crosses(plan: TapePlan, shown: CornerWindow, spec: PartSpec, place: Placer) -> list[Primitive]:
    """A lettered cross on each knot, and where the straight lines from it lead."""
    items: list[Primitive] = [*_arms(plan, shown)]
    x0, y0, x1, y1 = shown.window_mm
    leads: list[str] = []
    for k in shown.knots:
        knot = plan.knots[k]
        x, y = knot.at_mm
        block = Block((Line(knot.name, LABEL_MM, True, Role.REGISTRATION),), pad_mm=0.3)
        turns = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        ways = np.column_stack([np.cos(turns), np.sin(turns)])
        tries = np.vstack([np.array([x, y]) + ways * out for out in _OUT_MM])
        cost = np.repeat(np.arange(len(_OUT_MM), dtype=float), len(turns))
        spot = place.find(block.size_mm, tries, 0.0, cost)
        if spot is not None:
            items += place.put(block, spot)
        for run in plan.runs:
            if run.kind == "printed" or k not in (run.start, run.end):
                continue
            far = run.end if run.start == k else run.start
            length = plan.ties_mm[min(k, far), max(k, far)]
            leads.append(
                f"{knot.name} to {plan.knots[far].name} "
                f"{tape_words(length, spec.part.units, plan.tape_mm)}"
            )
    if leads:
        cells = np.array([(x, y) for y in np.arange(y0 + 3, y1 - 2, 3.0)
                          for x in np.arange(x0 + 3, x1 - 2, 3.0)])  # fmt: skip
        block = Block(tuple(Line(lead, NOTE_MM) for lead in leads), pad_mm=0.6, left=True)
        spot = place.find(block.size_mm, cells, 0.0, np.hypot(*(cells - (x1, y0)).T))
        if spot is not None:
            items += place.put(block, spot)
    return items
