"""Accepted layouts, remembered: a search with a time budget is not repeatable, its result is.

The key is a hash of everything a layout depends on (items, units, rules; not the effort). A
remembered layout is proved again before it is used, so a spoiled memory can do no harm.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plybook.diagnostics import MISSHAPEN
from plybook.nest.model import Item, Placement, Unit

VERSION = 1


@dataclass(frozen=True)
class Remembered:
    """One material's accepted layouts: (unit id, used length, method, placements) each."""

    layouts: tuple[tuple[str, float, str, tuple[Placement, ...]], ...]
    seconds: float  # longest search of a whole plan that went into it; long ones add to it


class LayoutMemory:
    """A dictionary of accepted layouts that reads and writes itself as bytes."""

    def __init__(self) -> None:
        self._known: dict[str, Remembered] = {}
        self.changed = False
        self.damaged = False

    def __len__(self) -> int:
        return len(self._known)

    def get(self, key: str) -> Remembered | None:
        """What is remembered under a key, if anything."""
        return self._known.get(key)

    def put(self, key: str, what: Remembered) -> None:
        """Remember, in place of what was there."""
        if self._known.get(key) != what:
            self._known[key] = what
            self.changed = True

    @classmethod
    def from_bytes(cls, content: bytes | None) -> LayoutMemory:
        """A memory from its bytes. What cannot be understood is forgotten, and the memory then is
        `damaged`; one of another version is only empty."""
        memory = cls()
        try:
            read = json.loads(content or b"{}")
            entries = read["layouts"] if read.get("version") == VERSION else {}
            for key, entry in entries.items():
                memory._known[key] = Remembered(
                    tuple(
                        (_text(unit), _finite(used), _text(method), tuple(map(_placement, placed)))
                        for unit, used, method, placed in entry["units"]
                    ),
                    _finite(entry["seconds"]),
                )
        except MISSHAPEN:
            memory = cls()
            memory.damaged = True
        return memory

    def to_bytes(self) -> bytes:
        """The same memory as bytes, the same bytes for the same memory; one placement a line."""
        lines = [f'{{"version": {VERSION}, "layouts": {{']
        for n, (key, entry) in enumerate(sorted(self._known.items())):
            start = f"{',' if n else ''}{json.dumps(key)}"
            lines.append(f'{start}: {{"seconds": {entry.seconds!r}, "units": [')
            for m, (unit, used, method, placed) in enumerate(entry.layouts):
                head = json.dumps([unit, used, method])[:-1]
                lines.append(f"{',' if m else ''}{head}, [")
                rows = [json.dumps(_row(p)) for p in placed]
                lines.append(",\n".join(rows) + "]]")
            lines.append("]}")
        lines.append("}}\n")
        return "\n".join(lines).encode()


def _row(p: Placement) -> list:
    return [p.item, p.copy, p.x_mm, p.y_mm, p.rotation_deg, p.flipped]


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError("not a text")
    return value


def _finite(value: object) -> float:
    number = float(value)  # type: ignore[arg-type]
    if not math.isfinite(number):
        raise ValueError("not finite")
    return number


def _placement(row: list) -> Placement:
    item, copy, x, y, rotation, flipped = row
    if not isinstance(item, str) or not isinstance(flipped, bool):
        raise ValueError("not a placement")
    return Placement(item, int(copy), _finite(x), _finite(y), _finite(rotation), flipped)


def layout_key(items: Sequence[Item], units: Sequence[Unit], rules: Sequence[object]) -> str:
    """A hash of all a layout depends on: the same on every machine and in every order of items."""

    def ring(points: np.ndarray | None):
        if points is None:
            return None
        return [[round(float(v), 4) + 0.0 for v in p] for p in points]

    content = [
        sorted(
            [
                i.id,
                ring(i.outline_mm),
                i.demand,
                i.rotations_deg,
                i.may_flip,
                i.flipped_rotations_deg,
                i.group,
            ]
            for i in items
        ),
        [
            [
                u.id,
                u.kind,
                u.material,
                round(u.length_mm, 4),
                round(u.width_mm, 4),
                ring(u.outline_mm),
                [ring(z) for z in u.bad_zones_mm],
                u.bought,
            ]
            for u in units
        ],
        list(rules),
    ]
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:32]
