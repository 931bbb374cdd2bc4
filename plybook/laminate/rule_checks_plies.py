"""Trade rules on plies: where they end, and how they are spliced."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely

from plybook.laminate.bevel import bevel_run_mm
from plybook.laminate.dropoff import drop_of
from plybook.laminate.model import LaidLayer
from plybook.laminate.notation import fibre_directions, folded
from plybook.laminate.rule_case import Breach, Case, Splice, names
from plybook.laminate.rulebook import Rule
from plybook.spec.model import Core, Ply
from plybook.units import mm

_TOGETHER_MM = 1.0  # ends closer than this are one line
_LEAST_LENGTH_MM = 20.0  # shorter common stretches do not count
_PLIES_BETWEEN = 4
_SQUARE_DEG = 20.0


def _runs(case: Case) -> dict[str, list[LaidLayer]]:
    runs: dict[str, list[LaidLayer]] = {}
    for layer in case.plies:
        written = case.written.get(layer.id)
        if isinstance(written, Ply) and written.drop is not None:
            runs.setdefault(written.drop.run, []).append(layer)
    return runs


def _along(line: shapely.Geometry, other: shapely.Geometry, within_mm: float) -> float:
    """Length of a line that runs within a distance of another."""
    if line.is_empty or other.is_empty or line.distance(other) > within_mm:
        return 0.0
    return line.intersection(other.buffer(within_mm, cap_style="flat")).length


def drop_step_short(case: Case, rule: Rule) -> Iterator[Breach]:
    """The ladder's neighbouring rungs against the least distance."""
    for run, plies in _runs(case).items():
        first = case.written[plies[0].id]
        step = abs(drop_of(first).step_mm) if isinstance(first, Ply) else 0.0
        if 0 < step < rule.value - 1e-6:
            yield Breach(
                f"the plies of run {run} end {mm(step):g} apart; at least {mm(rule.value):g} is "
                f"asked for",
                tuple(p.id for p in plies),
            )


def drops_together(case: Case, rule: Rule) -> Iterator[Breach]:
    """Neighbouring plies that stop on one line, at their ends or along their sides."""
    group: list[LaidLayer] = []
    for layer in [*case.plies, None]:
        if (
            layer is not None
            and group
            and _along(case.drops[layer.id], case.drops[group[-1].id], _TOGETHER_MM)
            > _LEAST_LENGTH_MM
        ):
            group.append(layer)
            continue
        if len(group) > rule.value:
            where = case.where(case.drops[group[-1].id])
            ids = tuple(p.id for p in group)
            yield Breach(
                f"{names(ids)} stop on one line at {where}; at most {rule.value:g} neighbouring "
                f"plies should",
                ids,
            )
        group = [layer] if layer is not None and not case.drops[layer.id].is_empty else []


def drop_uncovered(case: Case, rule: Rule) -> Iterator[Breach]:
    """Every end of a run lies under some later layer that stays in the part."""
    lands = {layer.id for layer in case.bond_lands}
    for run, plies in _runs(case).items():
        top = max(case.order[p.id] for p in plies)
        above = [x.region for x in case.layers[top + 1 :] if x.id not in lands]
        cover = shapely.union_all([shapely.Polygon(), *above]).buffer(0.5)
        bare = []
        for ply in plies:
            open_end = case.ends[ply.id].difference(cover)
            if open_end.length > _LEAST_LENGTH_MM:
                bare.append((ply.id, open_end))
        if bare:
            ids = tuple(i for i, _ in bare)
            yield Breach(
                f"run {run}: the ends of {names(ids)} lie open at {case.where(bare[-1][1])}", ids
            )


