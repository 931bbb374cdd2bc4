"""CSV after RFC 4180, read back by another reader, with formulas disarmed."""

import csv
import io

import pytest

from plybook.write.numbers import NotDrawable, number
from plybook.write.tables import csv_bytes


def back(data):
    return list(csv.reader(io.StringIO(data.decode("utf-8"), newline="")))


def test_commas_quotes_and_line_ends_survive():
    rows = [["a,b", 'say "twill"', "two\nlines", "Łódź"]]
    data = csv_bytes(["p", "q", "r", "s"], rows)
    assert back(data) == [["p", "q", "r", "s"], *rows]
    assert data.startswith(b"p,q,r,s\r\n")  # RFC 4180, 2.1: lines end in CRLF


@pytest.mark.parametrize("formula", ["=1+1", "+SUM(A1)", "-cmd|'/C calc'!A0", "@x", "\t=1", "  =1"])
def test_a_text_that_a_spreadsheet_would_run_is_marked_as_text(formula):
    ((_,), (cell,)) = back(csv_bytes(["note"], [[formula]]))
    assert cell.startswith("'")


@pytest.mark.parametrize(("value", "shown"), [
    (3.0, "3"), (0.1 + 0.2, "0.3"), (-45, "-45"), (-0.00001, "0"), (None, ""), (True, "yes"),
    (1250, "1250"), ("-45", "-45"), ("+12.5", "+12.5"), (1e-3, "0.001"),
])  # fmt: skip
def test_numbers_are_short_and_keep_their_sign(value, shown):
    assert back(csv_bytes(["x"], [[value]]))[1:] == [[shown]]


def test_a_row_of_the_wrong_length_and_a_number_that_is_none_are_refused():
    with pytest.raises(NotDrawable):
        csv_bytes(["a", "b"], [["only one"]])
    with pytest.raises(NotDrawable):
        csv_bytes(["a"], [[float("nan")]])


@pytest.mark.parametrize(("value", "shown"), [(1.0, "1"), (1.23456, "1.235"), (-0.0001, "0"),
                                              (100.0, "100"), (0.5, "0.5")])  # fmt: skip
def test_numbers_in_drawings(value, shown):
    assert number(value) == shown


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_no_number_that_is_none(bad):
    with pytest.raises(NotDrawable):
        number(bad)
