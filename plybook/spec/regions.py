"""Regions, worked out: names of edges and layers checked, keys joined."""

from __future__ import annotations

from dataclasses import dataclass, field

from plybook.diagnostics import Place
from plybook.spec.collect import Collector
from plybook.spec.model import (
    Around,
    Common,
    EdgeBand,
    Inset,
    Less,
    Patch,
    Polygon,
    Region,
    ShareBand,
    SpanBand,
    Strip,
    Union,
    Whole,
)
from plybook.spec.mould import point_ref, refuse_no_direction
from plybook.spec.written.regions import RegionKeys
from plybook.units import bare_mm, mm


@dataclass
class RegionReader:
    """Turns written regions into regions of this face.

    Attributes:
        edges: names of the face's edges.
        lofted: whether spans and shares exist.
        first_mm, last_mm: the span of the part (lofted faces).
        out: takes the findings.
    """

    edges: tuple[str, ...]
    lofted: bool
    first_mm: float
    last_mm: float
    out: Collector
    named: list[tuple[str, Place]] = field(default_factory=list)

    def read(self, w: RegionKeys | None) -> Region:
        """A region; `None` is the whole face."""
        if w is None:
            return Whole()
        for key in ("together", "less"):
            count = len(getattr(w, key) or ())
            if count > self.out.limits["region-parts"]:
                self.out.error(
                    "too-many",
                    f"`{key}` has {count} regions",
                    self.out.limits.why("region-parts"),
                    w.key_place(key),
                )
                return Whole()
        parts: list[Region] = []
        parts += self._bands(w)
        parts += self._edges(w)
        parts += self._shapes(w)
        if w.together is not None:
            if not w.together:
                self.out.error(
                    "empty", "`together` is empty", "list regions", w.key_place("together")
                )
            parts.append(Union(tuple(self.read(one) for one in w.together)))
        base = parts[0] if len(parts) == 1 else Common(tuple(parts)) if parts else Whole()
        if w.less:
            return Less(base, tuple(self.read(one) for one in w.less))
        return base

    def _bands(self, w: RegionKeys) -> list[Region]:
        parts: list[Region] = []
        for key in ("span", "share"):
            if getattr(w, key) is not None and not self.lofted:
                self.out.error(
                    "wrong-region",
                    f"a flat face has no {key}",
                    "use near, inset, strip, patch or polygon",
                    w.key_place(key),
                )
                return parts
        if w.span is not None:
            low, high = w.span
            if low >= self.last_mm or high <= self.first_mm:
                self.out.error(
                    "region-outside",
                    f"span {bare_mm(low):g} to {mm(high):g} lies off the part, "
                    f"which runs from {bare_mm(self.first_mm):g} to {mm(self.last_mm):g}",
                    "check the figures",
                    w.place_of("span"),
                )
            parts.append(SpanBand(max(low, self.first_mm), min(high, self.last_mm)))
        if w.share is not None:
            parts.append(ShareBand(*w.share))
        return parts

    def _edges(self, w: RegionKeys) -> list[Region]:
        parts: list[Region] = []
        for edge, (low, high) in (w.near or {}).items():
            if self.knows(edge, w.entry_place("near", edge)):
                parts.append(EdgeBand(edge, max(low, 0.0), high))
        if w.inset is not None:
            own = {e: v for e, v in w.inset.items() if e != "all"}
            for edge in own:
                self.knows(edge, w.entry_place("inset", edge))
            for edge, by_mm in w.inset.items():
                if by_mm < 0:
                    self.out.error(
                        "inset-past-part",
                        f"an inset of {mm(by_mm):g} would end outside the part",
                        "write 0 or more: nothing ends past the net line but cloth, which runs on "
                        "by `trim` of its edge; core that is to be sawn off with it ends at 0",
                        w.entry_place("inset", edge),
                    )
            rest = w.inset.get("all")
            by = {**({} if rest is None else dict.fromkeys(self.edges, rest)), **own}
            parts.append(Inset(tuple((e, by[e]) for e in self.edges if e in by)))
        return parts

    def _shapes(self, w: RegionKeys) -> list[Region]:
        parts: list[Region] = []
        if w.around is not None:
            self.named.append((w.around.layer, w.around.place_of("layer")))
            parts.append(Around(w.around.layer, w.around.by))
        if w.strip is not None:
            line = self._points(w.strip.line, w.strip, "line", 2)
            places = [w.strip.place_of("line", n) for n in range(len(line))]
            refuse_no_direction(line, places, self.out)
            parts.append(Strip(line, w.strip.width))
        if w.patch is not None:
            patch = w.patch
            at = point_ref(patch.at, self.lofted, patch.place_of("at"), self.out)
            if len(patch.size) != 2:
                self.out.error(
                    "not-a-size",
                    f"the patch has {len(patch.size)} sizes, expected length and width",
                    "write it like [180, 120]",
                    patch.place_of("size"),
                )
                return parts
            length, width = patch.size
            if 2 * patch.corner > min(length, width) + 1e-9:
                self.out.error(
                    "radius-too-large",
                    f"a corner radius of {mm(patch.corner):g} does "
                    f"not fit a patch of {bare_mm(length):g} x {mm(width):g}",
                    f"at most {mm(min(length, width) / 2):g}",
                    patch.place_of("corner"),
                )
            if at is not None:
                parts.append(Patch(at, length, width, patch.turn, patch.corner, patch.shape))
        if w.polygon is not None:
            points = self._points(w.polygon, w, "polygon", 3)
            self._simple(points, w.place_of("polygon"))
            parts.append(Polygon(points))
        return parts

    def _points(self, written, owner, key: str, least: int):
        if len(written) < least:
            self.out.error(
                "outline-too-short",
                f"`{key}` has {len(written)} point(s), expected {least} or more",
                "add points",
                owner.place_of(key),
            )
        refs = [
            point_ref(p, self.lofted, owner.place_of(key, n), self.out)
            for n, p in enumerate(written)
        ]
        return tuple(ref for ref in refs if ref is not None)

    def _simple(self, points, place: Place) -> None:
        """Crossing sides are refused here where the corners are of one kind."""
        import numpy as np

        from plybook.spec.model import OnFace, OnPattern
        from plybook.spec.outlines import crossing

        if len(points) < 3 or len({type(p) for p in points}) != 1:
            return
        if isinstance(points[0], OnPattern):
            ring = np.array([[p.x_mm, p.y_mm] for p in points])
        else:
            assert isinstance(points[0], OnFace)
            ring = np.array([[p.span_mm, p.share * 1000.0] for p in points])
        if fault := crossing(ring):
            message = fault.message
            if isinstance(points[0], OnFace):
                x, y = fault.at_mm
                message = f"the polygon crosses itself at span {mm(x):.6g}, share {y / 1000:.4g}"
            self.out.error("outline-crosses-itself", message, fault.help, place)

    def knows(self, edge: str, place: Place, also: tuple[str, ...] = ()) -> bool:
        """Whether the face has this edge; a finding where it has not, which names `also` what
        else may be written there."""
        if edge in self.edges:
            return True
        self.out.unknown("edge", edge, (*self.edges, *also), place)
        return False

    def take_named(self) -> list[tuple[str, Place]]:
        """Layers named by the regions read since the last call, and where."""
        named, self.named = self.named, []
        return named
