"""Flat panels: floors, hatches, bulkheads and ribs, with holes and hardpoints."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, field

import ezdxf

from tests.corpus.dice import INCH
from tests.corpus.parts import (
    MIRROR,
    Job,
    bevel,
    doublers,
    finished,
    group,
    hardpoint,
    head,
    patch,
    run_of_bevel_mm,
    skin_code,
)

Ring = list[tuple[float, float]]


@dataclass
class Plate:
    """An outline and the rectangle within it that is surely part of it; mm."""

    mould: dict
    box: tuple[float, float, float, float]  # x, y of two corners
    sides: list[str] = field(default_factory=list)  # that have names
    holes: list[tuple[float, float, float]] = field(default_factory=list)  # x, y, diameter

    def clear(self, x: float, y: float, reach: float, *of: float) -> bool:
        """Is a circle about a point within the box and off the holes, but for one at `of`?"""
        left, low, right, top = self.box
        inside = left + reach <= x <= right - reach and low + reach <= y <= top - reach
        return inside and all(
            math.dist((x, y), (a, b)) > reach + size / 2
            for a, b, size in self.holes
            if (a, b) != of
        )


def draw(job: Job) -> dict:
    """A spec."""
    dice = job.dice
    long = dice.between(300, dice.one((900, 1500, 3000)))
    wide = dice.between(max(120.0, 0.15 * long), min(1300.0, 0.95 * long))
    shape = dice.weighted(
        {
            "rectangle": 5,
            "trapezium": 2,
            "round end": 1,
            "disc": 1,
            "notched": 1,
            "drawing": 2,
            "rib": 1.5,
            "bulkhead": 1.5,
            "polygon": 1,
        }
    )
    plate = _SHAPES[shape](job, long, wide)
    if shape not in ("drawing", "bulkhead"):
        _drill(job, plate)
    named = {"rib": "Rib", "disc": "Bulkhead", "round end": "Bulkhead", "bulkhead": "Bulkhead"}
    name = named.get(shape, "Panel")
    made = {
        "part": head(job, name, handed=shape in ("trapezium", "notched", "rib")),
        "mould": plate.mould,
        "edges": {"all": {"trim": dice.written(dice.fine(dice.uniform(5, 25)))}},
        "layers": _layers(job, plate, shape),
    }
    return finished(job, made)


# ---------------------------------------------------------------- outlines


def _points(job: Job, ring: Ring) -> list[list]:
    return [[job.dice.written(x), job.dice.written(y)] for x, y in ring]


def _corners(job: Job, mould: dict, least_side: float) -> dict:
    dice = job.dice
    if dice.chance(0.65):
        mould["corners"] = dice.written(dice.fine(dice.uniform(5, min(60, least_side / 5))))
    return mould


def _rectangle(job: Job, long: float, wide: float) -> Plate:
    dice = job.dice
    points: list = _points(job, [(0, 0), (long, 0), (long, wide), (0, wide)])
    sides: list[str] = []
    if dice.chance(0.4):
        points[1] = {"to": points[1], "edge": "hinge"}
        points[3] = {"to": points[3], "edge": "latch"}
        sides = ["hinge", "latch"]
    return Plate(_corners(job, {"outline": points}, wide), (0, 0, long, wide), sides)


def _trapezium(job: Job, long: float, wide: float) -> Plate:
    dice = job.dice
    cut = dice.rounded(long * dice.uniform(0.05, 0.2))
    ring = [(0, 0), (long, 0), (long - cut, wide), (cut if dice.chance(0.5) else 0, wide)]
    mould = _corners(job, {"outline": _points(job, ring)}, wide)
    return Plate(mould, (cut, 0, long - cut, wide))


def _round_end(job: Job, long: float, wide: float) -> Plate:
    """A rectangle with a half circle at one end."""
    dice = job.dice
    straight = dice.rounded(max(0.3 * long, long - wide / 2))
    outline: list = _points(job, [(0, 0), (straight, 0)])
    outline.append(
        {
            "arc_to": [dice.written(straight), dice.written(wide)],
            "through": [dice.written(straight + wide / 2), dice.written(wide / 2)],
        }
    )
    outline.append([0, dice.written(wide)])
    return Plate({"outline": outline}, (0, 0, straight, wide))


def _disc(job: Job, long: float, wide: float) -> Plate:
    dice = job.dice
    size = dice.rounded(min(wide, 1100.0))
    half, mid = size / 2, dice.written(size / 2)
    outline = [
        [0, mid],
        {"arc_to": [dice.written(size), mid], "through": [mid, 0]},
        {"arc_to": [0, mid], "through": [mid, dice.written(size)]},
    ]
    reach = 0.69 * half
    return Plate({"outline": outline}, (half - reach, half - reach, half + reach, half + reach))


def _notched(job: Job, long: float, wide: float) -> Plate:
    dice = job.dice
    deep, broad = dice.rounded(0.3 * wide), dice.rounded(0.3 * long)
    ring = [
        (0, 0),
        (long, 0),
        (long, wide - deep),
        (long - broad, wide - deep),
        (long - broad, wide),
        (0, wide),
    ]
    mould = {"outline": _points(job, ring)}
    if dice.chance(0.6):
        mould["corners"] = dice.written(dice.fine(dice.uniform(5, 20)))
    return Plate(mould, (0, 0, long - broad, wide))


def _drawing(job: Job, long: float, wide: float) -> Plate:
    """A rectangle with round corners, from a DXF file or a table of points."""
    dice = job.dice
    radius = dice.fine(dice.uniform(10, min(60, wide / 4)))
    if dice.chance(0.5):
        plate = Plate({"dxf": "drawings/panel.dxf", "layer": "OUTLINE"}, (0, 0, long, wide))
        if dice.chance(0.4):
            plate.holes.append((long / 2, wide / 2, dice.rounded(min(120, 0.25 * wide))))
        round_ = math.tan(math.pi / 8)  # bulge of a quarter circle
        job.files["drawings/panel.dxf"] = _dxf(
            job,
            [
                (radius, 0, 0),
                (long - radius, 0, round_),
                (long, radius, 0),
                (long, wide - radius, round_),
                (long - radius, wide, 0),
                (radius, wide, round_),
                (0, wide - radius, 0),
                (0, radius, round_),
            ],
            plate.holes,
        )
        return plate
    cut = radius
    ring = [(cut, 0), (long - cut, 0), (long, cut), (long, wide), (0, wide), (0, cut)]
    return _table(job, ring, (0, cut, long, wide))


def _dxf(job: Job, corners: list[tuple[float, float, float]], holes: list) -> bytes:
    """A closed line through x, y and bulge, and round holes, on the layer OUTLINE."""
    unit = INCH if job.dice.inches else 1.0
    former = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True  # no times, no random ids
    try:
        drawing = ezdxf.new("R2010")
        drawing.header["$INSUNITS"] = 1 if job.dice.inches else 4
        space, on = drawing.modelspace(), {"layer": "OUTLINE"}
        points = [(x / unit, y / unit, bulge) for x, y, bulge in corners]
        space.add_lwpolyline(points, format="xyb", close=True, dxfattribs=on)
        for a, b, size in holes:
            space.add_circle((a / unit, b / unit), size / unit / 2, dxfattribs=on)
        text = io.StringIO()
        drawing.write(text)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = former
    return text.getvalue().encode()


def _bulkhead(job: Job, long: float, wide: float) -> Plate:
    """A frame of a fuselage: flat below, sides and top by arcs, from a drawing."""
    dice = job.dice
    wide = min(long, wide, 1100.0)
    high = dice.rounded(wide * dice.uniform(0.8, 1.2))
    shoulder = dice.rounded(0.45 * high)
    corners = [
        (0.1 * wide, 0, 0),
        (0.9 * wide, 0, dice.uniform(0.1, 0.2)),
        (wide, shoulder, 0.35),
        (0.5 * wide, high, 0.35),
        (0, shoulder, dice.uniform(0.1, 0.2)),
    ]
    plate = Plate(
        {"dxf": "drawings/frame.dxf", "layer": "OUTLINE"},
        (0.14 * wide, 0, 0.86 * wide, 0.7 * high),
    )
    if dice.chance(0.6):
        plate.holes.append((wide / 2, 0.4 * high, dice.rounded(0.25 * wide)))
    job.files["drawings/frame.dxf"] = _dxf(job, corners, plate.holes)
    return plate


def _polygon(job: Job, long: float, wide: float) -> Plate:
    """A bulkhead or a floor by its corners: a box with its upper corners cut off."""
    dice = job.dice
    cut, down = dice.rounded(0.22 * long), dice.rounded(0.3 * wide)
    ring = [(0, 0), (long, 0), (long, wide - down), (long - cut, wide), (cut, wide)]
    ring.append((0, wide - down))
    mould = _corners(job, {"outline": _points(job, ring)}, 0.5 * wide)
    return Plate(mould, (0, 0, long, wide - down))


def _table(job: Job, ring: Ring, box: tuple[float, float, float, float]) -> Plate:
    unit, named = (INCH, "in") if job.dice.inches else (1.0, "mm")
    rows = [f"x ({named}), y ({named})", *(f"{x / unit:.4f}, {y / unit:.4f}" for x, y in ring)]
    job.files["drawings/panel.csv"] = ("\n".join(rows) + "\n").encode()
    return Plate({"csv": "drawings/panel.csv"}, box)


def _rib(job: Job, long: float, wide: float) -> Plate:
    """A rib between two spars: the outline of a section from 15 to 70 % of the chord."""
    thick = job.dice.one((0.12, 0.15))
    chord = long / 0.55

    def half(x: float) -> float:  # NACA report 460
        return (
            5
            * thick
            * chord
            * (0.2969 * math.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1015 * x**4)
        )

    shares = [0.15 + 0.55 * n / 24 for n in range(25)]
    top = [((x - 0.15) * chord, half(x)) for x in shares]
    ring = [(x, -y) for x, y in top] + list(reversed(top))
    low = half(0.7)
    return _table(job, ring, (0, -low, long, low))


_SHAPES = {
    "rectangle": _rectangle,
    "trapezium": _trapezium,
    "round end": _round_end,
    "disc": _disc,
    "notched": _notched,
    "drawing": _drawing,
    "rib": _rib,
    "bulkhead": _bulkhead,
    "polygon": _polygon,
}


def _drill(job: Job, plate: Plate) -> None:
    """One to four round holes, now and then an opening with four sides."""
    dice = job.dice
    if not dice.chance(0.55):
        return
    left, low, right, top = plate.box
    room = min(right - left, top - low)
    apart = dice.one((35.0, 90.0, 130.0))  # as for bare laminate, and for a core round about
    wanted = dice.weighted({1: 5, 2: 3, 4: 1})
    holes: list = []
    for _ in range(8 * wanted):
        size = dice.rounded(dice.uniform(0.08, 0.25) * room)
        x, y = dice.rounded(dice.uniform(left, right)), dice.rounded(dice.uniform(low, top))
        if len(holes) == wanted or size < 15 or not plate.clear(x, y, size / 2 + apart):
            continue
        plate.holes.append((x, y, size))
        holes.append({"circle": [dice.written(x), dice.written(y)], "diameter": dice.written(size)})
    if holes:
        plate.mould["holes"] = holes


# ---------------------------------------------------------------- layers


def _layers(job: Job, plate: Plate, shape: str) -> list[dict]:
    dice = job.dice
    cloth, code = job.shop.woven(), skin_code(dice)
    layers = [group(job, code, "A", cloth)]
    if dice.chance(0.2):
        layers.append(
            {
                "ply": "X",
                "cloth": cloth.id,
                "angle": 45,
                "region": {"inset": dice.written(dice.between(20, 40))},
            }
        )
    left, low, right, top = plate.box
    thick = max(
        3.0, min(10.0 if plate.holes else 15.0, (right - left) * dice.uniform(0.006, 0.014))
    )
    sheet, degrees = job.shop.core(thick), bevel(dice)
    slope = run_of_bevel_mm(sheet, degrees)
    land = dice.between(20, 30 if plate.holes else 60)
    reach = min(right - left, top - low) - 2 * land
    ring = land + 20 + 2 * slope + 25  # of core between a hole's own land and the edge's
    cored = all(plate.clear(x, y, size / 2 + ring, x, y) for x, y, size in plate.holes)
    cored = (
        cored
        and reach > 3 * slope + 40
        and (shape != "rib" or dice.chance(0.3))
        and dice.chance(0.85)
    )
    blocks: list[dict] = []
    if cored:
        layers.append(_core(job, plate, sheet.id, degrees, slope, land))
        blocks = _blocks(job, plate, sheet, slope + land) if dice.chance(0.4) else []
        layers += blocks
    if cored or dice.chance(0.6):
        layers.append(group(job, MIRROR[code], "B", cloth))
    for block in blocks:
        layers += doublers(job, block["insert"], f"D{block['insert']}", cloth)
    if not blocks and dice.chance(0.2):
        side = dice.fine(min(0.3 * min(right - left, top - low), 140))
        if plate.clear((left + right) / 2, (low + top) / 2, side):
            at = [
                dice.written(dice.fine((left + right) / 2)),
                dice.written(dice.fine((low + top) / 2)),
            ]
            layers.append(
                {"ply": "D", "cloth": cloth.id, "angle": 0, "region": patch(job, at, (side, side))}
            )
    if dice.chance(0.2) and plate.sides:
        near = {dice.one(plate.sides): dice.written(dice.between(25, 50))}
        layers.append(
            {"film": "P", "of": "peel", "removed_after": "trim", "region": {"near": near}}
        )
    return layers


def _core(job: Job, plate: Plate, sheet: str, degrees: float, slope: float, land: float) -> dict:
    """A core inside the net line; solid laminate round about half of the holes."""
    dice = job.dice
    made: dict = {"core": "C", "sheet": sheet, "region": {"inset": dice.written(land)}}
    if plate.sides and dice.chance(0.4):
        wider = dice.written(land + dice.between(10, 40))
        made["region"] = {"inset": {plate.sides[0]: wider, "all": dice.written(land)}}
    if plate.holes and dice.chance(0.6):
        made["region"]["less"] = [
            {
                "patch": {
                    "at": [dice.written(x), dice.written(y)],
                    "shape": "ellipse",
                    "size": [dice.written(size + dice.fine(40))] * 2,
                }
            }
            for x, y, size in plate.holes
        ]
    if dice.chance(0.8):
        made["edges"] = {"all": f"bevel {degrees}"}
    if dice.chance(0.5):
        made["seams"] = "to suit the sheets"
    elif plate.box[2] - plate.box[0] > 2300 or plate.box[3] - plate.box[1] > 1100:
        made["seams"] = {"cut": "scarf 20"}
    else:
        made["seams"] = "to suit the sheets" if job.shop.small_sheets else None
        if made["seams"] is None:
            del made["seams"]
    return made


def _blocks(job: Job, plate: Plate, sheet, clear: float) -> list[dict]:
    dice, made = job.dice, []
    left, low, right, top = plate.box
    taken: list[tuple[float, float, float]] = []
    for n in range(dice.one((1, 2, 4))):
        size = (dice.between(35, 110), dice.between(35, 80))
        reach = math.hypot(*size) / 2
        x, y = dice.rounded(dice.uniform(left, right)), dice.rounded(dice.uniform(low, top))
        if not plate.clear(x, y, reach + clear + 15):
            continue
        if any(math.dist((x, y), (a, b)) < reach + r + 50 for a, b, r in taken):
            continue
        taken.append((x, y, reach))
        region = patch(job, [dice.written(x), dice.written(y)], size)
        made.append(hardpoint(job, f"H{n + 1}", "C", sheet, region))
    return made
