"""The laminate orientation code.

Rules and the two long expansions: TM 1-1500-204-23-11, paragraphs 5-7 (plies listed from the
first laid, subscript repeats, S symmetric with the half listed, over-lined centre ply, T total,
the upper sign of +- laid first, angles within -90..+90, sets in brackets with n).
"""

from __future__ import annotations

import pytest

from plybook.spec.laminate_code import CodeError, expand


@pytest.mark.parametrize(
    ("code", "angles"),
    [
        ("[0/±45/90]s", [0, 45, -45, 90, 90, -45, 45, 0]),
        ("[45₂/−30/0₃]s", [45, 45, -30, 0, 0, 0, 0, 0, 0, -30, 45, 45]),
        ("[45_2/-30/0_3]S", [45, 45, -30, 0, 0, 0, 0, 0, 0, -30, 45, 45]),
        ("[0/+-45/90]t", [0, 45, -45, 90]),
        ("[0/(+/-)45/90]T", [0, 45, -45, 90]),
        ("[0/+/-45]", [0, 45, -45]),
        ("[∓30]", [-30, 30]),
        ("[-+30]", [-30, 30]),
        ("[(-/+)30]", [-30, 30]),
        ("[0/90~]s", [0, 90, 0]),
        ("[0/90\u0305]s", [0, 90, 0]),
        ("[(0/90)2/45]s", [0, 90, 0, 90, 45, 45, 90, 0, 90, 0]),
        ("[(0/90)_2]", [0, 90, 0, 90]),
        ("[(0/90)₂]", [0, 90, 0, 90]),
        ("[(0/90)s/45]", [0, 90, 90, 0, 45]),
        ("[±45]2", [45, -45, 45, -45]),
        ("[±45]₂ₛ", [45, -45, 45, -45, -45, 45, -45, 45]),
        ("[0]4", [0, 0, 0, 0]),
        ("[ 45° / -45 deg ]", [45, -45]),
        ("[22.5/-22.5]", [22.5, -22.5]),
    ],
)
def test_expansion(code, angles):
    assert expand(code) == angles


@pytest.mark.parametrize(
    ("code", "position", "words"),
    [
        ("0/90", 0, "starts with"),
        ("[0/100]", 3, "outside -90 to 90"),
        ("[0//90]", 3, "expected an angle"),
        ("[]", 1, "an angle is missing"),
        ("[0/90", 5, "`]` is missing"),
        ("[0 90]", 3, "expected `/`"),
        ("[0/90]x", 6, "stands behind"),
        ("[0/90~]", 0, "not symmetric"),
        ("[0~/90]s", 0, "not the last"),
        ("[(0/90~)2]s", 1, "inside a set"),
        ("[0/90~]2s", 0, "do not go together"),
        ("[±45~]s", 1, "not a pair"),
        ("[±45_2]", 1, "two ways"),
        ("[±0]", 1, "not a pair"),
        ("[(((((0)))))]", None, "4 deep"),
        ("[0]1001", None, "1000"),
        ("[" + "0/" * 300 + "0]", 0, "characters"),
        ("", 0, "starts with"),
        ("[45₂₀₀₀]", None, "outside 1 to 1000"),
    ],
)
def test_what_cannot_be_read_is_refused_at_its_place(code, position, words):
    with pytest.raises(CodeError) as caught:
        expand(code)
    assert words in caught.value.message
    if position is not None:
        assert caught.value.position == position


def test_nested_repeats_do_not_take_long_to_refuse():
    with pytest.raises(CodeError):
        expand("[(((0_999)999)999)999]999s")
