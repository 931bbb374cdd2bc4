"""Every file by what may stand in it: a walker for each kind of file, with its tables beside it.

What no other check reads is here told to be nothing but what is known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache

from plybook.verify.allowed_dxf import strange_in_dxf
from plybook.verify.allowed_svg import strange_in_svg
from plybook.verify.report import Report

WALKERS: dict[str, Callable[[bytes], Iterator[str]]] = {
    "svg": strange_in_svg,
    "dxf": strange_in_dxf,
}


def check_allowed(files: dict[str, bytes], report: Report) -> None:
    """Nothing stands in a file that is not accounted for."""
    for name, data in files.items():
        kind = name.rpartition(".")[2]
        if kind not in WALKERS:
            continue
        try:
            found = strange(kind, data)
        except (ValueError, KeyError, IndexError) as wrong:
            report.fault(name, f"cannot be read: {wrong}")
            continue
        report.expect(not found, f"{kind.upper()} files with nothing unaccounted for", name,
                      f"holds {'; '.join(found[:3])}")  # fmt: skip


@cache
def strange(kind: str, data: bytes) -> tuple[str, ...]:
    """What a file of a kind holds that it may not; read once.

    Raises:
        ValueError, KeyError, IndexError: it cannot be read.
    """
    return tuple(WALKERS[kind](data))
