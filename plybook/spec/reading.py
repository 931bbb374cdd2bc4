"""What the readers of single values know of the file they read."""

from __future__ import annotations

from dataclasses import dataclass, field

from pydantic import ValidationInfo

from plybook.spec.limits import Limits
from plybook.spec.reader import Fields


@dataclass
class Reading:
    """One file being read, and where its unknown keys are put.

    Attributes:
        units: unit of a bare length in this file, None when the file declares none.
        limits: limits in force.
        unknown: (model, mapping, key) of every key no model knows.
    """

    units: str | None
    limits: Limits
    unknown: list[tuple[type, Fields, str]] = field(default_factory=list)


def reading(info: ValidationInfo) -> Reading:
    """The file that a value is read from.

    Raises:
        TypeError: a model was read without one.
    """
    if not isinstance(info.context, Reading):
        raise TypeError("specs are read by `check_written` only")
    return info.context
