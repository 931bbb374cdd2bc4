"""The pictures of the cut plan: stock and outlines at the scale the page states, names inside.

A strip is a stretch of a unit of stock as it is drawn; the strips of a long roll follow one
another. Its lower and its upper edge tell where it lies on the page.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plybook.verify import plane
from plybook.verify.cut_pages import Cut, block_top_mm, holds, in_title_block, reads_as
from plybook.verify.cutplaces import Drawing
from plybook.verify.pdf_pages import Line, Page
from plybook.verify.pieces import ring
from plybook.verify.report import Report
from plybook.verify.tolerances import POINT_MM

ON_PAPER_MM = 0.0006  # PDF coordinates keep 0.001 pt; both ends of a line may be rounded
SCALE = re.compile(r"1:(\d+(?:\.\d+)?)")


@dataclass(frozen=True)
class Strip:
    layout: dict
    page: Page
    corner: np.ndarray  # its start on the usable edge, page mm
    size: np.ndarray  # page mm
    start_mm: float  # along the stock
    by: np.ndarray  # stock mm per page mm

    def on_stock(self, points: np.ndarray) -> np.ndarray:
        """Page mm as mm from the stock's end and edge."""
        return (points - self.corner) * self.by + (self.start_mm, self.layout["edge_mm"])

    def holds(self, at: np.ndarray, margin: float = 0.05) -> bool:
        low, high = self.corner - margin, self.corner + self.size + margin
        return bool((at >= low).all() and (at <= high).all())


def check_picture(
    shown: Sequence[tuple[dict, list[Cut]]], pages: list[Page], unit: str, where: str,
    report: Report,
) -> None:  # fmt: skip
    """Strips of one roll, sheet or bar, or one of each of several bars, in their order."""
    scales = {m[1] for p in pages if (m := SCALE.fullmatch(in_title_block(p, "Scale")))}
    if not report.expect(len(scales) == 1, "drawings that state their scale", where,
                         f"states the scales {sorted(scales)}"):  # fmt: skip
        return
    scale = float(scales.pop())
    strips = strips_of(shown, pages, scale)
    slack = POINT_MM + ON_PAPER_MM * scale * (1 + len(strips))  # a strip starts where one ends
    for layout, cuts in shown:
        own = [s for s in strips if s.layout is layout]
        if not report.expect(bool(own), "stock that is drawn", where,
                             f"{layout['stock']} is not drawn"):  # fmt: skip
            continue
        _check_stock(layout, own, scale, slack, where, report)
        _check_outlines(cuts, own, slack, where, report)
        _check_names(cuts, own, where, report)
    by_stock = {layout["stock"]: cuts for layout, cuts in shown}
    for page in pages:
        on_page = [s for s in strips if s.page is page]
        cut_there = [by_stock[s.layout["stock"]] for s in on_page]
        wrong = list(Drawing(page, on_page, cut_there, unit).strays())
        report.expect(not wrong, "drawings with lines, figures and words in their places", where,
                      f"has {wrong[:2]} out of its place")  # fmt: skip
    extra = len(strips) - sum(any(s.layout is x for x, _ in shown) for s in strips)
    lines = sum(x.mark == "CUT" for p in pages for x in p.lines)
    inside = sum(
        any(s.page is p and s.holds(x.points.mean(axis=0), 0.5) for s in strips)
        for p in pages for x in p.lines if x.mark == "CUT"
    )  # fmt: skip
    report.expect(not extra and inside == lines, "drawings without a stray outline", where,
                  f"{lines - inside} outlines lie on no stock")  # fmt: skip


def strips_of(
    shown: Sequence[tuple[dict, list[Cut]]], pages: list[Page], scale: float
) -> list[Strip]:
    """The stretches drawn, found by the edges of the stock; a remnant by its outline.

    Args:
        shown: one roll, sheet or bar, or several bars that are drawn whole, in their order.
        pages: that draw them.
        scale: stock mm per page mm.
    """
    found: list[Strip] = []
    start, count = 0.0, 0
    for page in pages:
        stock = [x for x in page.lines if x.mark == "STOCK"]
        for corner, size in _frames(stock):
            layout = shown[min(count, len(shown) - 1)][0]
            by = np.array([scale, scale])
            if layout["kind"] == "bar":
                by[1] = layout["width_mm"] / size[1]  # a bar's width is not to scale
            if layout.get("outline_mm"):
                shape = ring(layout["outline_mm"])
                corner = corner - shape.min(axis=0) / by
            found.append(Strip(layout, page, corner, size, start, by))
            start += size[0] * scale if len(shown) == 1 else 0.0
            count += 1
    return found


