"""More of what a small shop makes: fins, leading-edge covers, skins with an access opening, caps
laid over a core, fairings from section files, domed covers with darts, and hatches with a land."""

from __future__ import annotations

import math

from tests.corpus.dice import Dice
from tests.corpus.parts import (
    MIRROR,
    Job,
    bevel,
    finished,
    group,
    hardpoint,
    head,
    patch,
    run_of_bevel_mm,
    skin_code,
)

EDGES = ("leading", "trailing", "root", "tip")


def _skin(job: Job, name: str, mould: dict, edges: dict, layers: list[dict], share: float) -> dict:
    made = {"part": head(job, name), "mould": mould, "axis": {"share": share}, "edges": edges}
    return finished(job, {**made, "layers": layers})


def _trim(dice: Dice, most: float) -> dict:
    return {"all": {"trim": dice.written(dice.fine(dice.uniform(8, most)))}}


def _straight(job: Job, span: float, chords: tuple[float, float], section: str, **more) -> dict:
    """A ruled face of two stations; chords of root and tip, swept by half their difference."""
    dice = job.dice
    root, tip = (dice.fine(chord) for chord in chords)
    outer = {"at": dice.written(span), "chord": dice.written(tip)}
    if root != tip:
        outer["sweep"] = dice.written(dice.fine((root - tip) / 2))
    return {
        "form": "female",
        "side": dice.one(("upper", "lower")),
        "loft": "ruled",
        "stations": [
            {"at": 0, "chord": dice.written(root), "section": section},
            {**outer, "section": section},
        ],
        **more,
    }


# ---------------------------------------------------------------- skins


def fin(job: Job) -> dict:
    """A fin or rudder skin of a symmetric section: a thicker core in front, a thinner behind, cut
    square where they meet, and a root doubler."""
    dice = job.dice
    root = dice.between(450, 950)
    span = dice.between(0.9 * root, 2.2 * root)
    section = f"naca 00{dice.one((9, 10, 12)):02d}"
    mould = _straight(job, span, (root, root * dice.one((0.6, 0.75, 1.0))), section)
    cloth, code = job.shop.woven(), skin_code(dice)
    front, rear = job.shop.core(dice.one((6, 8, 10))), job.shop.core(dice.one((3, 4, 5)))
    meet, ends = dice.one((0.4, 0.45, 0.5)), dice.between(30, 60)
    degrees = bevel(dice)
    made = []
    for name, sheet, (edge, share), side in (
        ("C1", front, ("leading", [0.05, meet]), "trailing"),
        ("C2", rear, ("trailing", [meet, 0.95]), "leading"),
    ):
        inset = {edge: dice.between(35, 60), "root": ends, "tip": ends}
        made.append(
            {
                "core": name,
                "sheet": sheet.id,
                "region": {"share": share, "inset": {k: dice.written(v) for k, v in inset.items()}},
                "edges": {"all": f"bevel {degrees}", side: "square"},
                "seams": "to suit the sheets",
            }
        )
    layers = [group(job, code, "A", cloth)]
    if dice.chance(0.5):
        layers.append(
            {
                "run": "R",
                "cloth": cloth.id,
                "angle": 0,
                "plies": 3,
                "ends": {
                    "towards": "tip",
                    "at": dice.written(dice.rounded(0.3 * span)),
                    "step": dice.written(dice.rounded(25)),
                    "longest": "first",
                },
            }
        )
    layers += [*made, group(job, MIRROR[code], "B", cloth)]
    return _skin(job, "Fin skin", mould, _trim(dice, 20), layers, 0.25)


def leading_edge(job: Job) -> dict:
    """The front of a wing, from the nose to its spar, in bare cloth."""
    dice = job.dice
    chord = dice.between(700, 1500)
    cover = [dice.one((0, 0.005)), dice.one((0.12, 0.18, 0.25))]
    section = f"naca {dice.one(('00', '24', '44'))}{dice.one((12, 15))}"
    span = dice.between(600, 2400)
    mould = _straight(job, span, (chord, chord * dice.one((0.8, 1.0))), section, cover=cover)
    cloth, code = job.shop.woven(), skin_code(dice)
    layers = [group(job, code, "A", cloth)]
    if dice.chance(0.6):
        land = dice.written(dice.between(25, 45))
        layers.append(
            {"ply": "E", "cloth": cloth.id, "angle": 45, "region": {"near": {"trailing": land}}}
        )
    layers.append(group(job, MIRROR[code], "B", cloth))
    share = round((cover[0] + cover[1]) / 2, 2)
    return _skin(job, "Leading edge cover", mould, _trim(dice, 25), layers, share)


