"""From the files as written to a complete `PartSpec`.

Each subject has its own module (materials, mould, regions, layers, stages); this one calls them in
order and holds the parts of the spec against one another.
"""

from __future__ import annotations

from dataclasses import replace

from plybook.diagnostics import Finding, SpecError
from plybook.spec.checks import check_meaning
from plybook.spec.collect import Collector, ordered
from plybook.spec.gather import Gathered
from plybook.spec.lay_list import LayList
from plybook.spec.layers import read_layers
from plybook.spec.limits import Limits
from plybook.spec.materials import resolve_materials
from plybook.spec.model import (
    FAR_MM,
    Acknowledgement,
    DesignChoices,
    JigCheck,
    NestRules,
    PartInfo,
    PartSpec,
    StationMould,
    TemplateRules,
    TemplateWay,
    Workshop,
)
from plybook.spec.mould import (
    check_amount,
    check_size,
    edge_names,
    resolve_axis,
    resolve_edges,
    resolve_mould,
)
from plybook.spec.regions import RegionReader
from plybook.spec.stages import resolve_stages
from plybook.spec.stock import resolve_stock
from plybook.spec.witness import check_one_stage, resolve_samples
from plybook.spec.written.files import PartFile, SharedFile
from plybook.units import bare_mm, mm


def resolve(gathered: Gathered, limits: Limits) -> tuple[PartSpec, tuple[Finding, ...]]:
    """Work a part spec out.

    Args:
        gathered: the part file and the shared files, as written.
        limits: limits in force.

    Returns:
        The spec and its warnings and notes.

    Raises:
        SpecError: with everything that is wrong.
    """
    written = gathered.part
    out = Collector(limits)
    files: tuple[SharedFile | PartFile, ...] = (*gathered.shared, written)
    materials = resolve_materials([f.materials for f in files if f.materials], out)
    stock, packs = resolve_stock([entry for f in files for entry in f.stock], materials, out)
    part = _part(written, out)
    mould = resolve_mould(written, gathered.folder, out)
    choices = _choices(files)
    if mould is None:
        raise SpecError(ordered(out.findings))
    spans = [-FAR_MM, FAR_MM]
    if lofted := isinstance(mould, StationMould):
        spans = [s.at_mm for s in mould.stations]
    axis = resolve_axis(written, lofted, out)
    check_size(mould, out)
    edges = resolve_edges(written, mould, out)
    regions = RegionReader(edge_names(mould), lofted, spans[0], spans[-1], out)
    lay = read_layers(written, materials, regions, choices.core_bevel_deg, out)
    stages = resolve_stages(written, lay, materials, out)
    stage_of = {one: rule.id for rule in stages for one in rule.layers}
    order = [rule.id for rule in stages]
    for film, name, place in lay.removed_after:
        if name not in order:
            out.unknown("stage", name, order, place)
        elif film in stage_of and order.index(name) < order.index(stage_of[film]):
            out.error(
                "peeled-before-laid",
                f"film `{film}` is laid in stage `{stage_of[film]}` and would be peeled off after "
                f"`{name}`, which is over by then",
                f"name `{stage_of[film]}` or a stage after it",
                place,
                layers=(film,),
            )
    layers = [replace(layer, stage=stage_of.get(layer.id, "")) for layer in lay.layers]
    spec = PartSpec(
        part=part,
        mould=mould,
        axis=axis,
        materials=materials,
        stock=stock,
        packs=packs,
        samples=resolve_samples(written, lay, out),
        layers=tuple(layers),
        edges=edges,
        stages=stages,
        jig_checks=_jig(written, lofted, spans, out),
        nest=_cutting(files),
        workshop=_workshop(files),
        choices=choices,
        acknowledged=_accepted(written, lay, out),
        files=tuple(gathered.folder.files),
        templates=_templates(files, written, lay, materials, out),
        raised=limits.changed,
    )
    check_amount(spec, out)
    check_meaning(spec, written, out)
    check_one_stage(spec, written, out)
    out.stop_if_failed()
    return spec, ordered(out.findings)


def _part(written: PartFile, out: Collector) -> PartInfo:
    w = written.part
    if w.other_hand is not None and w.hand == "none":
        out.error(
            "no-hand",
            "the other hand is wanted, but the part has no hand",
            "add `hand: left` or `hand: right`, or delete `other_hand`",
            w.place_of("other_hand"),
        )
    if w.other_hand == w.number:
        out.error(
            "duplicate-id",
            f"both hands have the number `{w.number}`",
            "give the other hand its own number",
            w.place_of("other_hand"),
            w.place_of("number"),
        )
    return PartInfo(
        w.number,
        w.name,
        w.revision,
        w.date,
        w.hand,
        w.other_hand or "",
        w.units,
        tuple(w.notes),
        w.designer,
        w.drawn_by,
        w.approved_by,
        w.owner,
        w.here,
    )


