"""Names of pieces: short, legible from two metres, the same in every build.

A layer of one piece keeps the layer's name: P3. Strips of a split layer are counted from the
root: P3.1, P3.2. Parts of a layer that do not touch get a letter: P3-A, P3-B, and their strips
P3-A.1, P3-A.2.
"""

from __future__ import annotations

from string import ascii_uppercase

_LETTERS = ascii_uppercase.replace("I", "").replace("O", "")  # taken for digits at a distance


def part_letter(index: int) -> str:
    """A, B ... Z, AA, AB ... without I and O."""
    name = ""
    index += 1
    while index:
        index, digit = divmod(index - 1, len(_LETTERS))
        name = _LETTERS[digit] + name
    return name


def piece_id(layer: str, part: int, parts: int, strip: int, strips: int) -> str:
    """Id of strip `strip` of `strips` of part `part` of `parts`, both counted from 0."""
    name = layer if parts == 1 else f"{layer}-{part_letter(part)}"
    return name if strips == 1 else f"{name}.{strip + 1}"


def tick_label(splice: int, index: int) -> str:
    """Label of a matching tick, the same on both pieces: splice 1, tick a is "1a"."""
    return f"{splice}{part_letter(index).lower()}"
