"""The bag of a stage, sketched from above and in section. Places are proposals, heights are not
to scale; both pictures say so."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from plybook.drawing.aroundpart import edge_words
from plybook.drawing.frame import Box, Frame, area_paths, first_free, fit_frame, hatch, is_inside
from plybook.drawing.letters import fitted, text_box_mm
from plybook.drawing.scene import Anchor, Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.style import LABEL_MM, NOTE_MM
from plybook.shop.model import BagPlan
from plybook.surface.model import Face
from plybook.units import show_run

WIDTH_MM = 180.0
LEGEND_MM = 46.0
_PORT_MM = 1.6  # radius of a port's mark
_APART_MM = 4.2  # between the middles of numbered dots
_FAR_MM = (4.6, 8.0, 12.0, 17.0, 23.0, 30.0)  # from a spot to a word that finds no room beside it
_Spot = tuple[tuple[float, float], Anchor, np.ndarray]  # where a word stands, and what it names
_ROLE = {
    "laminate": Role.FACE,
    "core": Role.CORE_EDGE,
    "peel_ply": Role.NET,
    "release_film": Role.STATION,
    "flow_mesh": Role.BEVEL,
    "breather": Role.SPLICE,
    "bag_film": Role.FRAME,
}
_NAMES = {
    "laminate_with_core": "laminate with its core",
    "peel_ply": "peel ply",
    "release_film": "release film",
    "flow_mesh": "flow mesh",
    "bag_film": "bag film",
}


def bag_plan_picture(face: Face, bag: BagPlan, unit: str = "mm") -> Scene:
    """From above: every layer's outline numbered, the tape line, pleats, hoses and ports."""
    rings = [
        np.asarray(face.outline_mm),
        bag.tape_mm,
        *(r for _, r in bag.outlines),
        *(line for _, line in bag.lines),
    ]
    points = np.vstack([np.asarray(r, float).reshape(-1, 2) for r in rings if len(r)])
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    tall = min(70.0, max(34.0, (WIDTH_MM - 8.0) * (y1 - y0) / max(x1 - x0, 1e-9)))
    rows = len({role for role, _ in bag.outlines}) + 2
    numbers = _numbers(bag)
    columns = 3
    foot = 6.0 + 4.6 * -(-rows // columns)
    frame = fit_frame((x0, y0, x1, y1), (4.0, foot + 4.0, WIDTH_MM - 4.0, foot + tall + 4.0))
    items: list[Primitive] = []
    entries: list[tuple[str, Role, str]] = []
    taken = [frame.put(np.array([[x, y]]))[0] for _, x, y in bag.ports]
    for role, ring in bag.outlines:
        drawn = frame.put(ring)
        style = _ROLE.get(role, Role.GHOST)
        items.append(Path(style, drawn, True, "ghost" if role == "laminate" else ""))
        number = numbers.get(role, 0)
        if number:
            items += _number(drawn, number, len(numbers), taken)
        entry = (f"{number or ''}", style, _NAMES.get(role, role))
        entries += [entry] if entry not in entries else []
    if len(bag.tape_mm):
        items.append(Path(Role.STOCK, frame.put(bag.tape_mm), True))
        entries.append(("", Role.STOCK, f"sealant tape, {show_run(bag.tape_length_mm, unit)}"))
    for at in frame.put(bag.pleats_mm) if len(bag.pleats_mm) else ():
        items += [Path(Role.TICK, np.array([at + (-1.3, -1.8), at + (0, 1.8), at + (1.3, -1.8)]))]
    if len(bag.pleats_mm):
        entries.append(("", Role.TICK, "pleat, film folded up (Λ)"))
    room = (1.0, foot + 0.5, WIDTH_MM - 1.0, foot + tall + 7.5)
    items += _lines_and_ports(frame, bag, items, room)
    for candidates in _edges(frame, face):
        items += filter(None, [first_free(candidates, items, dots=True)])
    for k, (shown, role, words) in enumerate(entries):
        column, row = divmod(k, -(-len(entries) // columns))
        x, y = 4.0 + column * (WIDTH_MM - 8.0) / columns, foot - 3.0 - 4.6 * row
        items.append(Path(role, np.array([[x, y], [x + 9.0, y]])))
        label = f"{shown}  {words}" if shown else words
        items.append(Text(Role.TEXT, (x + 11.0, y), label, NOTE_MM, rise="centre"))
    return Scene(tuple(items), (0.0, 0.0, WIDTH_MM, foot + tall + 8.0), "Bag, from above")


def _numbers(bag: BagPlan) -> dict[str, int]:
    """The number of each thing that lies under the bag, the same from above and in section."""
    roles = [role.removesuffix("_with_core") for role in bag.stack if role != "mould"]
    return {role: number for number, role in enumerate(roles, start=1)}


def _number(ring: np.ndarray, number: int, of: int, taken: list[np.ndarray]) -> list[Primitive]:
    """A numbered dot on an outline, each outline at another place along its lower side, or further
    round where that is full.

    Args:
        taken: centres of dots and ports that stand already; the new one is added.
    """
    from shapely import LinearRing

    line = LinearRing(ring)
    x0, y0, x1, _ = line.bounds
    want = x0 + (x1 - x0) * (0.12 + 0.6 * number / (of + 1))
    low = ring.mean(axis=0)[1]
    sample = np.array(
        [line.interpolate(s, normalized=True).coords[0] for s in np.linspace(0, 1, 241)]
    )
    lower = sample[sample[:, 1] <= low]
    near = [
        np.argmin(np.abs(lower[:, 0] - want - shift)) for shift in (0.0, 5.0, -5.0, 10.0, -10.0)
    ]
    by_side = np.lexsort([np.abs(sample[:, 0] - want), sample[:, 1] > low])
    places = np.vstack([lower[near], sample[by_side]])
    others = np.array(taken).reshape(-1, 1, 2)
    room = np.min(np.hypot(*(places - others).T), axis=1, initial=np.inf)
    at = places[np.argmax(room > _APART_MM) if (room > _APART_MM).any() else np.argmax(room)]
    taken.append(at)
    spot = (float(at[0]), float(at[1]))
    return [
        Circle(Role.DIMENSION, spot, 1.9, "white"),
        Text(Role.TEXT, spot, str(number), NOTE_MM, anchor="middle", rise="centre", bold=True),
    ]


def _lines_and_ports(
    frame: Frame, bag: BagPlan, drawn: list[Primitive], window: Box
) -> list[Primitive]:
    """Hoses, lines and ports with their names, clear of each other, of the lines and of what stands
    there."""
    from shapely import LineString, MultiLineString, Polygon

    runs = [(name, frame.put(line)) for name, line in bag.lines]
    hoses = MultiLineString([run for _, run in runs])
    places = [(name, frame.put(np.array([[x, y]]))[0]) for name, x, y in bag.ports]
    out: list[Primitive] = [Path(Role.HIGHLIGHT, run) for _, run in runs]
    for _, (u, v) in places:
        out.append(Circle(Role.DATUM, (float(u), float(v)), _PORT_MM, "white"))
        out.append(Circle(Role.DATUM, (float(u), float(v)), 0.6, "ink"))
    middle = (window[1] + window[3]) / 2

    def write(name: str, bold: bool, close: list[_Spot], spots: list[np.ndarray]) -> None:
        around = (
            (at, anchor, spot)
            for far in _FAR_MM
            for spot in spots
            for at, anchor in _around(spot, far, 1 if spot[1] >= middle else -1)
        )
        marks = {
            Text(Role.TEXT, at, name, NOTE_MM, anchor=anchor, rise="centre", bold=bold, halo=True):
            spot for at, anchor, spot in (*close, *around)
        }  # fmt: skip
        inside = [mark for mark in marks if is_inside(mark, window)] or list(marks)
        inside.sort(key=lambda mark: hoses.intersects(Polygon(text_box_mm(mark, 0.7))))
        mark = first_free(inside, [*drawn, *out], dots=True) or inside[0]
        out.extend([*_leader(marks[mark], mark), mark])

    for name, (u, v) in places:
        left = u < WIDTH_MM / 2  # out of the part where there is room
        spot = np.array([u, v])
        sides: list[_Spot] = [((u + 3.2, v), "start", spot), ((u - 3.2, v), "end", spot)]
        write(name, False, sides[::-1] if left else sides, [spot])
    for name, run in runs:
        spots = [
            np.array(LineString(run).interpolate(share, normalized=True).coords[0])
            for share in (0.3, 0.7, 0.15, 0.85, 0.4, 0.6)
        ]
        on: list[_Spot] = [
            ((at[0], at[1] + dy), "middle", at) for at in spots for dy in (4.2, -4.2, 0.0)
        ]
        write(name, True, on, spots)
    return out


def _around(
    spot: np.ndarray, far_mm: float, outward: int
) -> Iterator[tuple[tuple[float, float], Anchor]]:
    """Places of a word at a distance around a spot, away from the part first."""
    for turn_deg in (90, 60, 120, 30, 150, -90, -60, -120, -30, -150):
        turn = math.radians(turn_deg)
        x, y = spot + far_mm * np.array([math.cos(turn), outward * math.sin(turn)])
        yield (
            (float(x), float(y)),
            "middle" if abs(turn_deg) == 90 else "start" if abs(turn_deg) < 90 else "end",
        )


def _leader(spot: np.ndarray, mark: Text) -> Iterator[Path]:
    """A line from a spot to the word for it, where that does not stand beside it."""
    corners = text_box_mm(mark, 0.4)
    end = np.clip(spot, corners.min(axis=0), corners.max(axis=0))
    gap = float(np.hypot(*(end - spot)))
    if gap > 2 * _PORT_MM:
        yield Path(Role.DIMENSION, np.array([spot + (end - spot) * _PORT_MM / gap, end]))


def _edges(frame: Frame, face: Face) -> Iterator[list[Text]]:
    """Places for each edge's name inside the part, best first."""
    from shapely import LineString

    middle = frame.put(face.outline_mm).mean(axis=0)
    for edge in face.edges:
        line = LineString(frame.put(edge.points_mm))
        level = abs(np.ptp(edge.points_mm[:, 0])) >= abs(np.ptp(edge.points_mm[:, 1]))
        places = []
        for share in (0.5, 0.28, 0.72, 0.4, 0.6, 0.15, 0.85):
            at = np.asarray(line.interpolate(share, normalized=True).coords[0])
            inward = (middle - at) / (np.hypot(*(middle - at)) or 1.0)
            for deep in (5.0, 9.0):
                x, y = at + deep * inward
                places.append(
                    Text(
                        Role.TEXT,
                        (float(x), float(y)),
                        edge_words(edge.name),
                        NOTE_MM,
                        turn_deg=0.0 if level else 90.0,
                        anchor="middle",
                        rise="centre",
                        halo=True,
                    )
                )
        yield places


def bag_section_picture(bag: BagPlan) -> Scene:
    """In section: what lies on what, from the mould up; heights and widths are a sketch."""
    pitch = 5.4
    stack = [_NAMES.get(words, words) for words in bag.stack if words != "mould"]
    count = len(stack)
    floor = 11.0
    height = floor + pitch * count + 5.0
    right = WIDTH_MM - LEGEND_MM - 14.0
    items: list[Primitive] = []
    from shapely import box

    mould = box(4.0, floor - 4.0, right, floor)
    items += area_paths(mould, Role.FACE)
    items += hatch(mould, 45.0, 2.4)
    items.append(Text(Role.TEXT, (right + 4.0, floor - 2.0), "mould", NOTE_MM, rise="centre"))
    inner = 40.0
    top = floor
    for k, words in enumerate(stack):
        last = k == count - 1
        y = floor + pitch * k + 1.2
        x0, x1 = 4.0 + inner - 2.2 * k, right - inner + 2.2 * k
        if last:  # the bag film comes down to the tape on both sides
            top = y + 2.0
            line = [
                (9.0, floor + 2.2),
                (x0 - 6.0, floor + 2.2),
                (x0 + 2.0, top),
                (x1 - 2.0, top),
                (x1 + 6.0, floor + 2.2),
                (right - 5.0, floor + 2.2),
            ]
            items.append(Path(Role.STOCK, np.array(line)))
            y = top
            x_end = x1 - 2.0
        else:
            core = words == "core"
            thick = 3.0 if k == 0 or core else 1.5
            role = Role.HIGHLIGHT if k == 0 else Role.DIMENSION
            fill = "ply" if k == 0 else ("band" if k % 2 else "ghost")
            if core:  # narrower than what lies over it, and bevelled
                x0, x1 = x0 + 12.0, x1 - 12.0
            lean = thick if core else 0.0
            corners = [(x0, y), (x1, y), (x1 - lean, y + thick), (x0 + lean, y + thick)]
            items.append(Path(role, np.array(corners), True, fill))
            y, x_end = y + thick / 2, x1 - lean / 2
        label_y = floor + pitch * (k + 0.6) + 2.0
        items.append(
            Path(Role.DIMENSION, np.array([(x_end, y), (right + 1.0, y), (right + 3.0, label_y)]))
        )
        items.append(
            Text(
                Role.TEXT,
                (right + 4.0, label_y),
                fitted(f"{k + 1}  {words}", LEGEND_MM + 9.0, LABEL_MM),
                LABEL_MM,
                rise="centre",
            )
        )
    for x in (5.0, right - 9.0):
        items += [
            Path(
                Role.FRAME,
                np.array([(x, floor), (x + 4, floor), (x + 4, floor + 2.2), (x, floor + 2.2)]),
                True,
                "ink",
            )
        ]
    items.append(
        Text(
            Role.TEXT,
            (4.0, 1.4),
            "Black blocks: sealant tape. A sketch: heights are not to scale.",
            NOTE_MM,
        )
    )
    return Scene(tuple(items), (0.0, 0.0, WIDTH_MM, height), "Bag, in section")
