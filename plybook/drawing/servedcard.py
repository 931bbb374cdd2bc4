"""The small card of a piece that is cut by the template of another: which template, how its own
cloth lies under it, and where it goes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plybook.drawing import piecewords as words
from plybook.drawing.endline import EndLine
from plybook.drawing.letters import LEADING, clean_text, text_width_mm, wrapped
from plybook.drawing.rosette import show_angle
from plybook.drawing.scene import Path, Primitive, Role, Scene, Text
from plybook.drawing.style import NOTE_MM
from plybook.drawing.tapecard import marks_by_side, on_the_cloth, picture, short_words
from plybook.drawing.tapeplan import TapePlan
from plybook.laminate.model import Laminate, Piece
from plybook.spec.model import PartSpec

SERVED_MM = (92.0, 48.0)
_SMALL_MM = 1.8
_WORDS_X_MM = 40.0


@dataclass(frozen=True)
class Served:
    """By which template a piece is cut that has none of its own.

    Attributes:
        part: number of the opposite hand whose template it is, turned over; "" for one of the
            same part.
        by: piece whose template it is.
        end: where a piece ends that is shorter than the template.
        own_arrow: its cloth runs another way than the arrow on the template says.
    """

    part: str
    by: str
    end: EndLine | None = None
    own_arrow: bool = False

    @property
    def name(self) -> str:
        """The template's name, "TN-310 A1.1" or "A1.1"."""
        return f"{self.part} {self.by}".strip()


def served_card(
    piece: Piece, plan: TapePlan | None, served: Served, laminate: Laminate, spec: PartSpec
) -> Scene:
    """The card, lower left corner at 0, 0.

    Args:
        piece: in its cut frame.
        plan: the figures of the template in that frame, mirrored where it is turned over; None
            where it is printed whole.
        served: which template it is.
        laminate, spec: of the piece.
    """
    wide, high = SERVED_MM
    said = clean_text(piece.id)
    letters = 5.0 if text_width_mm(said, 5.0, True) < _WORDS_X_MM - 3.0 else 2.5
    items: list[Primitive] = [
        Path(Role.FRAME, np.array([(0.0, high), (wide, high)])),
        Text(Role.ID, (1.0, high - 9.0), said, letters, bold=True),
    ]
    for large in (NOTE_MM, _SMALL_MM):
        words_of = _words(_rows(piece, plan, served, laminate, spec, large))
        if words_of[-1].at_mm[1] > 0.5:
            break
    items += words_of
    longer = _outline_of(plan) if plan is not None and served.end is not None else None
    box = (1.0, 1.0, _WORDS_X_MM - 2.0, high - 10.0)
    items += picture(piece, plan, spec, box, longer)
    return Scene(tuple(items), (0.0, 0.0, wide, high), f"{served.name} serves {piece.id}")


def _rows(
    piece: Piece, plan: TapePlan | None, served: Served, laminate: Laminate, spec: PartSpec,
    large_mm: float,
) -> list[tuple[str, float, bool]]:  # fmt: skip
    """What a card says, with the height of its letters and whether they are bold."""
    rows = [
        (_how(served, piece, plan is not None), large_mm, True),
        (f"{words.face_up_words(piece)} \u00b7 {piece.quantity} OFF", _SMALL_MM, True),
        (f"{words.layer_words(piece, laminate)} \u00b7 Stage {piece.stage}", _SMALL_MM, False),
        (spec.materials.name_of(piece.material), _SMALL_MM, False),
    ]
    if plan is not None:
        if served.end is not None:
            rows.append((served.end.words(plan, spec.part.units), large_mm, False))
        rows.append((on_the_cloth(piece, plan, spec), large_mm, False))
        rows += [(_next_ends(piece, plan, spec), _SMALL_MM, False)] if served.end else []
    return rows


def _words(rows: Sequence[tuple[str, float, bool]]) -> list[Text]:
    """Rows one below the other from the top of the card, broken where they are too long."""
    placed, y = [], SERVED_MM[1] - 3.0
    for line, height, bold in rows:
        room = SERVED_MM[0] - _WORDS_X_MM - 1.0
        for row in wrapped(clean_text(line), room, height, bold) if line else ():
            y -= height * LEADING
            placed.append(Text(Role.TEXT, (_WORDS_X_MM, y), row, height, bold=bold))
    return placed


def _how(served: Served, piece: Piece, figures: bool) -> str:
    if figures:
        manner = "mirrored as shown" if served.part else "as they are"
        return f"Figures of {served.name}, {manner}."
    runs = f", but the warp runs {show_angle(piece.angle_deg)}, not along its arrow"
    arrow = runs if served.own_arrow else ""
    return f"Template of {served.name}, {'turned over' if served.part else 'as it is'}{arrow}."


def _next_ends(piece: Piece, plan: TapePlan, spec: PartSpec) -> str:
    """Where the next layer of a run ends on this one."""
    lines = [mark for mark in piece.marks if mark.kind == "drop_line"]
    told = marks_by_side(lines, plan)
    name = [knot.name for knot in plan.knots]
    rows = [
        f"{name[run.start]}\u2013{name[run.end]} from {name[run.start]}, "
        + ", ".join(
            f"{short_words(at, spec.part.units, plan.tape_mm)}: {label}" for label, at in found
        )
        for run, found in told
    ]
    return f"Marks: {'; '.join(rows)}." if rows else ""


def _outline_of(plan: TapePlan) -> np.ndarray:
    """The outline of the template, from its runs."""
    own = [run.points_mm[:-1] for run in plan.runs if plan.knots[run.start].ring == 0]
    return np.concatenate(own)
