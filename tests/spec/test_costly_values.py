"""Values made to cost time, memory or a wrong figure: each is refused with words, at once.

Where the work grew with the square of the length, these would take minutes or more.
"""

import numpy as np
import pytest

from tests.spec.goods import HATCH, SHARED, SKIN, edit, faults, read
from tests.spec.test_csv_outline import LISTED, MM

SPACES, DIGITS = " " * 15_000, "9" * 5_000
FULL_WIDTH, ARABIC = "４５", "٤٥"


def codes(found):
    return {f.code for f in found}


@pytest.mark.parametrize(
    "spec",
    [
        edit(SKIN, "chord: 1000", f"chord: 4{SPACES}deg"),
        edit(SKIN, "chord: 1000", f"chord: {DIGITS}"),
        edit(SKIN, "chord: 1000", f"chord: '1 {'9' * 400}/1 in'"),
        edit(SKIN, "chord: 1000", f"chord: '1 1/{'9' * 400} in'"),
        edit(SKIN, "chord: 1000", f"chord: 1{SPACES}mm"),
        edit(HATCH, "corners: 1", f"corners: {'9' * 400}"),
        edit(SKIN, "plybook: 1", f"plybook: {DIGITS}"),
        edit(SKIN, "plybook: 1", "plybook: ²"),
        edit(SKIN, "plybook: 1", f"plybook: {FULL_WIDTH}"),
    ],
)
def test_a_long_or_strange_value_is_refused(spec):
    found = faults(spec)
    assert codes(found) <= {"too-long", "not-a-length", "wrong-version", "not-finite"}
    assert all(len(f.message) < 300 for f in found)


@pytest.mark.parametrize("text", ["4" + SPACES + "5", "-" * 19_000, "1:" * 9_000, "4 " * 9_000])
@pytest.mark.parametrize("key", ["pot_life: {time: ", "cure: ", "density: ", "fibre_share: "])
def test_no_value_of_a_material_costs_more_than_its_length(key, text):
    line = next(line for line in SHARED.splitlines() if key in line)
    shared = SHARED.replace(line, line[: line.index(key)] + key + text + "}" * ("{" in key))
    assert faults(SKIN, shared_yaml=shared)


def test_a_value_longer_than_a_page_is_refused_by_its_limit():
    found = faults(edit(SKIN, "name: Outer skin", f"name: {'x' * 30_000}"))
    assert codes(found) == {"too-long"} and "--limit value-length" in found[0].help


@pytest.mark.parametrize("digits", [FULL_WIDTH, ARABIC, "4⁵", "④"])
def test_digits_of_other_scripts_are_not_numbers(digits):
    found = faults(edit(SKIN, "chord: 1000", f"chord: {digits}"))
    assert codes(found) <= {"odd-digits", "not-a-length"}
    if digits in (FULL_WIDTH, ARABIC):
        assert "write 45" in found[0].help


def test_values_of_all_included_files_count_together():
    many = "plybook: 1\n" + "stock: [" + "x," * 150_000 + "]\n"
    spec = edit(SKIN, "include: shared.yaml", "include: [shared.yaml, a.yaml, b.yaml]")
    found = faults(spec, a_yaml=many, b_yaml=many)
    assert "too-many-values" in codes(found)


@pytest.mark.parametrize(
    "table",
    [
        "x" + " " * 30_000 + "!, y\n0,0\n",
        "x" + " " * 30_000 + "! y\n0 0\n",
        MM + "0," + " " * 300_000 + "!\n",
        MM + "9" * 300_000 + ",0\n1,0\n1,1\n",
        MM + "٤,0\n100,0\n100,50\n",
        "0 0\n" * 60_000,
    ],
)
def test_no_table_costs_more_than_its_length(table):
    assert faults(LISTED, plate_csv=table)


def test_columns_parted_by_many_spaces_are_still_columns():
    made = (
        read(
            LISTED,
            plate_csv=MM.replace(", ", " " * 9).replace("x (mm)", "x_mm").replace("y (mm)", "y_mm")
            + "0    0\n 100\t 0 \n100  50\n",
        )
        .specs[0]
        .mould
    )
    assert np.allclose(made.ring_mm.max(axis=0), [100, 50])


@pytest.mark.parametrize("line", ["9" * 300_000, "1 " * 100_000, "." * 300_000, "1 ٢", "4_0 1"])
def test_no_line_of_a_section_file_costs_more_than_its_length(line):
    spec = SKIN.replace("section: naca 2412", "section: {file: own.dat}")
    found = faults(spec, own_dat=f"name\n0 0\n{line}\n1 0\n")
    assert "bad-section" in codes(found)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("time: 90 min", "time: 0 min"),
        ("time: 90 min", "time: 0.5 s"),
        (
            "usable: 1250",
            "usable: 1250\n      elastic: {e1: 60, e2: 60, g12: 4, nu12: 1}",
        ),
    ],
)
def test_figures_that_no_material_has_are_refused(old, new):
    assert codes(faults(SKIN, shared_yaml=edit(SHARED, old, new))) == {"out-of-range"}


@pytest.mark.parametrize("percent", ["0", "50", "89.9", "110.1", "200"])
def test_a_printer_that_scales_to_fit_is_not_made_up_for(percent):
    found = faults(HATCH + f"\nworkshop: {{printer: {{across: {percent} %}}}}\n")
    assert codes(found) == {"out-of-range"}
