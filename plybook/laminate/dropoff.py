"""Drop-off runs: where each ply of a run ends, and whether the ladder is what was asked for.

Terms:
    run: plies that end one after the other, each a step before the next.
    end: the side of a ply that faces the edge or station its run steps towards.
    position: how far the end stands from the root (runs towards root, tip or a station) or from
        the edge (all others), measured as the builder measures it: station distance along the
        span, or square to the edge on the face.
    gap: the least distance on the face between two neighbouring ends; on a swept or tapered
        face it is not the step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.diagnostics import Finding, error, note, warning
from plybook.laminate.marks import MarkRule
from plybook.laminate.outline import ring_stretches, running_on
from plybook.laminate.regions import Regions
from plybook.laminate.shapes import NearLine, polygons_of, ring_of
from plybook.spec.model import Common, DropRun, EdgeBand, Layer, Ply, Region
from plybook.units import mm

STEP_TOLERANCE_MM = 0.5
GAP_SHARE = 0.95  # a gap on the face under this share of the step is worth a word


@dataclass(frozen=True)
class Rung:
    """The end of one ply of a run."""

    layer: str
    index: int
    position_mm: float
    line_mm: np.ndarray | None  # (n, 2) the end on the pattern; None where the ply runs off
    gap_mm: float  # to the next rung's end on the face, 0 for the last


@dataclass(frozen=True)
class Ladder:
    """All ends of one run, in order of the stack."""

    run: str
    towards: str
    step_mm: float
    along_span: bool
    rungs: tuple[Rung, ...]

    @property
    def steps_mm(self) -> tuple[float, ...]:
        """Distance from each end to the next, positive where the next ply is shorter."""
        return tuple(a.position_mm - b.position_mm for a, b in pairwise(self.rungs))


def drop_of(ply: Ply) -> DropRun:
    """The run a ply belongs to.

    Raises:
        TypeError: it belongs to none.
    """
    if ply.drop is None:
        raise TypeError(f"not a ply of a run: {ply.id}")
    return ply.drop


def run_layers(layers: Sequence[Layer]) -> dict[str, list[Ply]]:
    """The plies of every run, in stack order."""
    runs: dict[str, list[Ply]] = {}
    for layer in layers:
        if isinstance(layer, Ply) and layer.drop is not None:
            runs.setdefault(layer.drop.run, []).append(layer)
    return runs


def ladders_of(layers: Sequence[Layer], regions: Regions) -> tuple[Ladder, ...]:
    """The ladder of every run.

    Args:
        layers: all layers of the part.
        regions: the part's regions.
    """
    found = []
    for run, plies in run_layers(layers).items():
        drop = drop_of(plies[0])
        along_span = _along_span(plies[0], regions)
        ends = [
            (ply, _position(regions.net(ply.region), drop, along_span, regions),
             end_line(regions.net(ply.region), drop, along_span, regions))
            for ply in plies if not regions.net(ply.region).is_empty
        ]  # fmt: skip
        if not ends:  # every end lies past the face: findings of the plies say so
            continue
        gaps = [_gap(a[2], b[2]) for a, b in pairwise(ends)] + [0.0]
        rungs = tuple(
            Rung(ply.id, drop_of(ply).index, position, line, gap)
            for (ply, position, line), gap in zip(ends, gaps, strict=True)
        )
        found.append(Ladder(run, drop.edge, drop.step_mm, along_span, rungs))
    return tuple(found)


def _along_span(ply: Ply, regions: Regions) -> bool:
    """Whether the run steps along the span: its edge lies at one station, or it names one.

    An end measured from the edge itself runs beside that edge; on a tapered face such a line
    crosses the stations even where the edge lies at one.
    """
    drop = drop_of(ply)
    if _from_edge(ply.region, drop.edge):
        return False
    for edge in regions.face.edges:
        if edge.name == drop.edge:
            spans = np.asarray(regions.face.from_pattern(edge.points_mm))[:, 0]
            return bool(np.ptp(spans) < 0.05 * np.ptp(regions.outline_span_share[:, 0]))
    return True


def _from_edge(region: Region, edge: str) -> bool:
    if isinstance(region, Common):
        return any(_from_edge(one, edge) for one in region.items)
    return isinstance(region, EdgeBand) and region.edge == edge


def _outwards(drop: DropRun, regions: Regions) -> int:
    """+1 where the run steps to larger spans, -1 towards the root."""
    spans = regions.outline_span_share[:, 0]
    for edge in regions.face.edges:
        if edge.name == drop.edge:
            at = float(np.mean(np.asarray(regions.face.from_pattern(edge.points_mm))[:, 0]))
            return 1 if at > spans.mean() else -1
    return 1


def _position(region: BaseGeometry, drop: DropRun, along_span: bool, regions: Regions) -> float:
    if along_span:
        span = np.asarray(regions.face.from_pattern(shapely.get_coordinates(region)))[:, 0]
        sign = _outwards(drop, regions)
        return float(sign * (sign * span).max())
    edge = _edge_line(drop, regions)
    return -float(shapely.distance(region, edge))


def _edge_line(drop: DropRun, regions: Regions) -> shapely.Geometry:
    lines = [
        line
        for edge, line in zip(regions.face.edges, regions.plan.lines, strict=True)
        if edge.name == drop.edge
    ]
    return shapely.union_all(lines)


def end_line(
    region: BaseGeometry, drop: DropRun, along_span: bool, regions: Regions
) -> np.ndarray | None:
    """The end of a ply of a run on the pattern, None where it reaches the edge itself."""
    position = _position(region, drop, along_span, regions)
    if along_span:
        spans = regions.outline_span_share[:, 0]
        if position <= spans.min() + 0.01 or position >= spans.max() - 0.01:
            return None
        line = shapely.linestrings(regions.face.span_line(position))
    else:
        if -position < 0.01:
            return None
        band = regions.plan.near_edge(drop.edge, -position)
        line = band.boundary.intersection(regions.plan.net)
    parts = [part for part in shapely.get_parts(line) if part.geom_type == "LineString"]
    if not parts:
        return None
    ends = [NearLine(shapely.get_coordinates(part)) for part in parts]
    found = []
    for polygon in polygons_of(region):
        ring = ring_of(polygon)
        on_end = running_on(ring, ends)
        if on_end.any():
            found += [part for key, part in ring_stretches(ring, on_end.astype(int)) if key]
    if not found:
        return None
    return max(found, key=lambda part: np.hypot(*np.diff(part, axis=0).T).sum())


def _gap(first: np.ndarray | None, second: np.ndarray | None) -> float:
    if first is None or second is None:
        return 0.0
    return float(shapely.distance(shapely.linestrings(first), shapely.linestrings(second)))


def drop_marks(layer: Layer, layers: Sequence[Layer], regions: Regions) -> list[MarkRule]:
    """On a ply of a run: where its neighbours in the run end."""
    if not isinstance(layer, Ply) or layer.drop is None:
        return []
    plies = run_layers(layers)[layer.drop.run]
    place = plies.index(layer)
    along_span = _along_span(layer, regions)
    found = []
    for other, word in ((place - 1, "below"), (place + 1, "next")):
        if 0 <= other < len(plies):
            region = regions.net(plies[other].region)
            if region.is_empty:
                continue
            line = end_line(region, layer.drop, along_span, regions)
            if line is not None:
                found.append(MarkRule("drop_line", line, f"{plies[other].id} ({word}) ends here"))
    return found


def drop_findings(ladders: Sequence[Ladder], layers: Sequence[Layer]) -> list[Finding]:
    """Whether every ladder has the steps and the order the spec asks for."""
    by_id = {layer.id: layer for layer in layers}
    found = []
    for ladder in ladders:
        found.extend(_ladder_findings(ladder, by_id))
    return found


def _ladder_findings(ladder: Ladder, by_id: dict[str, Layer]) -> list[Finding]:
    found = []
    places = tuple(by_id[rung.layer].place for rung in ladder.rungs[:1])
    ids = tuple(rung.layer for rung in ladder.rungs)
    missing = [rung.layer for rung in ladder.rungs if rung.line_mm is None]
    if len(missing) > 1:
        found.append(
            warning(
                "drop-runs-off",
                f"{', '.join(missing)} of run {ladder.run} reach the {ladder.towards} and do not "
                "end one before the other",
                "move the first end back or make the step smaller",
                *places, layers=tuple(missing),
            )
        )  # fmt: skip
    steps = [
        (a, b, step) for (a, b), step in zip(pairwise(ladder.rungs), ladder.steps_mm, strict=True)
        if a.line_mm is not None and b.line_mm is not None
    ]  # fmt: skip
    signs = {np.sign(round(step, 3)) for _, _, step in steps}
    if len(signs) > 1:
        found.append(
            error(
                "drop-order",
                f"the plies of run {ladder.run} do not get steadily shorter or longer",
                "give every ply of the run the same base region",
                *places, layers=ids,
            )
        )  # fmt: skip
        return found
    for a, b, step in steps:
        if abs(abs(step) - ladder.step_mm) > STEP_TOLERANCE_MM:
            found.append(
                warning(
                    "drop-step",
                    f"{a.layer} and {b.layer} of run {ladder.run} end {mm(abs(step)):.1f} apart "
                    f"where the step is {mm(ladder.step_mm):g}",
                    "the region of the run cuts one of them shorter; widen it or say the step",
                    *places, layers=(a.layer, b.layer),
                )
            )  # fmt: skip
    gaps = [rung.gap_mm for rung in ladder.rungs if rung.gap_mm > 0]
    if gaps and min(gaps) < GAP_SHARE * ladder.step_mm:
        found.append(
            note(
                "drop-gap-on-face",
                f"run {ladder.run}: ends {mm(ladder.step_mm):g} apart along the span lie "
                f"{mm(min(gaps)):.1f} apart on the face at the nearest",
                "",
                *places, layers=ids,
            )
        )  # fmt: skip
    return found