def drop_on_core_side(case: Case, rule: Rule) -> Iterator[Breach]:
    """Ends that lie under or directly on a core."""
    for core in (x for x in case.layers if x.kind == "core"):
        place = case.order[core.id]
        below = _touching(case, range(place - 1, -1, -1))
        above = _touching(case, range(place + 1, len(case.layers)))
        for side, ids in (("below", below), ("above", above)):
            meeting = [
                (i, case.ends[i].intersection(core.region))
                for i in ids
                if not case.ends[i].is_empty
            ]
            meeting = [(i, g) for i, g in meeting if g.length > _LEAST_LENGTH_MM]
            if not meeting:
                continue
            told = tuple(sorted((i for i, _ in meeting), key=lambda i: case.order[i]))
            build_up = sum(case.thickness_mm(i) for i in told)
            yield Breach(
                f"{names(told)} end directly {side} core {core.id} at "
                f"{case.where(meeting[0][1])}; the build-up is {mm(build_up):.2f}",
                (*told, core.id),
            )


def _touching(case: Case, places: range) -> list[str]:
    """Plies next to a core, up to and without the first that has no end inside the part."""
    found = []
    for i in places:
        layer = case.layers[i]
        if layer.kind in ("film", "insert"):
            continue
        if layer.kind != "ply" or case.ends[layer.id].is_empty:
            break
        found.append(layer.id)
    return found


def drop_at_core_edge(case: Case, rule: Rule) -> Iterator[Breach]:
    """Ends that run along a core's edge, within the bevel or close to it."""
    for core in (x for x in case.layers if x.kind == "core"):
        written = case.written.get(core.id)
        if not isinstance(written, Core):
            continue
        edge = core.region.boundary
        run = max(
            (bevel_run_mm(written.thickness_mm, t.angle_deg) for _, t in written.edges), default=0
        )
        met = []
        for ply in case.plies:
            end = case.ends[ply.id]
            near = end.intersection(edge.buffer(max(rule.value, run)))
            if _runs_along(near, edge):
                met.append((ply.id, near))
        if met:
            ids = tuple(i for i, _ in met)
            yield Breach(
                f"{names(ids)} end along the edge of core {core.id} at {case.where(met[0][1])}, "
                f"less than {mm(max(rule.value, run)):.0f} from it",
                (*ids, core.id),
            )


def _runs_along(near: shapely.Geometry, edge: shapely.Geometry) -> bool:
    """Whether some stretch keeps beside the edge and does not merely cross it."""
    for part in shapely.get_parts(shapely.line_merge(near) if near.length else near):
        if part.length < 3 * _LEAST_LENGTH_MM:
            continue
        away = [part.interpolate(s, normalized=True).distance(edge) for s in (0.1, 0.5, 0.9)]
        if max(away) - min(away) < 0.25 * part.length:
            return True
    return False


def drop_on_bond_land(case: Case, rule: Rule) -> Iterator[Breach]:
    """Ends that cross a bond land; the edge of the land itself does not count."""
    for land in case.bond_lands:
        inner = land.region.buffer(-2.0)
        met = []
        for ply in case.plies:
            crossing = case.ends[ply.id].intersection(inner)
            if crossing.length > _LEAST_LENGTH_MM:
                met.append((ply.id, crossing))
        if met:
            ids = tuple(i for i, _ in met)
            yield Breach(
                f"{names(ids)} end across the bond land of {land.id} at {case.where(met[0][1])}",
                (*ids, land.id),
            )


# ---------------------------------------------------------------- splices


def _neighbours(case: Case, kind: str) -> Iterator[tuple[Splice, Splice, int]]:
    """Pairs of splices of different plies that run alike, with the plies between them; joints at a
    break of the face, which nothing can stagger, are told by themselves."""
    place = {ply.id: i for i, ply in enumerate(case.plies)}
    chosen = [s for s in case.splices if s.kind == kind and not s.at_break]
    for i, one in enumerate(chosen):
        for other in chosen[i + 1 :]:
            if one.layer == other.layer:
                continue
            between = abs(place[one.layer] - place[other.layer]) - 1
            if between < _PLIES_BETWEEN and _alike(one.line, other.line):
                yield one, other, between


