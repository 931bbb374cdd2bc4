"""Fairings and shells: a smooth face through sections of a few corners with large radii."""

from __future__ import annotations

import math

from tests.corpus.parts import MIRROR, Job, bevel, finished, group, head


def draw(job: Job) -> dict:
    """A spec."""
    dice = job.dice
    length = dice.between(350, 2600)
    wide = dice.between(max(120.0, 0.2 * length), max(200.0, min(700.0, 0.7 * length)))
    high = dice.rounded(wide * dice.uniform(0.3, 0.6))
    corners = dice.one((2, 3))
    sizes = dice.one(((1, 0.85), (0.8, 1, 0.8), (1, 1, 0.75), (0.85, 1, 0.95, 0.75), (1, 0.92)))
    places = [dice.rounded(length * n / (len(sizes) - 1)) for n in range(len(sizes))]
    stations = []
    for at, size in zip(places, sizes, strict=True):
        ring = _section(wide * size, high * size, corners)
        stations.append(
            {
                "at": dice.written(at),
                "section": {
                    "channel": [[dice.written(dice.fine(v)) for v in p] for p in ring],
                    "radius": dice.written(dice.rounded(0.75 * _room(ring))),
                },
            }
        )
    cloth = job.shop.woven()
    how = (
        {"drape": "net"} if cloth.weave in ("twill", "plain", "satin") and dice.chance(0.6) else {}
    )
    code = dice.one(("[45]", "[±45]", "[0/90]", "[45/0]"))
    layers = [group(job, code, "A", cloth, **how)]
    if dice.chance(0.3):
        edge = dice.fine(dice.uniform(25, 50))
        layers.append(
            {
                "ply": "E",
                "cloth": cloth.id,
                "angle": 0,
                **how,
                "region": {"near": {dice.one(("root", "tip")): dice.written(edge)}},
            }
        )
    if len(sizes) == 2 and dice.chance(0.5):  # curved one way nearly: a core on the flat of it
        sheet = job.shop.core(dice.one((3, 5)))
        low = dice.one((0.38, 0.42))
        layers.append(
            {
                "core": "C",
                "sheet": sheet.id,
                "region": {
                    "share": [low, round(1 - low, 2)],
                    "inset": {end: dice.written(dice.between(40, 80)) for end in ("root", "tip")},
                },
                "edges": {"all": f"bevel {bevel(dice)}"},
                "seams": "to suit the sheets",
            }
        )
    if len(layers) > 1 or dice.chance(0.4):
        layers.append(group(job, MIRROR[code], "B", cloth, **how))
    made = {
        "part": head(job, "Fairing"),
        "mould": {
            "form": "female",
            "loft": "smooth" if len(sizes) > 2 else "ruled",
            "stations": stations,
        },
        "axis": {"share": 0.5},
        "edges": {"all": {"trim": dice.written(dice.fine(dice.uniform(5, 25)))}},
        "layers": layers,
    }
    return finished(job, made)


def _section(wide: float, high: float, corners: int) -> list[tuple[float, float]]:
    """From one rim over the top to the other, [aft, up]."""
    half = wide / 2
    if corners == 2:
        return [(-half, 0), (-0.75 * half, high), (0.75 * half, high), (half, 0)]
    return [(-half, 0), (-0.85 * half, 0.7 * high), (0, high), (0.85 * half, 0.7 * high), (half, 0)]


def _room(ring: list[tuple[float, float]]) -> float:
    """The largest radius that every corner has room for."""
    room = math.inf
    for a, b, c in zip(ring, ring[1:], ring[2:], strict=False):
        before, after = math.dist(a, b), math.dist(b, c)
        first = (b[0] - a[0]) * (c[0] - b[0]) + (b[1] - a[1]) * (c[1] - b[1])
        turn = math.acos(first / (before * after))
        # neighbouring corners share a side
        room = min(room, min(before, after) / 2 / math.tan(turn / 2))
    return room
