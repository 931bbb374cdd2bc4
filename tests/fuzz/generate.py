"""Random valid small specs: flat parts and short station moulds, a few layers, core, insert, run.

Sizes stay within what the shop's stock holds, so most of them build; a combination that a trade
rule or the geometry refuses is as good an answer.
"""

from __future__ import annotations

import math
import random

CLOTHS = ["carbon-twill-200", "carbon-ud-150", "glass-plain-163"]
ANGLES = [0, 90, 45, -45, 30, -60, 12.5]
CODES = ["[45/0]", "[±45]", "[0/90]s", "[0/±45/90]", "[∓45]2", "[0_2/45~]s"]
STEMS = ["Ö", "Ж-", "Λ.", "層", "x+", "x_", "a.b-", "İ", "ß", "0"]  # of odd ids
SECTIONS = ["naca 0012", "naca 2412", "naca 4415", "naca 0009 sharp"]


def spec(dice: random.Random) -> dict:
    """A part spec as a tree."""
    return _part(dice, 1.0, 7)


def small_spec(dice: random.Random) -> dict:
    """A part of a hand's breadth, laid in few steps: built and verified in a second."""
    made = _part(dice, 0.2, 4, 0.85, 0.1, smooth=0.0)
    made["stages"] = _stages(dice, made["layers"])
    return _called_oddly(made, dice) if dice.random() < 0.1 else made


def _called_oddly(made: dict, dice: random.Random) -> dict:
    """The same part whose layers have ids of letters and signs that names of files lack."""
    called = {
        layer[kind]: f"{dice.choice(STEMS)}{dice.randrange(2)}"
        for layer in made["layers"]
        for kind in ("ply", "as", "run", "core", "insert", "film")
        if kind in layer
    }

    def renamed(thing):
        if isinstance(thing, dict):
            return {key: renamed(value) for key, value in thing.items()}
        if isinstance(thing, list):
            return [renamed(value) for value in thing]
        return called.get(thing, thing) if isinstance(thing, str) else thing

    return {**made, **{key: renamed(made[key]) for key in ("layers", "stages")}}


def _stages(dice: random.Random, layers: list[dict]) -> list[dict]:
    """Stages that lay the layers in their order, with standard steps left out."""
    stages: list[dict] = []
    if dice.random() < 0.3:
        stages.append({"stage": "mould", "kind": "mould_preparation"})
    for layer in layers:
        kind = "core_bond" if "core" in layer or "insert" in layer else "wet_laminate"
        if kind == "wet_laminate" and dice.random() < 0.2:
            kind = "dry_layup"
        if not stages or stages[-1]["kind"] != kind or dice.random() < 0.2:
            stages.append({"stage": f"S{len(stages)}", "kind": kind, "lays": []})
        stages[-1]["lays"].append(next(layer[k] for k in
            ("ply", "as", "run", "core", "insert", "film") if k in layer))  # fmt: skip
        if dice.random() < 0.2:
            stages[-1]["drop"] = [dice.choice(["cut_bag", "check_room", "lay_peel_ply"])]
    films = any("film" in layer for layer in layers)
    for kind in ("cure", "demould", "trim"):
        if dice.random() < 0.3 or (films and kind == "trim" and dice.random() < 0.9):
            stages.append({"stage": kind, "kind": kind})
    return stages


def _part(
    dice: random.Random,
    scale: float,
    most_layers: int,
    flats: float = 0.6,
    both_hands: float = 0.3,
    smooth: float = 0.5,
) -> dict:
    """A part of fewer than `most_layers` layers; the shares of flat faces, of opposite hands and
    of smooth lofts among those of three stations."""
    flat = dice.random() < flats
    part = {
        "number": f"FZ-{dice.randrange(1000)}",
        "name": dice.choice(["Plate", "Rib <b>5</b>", "Größe & Maß", "=Tip", "Cover [/0]"]),
        "date": "2026-05-04",
        "units": dice.choice(["mm", "mm", "in"]),
        "hand": "left",
    }
    if dice.random() < both_hands:
        part["other_hand"] = f"{part['number']}R"
    if dice.random() < 0.4:
        part["notes"] = [dice.choice(["Mind the edge.", "]]></style>", "100 % {x} \\ ~"])]
    unit = 25.4 if part["units"] == "in" else 1.0
    mould, edges, size = _flat(dice, unit, scale) if flat else _loft(dice, unit, scale, smooth)
    made = {
        "plybook": 1,
        "include": ["shared/materials.yaml", "shared/stock.yaml", "shared/shop.yaml"],
        "part": part,
        "mould": mould,
    }
    if not flat:
        made["axis"] = {"share": dice.choice([0.25, 0.5, 0.1])}
    if dice.random() < 0.7:
        made["edges"] = {"all": {"trim": _length(dice.choice([0, 5, 12, 25]), unit)}}
    made["layers"] = _layers(dice, unit, size, flat, edges, most_layers, scale)
    return made


def _length(mm: float, unit: float) -> float:
    return round(mm / unit, 4)


