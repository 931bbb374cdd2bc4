"""Core, inserts, rods and films, worked out."""

from __future__ import annotations

from collections.abc import Sequence

from plybook.spec.lay_list import LayList, names_of
from plybook.spec.model import (
    HOLES,
    Core,
    CutOut,
    DropRun,
    Film,
    Insert,
    OnFace,
    Ply,
    PointLine,
    Rod,
    RodStock,
    Seam,
    ShareLine,
    SpanLine,
    Treatment,
    Whole,
)
from plybook.spec.mould import refuse_no_direction
from plybook.spec.written.layers import (
    CoreLayer,
    Cut,
    FilmLayer,
    InsertLayer,
    RodLayer,
    SeamsToSuit,
)
from plybook.spec.written.layers import Seam as WrittenSeam
from plybook.units import bare_mm, mm

_SAME_THICKNESS_MM = 0.5  # a glue line takes up as much


def read_core(lay: LayList, w: CoreLayer) -> None:
    """A core with its cut edges and seams."""
    sheet = lay.materials.cores.get(w.sheet)
    if sheet is None:
        lay.unknown_material("core material", w.sheet, lay.materials.cores, w.place_of("sheet"))
        return
    edges = []
    for edge, cut in w.edges.items():
        known = edge in ("all", HOLES)
        if known or lay.regions.knows(edge, w.entry_place("edges", edge), (HOLES,)):
            edges.append(("" if edge == "all" else edge, _treatment(lay, cut)))
    edges.sort(key=lambda pair: pair[0])
    if "all" not in w.edges:
        edges.insert(0, ("", Treatment("bevel", lay.core_bevel_deg)))
    default = _treatment(lay, w.seam_cut) if w.seam_cut else Treatment("square")
    seams: tuple[Seam, ...] = ()
    if isinstance(w.seams, SeamsToSuit):
        default = _treatment(lay, w.seams.cut) if w.seams.cut else default
    elif w.seams and len(w.seams) > lay.out.limits["seams"]:
        lay.out.error(
            "too-many",
            f"{len(w.seams)} seams",
            lay.out.limits.why("seams"),
            w.key_place("seams"),
        )
    elif w.seams:
        seams = _seams(lay, w, w.seams, default)
    core = Core(
        id=w.core,
        material=w.sheet,
        stage="",
        region=lay.regions.read(w.region),
        note=w.note,
        place=w.here,
        thickness_mm=sheet.thickness_mm,
        edges=tuple(edges),
        seams=seams,
        seams_to_suit_sheets=isinstance(w.seams, SeamsToSuit),
        seam_default=default,
        perforate=w.perforate,
    )
    lay.add(w.core, [core], w.place_of("core"))


def _treatment(lay: LayList, cut: Cut) -> Treatment:
    if cut.kind in ("square", "trim"):
        return Treatment(cut.kind, 90.0)
    usual = lay.core_bevel_deg if cut.kind == "bevel" else 20.0
    return Treatment(cut.kind, cut.angle_deg or usual, cut.wide_side)


