"""A drawing as plain primitives in millimetres, y up, each with a role.

A scene knows nothing of files or paper. Writers turn it into DXF, SVG, PDF or inline HTML; what a
line looks like follows from its role alone (see `plybook.drawing.style`), so the same thing looks
the same everywhere. Text is never mirrored or scaled with a view.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Literal

import numpy as np

Anchor = Literal["start", "middle", "end"]
Rise = Literal["baseline", "centre", "top"]


class Role(StrEnum):
    """What a primitive is for; the DXF layer is the role in upper case."""

    CUT = "cut"  # the knife follows it
    CUT_INNER = "cut_inner"  # holes; cut before the outline
    NET = "net"  # final edge after trim
    BEVEL = "bevel"  # inner line of a bevel, on the other face
    BEVEL_HATCH = "bevel_hatch"
    SEAM = "seam"  # seam edge that stays square, overlay on the cut
    SPLICE = "splice"
    FIBRE = "fibre"
    STATION = "station"
    AXIS = "axis"
    TICK = "tick"  # matching ticks across splices and seams
    DATUM = "datum"
    FOLD = "fold"
    DART = "dart"  # a dart is cut, but only after the cloth has been tried in the mould
    DROP = "drop"  # where a ply of a drop-off run ends
    ZONE = "zone"
    CORE_EDGE = "core_edge"  # core outline marked on the laminate
    GHOST = "ghost"  # what lies below
    HIGHLIGHT = "highlight"  # this piece
    FACE = "face"  # the part's outline as background
    FILL = "fill"  # tinted area behind
    HATCH = "hatch"
    STOCK = "stock"  # roll, sheet or bar edge
    BAD_ZONE = "bad_zone"
    DIMENSION = "dimension"
    FRAME = "frame"
    REGISTRATION = "registration"  # tile crosses, rulers
    TEXT = "text"
    ID = "id"  # the large piece id
    CAUTION = "caution"


@dataclass(frozen=True)
class Path:
    """A polyline; `closed` joins last to first. `fill` names a tint or pattern, "" = none."""

    role: Role
    points_mm: np.ndarray  # (n, 2)
    closed: bool = False
    fill: str = ""
    tag: str = ""  # for example the piece id


@dataclass(frozen=True)
class Circle:
    role: Role
    centre_mm: tuple[float, float]
    radius_mm: float
    fill: str = ""


@dataclass(frozen=True)
class Text:
    """One line of text at an anchor; height is the capital height (ISO 3098 series)."""

    role: Role
    at_mm: tuple[float, float]
    text: str
    height_mm: float
    turn_deg: float = 0.0
    anchor: Anchor = "start"
    rise: Rise = "baseline"
    bold: bool = False
    halo: bool = False  # a white background behind the words


Primitive = Path | Circle | Text


@dataclass(frozen=True)
class Scene:
    """Primitives in drawing order with the window they are meant to be seen in."""

    items: tuple[Primitive, ...]
    window_mm: tuple[float, float, float, float]  # xmin, ymin, xmax, ymax
    title: str = ""
    # facts a writer may put in the file's own header, in order
    facts: tuple[tuple[str, str], ...] = field(default=())

    def moved(self, dx_mm: float, dy_mm: float) -> Scene:
        """The same scene translated."""
        shift = np.array([dx_mm, dy_mm])
        x0, y0, x1, y1 = self.window_mm
        return replace(
            self,
            items=tuple(_moved(item, shift) for item in self.items),
            window_mm=(x0 + dx_mm, y0 + dy_mm, x1 + dx_mm, y1 + dy_mm),
        )


def _moved(item: Primitive, shift: np.ndarray) -> Primitive:
    if isinstance(item, Path):
        return replace(item, points_mm=item.points_mm + shift)
    if isinstance(item, Circle):
        return replace(item, centre_mm=tuple(np.add(item.centre_mm, shift)))
    return replace(item, at_mm=tuple(np.add(item.at_mm, shift)))


def joined(scenes: Iterable[Scene], title: str = "") -> Scene:
    """Several scenes drawn over one another in order; the window holds them all."""
    scenes = tuple(scenes)
    windows = np.array([s.window_mm for s in scenes])
    low, high = windows[:, :2].min(axis=0), windows[:, 2:].max(axis=0)
    return Scene(
        tuple(item for s in scenes for item in s.items),
        (float(low[0]), float(low[1]), float(high[0]), float(high[1])),
        title,
    )
