"""Plies, groups in laminate code and drop-off runs, worked out."""

from __future__ import annotations

from dataclasses import replace

from plybook.diagnostics import Place
from plybook.spec.laminate_code import CodeError, expand
from plybook.spec.lay_list import LayList, names_of
from plybook.spec.model import (
    FAR_MM,
    Cloth,
    Common,
    DropRun,
    EdgeBand,
    Ply,
    Region,
    SpanBand,
    SpliceRule,
    Whole,
)
from plybook.spec.written.layers import GroupLayer, PlyLayer, RunLayer
from plybook.units import bare_mm, mm


def read_ply(lay: LayList, w: PlyLayer) -> None:
    """One ply as written."""
    if ply := _one_ply(lay, w, w.ply, w.angle, lay.regions.read(w.region), w.here):
        lay.add(w.ply, [ply], w.place_of("ply"))


def read_group(lay: LayList, w: GroupLayer) -> None:
    """A laminate code group: its plies."""
    place = w.place_of("plies")
    try:
        angles = expand(
            w.plies,
            int(lay.out.limits["layers"]),
            int(lay.out.limits["code-nesting"]),
            int(lay.out.limits["code-length"]),
        )
    except CodeError as problem:
        start = place.column + problem.position + w.is_quoted("plies")
        at = Place(place.file, place.line, start, start + 1)
        lay.out.error("bad-laminate-code", problem.message, problem.help, at)
        return
    region = lay.regions.read(w.region)
    plies = [
        _one_ply(lay, w, name, angle, region, place, group=w.as_)
        for name, angle in zip(names_of(w.as_, len(angles)), angles, strict=True)
    ]
    lay.add(w.as_, [p for p in plies if p], w.place_of("as"))


def read_run(lay: LayList, w: RunLayer) -> None:
    """A drop-off run: its plies, each ending a step from the next."""
    base = lay.regions.read(w.region)
    names = names_of(w.run, w.plies)
    if not w.ends:
        lay.out.error(
            "empty",
            "`ends` is empty",
            "write {towards: tip, before: 100, step: 50}",
            w.key_place("ends"),
        )
        return
    usable = [_check_ends(lay, w, n, end) for n, end in enumerate(w.ends)]
    if not all(usable):
        return
    plies = []
    for k, name in enumerate(names):
        cuts = [
            _end_band(lay, end, k if end.longest == "first" else w.plies - 1 - k) for end in w.ends
        ]
        parts = ([] if isinstance(base, Whole) else [base]) + cuts
        region = parts[0] if len(parts) == 1 else Common(tuple(parts))
        first = w.ends[0]
        drop = DropRun(w.run, k + 1, w.plies, first.towards, first.step)
        plies.append(_one_ply(lay, w, name, w.angle, region, w.here, drop=drop))
    lay.add(w.run, [p for p in plies if p], w.place_of("run"))


def _check_ends(lay: LayList, w: RunLayer, n: int, end) -> bool:
    place = end.place_of("towards")
    if not lay.regions.knows(end.towards, place):
        return False
    if (end.before is None) == (end.at is None):
        lay.out.error(
            "missing",
            "a run needs either `before` (distance from the edge) or "
            "`at` (distance along the span) for its longest ply",
            "for example before: 100",
            end.here,
        )
        return False
    if end.at is not None:
        root, tip = lay.regions.edges[2:4] if lay.regions.lofted else ("", "")
        if end.towards not in (root, tip) or not lay.regions.lofted:
            lay.out.error(
                "wrong-end",
                f"a run ends `at` a span only towards root or tip, not towards {end.towards}",
                "write `before:` and the distance from that edge",
                end.key_place("at"),
            )
            return False
        last = (
            end.at - end.step * (w.plies - 1)
            if end.towards == tip
            else (end.at + end.step * (w.plies - 1))
        )
        low, high = lay.regions.first_mm, lay.regions.last_mm
        if not (low < last < high and low <= end.at <= high):
            lay.out.error(
                "run-too-long",
                f"the shortest ply of `{w.run}` would end at "
                f"{mm(last):g} and the longest at {mm(end.at):g}; the part runs from "
                f"{bare_mm(low):g} to {mm(high):g}",
                "make the steps smaller or fewer; is the unit right?",
                end.here,
            )
            return False
    elif lay.regions.lofted and end.towards in lay.regions.edges[2:4]:
        most = end.before + end.step * (w.plies - 1)
        length = lay.regions.last_mm - lay.regions.first_mm
        if most >= length:
            lay.out.error(
                "run-too-long",
                f"the shortest ply of `{w.run}` would end {mm(most):g} "
                f"before the {end.towards}, but the part is {mm(length):g} long",
                "make the steps smaller or fewer; is the unit right?",
                end.here,
            )
            return False
    return True


def _end_band(lay: LayList, end, steps: int) -> Region:
    if end.at is None:
        return EdgeBand(end.towards, end.before + steps * end.step, FAR_MM)
    if end.towards == lay.regions.edges[3]:
        return SpanBand(lay.regions.first_mm, end.at - steps * end.step)
    return SpanBand(end.at + steps * end.step, lay.regions.last_mm)


def _one_ply(
    lay: LayList,
    w,
    name: str,
    angle: float,
    region: Region,
    place: Place,
    group: str = "",
    drop: DropRun | None = None,
) -> Ply | None:
    cloth = lay.materials.cloths.get(w.cloth)
    if cloth is None:
        lay.unknown_material("cloth", w.cloth, lay.materials.cloths, w.place_of("cloth"))
        return None
    if w.turn_over and not cloth.faces_alike:
        lay.out.error(
            "cannot-turn-over",
            f"`{name}` may be turned over, but the faces of `{cloth.id}` are not alike",
            "delete `turn_over`, or say `faces_alike: yes` for the cloth",
            w.place_of("turn_over"),
            cloth.place,
        )
    return Ply(
        id=name,
        material=w.cloth,
        stage="",
        region=region,
        note=w.note,
        place=place,
        angle_deg=angle,
        splice=_splice(lay, w, cloth),
        group=group,
        drop=drop,
        may_turn_over=w.turn_over,
        drape=w.drape,
        darts=w.darts,
    )


def _splice(lay: LayList, w, cloth: Cloth) -> SpliceRule | None:
    """The ply's own rule, or None for the cloth's, or the cloth's with the part's clear
    zones."""
    if w.splice is None:
        if not lay.keep_clear:
            return None
        return replace(cloth.splice, keep_clear=lay.keep_clear)
    s = w.splice
    clear = (*lay.keep_clear, *(lay.regions.read(r) for r in s.keep_clear))
    return SpliceRule(
        s.join.kind,
        s.join.overlap_mm,
        cloth.splice.stagger_mm if s.stagger is None else s.stagger,
        cloth.splice.narrowest_mm if s.narrowest is None else s.narrowest,
        clear,
    )