def _seams(
    lay: LayList, w: CoreLayer, written: Sequence[WrittenSeam], default: Treatment
) -> tuple[Seam, ...]:
    seams, names = [], {}
    for n, one in enumerate(written):
        place = w.place_of("seams", n)
        given = sum((one.at is not None, one.share is not None, one.from_ is not None))
        if given != 1 or (one.from_ is None) != (one.to is None):
            lay.out.error(
                "unknown-seam",
                "a seam is placed by one of `at`, `share`, or `from` and `to`",
                "for example {at: 1300}",
                place,
            )
            continue
        line: SpanLine | ShareLine | PointLine
        if one.at is not None or one.share is not None:
            if not lay.regions.lofted:
                lay.out.error(
                    "wrong-point",
                    "a flat face has no span and share",
                    "write {from: [x, y], to: [x, y]}",
                    place,
                )
                continue
            line = SpanLine(one.at) if one.at is not None else ShareLine(one.share or 0.0)
            inside = lay.regions.first_mm < (one.at or 0) < lay.regions.last_mm
            if one.at is not None and not inside:
                lay.out.error(
                    "region-outside",
                    f"the seam at {mm(one.at):g} lies off the "
                    f"part, which runs from {bare_mm(lay.regions.first_mm):g} to "
                    f"{mm(lay.regions.last_mm):g}",
                    "check the figure",
                    place,
                )
        else:
            start = lay.point(one.from_, w, "seams", n, "from")
            end = lay.point(one.to, w, "seams", n, "to")
            refuse_no_direction([start, end], [one.place_of("from"), one.place_of("to")], lay.out)
            if start is None or end is None:
                continue
            line = PointLine(start, end)
        name = one.id or f"S{n + 1}"
        if name in names:
            lay.out.error(
                "duplicate-id",
                f"two seams of `{w.core}` are called `{name}`",
                "give one another id",
                place,
                names[name],
            )
        names[name] = place
        cut = _treatment(lay, one.cut) if one.cut else default
        seams.append(Seam(name, line, cut))
    return tuple(seams)


def read_insert(lay: LayList, w: InsertLayer) -> None:
    """A block let into a core laid before it."""
    block = lay.materials.cores.get(w.block)
    if block is None:
        lay.unknown_material("core material", w.block, lay.materials.cores, w.place_of("block"))
        return
    cores = {layer.id: layer for layer in lay.layers if isinstance(layer, Core)}
    core = cores.get(w.in_)
    if core is None:
        if w.in_ not in lay.lost:
            lay.out.unknown("core", w.in_, cores, w.place_of("in"))
        return
    above = lay.layers[lay.layers.index(core) + 1 :]
    cover = next((layer for layer in above if isinstance(layer, Ply)), None)
    if cover is not None:
        lay.out.error(
            "insert-covered",
            f"insert `{w.insert}` is written after `{cover.id}`, "
            f"which goes over the core `{core.id}`",
            f"write it next to `{core.id}`, before the plies that follow",
            w.here,
            cover.place,
            layers=(w.insert, cover.id, core.id),
        )
        return
    thickness = w.thickness or block.thickness_mm
    step = thickness - core.thickness_mm
    if abs(step) > _SAME_THICKNESS_MM:
        high = "stands above" if step > 0 else "ends below"
        lay.out.warning(
            "insert-not-flush",
            f"insert `{w.insert}` is {mm(thickness):g} thick and its core `{core.id}` "
            f"{mm(core.thickness_mm):g}: it {high} it by {mm(abs(step)):g}",
            f"take a block of the core's thickness, plane it and write "
            f"`thickness: {bare_mm(core.thickness_mm):g}`, or accept the step and feather it with "
            "thickened resin"
            if step > 0
            else "take a block of the core's thickness, pack it up, or accept the step and fill it",
            w.here,
            layers=(w.insert, core.id),
        )
    elif abs(block.thickness_mm - thickness) > _SAME_THICKNESS_MM:
        lay.out.warning(
            "insert-thickness",
            f"insert `{w.insert}` is {mm(thickness):g} thick and `{block.id}` is "
            f"{mm(block.thickness_mm):g}",
            "choose stock of that thickness, or accept it where the block is planed or stacked",
            w.place_of("thickness"),
            layers=(w.insert,),
        )
    insert = Insert(
        id=w.insert,
        material=w.block,
        stage="",
        region=lay.regions.read(w.region),
        note=w.note,
        place=w.here,
        thickness_mm=thickness,
        core=w.in_,
    )
    lay.cut_outs.append((w.in_, CutOut(w.insert, w.clearance)))
    lay.add(w.insert, [insert], w.place_of("insert"))


