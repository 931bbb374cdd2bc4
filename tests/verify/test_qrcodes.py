"""The verifier's reader of QR codes, held against codes that segno makes and that zxing reads."""

import numpy as np
import pytest
import segno
import zxingcpp

from plybook.verify.qrcodes import read_code
from plybook.write.qr import modules

LENGTHS = (14, 20, 26, 35, 42, 60, 62, 84, 100, 122, 150, 180, 200, 213)


def text_of(length):
    return ("http://192.168.0.7:8000/TN-310/booklet.html#" + "s0123456789abcdef" * 20)[:length]


def read_by_zxing(dark):
    image = np.kron(np.pad(~dark, 4, constant_values=True), np.ones((5, 5), bool))
    (found,) = zxingcpp.read_barcodes((image * 255).astype(np.uint8))
    return found.text


@pytest.mark.parametrize("length", LENGTHS)
def test_codes_of_every_size_are_read(length):
    dark = np.array(modules(text_of(length)))
    assert read_code(dark) == read_by_zxing(dark) == text_of(length)


@pytest.mark.parametrize("mask", range(8))
def test_codes_of_every_mask_are_read(mask):
    code = segno.make_qr(text_of(70), error="m", boost_error=False, mask=mask)
    assert read_code(np.array([list(row) for row in code.matrix]) > 0) == text_of(70)


@pytest.mark.parametrize("length", [20, 60, 150])
def test_a_module_turned_over_is_found(length):
    """Readers mend such a code; this one is to find what was changed."""
    dark = np.array(modules(text_of(length)))
    for row, column in np.random.default_rng(length).integers(0, len(dark), (60, 2)):
        spoiled = dark.copy()
        spoiled[row, column] ^= True
        with pytest.raises(ValueError):
            read_code(spoiled)


def test_what_is_no_such_code_is_refused():
    for dark in (
        np.zeros((21, 21), bool), np.zeros((5, 9), bool), np.zeros((20, 20), bool),
        np.array([list(row) for row in segno.make_qr(text_of(40), error="h").matrix]) > 0,
        np.array([list(row) for row in segno.make_qr("12345", error="m").matrix]) > 0,
    ):  # fmt: skip
        with pytest.raises(ValueError):
            read_code(dark)
