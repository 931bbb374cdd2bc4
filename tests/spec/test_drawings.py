"""Drawings as they should not be, and large ones: refused or read with words, at a bearable cost.

Written with ezdxf. Where the work grew with the square of the number of lines or points, these
would take minutes.
"""

import io
import math
import random

import ezdxf
import numpy as np
import pytest

from plybook.spec.outlines import MOST_CHORDS, arc_points, crossing
from tests.spec.goods import HATCH, edit, faults, read
from tests.spec.test_csv_outline import LISTED, MM

DRAWN = (
    HATCH[: HATCH.index("mould:")]
    + "mould: {dxf: plate.dxf, layer: PLATE}\n"
    + HATCH[HATCH.index("edges: {all") :]
)
ON = {"layer": "PLATE"}
PLATE = [(0, 0), (300, 0), (300, 200), (0, 200)]


def drawing(draw, units=4, binary=False):
    made = ezdxf.new(units=units)
    draw(made.modelspace())
    if binary:
        stream = io.BytesIO()
        made.write(stream, fmt="bin")
        return stream.getvalue()
    stream = io.StringIO()
    made.write(stream)
    return stream.getvalue()


def ring(space, points=PLATE, **more):
    space.add_lwpolyline(points, close=True, dxfattribs={**ON, **more})


def loose(space, count):
    points = [(150 + 100 * math.cos(a), 150 + 100 * math.sin(a))
              for a in np.linspace(0, math.tau, count, endpoint=False)]  # fmt: skip
    sides = list(zip(points, [*points[1:], points[0]], strict=True))
    random.Random(1).shuffle(sides)
    for n, (a, b) in enumerate(sides):
        space.add_line(*((a, b) if n % 2 else (b, a)), dxfattribs=ON)


def test_many_loose_lines_are_chained():
    made = read(DRAWN, plate_dxf=drawing(lambda s: loose(s, 6000))).specs[0].mould
    assert len(made.ring_mm) == 6000


def test_a_star_of_lines_is_refused():
    def star(space):
        for a in np.linspace(0, 6, 2000):
            space.add_line((0, 0), (100 * math.cos(a), 100 * math.sin(a)), dxfattribs=ON)

    (found,) = faults(DRAWN, plate_dxf=drawing(star))
    assert found.code == "open-outline" and "2000 ends" in found.message


@pytest.mark.parametrize("bulge", [1e12, -1e12, 1e-12, 1e300])
def test_no_bulge_makes_more_points_than_an_outline_may_have(bulge):
    def bulged(space):
        space.add_lwpolyline([(0, 0, bulge), (300, 0, 0), (300, 200, 0), (0, 200, bulge)],
                             format="xyb", close=True, dxfattribs=ON)  # fmt: skip

    found = faults(DRAWN, plate_dxf=drawing(bulged))
    assert bool(found) == (abs(bulge) > 1)


def test_an_arc_larger_than_any_part_is_drawn_with_so_many_chords():
    assert len(arc_points((0.0, 0.0), 1e15, 0.0, math.tau)) == MOST_CHORDS - 1


@pytest.mark.parametrize("radius", [1e-9, 1e-5])
def test_a_circle_smaller_than_anything_that_is_cut_is_refused(radius):
    def dot(space):
        ring(space)
        space.add_circle((50, 50), radius, dxfattribs=ON)

    assert {f.code for f in faults(DRAWN, plate_dxf=drawing(dot))} == {"out-of-range"}


def test_what_is_drawn_in_a_tilted_plane_is_refused():
    found = faults(DRAWN, plate_dxf=drawing(lambda s: ring(s, extrusion=(0, 1, 1))))
    assert "tilted" in found[0].message


def codes_told(spec, content):
    return {f.code for f in read(spec, plate_dxf=content).findings}


