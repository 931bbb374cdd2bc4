"""The stack of each zone as it is written in short, against the layers that lie there.

Written: `/` between layers, first laid first; `±` and `∓` for a pair; `_n` for n alike; a letter
for each cloth where there are several, in their order; `s` behind the brackets for the same once
more from the other side.
"""

from __future__ import annotations

import re
from string import ascii_lowercase

from plybook.verify.report import Report

_STACK = re.compile(r"\[(.*)\](s?)")
_PLY = re.compile(r"([±∓]?)(-?\d+(?:\.\d+)?)([a-z]?)(?:_(\d+))?")
_OTHER = re.compile(r"([a-z]+) (\d+(?:\.\d+)?)(?:_(\d+))?")
_ROUNDED = 0.05 + 1e-6  # written to a tenth

Written = tuple[str, float, str]  # kind, angle or thickness, letter of the cloth


def check_zone_stacks(plan: dict, report: Report) -> None:
    """Every zone's stack in short."""
    layers = {layer["id"]: layer for layer in plan["layers"]}
    for zone in plan["zones"]:
        stack = [layers[name] for name in zone["layers"] if name in layers]
        written = _read(zone["code"])
        report.expect(written is not None and _alike(written, stack),
                      "stacks of zones written as their layers lie", f"zone {zone['label']}",
                      f"is written {zone['code']!r}, which is not its layers")  # fmt: skip


def _read(code: str) -> list[Written] | None:
    found = _STACK.fullmatch(code)
    if not found:
        return None
    stack: list[Written] = []
    for word in filter(None, found[1].split("/")):
        if ply := _PLY.fullmatch(word):
            angle, count = float(ply[2]), int(ply[4] or 1)
            turns = {"": [angle] * count, "±": [angle, -angle], "∓": [-angle, angle]}[ply[1]]
            stack += [("ply", turn, ply[3]) for turn in turns]
        elif other := _OTHER.fullmatch(word):
            stack += [(other[1], float(other[2]), "")] * int(other[3] or 1)
        else:
            return None
    return stack + stack[::-1] if found[2] else stack


def _alike(written: list[Written], stack: list[dict]) -> bool:
    cloths = list(dict.fromkeys(x["material"] for x in stack if x["kind"] == "ply"))
    letters = dict(zip(cloths, ascii_lowercase, strict=False)) if len(cloths) > 1 else {}
    return len(written) == len(stack) and all(
        kind == layer["kind"]
        and (
            abs((figure - layer["angle_deg"] + 90.0) % 180.0 - 90.0) <= _ROUNDED
            and letter == letters.get(layer["material"], "")
            if kind == "ply"
            else abs(figure - layer["thickness_mm"]) <= _ROUNDED
        )
        for (kind, figure, letter), layer in zip(written, stack, strict=True)
    )