def _last(files, name: str):
    """The mapping nearest the part: a later file stands before an earlier one, key by key."""
    found = [getattr(f, name) for f in files if getattr(f, name) is not None]

    def value(key: str, default):
        for one in reversed(found):
            if one.wrote(key):
                return getattr(one, key)
        return default

    return value


def _choices(files) -> DesignChoices:
    value, usual = _last(files, "choices"), DesignChoices()
    return DesignChoices(
        value("core_bevel", usual.core_bevel_deg),
        value("chord_error", usual.chord_error_mm),
        value("strain_limit", usual.strain_limit_pct),
        value("thickness", None),
        value("core_bevel", None) is not None,
    )


def _cutting(files) -> NestRules:
    value, usual = _last(files, "cutting"), NestRules()
    return NestRules(
        value("knife_gap", usual.knife_gap_mm),
        value("saw_kerf", usual.saw_kerf_mm),
        value("sheet_gap", usual.sheet_gap_mm),
        value("kits", usual.kits),
        value("order", usual.order),
    )


def _workshop(files) -> Workshop:
    value, usual = _last(files, "workshop"), Workshop()
    day, printer = value("day", None), value("printer", None)
    paper = value("paper", usual.paper)
    return Workshop(
        value("room", usual.room_c),
        value("wetting", usual.wetting_m2_h),
        value("cup_loss", usual.cup_loss_g),
        day.start if day else usual.day_start,
        day.hours if day else usual.day_hours,
        value("people", usual.people),
        value("table", usual.table_mm),
        paper,
        value("poster", None) or ("tabloid" if paper == "letter" else usual.poster),
        printer.across if printer else usual.printer_x_pct,
        printer.down if printer else usual.printer_y_pct,
        value("dxf", usual.dxf),
        value("currency", None) or usual.currency,
        value("booklets_at", None) or usual.booklets_at,
    )


def _templates(files, written: PartFile, lay: LayList, materials, out: Collector) -> TemplateRules:
    value, usual = _last(files, "templates"), TemplateRules()
    plotter = value("plotter", None)
    goods = (materials.cloths, materials.cores, materials.rods, materials.consumables)
    known = [*lay.members, *(name for shelf in goods for name in shelf)]
    ways: dict[str, TemplateWay] = {}
    for one in (f.templates for f in files if f.templates is not None):
        for name, way in one.each.items():
            ways[name] = way
    if (own := written.templates) is not None:  # a shared file may name another part's layers
        for name in own.each:
            if name not in known and name.rpartition(".")[0] not in known:
                out.unknown("layer", name, lay.members, own.place_of("each"))
    return TemplateRules(
        value("tolerance", usual.tolerance_mm),
        value("cloth", usual.cloth_tolerance_mm),
        value("way", usual.way),
        tuple(ways.items()),
        plotter.width if plotter else usual.roll_mm,
        plotter.pieces == "all" if plotter else usual.roll_all,
    )


def _jig(written: PartFile, lofted: bool, spans: list[float], out: Collector):
    checks, seen = [], {}
    for n, w in enumerate(written.jig):
        name = w.id or f"J{n + 1}"
        if name in seen:
            out.error(
                "duplicate-id",
                f"two jig checks are called `{name}`",
                "give one of them another id",
                w.here,
                seen[name],
            )
        seen[name] = w.here
        if w.check == "screws" and w.pitch is None:
            out.error("missing", "`pitch` is missing (check: screws)", "add `pitch: 150`", w.here)
        if w.check in ("height", "twist") and w.at is None:
            out.error(
                "missing",
                f"`at` is missing (check: {w.check})",
                "add the station: at: 1900",
                w.here,
            )
        if w.at is not None and lofted and not spans[0] <= w.at <= spans[-1]:
            out.error(
                "region-outside",
                f"{mm(w.at):g} lies off the part, "
                f"which runs from {bare_mm(spans[0]):g} to {mm(spans[-1]):g}",
                "check the figure",
                w.place_of("at"),
            )
        checks.append(JigCheck(name, w.check, w.tolerance, w.at, w.pitch or 0.0, w.title, w.here))
    return tuple(checks)


def _accepted(written: PartFile, lay: LayList, out: Collector) -> tuple[Acknowledgement, ...]:
    made = []
    for w in written.accept:
        ids: list[str] = []
        for n, name in enumerate(w.layers):
            if not lay.knows(name):
                out.unknown("layer", name, lay.members, w.place_of("layers", n))
            ids.extend(lay.members.get(name, ()))
        made.append(Acknowledgement(w.finding, tuple(ids), w.because, w.here))
    return tuple(made)
