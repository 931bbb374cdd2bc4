"""Labels and kit lists as one PDF: label sheets first, then the same with cutting lines for plain
paper, then the kit lists.

The label sheets carry no frames, because a frame that misses the die cut looks wrong; the plain
sheets carry nothing but frames to cut along.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import groupby

from plybook.drawing.document import Document
from plybook.drawing.letters import clean_text, fitted, text_width_mm, wrapped
from plybook.drawing.piece_labels import (
    Label,
    LabelSheet,
    kit_pages,
    label_sheet,
    piece_labels,
)
from plybook.laminate.model import Laminate
from plybook.nest.model import CutPlan
from plybook.shop.model import Shop
from plybook.spec.model import PartSpec
from plybook.write.book_pdf import PAPER_MM, write_pages
from plybook.write.book_pen import Pen
from plybook.write.pdf import new_canvas
from plybook.write.qr import modules

SMALL = 1.8
# by lines between head and foot: the first below the head, from line to line, letters
LARGE = {4: (4.8, 4.4, 2.5), 5: (4.8, 4.2, 2.5), 6: (4.6, 3.5, 2.5)}
ROOMY = {4: (4.4, 3.6, 2.0), 5: (3.9, 3.1, 2.0), 6: (3.4, 2.6, 2.0)}
NARROW = {3: (4.0, 3.3, 2.0), 4: (3.4, 2.9, 2.0), 5: (3.0, 2.4, 1.8)}
QR_MM, QR_TOP_MM, QR_QUIET_MM = 18.0, 13.6, 2.4  # its side, below the edge, white beside it
ROOMY_FOOT_MM, NARROW_FOOT_MM = 2.2, 1.8  # from the foot line to the lower edge of the room


def labels_pdf(spec: PartSpec, laminate: Laminate, shop: Shop, plan: CutPlan) -> bytes:
    """A label for each piece for the label sheet of the spec's paper, and the kit lists."""
    part = spec.part
    sheet = label_sheet(spec)
    labels = piece_labels(spec, laminate, shop, plan)
    width, height = PAPER_MM[sheet.paper]
    canvas, buffer = new_canvas(
        width, height, f"Labels {part.number} {part.name}", subject=f"revision {part.revision}"
    )
    pen = Pen(canvas, 0.0, height)
    for frames, title in ((False, "Label sheets"), (True, "Plain paper, with cutting lines")):
        canvas.bookmarkPage(title)
        canvas.addOutlineEntry(title, title, 0)
        for start in range(0, len(labels), sheet.on_sheet):
            _sheet(pen, sheet, labels[start : start + sheet.on_sheet], frames)
            canvas.showPage()
    kits = kit_pages(spec, laminate, shop)
    if kits:
        write_pages(
            canvas,
            Document(
                "Labels", part.number, part.name, part.revision, part.hand, part.date,
                spec.workshop.paper, kits,
            ),
        )  # fmt: skip
    canvas.save()
    return buffer.getvalue()


def _sheet(pen: Pen, sheet: LabelSheet, labels: Sequence[Label], frames: bool) -> None:
    for k, label in enumerate(labels):
        row, column = divmod(k, sheet.columns)
        x = sheet.left_mm + column * sheet.across_mm
        y = sheet.top_mm + row * sheet.down_mm
        if frames:
            pen.box(x, y, sheet.wide_mm, sheet.tall_mm, 0.18)
        # labels that reach the paper's edge keep clear of what a printer cannot reach
        side, top = (5.5, 1.8) if sheet.left_mm < 3.0 else (3.5, 0.0)
        _label(
            pen,
            label,
            x + side,
            y + top,
            sheet.wide_mm - 2 * side,
            sheet.tall_mm - (4.8 if top else 0.0),
        )


