"""Channel spars, hats and angles, laid over a plug or in a trough."""

from __future__ import annotations

import math

from tests.corpus.dice import Dice
from tests.corpus.parts import Job, bevel, finished, group, head, run_of_bevel_mm

Corners = list[tuple[float, float]]


def draw(job: Job) -> dict:
    """A spec."""
    dice = job.dice
    kind = dice.weighted({"channel": 6, "hat": 1, "angle": 1})
    length = dice.between(*((600, 6500) if kind == "channel" else (400, 3000)))
    root = _corners(dice, kind, length)
    taper = dice.weighted({1.0: 2, 0.8: 2, 0.6: 2}) if kind == "channel" else 1.0
    tip = [(dice.fine(x * (1 - (1 - taper) * 0.5)), dice.fine(y * taper)) for x, y in root]
    radius = dice.fine(dice.uniform(4, 10))
    bent = kind == "channel" and length > 1500 and dice.chance(0.2)
    mould, places = _mould(job, root, tip, radius, length, bent)
    made = {
        "part": head(job, {"channel": "Spar", "hat": "Stiffener", "angle": "Angle"}[kind]),
        "mould": mould,
        "axis": {"share": 0.5},
        "edges": _edges(dice),
        "layers": _layers(job, kind, root, tip, radius, length, bent),
    }
    if kind == "channel" and dice.chance(0.4):
        made["jig"] = [
            {"check": "straightness", "tolerance": "1 mm"},
            {"check": "twist", "at": dice.written(places[-1]), "tolerance": 0.5},
        ]
        if bent:
            made["jig"] = made["jig"][1:]
    return finished(job, made)


def _edges(dice: Dice) -> dict:
    if dice.chance(0.6):
        return {"all": {"trim": dice.written(dice.fine(dice.uniform(6, 20)))}}
    ends = {"trim": dice.written(dice.fine(dice.uniform(10, 30)))}
    return {
        "all": {"trim": dice.written(dice.fine(dice.uniform(5, 15)))},
        "root": ends,
        "tip": dict(ends),
    }


def _corners(dice: Dice, kind: str, length: float) -> Corners:
    """Corners at the root, [aft, up] in mm."""
    high = dice.between(max(40.0, length / 40), min(260.0, max(70.0, length / 14)))
    wide = dice.between(max(25.0, 0.25 * high), max(40.0, min(90.0, 0.6 * high)))
    half = high / 2
    if kind == "channel":
        return [(wide, -half), (0, -half), (0, half), (wide, half)]
    if kind == "angle":
        return [(wide, 0), (0, 0), (0, min(high, 120.0))]
    land, top, lean = 25.0, 0.5 * wide + 15, 8.0
    return [
        (0, -half - land),
        (0, -half),
        (top, -half + lean),
        (top, half - lean),
        (0, half),
        (0, half + land),
    ]


def _mould(
    job: Job, root: Corners, tip: Corners, radius: float, length: float, bent: bool
) -> tuple[dict, list[float]]:
    """The face, and where its stations stand."""
    dice = job.dice
    slope = math.tan(math.radians(dice.one((0, 0, 2, 3.5, 5))))
    places = [0.0, length]
    rises = [0.0, dice.fine(slope * length)]
    if bent:  # the fuselage's part is level, the wing's rises
        middle = dice.rounded(dice.uniform(300, 600))
        places.insert(1, middle)
        rises = [
            0.0,
            0.0,
            dice.fine(math.tan(math.radians(dice.one((2, 3, 5)))) * (length - middle)),
        ]
    stations = []
    for at, rise in zip(places, rises, strict=True):
        share = at / length
        corners = [
            [dice.written(dice.fine(a + share * (b - a))) for a, b in zip(p, q, strict=True)]
            for p, q in zip(root, tip, strict=True)
        ]
        one: dict = {"at": dice.written(at)}
        if rise:
            one["rise"] = dice.written(rise)
        one["section"] = {"channel": corners, "radius": dice.written(radius)}
        stations.append(one)
    mould: dict = {"form": dice.weighted({"male": 4, "female": 1}), "loft": "ruled"}
    if dice.chance(0.7):
        mould["edge_names"] = {"first": "lower", "last": "upper"}
    mould["stations"] = stations
    if bent and dice.chance(0.5):
        mould["accept_kinks"] = [dice.written(places[1])]
    return mould, places