def access(job: Job) -> dict:
    """A skin with an opening for a hand: solid laminate round it, doubled, the core ends before."""
    dice = job.dice
    chord = dice.between(800, 1400)
    span = dice.between(1200, 3200)
    mould = _straight(job, span, (chord, 0.85 * chord), f"naca 24{dice.one((12, 15))}")
    mould["side"] = "lower"
    cloth, code = job.shop.woven(), skin_code(dice)
    sheet, degrees = job.shop.core(dice.one((5, 6, 8))), bevel(dice)
    at = {"span": dice.written(dice.rounded(dice.uniform(0.35, 0.6) * span)), "share": 0.5}
    long, wide, corner = dice.between(150, 240), dice.between(110, 160), dice.fine(25)
    land = dice.one((30, 40))

    def around(by_mm: float) -> dict:
        return {
            "patch": {
                "at": at,
                "size": [dice.written(dice.fine(side + 2 * by_mm)) for side in (long, wide)],
                "corner": dice.written(dice.fine(corner + by_mm)),
            }
        }

    opened = {"less": [around(0)]}
    whole = {"span": ["root", "tip"], **opened}
    inset = {edge: dice.written(dice.between(40, 70)) for edge in EDGES}
    rings = [
        {"ply": f"D{n + 1}", "cloth": cloth.id, "angle": 45 * (n % 2),
         "region": {**around(land - 5 - 8 * n), **opened}}
        for n in range(dice.one((1, 2, 3)))
    ]  # fmt: skip
    layers = [
        group(job, code, "A", cloth, region=whole),
        *rings,
        {
            "core": "C",
            "sheet": sheet.id,
            "region": {"inset": inset, "less": [around(land)]},
            "edges": {"all": f"bevel {degrees}", "holes": f"bevel {degrees}"},
            "seams": "to suit the sheets",
        },
        group(job, MIRROR[code], "B", cloth, region=whole),
    ]
    return _skin(job, "Skin with access opening", mould, _trim(dice, 25), layers, 0.3)


def capped(job: Job) -> dict:
    """A cored skin whose cap of strips runs over the core, up its slope at the root."""
    dice = job.dice
    chord, span = dice.between(600, 1200), dice.between(1500, 4200)
    mould = _straight(job, span, (chord, 0.75 * chord), f"naca 24{dice.one((12, 15))}")
    cloth, code = job.shop.woven(), skin_code(dice)
    sheet, degrees = job.shop.core(dice.one((3, 4, 5))), dice.one((20, 20, 30, 45))
    inset = {edge: dice.written(dice.between(40, 70)) for edge in EDGES}
    rod = job.shop.rod()
    ends = dice.rounded(span * dice.uniform(0.6, 0.85))
    layers = [
        group(job, code, "A", cloth),
        {
            "core": "C",
            "sheet": sheet.id,
            "region": {"inset": inset},
            "edges": {"all": f"bevel {degrees}"},
            "seams": "to suit the sheets",
        },
        {
            "rod": "K",
            "bar": rod.id,
            "rows": dice.one((1, 2)),
            "line": [{"span": 0, "share": 0.3}, {"span": dice.written(ends), "share": 0.3}],
        },
        group(job, MIRROR[code], "B", cloth),
    ]
    return _skin(job, "Skin with a cap", mould, _trim(dice, 25), layers, 0.3)


# ---------------------------------------------------------------- fairings


def _frames(job: Job, length: float, wide: float) -> list[dict]:
    """Stations of a fairing through half round frames from a file, as wide as they are long."""
    dice = job.dice
    flat = dice.uniform(0.22, 0.4)  # of the height over the width
    count = dice.one((41, 61))
    steps = [(1 - math.cos(math.pi * n / (count - 1))) / 2 for n in range(count)]
    upper = [(x, 2 * flat * math.sqrt(x * (1 - x))) for x in steps]
    rows = [*reversed(upper), *((x, -y) for x, y in upper[1:])]
    text = "Frame\n" + "".join(f" {x:.6f} {y:.6f}\n" for x, y in rows)
    job.files["sections/frame.dat"] = text.encode()
    sizes = dice.one(((1, 0.85), (0.8, 1, 0.8), (1, 0.95, 0.75), (0.85, 1, 0.9)))
    stations = []
    for n, size in enumerate(sizes):
        own = dice.fine(wide * size)
        one = {
            "at": dice.written(dice.rounded(length * n / (len(sizes) - 1))),
            "chord": dice.written(own),
        }
        if aft := dice.fine((wide * sizes[0] - own) / 2):
            one["sweep"] = dice.written(aft)
        stations.append({**one, "section": {"file": "sections/frame.dat"}})
    return stations


