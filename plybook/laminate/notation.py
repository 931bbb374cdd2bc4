"""A stack in laminate code, and whether it is symmetric and balanced.

Terms:
    code: angles in brackets, first laid first: [45/-45/0_2/core 10/0_2]; "s" after the bracket
        means that the listed half is followed by its mirror image; a number after "_" repeats.
        A core is written with its thickness. Where a stack has more than one cloth, each angle
        carries the letter of its cloth (a, b ...; in the order of first use).
    fibre directions: where the fibres of a cloth run; a woven cloth has two.

Rules of the code: brackets, "/" between different angles, subscript repeats, S for a symmetric
even stack, upper sign laid first in "±" (TM 1-1500-204-23-1, chapter 5; ASTM D6507 for the sense
of the angle). A symmetric stack with a single middle layer is written out in full, for the
overlined middle ply of the rule cannot be typed. Angles are those the cloth is laid at: +45 and -45
of a woven cloth have the same fibre directions and are two words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_lowercase

from plybook.spec.model import Cloth
from plybook.units import show_number

SAME_DEG = 0.05


@dataclass(frozen=True)
class StackLayer:
    """One layer of a stack, as far as the code cares.

    `directions_deg` are the fibre directions of a cloth in the part; () for core, block or mat.
    """

    name: str
    kind: str  # ply, core, insert, rod
    material: str
    angle_deg: float
    thickness_mm: float
    directions_deg: tuple[float, ...] = ()


def fibre_directions(cloth: Cloth, angle_deg: float) -> tuple[float, ...]:
    """Directions of the fibres of a laid cloth, degrees in (-90, 90].

    Unidirectional: along the warp. Woven: warp and weft. Stitched biaxial: plus and minus 45 to
    the roll, triaxial the roll's direction too, where the cloth does not say others. Mat: none.
    """
    usual = {
        "unidirectional": (0.0,),
        "plain": (0.0, 90.0),
        "twill": (0.0, 90.0),
        "satin": (0.0, 90.0),
        "biaxial": (45.0, -45.0),
        "triaxial": (0.0, 45.0, -45.0),
        "mat": (),
    }[cloth.weave]
    offsets = usual if cloth.fibres_deg is None else cloth.fibres_deg
    return tuple(folded(angle_deg + o) for o in offsets)


def folded(angle_deg: float) -> float:
    """The same direction in (-90, 90], rounded to a millionth of a degree."""
    angle = round((angle_deg + 90.0) % 180.0 - 90.0, 6)
    return 90.0 if angle == -90.0 else angle + 0.0


def same_layer(one: StackLayer, other: StackLayer) -> bool:
    """Whether two layers are alike in cloth, thickness and fibre directions."""
    return (
        one.kind == other.kind
        and one.material == other.material
        and abs(one.thickness_mm - other.thickness_mm) < 1e-6
        and _directions(one) == _directions(other)
    )


def _directions(layer: StackLayer) -> tuple[float, ...]:
    return tuple(sorted(round(d, 3) for d in layer.directions_deg))


def is_symmetric(stack: Sequence[StackLayer]) -> bool:
    """Whether the stack reads the same from either face."""
    return all(same_layer(a, b) for a, b in zip(stack, reversed(stack), strict=True))


def is_balanced(stack: Sequence[StackLayer]) -> bool:
    """Whether every off-axis fibre has its equal at the opposite angle, by cloth and thickness."""
    sums: dict[tuple[str, float], float] = {}
    for layer in stack:
        for direction in layer.directions_deg:
            angle = folded(direction)
            if min(abs(angle), abs(abs(angle) - 90)) < SAME_DEG:
                continue
            key = (layer.material, round(abs(angle), 2))
            part = layer.thickness_mm / len(layer.directions_deg)
            sums[key] = sums.get(key, 0.0) + (part if angle > 0 else -part)
    return all(abs(total) < 1e-6 for total in sums.values())


def laminate_code(stack: Sequence[StackLayer]) -> str:
    """The stack in laminate code, first laid first; "[]" for none."""
    if not stack:
        return "[]"
    half = len(stack) // 2
    mirrored = zip(stack[:half], reversed(stack), strict=False)
    even = len(stack) % 2 == 0 and all(_one_word(one, other) for one, other in mirrored)
    listed = list(stack[:half]) if even else list(stack)
    cloths = list(dict.fromkeys(x.material for x in stack if x.kind == "ply"))
    letters = dict(zip(cloths, ascii_lowercase, strict=False)) if len(cloths) > 1 else {}
    return f"[{'/'.join(_words(listed, letters))}]" + ("s" if even else "")


def _words(stack: list[StackLayer], letters: dict[str, str]) -> list[str]:
    words = []
    i = 0
    while i < len(stack):
        layer = stack[i]
        count = 1
        while i + count < len(stack) and _one_word(layer, stack[i + count]):
            count += 1
        letter = letters.get(layer.material, "") if layer.kind == "ply" else ""
        repeat = f"_{count}" if count > 1 else ""
        if layer.kind != "ply":
            words.append(f"{layer.kind} {show_number(layer.thickness_mm, 1)}{repeat}")
            i += count
            continue
        if count == 1 and _is_pair(stack, i):
            sign = "±" if folded(layer.angle_deg) > 0 else "∓"
            words.append(f"{sign}{show_number(abs(folded(layer.angle_deg)), 1)}{letter}")
            i += 2
            continue
        words.append(f"{show_number(folded(layer.angle_deg), 1)}{letter}{repeat}")
        i += count
    return words


def _one_word(one: StackLayer, other: StackLayer) -> bool:
    return (one.kind, one.material, folded(one.angle_deg), one.thickness_mm) == (
        other.kind,
        other.material,
        folded(other.angle_deg),
        other.thickness_mm,
    )


def _is_pair(stack: list[StackLayer], i: int) -> bool:
    """Whether layer i and the next are plus and minus of one angle, once each."""
    if i + 1 >= len(stack):
        return False
    one, two = stack[i], stack[i + 1]
    angle = folded(one.angle_deg)
    if two.kind != "ply" or one.material != two.material or angle in (0.0, 90.0):
        return False
    alone = i + 2 >= len(stack) or not _one_word(two, stack[i + 2])
    return alone and abs(folded(two.angle_deg) + angle) < 1e-6
