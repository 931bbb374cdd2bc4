"""Rectangles of Hopper and Turton: one set of each of their seven categories.

E. Hopper, B. Turton, "An empirical investigation of meta-heuristic and heuristic algorithms for a
2D packing problem", EJOR 128, 2001, 34-57 (citation from memory). Sizes as in the public copy
Oscar-Oliveira/OR-Datasets, `Cutting-and-Packing/2D/Datasets/HT2001a`, files 1, 4, 7, 10, 13, 16
and 19 (that copy calls 60 x 30 the second category and 40 x 15 the third; most papers the other
way round, so the sets go by their size here). Each is a rectangle cut into pieces without waste, so
the area gives the least height, and a slip of the pen in the sizes would show in it.
"""

from __future__ import annotations

# strip width, least height, sizes of the pieces (width x height, "*n" n times)
_WRITTEN = (
    (20, 20, (
        "2x12 7x12 8x6 3x6 3x5 5x5 3x12 3x7 5x7 2x6 3x2 4x2 3x4 4x4 9x2 11x2"
    )),
    (40, 15, (
        "11x3*2 13x3 9x2 7x2 9x3 7x3 11x2*2 13x2 11x4 13x4 3x5*2 2x2 2x3 5x4 6x4 12x2 1x2 13x5 "
        "12x4 1x4 5x2 6x2"
    )),
    (60, 30, (
        "7x5 14x5*2 14x8 4x8 21x13 7x11 14x11 4x5 18x3 21x3 17x11 4x11 7x4 5x4 6x7 18x5*2 3x5 7x3 "
        "5x3 18x4 3x4 12x2 6x2 21x5 17x3 4x3"
    )),
    (60, 60, (
        "2x7 24x7 16x4 18x4 16x7 18x7 2x4 24x4 4x28 6x18 14x12 2x12 18x19 9x8 7x8 9x11 7x11 14x6 "
        "2x6 6x10 16x10 3x5 4x5 8x12 3x18 3x3 8x3 5x20 3x17 3x7*2 5x7 4x7 4x21 10x19 4x17 8x17 "
        "3x10 5x10*2 7x6 8x6 15x12 3x12 11x10 4x2 8x2 10x2 12x2"
    )),
    (60, 90, (
        "6x34 3x13 5x13 12x10*2 7x6*2 15x6 7x25 15x25 12x21 7x16 5x16*2 3x21 5x21 7x5*2 5x5 1x4 "
        "10x4 13x6 13x12 9x12 6x23 3x7 5x7 1x2 10x2 6x6*2 5x6*2 7x14 6x14*2 3x16 5x14 13x14 2x3*3 "
        "7x3*2 2x11 7x11 14x33 4x12 3x12*2 18x16 18x12 4x4 3x4 1x3 9x6*2 1x6 2x6*2 18x5 9x3*2 "
        "18x9 12x2 9x2*2 3x8 9x8 9x10 5x3 18x3 3x2"
    )),
    (80, 120, (
        "30x19 8x5 13x5*2 15x23 9x4 3x4 2x11 9x7*2 3x7*3 8x14*2 11x6*2 2x6*2 11x8 2x8*2 12x12 "
        "2x12*2 30x10 21x10 15x6 14x6 2x9 22x9 6x16 5x2*3 9x30 10x8*2 5x4*2 4x14 2x14 4x22 3x14*2 "
        "10x22 4x20 6x20 2x7 13x2 9x2*2 9x5 17x11 7x11 6x18 4x8 5x7*2 17x7 7x7 6x6 4x6 4x2*2 6x2 "
        "9x61 6x8 5x8 5x28 4x28 6x29 3x20 21x20 10x39 4x13 7x13 6x22 5x22 4x26 7x26 3x9*2 21x9 "
        "11x31 9x31 6x28 3x19 18x8 3x8 18x11 3x11 10x18 9x6 9x12 12x2 12x7"
    )),
    (160, 240, (
        "19x21*2 6x21 6x18*2 41x18 22x14*2 13x14 8x13*2 14x13*2 31x20 8x7 14x7 22x54 13x54*2 6x23 "
        "33x13 6x22 5x22 11x28 19x56 12x56 16x11 3x11 6x20 8x10*3 33x10 16x9*3 3x9 8x4 17x4*2 "
        "20x9 19x9 8x15 6x6 5x6*3 3x6 17x23 5x28 6x28 11x53 20x6 19x6 3x17 5x17 39x12 8x12 31x8 "
        "41x8 23x23 12x23 9x9*3 20x13 21x13 5x25 6x25 19x25 7x16 5x16 20x12 21x12 23x10 12x10 "
        "7x9*2 5x9*2 25x7 6x7 16x47 16x14 8x14 21x16 2x4 4x4*2 11x11 29x11*2 10x54 13x70 7x13 "
        "3x13 7x25 2x12 4x12 11x32 22x9 7x12 3x12*2 16x33 8x33 14x21 7x21 6x27 6x10*2 16x10 7x23 "
        "10x45 7x45 2x10 4x10*2 16x13 14x6 7x6 2x3 4x3 13x13 7x8 33x8 16x34 12x28*2 7x30 4x19 "
        "29x19 10x51 13x51 13x25 4x21 10x21 4x11 9x26 4x26 17x35 12x6*2 10x4 13x2 6x2 10x12 22x16 "
        "18x16 7x20 17x16 3x16 13x8 6x8 19x10 10x8 3x8 4x9 9x7*5 3x4 19x17*2 8x17 8x11 5x11 7x10 "
        "20x10 19x20 4x20 26x10 19x11 21x11 3x3 6x3 18x13 8x27 5x27 3x10 4x24 5x21 21x21 8x21 "
        "21x17 9x15 13x6 19x14 4x14 4x7 5x3 21x3 4x2 9x2"
    )),
)  # fmt: skip


def _sizes(written: str) -> tuple[tuple[int, int], ...]:
    found: list[tuple[int, int]] = []
    for word in written.split():
        size, _, count = word.partition("*")
        width, height = map(int, size.split("x"))
        found += [(width, height)] * int(count or 1)
    return tuple(found)


# name, strip width, optimal height, (width, height) of each rectangle
RECTANGLE_SETS = tuple(
    (f"{width} x {height}", float(width), float(height), _sizes(written))
    for width, height, written in _WRITTEN
)
