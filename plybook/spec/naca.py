"""Which numbers of four and five digits name a section: NACA Reports 460 and 537."""

from __future__ import annotations

_PLACES = {"0": "12345", "1": "2345"}  # second digits by the third: plain, and reflexed at the tail


def code_fault(code: str) -> str:
    """Why a code of digits names no section that is known; "" where it does."""
    if len(code) not in (4, 5):
        return f"has {len(code)} digits; sections of four and of five digits are known"
    if code[-2:] == "00":
        return "has no thickness"
    if len(code) == 4:
        if (code[0] == "0") != (code[1] == "0"):
            return "has camber without a place for it (or the other way round)"
        return ""
    if code[0] == "0":
        return "has a first digit of 0; five digits are for sections with camber"
    if code[2] not in _PLACES:
        return f"has a third digit of {code[2]}; it is 0, or 1 where the tail is reflexed"
    places = _PLACES[code[2]]
    if code[1] not in places:
        return (
            f"has a second digit of {code[1]}; with a third of {code[2]} it is "
            f"{places[0]} to {places[-1]}"
        )
    return ""
