"""QR codes after ISO/IEC 18004, by segno."""

from __future__ import annotations


def modules(text: str) -> tuple[tuple[bool, ...], ...]:
    """The code of a text, row by row from above, True where it is dark, without its white border.

    It bears damage of about 15 % (level M).

    Raises:
        ValueError: no code holds so much.
    """
    import segno  # few builds print codes

    code = segno.make_qr(text, error="m", boost_error=False)
    return tuple(tuple(bool(cell) for cell in row) for row in code.matrix)