def _frames(stock: list[Line]) -> list[tuple[np.ndarray, np.ndarray]]:
    """Corner and size of what is drawn: closed outlines, else pairs of level edges."""
    frames = [(x.points.min(axis=0), np.ptp(x.points, axis=0)) for x in stock if x.closed]
    level = [
        x.points[np.argsort(x.points[:, 0])]
        for x in stock
        if not x.closed and len(x.points) == 2 and abs(np.ptp(x.points[:, 1])) < 1e-3
    ]
    for low, high in zip(level[::2], level[1::2], strict=False):
        frames.append((low[0], np.array([low[1, 0] - low[0, 0], high[0, 1] - low[0, 1]])))
    return frames


def _check_stock(
    layout: dict, strips: list[Strip], scale: float, slack: float, where: str, report: Report
) -> None:
    """The stock is drawn as wide as it is; of a roll, the length that is used."""
    if layout["kind"] == "bar":
        return
    wide = [float(s.size[1]) * scale for s in strips]
    long = sum(float(s.size[0]) for s in strips) * scale
    due, length = layout["width_mm"], layout["length_mm"]
    if layout["kind"] == "roll":
        length = min(length, layout["used_length_mm"]) or length
    if layout.get("outline_mm"):
        length, due = np.ptp(ring(layout["outline_mm"]), axis=0)
    good = max(abs(w - due) for w in wide) <= slack and abs(long - length) <= slack * len(strips)
    report.expect(good, "stock drawn at its scale", where,
                  f"{layout['stock']} is drawn {long:.1f} x {wide[0]:.1f} mm")  # fmt: skip


def _check_outlines(
    cuts: list[Cut], strips: list[Strip], slack: float, where: str, report: Report
) -> None:
    """Every outline drawn is that of a placed piece, and none of them lacks a stretch."""
    boxes = np.array([np.concatenate([c.ring_mm.min(axis=0), c.ring_mm.max(axis=0)]) for c in cuts])
    drawn: list[list[np.ndarray]] = [[] for _ in cuts]
    whole = [False] * len(cuts)
    for strip in strips:
        for line in strip.page.lines:
            if line.mark != "CUT" or not strip.holds(line.points.mean(axis=0), 0.5):
                continue
            points = strip.on_stock(line.points)
            low, high = points.min(axis=0), points.max(axis=0)
            around = (boxes[:, :2] <= low + slack) & (boxes[:, 2:] >= high - slack)
            near = [k for k in np.flatnonzero(around.all(axis=1)).tolist()
                    if _lies_on(points, cuts[k].ring_mm, slack)]  # fmt: skip
            report.expect(bool(near), "outlines drawn where a piece lies", where,
                          f"an outline at {low[0]:.1f} mm is no placed piece's")  # fmt: skip
            for k in near:
                whole[k] = whole[k] or (line.closed and _alike(points, cuts[k].ring_mm, slack))
                end = points[:1] if line.closed else points[:0]
                drawn[k].append(np.concatenate([points, end]))
    for cut, paths, done in zip(cuts, drawn, whole, strict=True):
        missed = 0.0 if done else _missed(cut.ring_mm, paths, strips, slack)
        report.expect(missed <= slack, "placed outlines drawn at their scale", where,
                      f"a stretch of {cut.part}/{cut.piece} is {missed:.2f} mm off or "
                      "not drawn")  # fmt: skip


def _alike(points: np.ndarray, outline: np.ndarray, slack: float) -> bool:
    return points.shape == outline.shape and float(np.abs(points - outline).max()) <= slack


def _lies_on(points: np.ndarray, outline: np.ndarray, slack: float) -> bool:
    return _alike(points, outline, slack) or bool(
        plane.distance_to_path(points, outline).max() <= slack
    )


def _missed(
    outline: np.ndarray, paths: list[np.ndarray], strips: list[Strip], slack: float
) -> float:
    """How far the corners and the middles of the sides of an outline are from lines drawn.

    A side on the edge of the stock needs no line of its own: the stock's is there.
    """
    if not paths:
        return np.inf
    points = np.concatenate([outline, 0.5 * (outline + np.roll(outline, -1, axis=0))])
    high = strips[-1].on_stock(strips[-1].corner + strips[-1].size)
    edge = (points < slack) | (points > high - slack)
    points = points[~edge.any(axis=1)]
    off = [plane.distance_to_path(points, p, closed=False) for p in paths]
    return float(np.min(off, axis=0).max(initial=0.0))


def _check_names(cuts: list[Cut], strips: list[Strip], where: str, report: Report) -> None:
    """A name that begins inside an outline is that of its piece."""
    for strip in strips:
        for words in strip.page.words:
            at = np.array(words.at_mm)
            if words.mark != "ID" or at[1] <= block_top_mm(strip.page) or not strip.holds(at):
                continue
            point = strip.on_stock(at)
            for cut in cuts:
                if holds(cut, point):
                    told = words.text.split(" \u00b7 ")[0]
                    report.expect(any(reads_as(told, name) for name in cut.names),
                                  "names inside the outline of their piece", where,
                                  f"{told!r} stands in {cut.part}/{cut.piece}")  # fmt: skip