def _alike(one: shapely.LineString, other: shapely.LineString) -> bool:
    a, b = (np.diff(np.asarray(x.coords)[[0, -1]], axis=0)[0] for x in (one, other))
    return abs(a[0] * b[1] - a[1] * b[0]) < 0.1 * np.linalg.norm(a) * np.linalg.norm(b)


def butt_not_staggered(case: Case, rule: Rule) -> Iterator[Breach]:
    """Butts of plies of one angle."""
    angle = {ply.id: folded(ply.angle_deg) for ply in case.plies}
    for one, other, between in _neighbours(case, "butt"):
        apart = one.line.distance(other.line)
        if abs(angle[one.layer] - angle[other.layer]) < 0.1 and apart < rule.value - 1e-6:
            yield Breach(
                f"the butts of {one.layer} and {other.layer} lie {mm(apart):.0f} apart at "
                f"{case.where(one.line)} with {between} plies between them; at least "
                f"{mm(rule.value):g} is asked for",
                (one.layer, other.layer),
            )


def butt_across_fibre(case: Case, rule: Rule) -> Iterator[Breach]:
    """Butts that cut the warp of a one-way cloth; all plies on one break are told once."""
    cut: dict[object, list[Splice]] = {}
    for number, splice in enumerate(case.splices):
        layer = next(p for p in case.plies if p.id == splice.layer)
        cloth = case.spec.materials.cloths[layer.material]
        if splice.kind != "butt" or cloth.weave != "unidirectional":
            continue
        ends = np.asarray(splice.line.coords)[[0, -1]]
        line = folded(math.degrees(math.atan2(*(ends[1] - ends[0])[::-1])))
        fibre = fibre_directions(cloth, layer.angle_deg)[0]
        if abs(folded(line - fibre)) > _SQUARE_DEG:
            cut.setdefault(splice.at_break or number, []).append(splice)
    for together in cut.values():
        ids = tuple(dict.fromkeys(splice.layer for splice in together))
        are, their = ("is", "its") if len(ids) == 1 else ("are", "their")
        longest = max(together, key=lambda splice: splice.line.length)
        yield Breach(
            f"{names(ids)} {are} butted across {their} fibres"
            f"{', where the face breaks,' if longest.at_break else ''} at "
            f"{case.where(longest.line)}",
            ids,
        )


def overlap_short(case: Case, rule: Rule) -> Iterator[Breach]:
    """The overlap of each ply against its thickness, plies with the same figures together."""
    short: dict[tuple[float, float], list[str]] = {}  # what is there, what is asked for: plies
    for splice in case.splices:
        least = rule.value * case.thickness_mm(splice.layer)
        if splice.kind == "overlap" and splice.overlap_mm < least - 1e-6:
            alike = short.setdefault((splice.overlap_mm, least), [])
            if splice.layer not in alike:
                alike.append(splice.layer)
    for (there, least), layers in short.items():
        ids = tuple(sorted(layers, key=lambda i: case.order[i]))
        yield Breach(
            f"{'the overlap' if len(ids) == 1 else 'overlaps'} of {names(ids)} "
            f"{'is' if len(ids) == 1 else 'are'} {mm(there):g}; {rule.value:g} times the "
            f"thickness of {'the ply' if len(ids) == 1 else 'such a ply'}, "
            f"{mm(case.thickness_mm(ids[0])):.3f}, asks for {mm(least):.1f}",
            ids,
        )


