"""Starter specs: one commented file for each kind of part, complete and ready to build.

Every figure in them is a sample and says so; every comment says what to change and what happens.
"""

from __future__ import annotations

from pathlib import Path

KINDS = {
    "skin": "sandwich skin of a wing or tail, lofted through stations",
    "channel": "C-channel spar over a plug",
    "panel": "flat panel or hatch with a core",
}
_SCHEMA_MARK = "SCHEMA"


def starter_text(kind: str) -> str:
    """The starter spec of a kind, its first line pointing an editor at the shipped schema.

    Raises:
        KeyError: no such kind.
    """
    from plybook.spec.schema import FILE

    if kind not in KINDS:
        raise KeyError(kind)
    text = Path(__file__).with_name(f"{kind}.yaml").read_text(encoding="utf-8")
    return text.replace(_SCHEMA_MARK, FILE.resolve().as_uri(), 1)