def test_heights_are_told():
    def slope(space):
        for a, b in zip(PLATE, [*PLATE[1:], PLATE[0]], strict=True):
            space.add_line((*a, a[0] / 10), (*b, b[0] / 10), dxfattribs=ON)

    assert "left-out" in codes_told(DRAWN, drawing(slope))
    assert "left-out" not in codes_told(DRAWN, drawing(lambda s: ring(s, elevation=35.0)))


def test_a_binary_drawing_is_named_as_one():
    (found,) = faults(DRAWN, plate_dxf=drawing(ring, binary=True))
    assert "binary DXF" in found.message and "ASCII" in found.help


def test_a_unit_that_the_drawing_contradicts_is_asked_about():
    said = edit(DRAWN, "layer: PLATE", "layer: PLATE, dxf_units: mm")
    assert "units-disagree" in codes_told(said, drawing(ring, units=1))
    assert "units-disagree" not in codes_told(said, drawing(ring, units=4))
    assert "units-disagree" not in codes_told(said, drawing(ring, units=0))


def zigzag(count, turned):
    k = np.arange(count)
    teeth = np.stack([k * 0.05, np.where(k % 2, 100.0, 0.0)], axis=1)
    points = np.vstack([teeth, [[teeth[-1, 0] + 1, -5.0], [-1.0, -5.0]]])
    return points @ (np.array([[1, 1], [-1, 1]]) / math.sqrt(2)) if turned else points


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("count", [250, 4_000, 19_000])
def test_an_outline_of_many_long_sides_is_judged(count, turned):
    points = zigzag(count, turned)
    assert crossing(points) is None
    spoiled = points.copy()
    spoiled[count // 2] = spoiled[count // 2 + 40]  # the tooth lies on another's point
    fault = crossing(spoiled)
    assert fault is not None and fault.sides is not None
    folded = points.copy()
    folded[[10, 200]] = folded[[200, 10]]
    fault = crossing(folded)
    assert fault is not None and set(fault.sides) & {9, 10, 199, 200}


@pytest.mark.parametrize("count", [100, 1000])
def test_a_corner_that_touches_a_side_is_found_in_small_and_large_rings(count):
    around = [(math.cos(a), math.sin(a)) for a in np.linspace(0, math.tau, count, endpoint=False)]
    points = np.array(around) * 100.0
    points[count // 2] = (points[0] + points[1]) / 2  # on the first side
    assert crossing(points) is not None


def test_a_table_of_nearly_as_many_points_as_may_be_is_read():
    angles = np.linspace(0, math.tau, 19_000, endpoint=False)
    rows = "".join(f"{500 * math.cos(a):.6f},{300 * math.sin(a):.6f}\n" for a in angles)
    assert len(read(LISTED, plate_csv=MM + rows).specs[0].mould.ring_mm) == 19_000


def test_many_holes_are_held_against_one_another():
    holes = ", ".join(
        f"{{circle: [{10 + 12 * (n % 20)} mm, {10 + 12 * (n // 20)} mm], diameter: 8 mm}}"
        for n in range(300)
    )
    spec = edit(LISTED, "plate.csv", f"plate.csv, holes: [{holes}]")
    table = MM + "0,0\n300,0\n300,250\n0,250\n"
    assert len(read(spec, plate_csv=table).specs[0].mould.holes_mm) == 300
    over = "circle: [10 mm, 10 mm], diameter: 2"
    twice = spec.replace("circle: [22 mm, 10 mm], diameter: 8", over)
    assert {f.code for f in faults(twice, plate_csv=table)} == {"hole-outside"}


@pytest.mark.parametrize("value", ["5. '6\"200", "\x1b[31m300", "x300", "３００"])
def test_a_value_that_is_no_number_is_refused_and_nothing_of_it_is_printed(value, capfd):
    """The library would take what it can find in it for the number, and write it to the terminal
    as it stands."""
    text = drawing(ring).replace("\n300.0\n", f"\n{value}\n", 1)
    (found,) = faults(DRAWN, plate_dxf=text)
    assert found.code == "bad-drawing" and "no number near line" in found.message
    assert capfd.readouterr() == ("", "")
