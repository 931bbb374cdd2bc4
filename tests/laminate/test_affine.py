"""A part that is moved, turned, mirrored, written in inches or given a needless station is the same
part."""

from collections import Counter

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.laminate import lay_up
from plybook.surface import build_face
from tests.spec.goods import SHARED, read

RING = ((0, 0), (740, 0), (900, 310), (620, 560), (90, 480))
LAYERS = (("A", 45), ("B", 0))
ABOVE = (("D", 0), ("E", 30))


def body(points, angle, unit, size):
    ring = ", ".join(f"[{x:.9g}, {y:.9g}]" for x, y in points)
    below, above = (
        "".join(f"  - {{ply: {name}, cloth: twill, angle: {angle(at):g}}}\n" for name, at in group)
        for group in (LAYERS, ABOVE)
    )
    return (
        "plybook: 1\ninclude: shared.yaml\n"
        f"part: {{number: AF-1, name: Panel, date: 2026-05-04, units: {unit}}}\n"
        f"mould: {{outline: [{ring}], corners: {30 * size:.9g}}}\n"
        f"edges: {{all: {{trim: {12 * size:.9g}}}}}\nlayers:\n{below}"
        f"  - {{core: C, sheet: foam, region: {{inset: {70 * size:.9g}}}, "
        f"edges: {{all: bevel 30}}}}\n{above}"
    )


def pieces_of(text):
    spec = read(text, shared_yaml=SHARED).specs[0]
    laminate = lay_up(spec, build_face(spec))
    figures = {
        piece.id: (shapely.Polygon(piece.outline_mm).area, shapely.Polygon(piece.outline_mm).length)
        for piece in laminate.pieces
    }
    return figures, Counter(finding.code for finding in laminate.findings)


@pytest.fixture(scope="module")
def plain():
    return pieces_of(body(RING, lambda at: at, "mm", 1.0))


def the_same(found, plain):
    """Sizes alike; rules about 0, 45 and 90 degrees find another laminate where it is turned."""
    assert found[0].keys() == plain[0].keys()
    for name, (area, length) in found[0].items():
        assert area == pytest.approx(plain[0][name][0], rel=2e-5), name
        assert length == pytest.approx(plain[0][name][1], abs=0.1), name  # corners are chorded


def normal(angle):
    """The same fibre direction within -90..90."""
    return (angle + 90.0) % 180.0 - 90.0


@settings(max_examples=4, deadline=None)
@given(
    dx=st.integers(-3000, 3000), dy=st.integers(-3000, 3000),
    turn=st.sampled_from([0, 17, 90, 180, 301]), mirrored=st.booleans(),
)  # fmt: skip
def test_a_panel_is_the_same_wherever_and_whichever_way_it_is_drawn(plain, dx, dy, turn, mirrored):
    sign = -1.0 if mirrored else 1.0
    cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    points = (np.array(RING) * [1.0, sign]) @ np.array([[cos, sin], [-sin, cos]]) + [dx, dy]
    found = pieces_of(body(points, lambda at: normal(sign * at + turn), "mm", 1.0))
    the_same(found, plain)
    if turn in (0, 180):
        assert found[1] == plain[1]


def test_a_panel_in_inches_is_the_same(plain):
    points = np.array(RING) / 25.4
    found = pieces_of(body(points, lambda at: at, "in", 1 / 25.4))
    the_same(found, plain)
    assert found[1] == plain[1]


def placed(stations, move=(0.0, 0.0, 0.0), turn_deg=0.0):
    """Stations (span, size, sweep, rise, twist about the nose) after a rigid motion: moved along
    span, sweep and rise, turned nose up about the span."""
    turn = turned(turn_deg)
    return [
        (at + move[0], size, *(np.array([sweep, rise]) @ turn + move[1:]), twist + turn_deg)
        for at, size, sweep, rise, twist in stations
    ]


def turned(angle_deg):
    """Rows of [aft, up] times this are turned nose up."""
    cos, sin = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return np.array([[cos, -sin], [sin, cos]])


def lofted(kind, stations, unit="mm", hand="right"):
    """A part of `KINDS` on stations in mm, written in a unit."""

    def show(mm):
        return f"{mm / (1.0 if unit == 'mm' else 25.4):.9g}"

    rows = "".join(
        f"  - {{at: {show(at)}, sweep: {show(sweep)}, rise: {show(rise)}, "
        f"{kind.section(size, twist, show)}}}\n"
        for at, size, sweep, rise, twist in stations
    )
    return (
        "plybook: 1\ninclude: shared.yaml\n"
        f"part: {{number: AF-2, name: Part, date: 2026-05-04, units: {unit}, hand: {hand}}}\n"
        f"mould:\n{kind.mould}  stations:\n{rows}axis: {{share: 0.5}}\n"
        f"edges: {{all: {{trim: {show(12)}}}}}\nlayers:\n"
        "  - {ply: A, cloth: twill, angle: 45}\n"
        + kind.core(show)
        + "  - {ply: B, cloth: twill, angle: 0}\n"
    )


class Skin:
    """Cored, swept, tapered and twisted."""

    mould = "  form: female\n  side: upper\n  loft: ruled\n"
    stations = ((0, 620, 0, 0, 0), (900, 480, 70, 40, -2))

    @staticmethod
    def section(size, twist, show):
        return f"chord: {show(size)}, twist: {twist:.9g} deg, twist_about: 0, section: naca 2412"

    @staticmethod
    def core(show):
        region = f"region: {{inset: {show(70)}}}, edges: {{all: bevel 30}}"
        return f"  - {{core: C, sheet: foam, {region}}}\n"


class Channel:
    """Tapered, its web raked; corners as [aft, up], in the plane of the station."""

    mould = "  form: male\n  loft: ruled\n  edge_names: {first: lower, last: upper}\n"
    stations = ((0, 60, 0, 0, 0), (1200, 52, 30, 20, 0))

    @staticmethod
    def section(size, twist, show):
        corners = np.array([[size, -size], [0, -size], [0, size], [size, size]]) @ turned(twist)
        shown = ", ".join(f"[{show(aft)}, {show(up)}]" for aft, up in corners)
        return f"section: {{channel: [{shown}], radius: {show(8)}}}"

    @staticmethod
    def core(show):
        return ""


@pytest.mark.slow
@pytest.mark.parametrize("kind", [Skin, Channel])
def test_a_lofted_part_is_the_same_wherever_and_however_it_is_written(kind):
    stations = kind.stations
    plain = pieces_of(lofted(kind, stations))
    others = {
        "moved": lofted(kind, placed(stations, (450.0, -310.0, 95.0))),
        "turned": lofted(kind, placed(stations, turn_deg=11.0)),
        "moved and turned": lofted(kind, placed(stations, (-200.0, 40.0, 700.0), -23.0)),
        "mirrored": lofted(kind, stations, hand="left"),
        "in inches": lofted(kind, stations, unit="in"),
    }
    if kind is Channel:  # without twist the middle of two stations lies on the ruled face
        middle = tuple(np.array(stations, float).mean(axis=0))
        others["with a needless station"] = lofted(kind, (stations[0], middle, stations[1]))
    for name, text in others.items():
        found = pieces_of(text)
        the_same(found, plain)
        assert found[1] == plain[1], name