def _layers(
    job: Job, kind: str, root: Corners, tip: Corners, radius: float, length: float, bent: bool
) -> list[dict]:
    dice = job.dice
    cloth = job.shop.woven()
    code = dice.weighted({"[±45]": 4, "[±45]2": 2, "[0/90]": 1, "[±45/0]": 1, "[45]": 1})
    layers = [group(job, code, "W", cloth)]
    girths = [_girth(corners, radius) for corners in (root, tip)]
    if kind != "channel":
        if dice.chance(0.5):
            layers.append(group(job, "[0/90]", "F", cloth))
        if kind == "angle" and dice.chance(0.5):
            layers.append(
                {
                    "ply": "T",
                    "cloth": cloth.id,
                    "angle": 45,
                    "region": {"span": [0, dice.written(dice.rounded(length / 3))]},
                }
            )
        return layers
    flange = min(root[0][0] / girths[0], tip[0][0] / girths[1])
    core = _web_core(job, root, tip, girths, radius, length, bent)
    layers += core
    if core or dice.chance(0.4):
        layers.append(group(job, "[∓45]" if "45" in code else "[90/0]", "F", cloth))
    if dice.chance(0.3):
        at = dice.rounded(length * dice.uniform(0.1, 0.3))
        count, step = dice.one((2, 3)), dice.rounded(max(10.0, min(50.0, length / 60)))
        layers.append(
            {
                "run": "R",
                "cloth": cloth.id,
                "angle": 45,
                "plies": count,
                "ends": {
                    "towards": "tip",
                    "at": dice.written(max(at, dice.rounded(step * (count + 2)))),
                    "step": dice.written(step),
                },
            }
        )
    caps = dice.weighted({"rods": 5, "plies": 3, "none": 2})
    if caps == "rods" and not bent:
        layers += _rods(job, min(root[0][0], tip[0][0]), radius, flange, length, girths)
    elif caps == "plies":
        layers += _tapes(job, flange, length)
    return layers


def _girth(corners: Corners, radius: float) -> float:
    sides = sum(math.dist(p, q) for p, q in zip(corners, corners[1:], strict=False))
    return sides - (len(corners) - 2) * (2 - math.pi / 2) * radius


def _web_core(
    job: Job,
    root: Corners,
    tip: Corners,
    girths: list[float],
    radius: float,
    length: float,
    bent: bool,
) -> list[dict]:
    """A core on the web, clear of the corners."""
    dice = job.dice
    webs = [corners[2][1] - corners[1][1] for corners in (root, tip)]
    sheet, degrees = job.shop.core(dice.one((3, 5, 6, 8))), bevel(dice)
    clear = radius + 8
    # half the share of the girth that the web leaves for a core, at the narrower end
    half = min((web / 2 - clear) / girth for web, girth in zip(webs, girths, strict=True))
    half = math.floor(100 * half) / 100
    slope = run_of_bevel_mm(sheet, degrees)
    if 2 * half * min(girths) < 2 * slope + 25 or bent or dice.chance(0.3):
        return []
    ends = {end: dice.written(dice.between(50, min(250, length / 8))) for end in ("root", "tip")}
    core: dict = {
        "core": "C",
        "sheet": sheet.id,
        "region": {"share": [round(0.5 - half, 2), round(0.5 + half, 2)], "inset": ends},
        "edges": {"all": f"bevel {degrees}"},
    }
    room = max(sheet.length_mm, sheet.width_mm) - 40
    if length > room:
        count = math.ceil(length / room)
        core["seams"] = "to suit the sheets"
        if dice.chance(0.5):
            core["seams"] = [
                {
                    "at": dice.written(dice.rounded(length * (n + 1) / count)),
                    "cut": dice.one(("scarf 20", "square")),
                }
                for n in range(count - 1)
            ]
    return [core]


def _rods(
    job: Job, flange_mm: float, radius: float, flange: float, length: float, girths: list[float]
) -> list[dict]:
    """Caps of pultruded strip, their root ends flush."""
    dice, rod = job.dice, job.shop.rod()
    rows = min(3, int((flange_mm - radius - 8) // rod.width_mm))
    if rows < 1:
        return _tapes(job, flange, length)
    # the middle of the flat part of the flange at the narrower end, as a share of the girth
    place = round((flange_mm - radius) / 2 / min(girths), 3)
    if place * max(girths) + rows * rod.width_mm / 2 > flange * max(girths) - radius:
        place = round((rows * rod.width_mm / 2 + 4) / min(girths), 3)
    longest = dice.rounded(length * dice.uniform(0.85, 0.97))
    lengths = [dice.rounded(longest * share) for share in (1, 0.75, 0.5)][:rows]
    films = (
        [
            {"film": f"P{stem}", "of": "peel", "removed_after": "trim", "region": {"share": span}}
            for stem, span in (("L", [0, round(flange, 2)]), ("U", [round(1 - flange, 2), 1]))
        ]
        if dice.chance(0.2)
        else []
    )
    made = [
        {
            "rod": name,
            "bar": rod.id,
            "rows": rows,
            "line": [{"span": 0, "share": share}, {"span": dice.written(longest), "share": share}],
            **({"lengths": [dice.written(n) for n in lengths]} if rows > 1 else {}),
            "note": "Root ends flush.",
        }
        for name, share in (("L", place), ("U", round(1 - place, 3)))
    ]
    return [*made, *films]


def _tapes(job: Job, flange: float, length: float) -> list[dict]:
    """Caps of unidirectional cloth in steps."""
    dice, cloth = job.dice, job.shop.unidirectional()
    count = dice.one((2, 3, 4))
    last = dice.rounded(length * dice.uniform(0.6, 0.9))
    step = dice.rounded(0.6 * last / count)
    return [
        {
            "run": name,
            "cloth": cloth.id,
            "angle": 0,
            "plies": count,
            "region": {"share": [round(low, 2), round(high, 2)]},
            "ends": {
                "towards": "tip",
                "at": dice.written(last),
                "step": dice.written(step),
                "longest": "first",
            },
        }
        for name, (low, high) in (("L", (0, flange)), ("U", (1 - flange, 1)))
    ]