def _label(pen: Pen, label: Label, x: float, y: float, wide: float, tall: float) -> None:
    """Id and angle large, the facts below; a small arrow shows the fibre."""
    roomy = tall > 30.0
    table = LARGE if tall > 36.0 else ROOMY if roomy else NARROW
    angle = clean_text(label.angle)
    big = 7.0 if roomy else 5.0
    right = 0.0
    if label.angle_deg is not None:
        radius = 4.2 if roomy else 3.2
        _arrow(pen, x + wide - radius, y + 3.2 + radius, radius, label.angle_deg)
        right = 2 * radius + 1.5
        right += text_width_mm(angle, 5.0, True) + 3.0
        pen.words(angle, x + wide - 2 * radius - 1.5, y + 3.2 + big - 0.5, 5.0, True, "r")
    id = clean_text(label.id)
    cap = next((c for c in (big, 5.0, 3.5) if text_width_mm(id, c, True) <= wide - right), 2.5)
    pen.words(fitted(id, wide - right, cap, True), x, y + 3.2 + big, cap, True)
    beside = wide
    if label.link:
        _code(pen, label.link, x + wide - QR_MM, y + QR_TOP_MM)
        beside -= QR_MM + QR_QUIET_MM
    lines, (first, pitch, note) = _lines(label, beside, table)
    base = y + 3.2 + big + first
    for words, bold in lines:
        cap = next((c for c in (note, 2.0) if text_width_mm(words, c, bold) <= beside), SMALL)
        pen.words(fitted(words, beside, cap, bold), x, base, cap, bold)
        base += pitch
    foot = y + tall - (ROOMY_FOOT_MM if roomy else NARROW_FOOT_MM)
    count = clean_text(label.count)
    note = 2.5 if roomy else 2.0
    pen.words(count, x + wide, foot, note, True, "r")
    room = wide - text_width_mm(count, note, True) - 2.0
    pen.words(fitted(clean_text(label.part), room, note), x, foot, note)


def _lines(
    label: Label, wide: float, table: dict[int, tuple[float, float, float]]
) -> tuple[list[tuple[str, bool]], tuple[float, float, float]]:
    """The lines between head and foot, each bold or not, and how they are set: edges in as many
    lines as there is room for."""
    told = [clean_text(words) for words in (label.datum, label.stock) if words]
    most = max(table) - 2 - len(told)
    text = clean_text(label.edges)
    edges = wrapped(text, wide, table[max(table)][2], True)[: min(most, 2)] if text else []
    if edges:  # what does not fit is in the book; an ellipsis says that there is more
        rest = text[len(" ".join(edges[:-1])) :].strip()
        edges[-1] = fitted(rest, wide, table[max(table)][2], True)
    lines = [(clean_text(label.layer), False), *((line, True) for line in edges)]
    lines += [(words, False) for words in told]
    lines.append((clean_text(label.side), True))
    return lines, table[max(len(lines), min(table))]


def _code(pen: Pen, text: str, x: float, y: float) -> None:
    """A QR code with its upper left corner at a point, row by row."""
    rows = modules(text)
    side = QR_MM / len(rows)
    for k, row in enumerate(rows):
        for dark, run in groupby(enumerate(row), key=lambda cell: cell[1]):
            columns = [column for column, _ in run]
            if dark:
                at = x + columns[0] * side, y + k * side
                pen.box(*at, len(columns) * side, side, fill="ink", stroke=False)


def _arrow(pen: Pen, x: float, y: float, radius: float, angle_deg: float) -> None:
    """A rule through a centre at the fibre's angle (counter-clockwise), with heads."""
    turn = math.radians(angle_deg)
    dx, dy = radius * math.cos(turn), -radius * math.sin(turn)
    pen.rule(x - dx, y - dy, x + dx, y + dy, 0.7)
    for sign in (1, -1):
        for side in (150.0, 210.0):
            head = math.radians(angle_deg + side)
            tip_x, tip_y = x + sign * dx, y + sign * dy
            pen.rule(
                tip_x,
                tip_y,
                tip_x + sign * 0.5 * radius * math.cos(head),
                tip_y - sign * 0.5 * radius * math.sin(head),
                0.7,
            )
