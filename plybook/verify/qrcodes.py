"""A reader of QR codes of level M, versions 1 to 10, after ISO/IEC 18004: it corrects nothing, and
so finds every module that is not as it should be.

Terms:
    module: one square of a code, dark or light.
    syndrome: what is 0 of each block whose words and check words belong together.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

# by version: check words of each block, and data words of each block (ISO/IEC 18004, table 9)
_BLOCKS = {
    1: (10, (16,)), 2: (16, (28,)), 3: (26, (44,)), 4: (18, (32, 32)), 5: (24, (43, 43)),
    6: (16, (27,) * 4), 7: (18, (31,) * 4), 8: (22, (38, 38, 39, 39)),
    9: (22, (36, 36, 36, 37, 37)), 10: (26, (43,) * 4 + (44,)),
}  # fmt: skip
# centres of the alignment patterns (annex E)
_ALIGNED = {1: (), 2: (6, 18), 3: (6, 22), 4: (6, 26), 5: (6, 30), 6: (6, 34), 7: (6, 22, 38),
            8: (6, 24, 42), 9: (6, 26, 46), 10: (6, 28, 50)}  # fmt: skip
_LEVEL_M = 0b00
_FORMAT_MASK, _FORMAT_CHECK = 0b101010000010010, 0b10100110111
_VERSION_CHECK = 0b1111100100101
_BYTES = 0b0100  # the mode in which a code holds bytes
_PADS = (0b11101100, 0b00010001)
_MASKS = (
    lambda i, j: (i + j) % 2, lambda i, j: i % 2, lambda i, j: j % 3, lambda i, j: (i + j) % 3,
    lambda i, j: (i // 2 + j // 3) % 2, lambda i, j: (i * j) % 2 + (i * j) % 3,
    lambda i, j: ((i * j) % 2 + (i * j) % 3) % 2, lambda i, j: ((i + j) % 2 + (i * j) % 3) % 2,
)  # fmt: skip


def read_code(dark: np.ndarray) -> str:
    """The text of a code.

    Args:
        dark: (n, n) its modules from the upper left corner on, without the white border.

    Raises:
        ValueError: a module is not as it should be, or it is no such code.
    """
    size = len(dark)
    version = (size - 17) // 4
    if dark.shape != (size, size) or 17 + 4 * version != size or version not in _BLOCKS:
        raise ValueError(f"a code of {dark.shape} modules")
    fixed, due = _patterns(version)
    if (dark[fixed] != due[fixed]).any():
        raise ValueError("its finders, its timing or its alignment differ")
    mask = _format(dark)
    _check_version(dark, version)
    free = ~(fixed | _told(version))
    i, j = np.indices(dark.shape)
    plain = dark ^ ((_MASKS[mask](i, j) == 0) & free)
    bits = [int(plain[at]) for at in _way(free)]
    checks, lengths = _BLOCKS[version]
    count = sum(lengths) + checks * len(lengths)
    if any(bits[8 * count :]):
        raise ValueError("it holds more than its words")
    words = [_number(bits[8 * k : 8 * k + 8]) for k in range(count)]
    return _text(_data(words, checks, lengths), version)


def _number(bits: list[int]) -> int:
    return int("".join(map(str, bits)), 2)


def _patterns(version: int) -> tuple[np.ndarray, np.ndarray]:
    """Which modules are always the same, and which of them are dark."""
    size = 17 + 4 * version
    fixed, due = np.zeros((size, size), bool), np.zeros((size, size), bool)
    for row, column in ((0, 0), (0, size - 7), (size - 7, 0)):  # finders with their white edge
        low = max(row - 1, 0), max(column - 1, 0)
        fixed[low[0] : row + 8, low[1] : column + 8] = True
        due[row : row + 7, column : column + 7] = _rings(3) != 2
    fixed[6, :] = fixed[:, 6] = True
    due[6, 8:-8] = due[8:-8, 6] = np.arange(8, size - 8) % 2 == 0
    for row in _ALIGNED[version]:
        for column in _ALIGNED[version]:
            if not ((row < 9 and (column < 9 or column > size - 10)) or
                    (row > size - 10 and column < 9)):  # fmt: skip
                fixed[row - 2 : row + 3, column - 2 : column + 3] = True
                due[row - 2 : row + 3, column - 2 : column + 3] = _rings(2) != 1
    fixed[size - 8, 8] = due[size - 8, 8] = True
    return fixed, due


def _rings(reach: int) -> np.ndarray:
    """How far each module of a square lies from its middle."""
    away = np.abs(np.arange(-reach, reach + 1))
    return np.maximum(away[:, None], away[None, :])


def _told(version: int) -> np.ndarray:
    """Modules that tell level, mask and version."""
    size = 17 + 4 * version
    told = np.zeros((size, size), bool)
    told[8, :9] = told[:9, 8] = told[8, -8:] = told[-7:, 8] = True
    if version >= 7:
        told[:6, -11:-8] = told[-11:-8, :6] = True
    return told


def _format(dark: np.ndarray) -> int:
    """The mask; both copies of the format must agree and be of level M."""
    size = len(dark)
    one = [(8, c) for c in (0, 1, 2, 3, 4, 5, 7, 8)] + [(r, 8) for r in (7, 5, 4, 3, 2, 1, 0)]
    two = [(r, 8) for r in range(size - 1, size - 8, -1)]
    two += [(8, c) for c in range(size - 8, size)]
    first, second = (_number([int(dark[at]) for at in ways]) for ways in (one, two))
    data = (first ^ _FORMAT_MASK) >> 10
    if first != second or first != ((data << 10) | _rest(data << 10, _FORMAT_CHECK)) ^ _FORMAT_MASK:
        raise ValueError("its format is told in two ways, or wrongly")
    if data >> 3 != _LEVEL_M:
        raise ValueError("it is not of level M")
    return data & 7


def _rest(value: int, divisor: int) -> int:
    """What is left of a polynomial over GF(2)."""
    while value.bit_length() >= divisor.bit_length():
        value ^= divisor << (value.bit_length() - divisor.bit_length())
    return value


def _check_version(dark: np.ndarray, version: int) -> None:
    if version < 7:
        return
    due = (version << 12) | _rest(version << 12, _VERSION_CHECK)
    size = len(dark)
    for k in range(18):
        bit = bool(due >> k & 1)
        row, column = k // 3, size - 11 + k % 3
        if dark[row, column] != bit or dark[column, row] != bit:
            raise ValueError("its version is told wrongly")


def _way(free: np.ndarray) -> Iterator[tuple[int, int]]:
    """The modules of the data in their order: pairs of columns from the right, up and down."""
    size = len(free)
    up = True
    for right in [*range(size - 1, 6, -2), *range(5, 0, -2)]:
        for row in range(size - 1, -1, -1) if up else range(size):
            for column in (right, right - 1):
                if free[row, column]:
                    yield row, column
        up = not up


def _data(words: list[int], checks: int, lengths: tuple[int, ...]) -> list[int]:
    """The words of all blocks one after another.

    Raises:
        ValueError: a block and its check words do not belong together.
    """
    blocks: list[list[int]] = [[] for _ in lengths]
    rest = iter(words)
    for k in range(max(lengths)):
        for block, length in zip(blocks, lengths, strict=True):
            if k < length:
                block.append(next(rest))
    found = [word for block in blocks for word in block]
    for _ in range(checks):
        for block in blocks:
            block.append(next(rest))
    power, logs = _field()
    for block in blocks:
        for root in range(checks):
            value = 0
            for word in block:
                value = (power[(logs[value] + root) % 255] if value else 0) ^ word
            if value:
                raise ValueError("a block and its check words differ")
    return found


def _field() -> tuple[list[int], dict[int, int]]:
    """Powers and logarithms of GF(256) over x^8 + x^4 + x^3 + x^2 + 1."""
    power, value = [], 1
    for _ in range(255):
        power.append(value)
        value = value << 1 ^ (0x11D if value & 0x80 else 0)
    return power, {v: k for k, v in enumerate(power)}


def _text(words: list[int], version: int) -> str:
    """The one run of bytes that the words hold, and after it nothing but padding."""
    bits = "".join(f"{word:08b}" for word in words)
    wide = 8 if version < 10 else 16
    if int(bits[:4], 2) != _BYTES:
        raise ValueError("it does not begin with bytes")
    count = int(bits[4 : 4 + wide], 2)
    end = 4 + wide + 8 * count
    if end > len(bits):
        raise ValueError("it tells of more bytes than it holds")
    said = bytes(int(bits[k : k + 8], 2) for k in range(4 + wide, end, 8))
    stop = end + min(4, len(bits) - end)
    stop += -stop % 8
    pads = [int(bits[k : k + 8], 2) for k in range(stop, len(bits), 8)]
    pads = pads[1:] if pads[:1] == [0] else pads  # some writers begin them with an empty byte
    if int(bits[end:stop] or "0", 2) or pads != [_PADS[k % 2] for k in range(len(pads))]:
        raise ValueError("it holds more than one text")
    return said.decode("ascii")
