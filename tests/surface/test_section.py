"""Section curves against published and closed values."""

import numpy as np
import pytest

from plybook.diagnostics import GeometryError
from plybook.spec.model import CoordinateSection, NacaSection, PolylineSection
from plybook.surface.meanline import mean_line
from plybook.surface.section import naca_points, section_curve, share_of_w, w_of_share

# ordinates of NACA 2412 at the station, % of chord: the 4-digit formula (NACA Reports 460 and
# 824) solved for the station; a published printout of the same section agrees within 0.0006
NACA_2412 = np.array(
    [
        (1.25, 2.1600, -1.6516),
        (2.5, 2.9862, -2.2681),
        (5, 4.1306, -3.0050),
        (10, 5.6290, -3.7608),
        (15, 6.6074, -4.1021),
        (20, 7.2607, -4.2278),
        (30, 7.8785, -4.1286),
        (40, 7.8030, -3.8030),
        (50, 7.2425, -3.3462),
        (60, 6.3506, -2.7784),
        (70, 5.1778, -2.1540),
        (80, 3.7497, -1.5017),
        (90, 2.0711, -0.8289),
        (95, 1.1341, -0.4822),
    ]
)
# half thickness of NACA 0012, % of chord (NACA Report 824, to its three decimals)
NACA_0012 = [(1.25, 1.8939), (5, 3.5547), (10, 4.6828), (30, 6.0017), (60, 4.5634), (95, 0.8066)]
# branch lengths for chord 1, leading to trailing edge: quadrature of the same formula
LENGTHS = {"0012": (1.019636, 1.019636), "2412": (1.028032, 1.013370)}


# ordinates of NACA 23012, % of chord: NACA Report 824, table of ordinates, from memory; the tables
# of the time leave the formula by up to 0.03
NACA_23012 = np.array(
    [
        (1.25, 2.67, -1.23),
        (2.5, 3.61, -1.71),
        (5, 4.91, -2.26),
        (7.5, 5.80, -2.61),
        (10, 6.43, -2.92),
        (15, 7.19, -3.50),
        (20, 7.50, -3.97),
        (25, 7.60, -4.28),
        (30, 7.55, -4.46),
        (40, 7.14, -4.48),
        (50, 6.41, -4.17),
        (60, 5.47, -3.67),
        (70, 4.36, -3.00),
        (80, 3.08, -2.16),
        (90, 1.68, -1.23),
        (95, 0.92, -0.70),
    ]
)
# where the mean line is highest, share of the chord, and its lift at the ideal angle by thin
# aerofoil theory: the digits say so (NACA Report 537)
FIVE_DIGITS = ["21012", "22012", "23012", "24012", "25012", "43018", "22112", "23112", "24112",
               "25112"]  # fmt: skip


def ordinate(curve, x):
    """z where the curve passes x, found on the curve itself."""
    share = x
    for _ in range(40):
        share = share + (x - curve.points(np.array([share]))[0, 0])
    return curve.points(np.array([share]))[0, 1]


@pytest.mark.parametrize(("side", "column"), [("upper", 1), ("lower", 2)])
def test_naca_2412_passes_the_tabulated_ordinates(side, column):
    curve = section_curve(NacaSection("2412"), side)
    got = [100 * ordinate(curve, row[0] / 100) for row in NACA_2412]
    assert got == pytest.approx(NACA_2412[:, column], abs=5e-4)


@pytest.mark.parametrize(("side", "column"), [("upper", 1), ("lower", 2)])
def test_naca_23012_passes_the_published_ordinates(side, column):
    curve = section_curve(NacaSection("23012"), side)
    got = [100 * ordinate(curve, row[0] / 100) for row in NACA_23012]
    assert got == pytest.approx(NACA_23012[:, column], abs=0.035)


@pytest.mark.parametrize("code", FIVE_DIGITS)
def test_five_digits_are_what_they_say(code):
    """Place of the crest; design lift by Glauert's integrals (Elements of aerofoil and airscrew
    theory, 1926, from memory): the angle at which no air has to turn round the nose, and the
    lift there. A reflexed line has no moment about the quarter chord. The tabulated constants are
    rounded: the lift comes out up to 3 % off, the moment a tenth of that of a plain line."""
    line = mean_line(code)
    x = np.linspace(0, 1, 200_001)
    assert x[np.argmax(line.at(x)[0])] == pytest.approx(int(code[1]) / 20, abs=2e-3)
    angle = (np.arange(400_000) + 0.5) * np.pi / 400_000  # even in the angle of x = (1 - cos) / 2
    slope = line.at((1 - np.cos(angle)) / 2)[1]
    first, second = (2 * (slope * np.cos(n * angle)).mean() for n in (1, 2))
    assert np.pi * first == pytest.approx(0.15 * int(code[0]), rel=0.03)
    if code[2] == "1":
        assert np.pi / 4 * (second - first) == pytest.approx(0.0, abs=1.4e-3)


@pytest.mark.parametrize("code", ["2412", *FIVE_DIGITS])
def test_mean_lines_start_and_end_on_the_chord_and_are_smooth(code):
    line = mean_line(code)
    assert line.at(np.array([0.0, 1.0]))[0] == pytest.approx([0, 0], abs=1e-4)
    near = np.array([line.joint - 1e-9, line.joint + 1e-9])
    for values in line.at(near):
        assert values[0] == pytest.approx(values[1], abs=1e-6)
    x = np.linspace(0.001, 0.999, 5000)
    by_steps = (line.at(x + 1e-6)[0] - line.at(x - 1e-6)[0]) / 2e-6
    assert by_steps == pytest.approx(line.at(x)[1], abs=1e-6)