def read_rods(lay: LayList, w: RodLayer) -> None:
    """Rods along a line, one layer or a stack of them."""
    bar = lay.materials.rods.get(w.bar)
    if bar is None:
        lay.unknown_material("rod", w.bar, lay.materials.rods, w.place_of("bar"))
        return
    if len(w.line) != 2:
        lay.out.error(
            "outline-too-short",
            f"the line of `{w.rod}` has {len(w.line)} points, expected two",
            "write its start and its end",
            w.place_of("line"),
        )
        return
    start, end = (lay.point(p, w, "line", n) for n, p in enumerate(w.line))
    refuse_no_direction([start, end], [w.place_of("line", n) for n in (0, 1)], lay.out)
    if start is None or end is None:
        return
    if w.lengths and len(w.lengths) != w.rows:
        lay.out.error(
            "out-of-range",
            f"{len(w.lengths)} lengths for {w.rows} row(s)",
            "give one length for each row",
            w.place_of("lengths"),
        )
    if w.rows > lay.out.limits["rod-rows"]:
        lay.out.error(
            "too-many", f"{w.rows} rows", lay.out.limits.why("rod-rows"), w.place_of("rows")
        )
        return
    if w.pitch and w.pitch < bar.width_mm - 1e-9:
        lay.out.error(
            "out-of-range",
            f"the pitch {mm(w.pitch):g} is less than the rod's width {mm(bar.width_mm):g}",
            "rods would overlap; leave `pitch` out for touching rods",
            w.place_of("pitch"),
        )
    if w.stack and w.lengths:
        lay.out.error(
            "out-of-range",
            f"`{w.rod}` has both `lengths` and a `stack`",
            "keep one of them",
            w.key_place("stack"),
        )
        return
    _sold_in(lay, w, bar)
    names = names_of(w.rod, len(w.stack)) if w.stack else [w.rod]
    rods = []
    for n, name in enumerate(names):
        rods.append(
            Rod(
                id=name,
                material=w.bar,
                stage="",
                region=Whole(),
                note=w.note,
                place=w.here,
                line=(start, end),
                rows=w.rows,
                pitch_mm=w.pitch or bar.width_mm,
                lengths_mm=(w.stack[n],) * w.rows if w.stack else tuple(w.lengths),
                drop=_rod_step(lay, w, n, start, end),
            )
        )
    lay.add(w.rod, rods, w.place_of("rod"))


def _sold_in(lay: LayList, w: RodLayer, bar: RodStock) -> None:
    longest = max(bar.supply_mm, default=0.0)
    for key in ("lengths", "stack"):
        for n, length in enumerate(getattr(w, key)):
            if length > longest:
                lay.out.error(
                    "longer-than-supply",
                    f"a rod of {mm(length):g}, but `{bar.id}` is sold in at most {mm(longest):g}",
                    "shorten it, or add a longer supply",
                    w.place_of(key, n),
                    bar.place,
                )


def _rod_step(lay: LayList, w: RodLayer, n: int, start, end) -> DropRun | None:
    """A stack of rods is a run that steps back from the far end of the line."""
    if len(w.stack) < 2:
        return None
    edge = ""
    if isinstance(start, OnFace) and isinstance(end, OnFace):
        edge = lay.regions.edges[3 if end.span_mm > start.span_mm else 2]
    steps = [abs(a - b) for a, b in zip(w.stack, w.stack[1:], strict=False)]
    return DropRun(w.rod, n + 1, len(w.stack), edge, min(steps))


def read_film(lay: LayList, w: FilmLayer) -> None:
    """A film laid in place."""
    if w.of not in lay.materials.consumables:
        lay.unknown_material("consumable", w.of, lay.materials.consumables, w.place_of("of"))
        return
    if w.removed_after:
        lay.removed_after.append((w.film, w.removed_after, w.place_of("removed_after")))
    film = Film(
        id=w.film,
        material=w.of,
        stage="",
        region=lay.regions.read(w.region),
        note=w.note,
        place=w.here,
        removed_after=w.removed_after or "",
    )
    lay.add(w.film, [film], w.place_of("film"))