def _flat(dice, unit, scale):
    wide, high = dice.uniform(120, 900) * scale, dice.uniform(100, 500) * scale
    kind = dice.randrange(3)
    if kind == 0:
        ring = [[0, 0], [wide, 0], [wide, high], [0, high]]
    elif kind == 1:
        count = dice.randrange(3, 9)
        ring = [
            [wide / 2 * (1 + math.cos(2 * math.pi * k / count) * dice.uniform(0.7, 1)),
             high / 2 * (1 + math.sin(2 * math.pi * k / count) * dice.uniform(0.7, 1))]
            for k in range(count)
        ]  # fmt: skip
    else:
        ring = [[0, 0], [wide, 0], [wide, high * 0.5], [wide * 0.6, high * 0.5],
                [wide * 0.6, high], [0, high]]  # fmt: skip
    mould: dict = {"outline": [[_length(x, unit), _length(y, unit)] for x, y in ring]}
    if dice.random() < 0.5:
        mould["corners"] = _length(dice.choice([3, 10, 20]), unit)
    if dice.random() < 0.25:
        mould["holes"] = [{"circle": [_length(wide * 0.3, unit), _length(high * 0.3, unit)],
                           "diameter": _length(30 * scale, unit)}]  # fmt: skip
    return mould, [], min(wide, high)


def _loft(dice, unit, scale, smooth):
    span, chord = dice.uniform(300, 1200) * scale, dice.uniform(250, 700) * scale
    section = dice.choice(SECTIONS)
    stations = [{"at": 0, "chord": _length(chord, unit), "section": section}]
    count = dice.choice([1, 1, 2])
    for k in range(1, count + 1):
        share = k / count
        stations.append(
            {
                "at": _length(span * share, unit),
                "chord": _length(chord * (1 - dice.choice([0, 0.2, 0.4]) * share), unit),
                "sweep": _length(dice.choice([0, 40, -20]) * share, unit),
                "rise": _length(dice.choice([0, 25]) * share, unit),
                "twist": dice.choice([0, -1.5]) * share,
                "section": section,
            }
        )
    mould = {
        "form": dice.choice(["female", "male"]),
        "side": dice.choice(["upper", "lower"]),
        "loft": "smooth" if count > 1 and dice.random() < smooth else "ruled",
        "stations": stations,
    }
    if dice.random() < 0.3:
        mould["cover"] = dice.choice([[0.02, 0.98], [0.1, 0.7]])
    return mould, ["leading", "trailing", "root", "tip"], min(span, chord)


def _layers(dice, unit, size, flat, edges, most, scale=1.0):
    layers = []
    cored = bare = ""  # the core, and whether an insert can still be let into it
    for n in range(dice.randrange(1, most)):
        kind = dice.choice(["ply", "ply", "group", "run", "core", "insert", "film"])
        cloth = dice.choice(CLOTHS)
        if kind in ("ply", "group", "run"):
            bare = ""
        if kind == "ply":
            layers.append({"ply": f"P{n}", "cloth": cloth, "angle": dice.choice(ANGLES),
                           **_region(dice, unit, size, flat)})  # fmt: skip
        elif kind == "group":
            layers.append({"plies": dice.choice(CODES), "as": f"G{n}", "cloth": cloth})
        elif kind == "run" and edges:
            layers.append({
                "run": f"R{n}", "cloth": cloth, "angle": dice.choice(ANGLES),
                "plies": dice.randrange(2, 4),
                "ends": {"towards": dice.choice(edges), "before": _length(size * 0.1, unit),
                         "step": _length(15 * scale, unit),
                         "longest": dice.choice(["first", "last"])},
            })  # fmt: skip
        elif kind == "core" and not cored:
            cored = bare = f"C{n}"
            core = {"core": cored, "sheet": dice.choice(["foam-6", "foam-10"]),
                    "region": {"inset": _length(max(25.0 * scale, size * 0.12), unit)}}  # fmt: skip
            if dice.random() < 0.6:
                core["edges"] = {
                    "all": dice.choice(["bevel 45", "square", "bevel 30", "scarf 1:6"])
                }
            layers.append(core)
        elif kind == "insert" and bare and flat:
            layers.append({"insert": f"H{n}", "block": "birch-10", "in": bare,
                           "region": {"patch": {"at": [_length(size * 0.5, unit)] * 2,
                                                "size": [_length(30 * scale, unit),
                                                         _length(25 * scale, unit)]}},
                           "clearance": _length(0.8, unit)})  # fmt: skip
        elif kind == "film":
            layers.append({"film": f"F{n}", "of": "peel-ply-85", "removed_after": "trim"})
    return layers or [{"ply": "P0", "cloth": CLOTHS[0], "angle": 45}]


def _region(dice, unit, size, flat):
    kind = dice.randrange(5)
    if kind == 0:
        return {"region": {"inset": _length(size * dice.choice([0.02, 0.1, 0.3]), unit)}}
    if kind == 1 and flat:
        return {"region": {"patch": {"at": [_length(size * 0.5, unit)] * 2, "corner":
                _length(dice.choice([0, 5]), unit), "turn": dice.choice([0, 20]),
                "size": [_length(size * 0.5, unit), _length(size * 0.3, unit)]}}}  # fmt: skip
    if kind == 1:
        return {"region": {"share": sorted(dice.sample([0, 0.1, 0.3, 0.5, 0.8, 1], 2))}}
    if kind == 2 and not flat:
        return {"region": {"near": {dice.choice(["leading", "tip"]): _length(size * 0.2, unit)}}}
    return {}