def test_naca_0012_has_the_tabulated_half_thickness_on_both_sides():
    for side, sign in (("upper", 1), ("lower", -1)):
        curve = section_curve(NacaSection("0012"), side)
        got = [sign * 100 * ordinate(curve, x / 100) for x, _ in NACA_0012]
        assert got == pytest.approx([y for _, y in NACA_0012], abs=5e-4)


@pytest.mark.parametrize("code", sorted(LENGTHS))
def test_branch_lengths_agree_with_quadrature(code):
    got = tuple(section_curve(NacaSection(code), side).length() for side in ("upper", "lower"))
    assert got == pytest.approx(LENGTHS[code], abs=1e-5)


def test_trailing_edge_is_open_by_the_formula_and_closed_when_sharp():
    # Report 460: the ordinate at the trailing edge is 0.00126 of the chord for 12 % thickness
    assert section_curve(NacaSection("0012"), "upper").points(np.ones(1))[0, 1] == pytest.approx(
        0.00126, abs=1e-6
    )
    sharp = section_curve(NacaSection("0012", sharp=True), "upper")
    assert sharp.points(np.ones(1))[0, 1] == pytest.approx(0.0, abs=1e-12)


def test_leading_edge_radius_is_that_of_the_formula():
    # r = 1.1019 t^2 (NACA Report 460)
    curve = section_curve(NacaSection("0012"), "upper")
    x, z = curve.points(np.array([1e-8]))[0]
    assert (x * x + z * z) / (2 * x) == pytest.approx(1.1019 * 0.12**2, rel=2e-3)


def test_share_is_the_chordwise_place_away_from_the_nose():
    share = np.linspace(0.07, 1.0, 50)
    for side in ("upper", "lower"):
        x = section_curve(NacaSection("4415"), side).points(share)[:, 0]
        assert x == pytest.approx(share, abs=4e-4)


def coordinates(code, count, decimals=12):
    """Points of a 4-digit section in file order, cosine spaced."""
    line, thick = mean_line(code), int(code[2:]) / 100
    tau = np.sqrt((1 - np.cos(np.linspace(0, np.pi, count))) / 2)
    upper = naca_points(tau, line, thick, True)
    lower = naca_points(tau, line, thick, False)
    return CoordinateSection(np.round(np.concatenate([upper[::-1], lower[1:]]), decimals))


@pytest.mark.parametrize(("side", "at"), [("upper", 0), ("lower", 1)])
def test_spline_through_coordinates_has_the_length_of_the_formula(side, at):
    # 41 cosine points a side: within 0.05 mm on a chord of 1.5 m
    got = section_curve(coordinates("2412", 41), side).length()
    assert got * 1500 == pytest.approx(LENGTHS["2412"][at] * 1500, abs=0.05)


def test_spline_through_coordinates_converges():
    true = LENGTHS["2412"][0]
    error = [
        abs(section_curve(coordinates("2412", n), "upper").length() - true) for n in (11, 21, 81)
    ]
    assert error[0] > error[1] > error[2]


def test_coordinates_without_a_point_at_the_nose_are_split_at_the_foremost_place():
    points = coordinates("0012", 42).points
    points = np.delete(points, 41, axis=0)  # the leading edge itself
    up = section_curve(CoordinateSection(points), "upper").length()
    low = section_curve(CoordinateSection(points), "lower").length()
    assert up == pytest.approx(low, abs=1e-9)
    assert up == pytest.approx(1.019636, abs=2e-4)


def test_polyline_girth_is_that_of_the_bend_arithmetic():
    # bend allowance at the face: R times the angle, legs less R tan(angle / 2) each end
    # (elementary; any sheet-metal handbook)
    section = PolylineSection(np.array([[0, 0], [80, 0], [80, 50], [140, 50.0]]), (10, 15))
    curve = section_curve(section, "all")
    flat = 80 + 50 + 60 - 2 * (10 + 15) + (10 + 15) * np.pi / 2
    assert curve.length() == pytest.approx(flat, abs=1e-6)
    middle = curve.points(np.array([(70 + 10 * np.pi / 4) / flat]))[0]  # half-way round corner 1
    assert middle == pytest.approx([70 + 10 * np.sin(np.pi / 4), 10 - 10 * np.cos(np.pi / 4)])


def test_half_cosine_parameter_goes_both_ways_and_past_both_ends():
    w = np.linspace(-2, 2, 101)
    assert w_of_share(share_of_w(w)) == pytest.approx(w, abs=1e-7)
    assert share_of_w(np.array([0, 0.5, 1])) == pytest.approx([0, 1 - np.sqrt(0.5), 1])


@pytest.mark.parametrize(
    ("section", "side", "code"),
    [
        (NacaSection("24"), "upper", "naca-code"),
        (NacaSection("2012"), "upper", "naca-code"),
        (NacaSection("2400"), "upper", "naca-code"),
        (NacaSection("21112"), "upper", "naca-code"),
        (NacaSection("23212"), "upper", "naca-code"),
        (NacaSection("23000"), "upper", "naca-code"),
        (NacaSection("24l2"), "upper", "naca-code"),
        (NacaSection("2412"), "all", "section-side"),
        (CoordinateSection(np.zeros((9, 2))), "upper", "section-points"),
        (
            PolylineSection(np.array([[0, 0], [10, 0], [10, 10.0]]), (12.0,)),
            "all",
            "polyline-radii",
        ),
        (PolylineSection(np.array([[0, 0], [10, 0], [10, 10.0]]), ()), "all", "polyline-radii"),
        (PolylineSection(np.array([[0, 0], [0, 0], [9, 9.0]]), (1.0,)), "all", "polyline-points"),
    ],
)
def test_a_section_that_cannot_be_walked_is_refused(section, side, code):
    with pytest.raises(GeometryError) as refused:
        section_curve(section, side)
    assert refused.value.findings[0].code == code