def fairing(job: Job) -> dict:
    """A fairing through frames from a file, its rims where they are nearly upright."""
    dice = job.dice
    length = dice.between(500, 1500)
    wide = dice.between(0.25 * length, min(450.0, 0.5 * length))
    return _shell(job, "Fairing", _frames(job, length, wide), {"drape": "net"})


def dome(job: Job) -> dict:
    """A bulged cover, laid as it falls and slit by the darts that are proposed."""
    dice = job.dice
    length = dice.between(350, 800)
    wide = dice.between(0.6 * length, 0.8 * length)
    return _shell(job, "Cover", _frames(job, length, wide), {"darts": True})


def _shell(job: Job, name: str, stations: list[dict], how: dict) -> dict:
    dice, cloth = job.dice, job.shop.woven()
    if cloth.weave not in ("twill", "plain", "satin"):
        how = {}
    low = dice.one((0.08, 0.12))
    mould = {
        "form": "female",
        "side": "upper",
        "cover": [low, round(1 - low, 2)],
        "loft": "smooth" if len(stations) > 2 else "ruled",
        "edge_names": {"first": "left", "last": "right", "root": "front", "tip": "rear"},
        "stations": stations,
    }
    code = dice.one(("[45]", "[±45]", "[0/90]"))
    layers = [group(job, code, "A", cloth, **how)]
    if dice.chance(0.6):
        layers.append(
            {
                "ply": "E",
                "cloth": cloth.id,
                "angle": 0,
                **how,
                "region": {"near": {dice.one(("front", "rear")): dice.written(dice.fine(40))}},
            }
        )
    layers.append(group(job, MIRROR[code], "B", cloth, **how))
    return _skin(job, name, mould, _trim(dice, 15), layers, 0.5)


# ---------------------------------------------------------------- hatches


def hatch(job: Job) -> dict:
    """A lid: solid and doubled where it lies on its frame, blocks under hinges and latch."""
    dice = job.dice
    long, wide = dice.between(260, 700), dice.between(200, 480)
    mould = {
        "outline": [
            [0, 0],
            {"to": [dice.written(long), 0], "edge": "hinge"},
            {"to": [dice.written(long), dice.written(wide)], "edge": "right"},
            {"to": [0, dice.written(wide)], "edge": "latch"},
            {"to": [0, 0], "edge": "left"},
        ],
        "corners": dice.written(dice.fine(dice.uniform(15, 40))),
    }
    cloth, code = job.shop.woven(), skin_code(dice)
    land = dice.fine(dice.one((20, 25, 30)))
    sheet, degrees = job.shop.core(dice.one((5, 6, 8, 10))), bevel(dice)
    slope = run_of_bevel_mm(sheet, degrees)
    sides = ("hinge", "right", "latch", "left")
    inner = dice.fine(land + 5)
    layers = [
        group(job, code, "A", cloth),
        {
            "ply": "L",
            "cloth": cloth.id,
            "angle": 0,
            "region": {"together": [{"near": {side: dice.written(land)}} for side in sides]},
            "note": "Land of the frame.",
        },
        {
            "core": "C",
            "sheet": sheet.id,
            "region": {"inset": dice.written(inner)},
            "edges": {"all": f"bevel {degrees}"},
        },
    ]
    block = (dice.fine(50), dice.fine(30))
    reach = inner + slope + block[1] / 2 + 8
    if wide > 4 * reach:
        for n, (x, y) in enumerate(((0.3 * long, reach), (0.7 * long, reach),
                                    (0.5 * long, wide - reach))):  # fmt: skip
            at = [dice.written(dice.fine(x)), dice.written(dice.fine(y))]
            layers.append(hardpoint(job, f"H{n + 1}", "C", sheet, patch(job, at, block)))
    layers.append(group(job, MIRROR[code], "B", cloth))
    if dice.chance(0.5):
        layers.append(
            {"film": "P", "of": "peel", "removed_after": "trim",
             "region": {"together": [{"near": {side: dice.written(land)}} for side in sides]}}
        )  # fmt: skip
    edges = _trim(dice, 15)
    return finished(
        job, {"part": head(job, "Hatch", False), "mould": mould, "edges": edges, "layers": layers}
    )
