"""Coordinate files of sections in both common orderings, and DXF outlines.

Ordinates of NACA 2412 at 30 % chord, 7.8785 and -4.1286 % (NACA Report 824, formula).
"""

from __future__ import annotations

import io
import math

import numpy as np
import pytest

from plybook.geometry.rings import signed_area_mm2
from plybook.spec.model import CoordinateSection
from tests.spec.goods import HATCH, SKIN, edit, faults, read


def naca_2412(count: int = 61) -> tuple[np.ndarray, np.ndarray]:
    """Upper and lower side from the leading edge, by the formula of NACA Report 824."""
    m, p, t = 0.02, 0.4, 0.12
    x = (1 - np.cos(np.linspace(0, np.pi, count))) / 2
    yt = t / 0.2 * (0.2969 * np.sqrt(x) - 0.126 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1015 * x**4)
    yc = np.where(x < p, m / p**2 * (2 * p * x - x**2),
                  m / (1 - p) ** 2 * (1 - 2 * p + 2 * p * x - x**2))  # fmt: skip
    slope = np.arctan(np.where(x < p, 2 * m / p**2 * (p - x), 2 * m / (1 - p) ** 2 * (p - x)))
    across = np.column_stack([-np.sin(slope), np.cos(slope)]) * yt[:, None]
    middle = np.column_stack([x, yc])
    return middle + across, middle - across


def rows(points: np.ndarray, scale: float = 1.0) -> str:
    return "".join(f"{x * scale:12.7f} {y * scale:12.7f}\n" for x, y in points)


UPPER, LOWER = naca_2412()
ROUND = "NACA 2412\n" + rows(np.vstack([UPPER[::-1], LOWER[1:]]))
LISTS = f"NACA 2412\n {len(UPPER)}. {len(LOWER)}.\n\n" + rows(UPPER) + "\n" + rows(LOWER)
BACKWARDS = "NACA 2412\n" + rows(np.vstack([LOWER[::-1], UPPER[1:]]))
LARGE = "NACA 2412, chord 100\n" + rows(np.vstack([UPPER[::-1], LOWER[1:]]), 100)


def with_file(text: str):
    return read(edit(SKIN, "naca 2410", "{file: tip.dat}"), tip_dat=text)


def wrong_file(text: str):
    (one,) = faults(edit(SKIN, "naca 2410", "{file: tip.dat}"), tip_dat=text)
    return one


@pytest.mark.parametrize("text", [ROUND, LISTS, BACKWARDS, LARGE, ROUND.replace("\n", "\r\n")])
def test_both_orderings_give_one_section(text):
    section = with_file(text).specs[0].mould.stations[2].section
    assert isinstance(section, CoordinateSection) and section.name.startswith("NACA 2412")
    points = section.points
    assert points[0, 0] == pytest.approx(1, abs=1e-3) and points[0, 1] > points[-1, 1]
    nose = int(np.argmin(points[:, 0]))
    up, down = points[: nose + 1][::-1], points[nose:]
    assert np.interp(0.3, up[:, 0], up[:, 1]) * 100 == pytest.approx(7.8785, abs=0.01)
    assert np.interp(0.3, down[:, 0], down[:, 1]) * 100 == pytest.approx(-4.1286, abs=0.01)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("only a name\n", "holds 0 points"),
        (LISTS.replace(" 61. 61.", " 61. 60."), "promises 61 + 60"),
        (ROUND.replace("\n", "\nnonsense here\n", 2), "no pair of coordinates"),
        ("x\n" + rows(UPPER), "round the leading edge"),
        ("x\n" + rows(np.vstack([UPPER[::-1], LOWER[1:]])[[*range(40), 55, *range(40, 55),
                                                             *range(56, 121)]]), "crosses itself"),
    ],
)  # fmt: skip
def test_files_that_are_no_section_are_refused(text, words):
    one = wrong_file(text)
    assert one.code == "bad-section" and words in one.message


@pytest.mark.parametrize(("decimals", "warned"), [(3, True), (4, False), (6, False)])
def test_coarse_coordinates_are_said_to_be_coarse(decimals, warned):
    points = np.vstack([UPPER[::-1], LOWER[1:]])
    text = "coarse\n" + "".join(f"{x:.{decimals}f} {y:.{decimals}f}\n" for x, y in points)
    codes = [f.code for f in with_file(text).findings]
    assert codes == (["coarse-section"] if warned else [])


def test_a_section_file_must_lie_in_the_folder():
    (one,) = faults(edit(SKIN, "naca 2410", "{file: ../tip.dat}"))
    assert one.code == "outside-folder"


# ---------------------------------------------------------------- DXF outlines


def drawing(units: int = 4, loose: bool = False, gap: float = 0.0) -> bytes:
    """A 100 x 50 plate with a half-round right end and a hole, on layer PLATE."""
    import ezdxf

    made = ezdxf.new(units=units)
    space = made.modelspace()
    on = {"layer": "PLATE"}
    if loose:
        space.add_line((100, 0), (0, 0), dxfattribs=on)
        space.add_arc((100, 25), 25, -90, 90, dxfattribs=on)
        space.add_line((100, 50), (0, 50 + gap), dxfattribs=on)
        space.add_line((0, 0), (0, 50), dxfattribs=on)
    else:
        corners = [(0, 0, 0), (100, 0, 1), (100, 50, 0), (0, 50, 0)]
        space.add_lwpolyline(corners, format="xyb", close=True, dxfattribs=on)
    space.add_circle((50, 25), 10, dxfattribs=on)
    out = io.StringIO()
    made.write(out)
    return out.getvalue().encode()


DRAWN = (
    HATCH[: HATCH.index("mould:")]
    + "mould: {dxf: plate.dxf, layer: PLATE, edges: {front: [[0, 0], [100 mm, 0]]}}\n"
    + HATCH[HATCH.index("edges: {all") :]
)


@pytest.mark.parametrize("loose", [False, True])
def test_a_drawn_outline_closed_or_in_pieces(loose):
    spec = read(DRAWN, plate_dxf=drawing(loose=loose)).specs[0]
    exact = 100 * 50 + math.pi * 25**2 / 2
    assert 0 < exact - signed_area_mm2(spec.mould.ring_mm) < 0.01 * math.pi * 25
    assert len(spec.mould.holes_mm) == 1
    assert "front" in {name for name, _, _ in spec.mould.edges}


def test_the_unit_of_the_drawing_is_kept_and_must_be_known():
    spec = read(DRAWN.replace("100 mm", "100 in"), plate_dxf=drawing(units=1)).specs[0]
    assert spec.mould.ring_mm.max() == pytest.approx(125 * 25.4)
    (one,) = faults(DRAWN, plate_dxf=drawing(units=0))
    assert one.code == "no-units" and "dxf_units" in one.help


@pytest.mark.parametrize(
    ("change", "content", "code"),
    [
        (("layer: PLATE", "layer: PLATES"), drawing(), "unknown-drawing-layer"),
        (("layer: PLATE", "layer: PLATE"), drawing(loose=True, gap=2), "open-outline"),
        (("layer: PLATE", "layer: PLATE"), b"no drawing at all\n", "bad-drawing"),
        (("layer: PLATE", "layer: PLATE"), drawing()[:900], "bad-drawing"),
        (("100 mm", "90 mm"), drawing(), "unknown-corner"),
    ],
    ids=["no such layer", "open", "no drawing", "cut short", "no such corner"],  # not its bytes
)
def test_drawings_that_are_refused(change, content, code):
    found = faults(DRAWN.replace(*change), plate_dxf=content)
    assert [f.code for f in found] == [code]