def overlap_close(case: Case, rule: Rule) -> Iterator[Breach]:
    """Overlaps of neighbouring plies that run alike; all that lie together are told once."""
    groups: list[tuple[set[str], float, Splice]] = []
    for one, other, _ in _neighbours(case, "overlap"):
        apart = one.line.distance(other.line)
        if apart >= rule.value - 1e-6:
            continue
        pair = {one.layer, other.layer}
        met = [g for g in groups if g[0] & pair and g[2].line.distance(one.line) < rule.value]
        for group in met:
            groups.remove(group)
        closest = min([(apart, one), *((g[1], g[2]) for g in met)], key=lambda x: x[0])
        groups.append((pair.union(*(g[0] for g in met)), *closest))
    for layers, apart, splice in groups:
        ids = tuple(sorted(layers, key=lambda i: case.order[i]))
        yield Breach(
            f"overlaps of {names(ids)} lie as close as {mm(apart):.0f} at "
            f"{case.where(splice.line)}; at least {mm(rule.value):g} is asked for",
            ids,
        )


def overlap_or_butt(case: Case, rule: Rule) -> Iterator[Breach]:
    """Told once for all overlapped plies, with both published figures."""
    lapped = {s.layer: s for s in case.splices if s.kind == "overlap"}
    if lapped:
        ids = tuple(p.id for p in case.plies if p.id in lapped)
        shown = sorted({f"{mm(lapped[i].overlap_mm):g}" for i in ids})
        thick = max(case.thickness_mm(i) for i in ids)
        yield Breach(
            f"{names(ids)} {'are' if len(ids) > 1 else 'is'} spliced by overlaps of "
            f"{names(shown)}; published rules differ: no overlaps and gaps up to "
            f"{mm(rule.value):g} (A-32, one-way prepreg), or overlaps of 100 x the thickness, here "
            f"{mm(100 * thick):.0f} (cloth)",
            ids,
        )


def piece_wider_than_roll(case: Case, rule: Rule) -> Iterator[Breach]:
    """Width of each cut outline across its warp."""
    for piece in case.pieces:
        if piece.kind != "ply":
            continue
        roll = case.spec.materials.cloths[piece.material].usable_width_mm
        turn = math.radians(piece.angle_deg)
        across = piece.outline_mm @ np.array([-math.sin(turn), math.cos(turn)])
        if np.ptp(across) > roll + 0.01:
            yield Breach(
                f"piece {piece.id} is {mm(np.ptp(across)):.0f} across its warp and the roll of "
                f"{piece.material} gives {mm(roll):.0f}",
                (piece.layer,),
            )


def same_angle_together(case: Case, rule: Rule) -> Iterator[Breach]:
    """Neighbouring plies of one cloth and angle, within each zone; the longest row is told."""
    worst: dict[tuple[str, ...], shapely.Geometry] = {}
    by_id = {layer.id: layer for layer in case.layers}
    for zone in case.zones:
        row: list[str] = []
        rows = []
        for name in zone.layers:
            layer = by_id[name]
            before = by_id[row[-1]] if row else None
            if layer.kind != "ply":
                rows.append(row)
                row = []
                continue
            if before is not None and not (
                before.material == layer.material
                and abs(folded(before.angle_deg - layer.angle_deg)) < 0.1
            ):
                rows.append(row)
                row = []
            row.append(name)
        for told in (*rows, row):
            if len(told) > rule.value:
                worst.setdefault(tuple(told), zone.region)
    for ids, region in worst.items():
        if any(set(ids) < set(other) for other in worst):
            continue
        yield Breach(
            f"{len(ids)} plies at {folded(by_id[ids[0]].angle_deg):g} deg lie together "
            f"({names(ids)}) at {case.where(region)}; at most {rule.value:g} should",
            ids,
        )


CHECKS = {
    "drop-step-short": drop_step_short,
    "drops-together": drops_together,
    "drop-uncovered": drop_uncovered,
    "drop-on-core-side": drop_on_core_side,
    "drop-at-core-edge": drop_at_core_edge,
    "drop-on-bond-land": drop_on_bond_land,
    "butt-not-staggered": butt_not_staggered,
    "butt-across-fibre": butt_across_fibre,
    "overlap-short": overlap_short,
    "overlap-close": overlap_close,
    "overlap-or-butt": overlap_or_butt,
    "piece-wider-than-roll": piece_wider_than_roll,
    "same-angle-together": same_angle_together,
}
