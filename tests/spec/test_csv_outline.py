"""Outlines from a table of points, as spreadsheets, CAD programs and hands write them."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest

from tests.spec.goods import HATCH, edit, faults, read

MM = "x (mm), y (mm)\n"
LISTED = (
    HATCH[: HATCH.index("mould:")]
    + "mould: {csv: plate.csv}\n"
    + HATCH[HATCH.index("edges: {all") :]
)
PLATE = [[0, 0], [100, 0], [100, 50], [0, 50]]


def ring(table: str, spec: str = LISTED) -> np.ndarray:
    return read(spec, plate_csv=table).specs[0].mould.ring_mm


def wrong(table: str, spec: str = LISTED):
    return faults(spec, plate_csv=table)


def spreadsheet(delimiter: str, end: str) -> str:
    """As the csv module of Python writes it, quotes and all."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator=end, quoting=csv.QUOTE_ALL)
    writer.writerows([["x [mm]", "y [mm]"], *PLATE])
    return out.getvalue()


@pytest.mark.parametrize(
    "table",
    [
        MM + "0,0\n100,0\n100,50\n0,50\n",
        MM + "0,0\n100,0\n100,50\n0,50\n0,0\n",  # closed by hand
        MM + "0,50\n100,50\n100,0\n0,0",  # the other way round
        "\ufeff# a remark\n\nX_mm;Y_mm\r\n0;0\r\n\r\n100;0\r\n100;50\r\n0;50;\r\n",
        "y mm\tpoint\tx mm\n0\ta\t0\n0\tb\t100\n50\tc\t100\n50\td\t0\n",
        "x_cm y_cm\n0   0\n 10 0\n10 5\n0  5.000\n",
        "x (m), y (m)\n0,0\n1e-1,0\n.1,.05\n0,5 cm\n",
        *(spreadsheet(mark, end) for mark in ",;\t" for end in ("\n", "\r\n")),
    ],
)
def test_a_table_is_read_however_it_is_written(table):
    made = ring(table)
    assert len(made) == 4
    assert sorted(map(tuple, made.round(9).tolist())) == sorted(map(tuple, PLATE))


def test_the_unit_comes_from_the_first_row_or_from_the_key_and_must_agree():
    keyed = edit(LISTED, "plate.csv", "plate.csv, csv_units: in")
    bare = "0,0\n4,0\n4,2 1/2\n"
    assert ring(bare, keyed).max() == pytest.approx(101.6)
    assert ring("x in,y in\n" + bare).max() == pytest.approx(101.6)
    (one,) = wrong(bare)
    assert one.code == "no-units" and "csv_units" in one.help
    (one,) = wrong(MM + bare, keyed)
    assert one.code == "bad-points" and "says mm" in one.message
    (one,) = wrong("x (mm), y (in)\n" + bare)
    assert one.code == "bad-points" and [p.column for p in one.places] == [1, 9]


@pytest.mark.parametrize(
    ("table", "code", "line"),
    [
        (MM + "0,0\n100,0\nabc,50\n", "not-a-length", 4),
        (MM + "0,0\n100,0\n12;5\n", "bad-points", 4),
        ("x (mm);y (mm)\n0;0\n12,5;0\n0;50\n", "decimal-comma", 3),
        (MM + "0,0\n12,5,0,5\n0,50\n", "bad-points", 3),
        (MM + "0,0\nnan,0\n0,50\n", "not-finite", 3),
        (MM + "0,0\n,0\n0,50\n", "empty", 3),
        (MM + "0,0\n100,0\n100,0\n0,50\n", "repeated-point", 4),
        (MM + "0,0\n100,50\n100,0\n0,50\n", "outline-crosses-itself", 2),
        (MM + "0,0\n99999,0\n0,50\n", "out-of-range", 3),
        ("0,0,0\n100,0,0\n", "bad-points", 1),
        ("east,north\n0,0\n", "bad-points", 1),
    ],
)
def test_a_bad_row_is_told_with_its_line(table, code, line):
    (one,) = wrong(table)
    assert one.code == code and one.help
    assert (one.places[0].file, one.places[0].line) == ("plate.csv", line)


@pytest.mark.parametrize(
    ("table", "code"),
    [("", "bad-points"), ("# only\n", "bad-points"), (MM + "0,0\n1,1\n", "outline-too-short"),
     (MM, "outline-too-short")],
)  # fmt: skip
def test_a_table_without_an_outline_is_told_at_the_spec(table, code):
    (one,) = wrong(table)
    assert one.code == code and one.places[0].file == "part.yaml"


def test_every_bad_row_is_told_at_once_and_many_are_counted():
    found = wrong(MM + "".join(f"{n},?\n" for n in range(50)))
    assert len(found) == 11 and "40 more" in found[-1].message


def test_where_the_table_crosses_itself_both_rows_are_shown():
    (one,) = wrong(MM + "0,0\n100,50\n100,0\n0,50\n")
    assert [p.line for p in one.places] == [2, 4]


def test_heights_that_differ_are_warned_of():
    flat = read(LISTED, plate_csv="x mm,y mm,z\n0,0,7\n100,0,7\n0,50,7\n")
    curved = read(LISTED, plate_csv="x mm,y mm,z\n0,0,7\n100,0,7\n0,50,9\n")
    assert [f.code for f in flat.findings] == []
    assert [f.code for f in curved.findings] == ["left-out"]


def test_sides_are_named_and_holes_are_cut():
    spec = edit(LISTED, "csv: plate.csv", "csv: plate.csv, edges: {hinge: [[0, 0], [4, 0]]}, "
                "holes: [{circle: [1, 0.5], diameter: 0.25}]")  # fmt: skip
    mould = read(spec, plate_csv="x in,y in\n0,0\n2,0\n4,0\n4,2\n0,2\n").specs[0].mould
    assert {name for name, _, _ in mould.edges} == {"hinge", "side 2", "side 3", "side 4"}
    assert len(mould.holes_mm) == 1
    outside = edit(spec, "[1, 0.5]", "[9, 0.5]")
    (one,) = wrong("x in,y in\n0,0\n4,0\n4,2\n0,2\n", outside)
    assert one.code == "hole-outside"


def test_more_points_than_the_limit_are_refused():
    angle = np.linspace(0, 2 * np.pi, 20_002)[:-1]
    table = MM + "".join(f"{900 * np.cos(a):.6f},{900 * np.sin(a):.6f}\n" for a in angle)
    (one,) = wrong(table)
    assert one.code == "too-many"
