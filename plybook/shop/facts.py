"""The facts a standard step may name, for one stage of one part.

One function per scope: the stage, its layers, its pieces, seams, edges, stock. A name is given
here once; the sentences that use it stand in `trade/`.
"""

from __future__ import annotations

import numpy as np

from plybook.laminate.model import LaidLayer, Piece
from plybook.shop.bagging import edge_beside, margins
from plybook.shop.bagrolls import are_laid
from plybook.shop.infusion import (
    STRIP_MM,
    fill_of,
    flow_length_mm,
    resin_out_mm,
    spread_mm2,
    strip_limit_s,
    vacuum_out_mm,
)
from plybook.shop.job import Job
from plybook.shop.mixing import pot_life_s
from plybook.shop.model import BagPlan, Measure
from plybook.shop.part_facts import (
    default_facts,
    hole_scope,
    is_carbon,
    measure_scope,
    part_facts,
    peel_mass,
    stations_of,
    thin_zones,
    trims,
    zone_scope,
)
from plybook.shop.piece_facts import (
    Needs,
    layer_scope,
    panel_scope,
    piece_scope,
    seam_scopes,
    seams_of,
    source_scopes,
)
from plybook.shop.resin import Thickening, infusion_mass
from plybook.shop.standard import LAYING_KINDS, figure, standard
from plybook.shop.words import Fact, Scope, degrees_text, listed, minutes_text
from plybook.spec.model import Resin, StageRule

_PORT_MM = 40.0  # width of a vacuum port that goes through the bag


def stage_scope(
    job: Job, rule: StageRule, needs: Needs, bag: BagPlan | None, jig: tuple[Measure, ...]
) -> Scope:
    """Facts and lists of one stage; figures of the cups come later, from the cups themselves."""
    layers = job.layers_of(rule.id)
    pieces = {kind: _pieces(job, layers, kind) for kind in ("ply", "core", "insert", "rod", "film")}
    facts: dict[str, Fact] = {
        **part_facts(job),
        **_room_facts(job, rule, layers),
        **_below_facts(job, rule),
        **_bag_facts(job, rule, bag),
        **default_facts(job),
        "stage": job.title(rule),
        "mixes": bool(needs),
        "cups": 0,
        "several_cups": False,
    }
    films = tuple(p for p in pieces["film"])
    flat = [*pieces["ply"], *films]
    facts["flat_pieces"] = _ids(flat)
    facts["has_flat"] = bool(facts["flat_pieces"])
    facts["cut_what"] = listed(
        word for word, some in (("cloth", pieces["ply"]), ("films", films)) if some
    )
    for kind, name in (("ply", "cloth"), ("core", "core"), ("insert", "insert"), ("rod", "rod")):
        facts[f"{name}_pieces"] = _ids(pieces[kind])
        facts[f"has_{kind}"] = bool(pieces[kind])
    facts["inserts"] = facts["insert_pieces"]
    facts["has_film"] = bool(pieces["film"])
    facts["cut_minutes"] = figure("cut_minutes") * len(flat)
    facts["rod_minutes"] = 10 + 4.0 * len(pieces["rod"])
    facts["rod_lengths"] = tuple(_rod_length(job, piece) for piece in pieces["rod"])
    facts["rod_lines"] = tuple(dict.fromkeys(piece.layer for piece in pieces["rod"]))
    facts["fit_minutes"] = 20 + 10.0 * len(pieces["core"])
    facts["has_carbon_cloth"] = any(is_carbon(job, la) for la in layers if la.kind == "ply")
    facts["has_carbon_rod"] = any(is_carbon(job, la) for la in layers if la.kind == "rod")
    for use in ("prime", "infuse", "peel_ply", "wet"):
        need = needs.get((use, ""))
        facts[f"{use}_minutes"] = max(5.0, need.seconds / 60) if need else 5.0
        facts[f"{use}_mass"] = f"{need.mass_g:.0f} g" if need else ""
    facts["infuse_minutes"] = 60.0
    resin = job.resin(rule)
    if ("infuse", "") in needs and resin is not None:
        mass = infusion_mass(job, rule, resin)
        facts["infusion_mass"] = f"{mass.total_g:.0f} g"
        facts["infusion_split"] = mass.split()
    facts.setdefault("infusion_mass", "")
    facts.setdefault("infusion_split", "")
    seams = seams_of(pieces["core"])
    facts["has_seams"] = bool(seams)
    facts["as_one"] = ", panel by panel" if seams else ""
    facts["seam_pairs"] = tuple(f"{s.name} between {s.between}, {s.cut}" for s in seams)
    facts["bevelled"] = any(
        e.treatment == "bevel" and not e.mate for piece in pieces["core"] for e in piece.edges
    )
    zones = thin_zones(job)
    facts["zones"] = len(zones)
    facts["on_rolls"] = any(
        cut.unit == "m2" and are_laid(job, [cut]) for cut in (bag.cuts if bag else ())
    )
    facts["jig_minutes"] = 10 + 4.0 * len(jig)
    off = _films_off(job, rule)
    lists = {
        "layer": tuple(layer_scope(job, rule, la, needs) for la in layers),
        "cloth_layer": _layers_cut(job, layers, "ply"),
        "film_off": tuple(piece_scope(job, p) for p in off),
        "film_layer": _layers_cut(job, layers, "film"),
        "panel": tuple(panel_scope(job, p) for p in pieces["core"]),
        "insert_piece": tuple(piece_scope(job, p) for p in pieces["insert"]),
        "rod_piece": tuple(piece_scope(job, p) for p in pieces["rod"]),
        "roll": source_scopes(job, [*pieces["ply"], *films]),
        "bar": source_scopes(job, pieces["rod"]),
        "cut": _cut_scopes(job, bag),
        "seam": seam_scopes(seams),
        "coat": tuple(Scope({"coat": n + 1}) for n in range(int(figure("wax_coats")))),
        "station": tuple(Scope({"station": name}) for name in stations_of(job)),
        "trim_edge": tuple(
            Scope({"edge": e.edge, "trim": job.length(e.trim_mm)})
            for e in job.spec.edges
            if e.trim_mm > 0
        ),
        "hole": tuple(hole_scope(job, hole) for hole in job.face.holes_mm),
        "zone": tuple(zone_scope(job, zone) for zone in zones),
        "measure": tuple(
            measure_scope(number, m) for number, m in enumerate(jig, 1) if m.unit != "screws"
        ),
        "screws": tuple(
            measure_scope(number, m) for number, m in enumerate(jig, 1) if m.unit == "screws"
        ),
    }
    facts["has_films_off"] = bool(off)
    facts["films_off"] = _ids(off)
    facts["known_rolls"] = bool(lists["roll"])
    facts["has_trim"] = bool(lists["trim_edge"])
    facts["trims"] = trims(job)
    facts["keeps_peel_ply"] = bool(facts["peel_ply_on"]) and not off
    facts["peel_mass"] = peel_mass(job, rule) if facts["keeps_peel_ply"] else ""
    return Scope(facts, lists)


def _films_off(job: Job, rule: StageRule) -> list[Piece]:
    """Pieces of films that the spec has come off after this stage; where another stage is laid
    on top, they come off when that one opens the face."""
    if job.layers_of(rule.id) and not job.is_last_laying(rule.id):
        return []
    return [
        piece
        for layer in job.laminate.layers
        if getattr(job.spec_layers.get(layer.id), "removed_after", "") == rule.id
        for piece in job.pieces_of(layer)
    ]


def _room_facts(job: Job, rule: StageRule, layers: tuple[LaidLayer, ...]) -> dict:
    room = job.spec.workshop.room_c
    resin = job.resin(rule)
    thick = Thickening.of(job.thickened(rule))
    facts = {
        "room": f"{room:g} °C",
        "room_c": room,
        "resin": resin.name if resin else "resin",
        "filler": thick.filler,
        "filler_ratio": f"{thick.ratio:g} : 1",
        "mix_ratio": "",
        "components": "the resin",
        "pot_life": "",
        "over_quoted": False,
        "quoted_mass": "",
        "largest_cup": "",
        **_limits(resin, room),
        "cup_samples": job.spec.samples.cups,
    }
    if resin is not None:
        facts["mix_ratio"] = " : ".join(f"{part:g}" for _, part in resin.parts)
        facts["components"] = tuple(name for name, _ in resin.parts)
        facts["pot_life"] = minutes_text(pot_life_s(resin, room))
    cure = cure_seconds(job, rule)
    facts["cure_seconds"] = cure
    facts["cure"] = minutes_text(cure)
    hold = (resin.cure_s if resin is not None else 0) or figure("stage_cure") * 3600
    facts["vacuum_hold"] = minutes_text(min(hold, cure))
    facts["cures_here"] = bool(layers) and job.next_kind(rule.id) != "cure"
    return facts


def _limits(resin: Resin | None, room_c: float) -> dict:
    """Of room and air while resin is worked: as its card says, else the default."""
    card = resin.work if resin is not None else None
    sheet = f"data sheet of {resin.name}" if resin is not None else ""
    if resin is not None and resin.data_sheet:
        sheet += f", {resin.data_sheet}"
    low, high = (card.least_c, card.most_c) if card is not None else (0.0, 0.0)
    on_card = card is not None and high > low
    damp = card.humidity_pct if card is not None else 0.0
    return {
        "room_on_card": on_card,
        "room_off": on_card and not low <= room_c <= high,
        "room_low": low,
        "room_high": high,
        "room_range": f"{low:g} to {high:g} °C",
        "room_source": sheet,
        "room_tolerance": figure("room_tolerance"),
        "humidity_most": damp or figure("humidity_most"),
        "humidity_source": sheet if damp else standard().figures["humidity_most"].source,
        "ply_angle": f"{figure('ply_angle'):g}°",
        "ply_angle_source": standard().figures["ply_angle"].source.replace(" deg", "°"),
    }


def cure_seconds(job: Job, rule: StageRule) -> int:
    """How long a stage is left: as the spec says, else the resin's card, else the default.

    Before the part leaves its mould it is left for the full cure, unless the card asks for more.
    """
    if rule.cure_s is not None:
        return round(rule.cure_s)
    resin = job.resin(rule)
    card = resin.cure_s if resin is not None else 0
    if rule.kind == "cure" or job.is_last_laying(rule.id):
        return round(max(card, figure("full_cure") * 3600))
    return round(card or figure("stage_cure") * 3600)


def _below_facts(job: Job, rule: StageRule) -> dict:
    before = job.laying_before(rule.id)
    cores = job.open_cores(rule.id)
    own = job.layers_of(rule.id)
    laying = [r for r in job.stages if job.layers_of(r.id)]
    last = before[-1] if before else None
    own_films = job.films_to_strip(last.id) if last is not None and own else ()
    all_over = last is not None and bool(own) and job.lays_peel_ply(last.id)
    return {
        "onto_cured": last is not None and bool(own),
        "below_peel_ply": all_over or bool(own_films),
        "below_partly": bool(own_films),
        "below_films": "the peel ply" if all_over else listed(p.id for p in own_films),
        "below_pieces": tuple(p.id for p in own_films),
        "over_core": bool(cores),
        "core_below": tuple(name for layer in cores for name in layer.pieces),
        "lays_peel_ply": bool(own) and job.lays_peel_ply(rule.id),
        "has_own_peel_ply": job.own_peel_ply(rule.id),
        "peel_over": "the whole laminate" if any(la.kind == "ply" for la in own) else "the rods",
        "peel_beyond": "it" if any(la.kind == "ply" for la in own) else "them",
        "peel_reason": "a later bond may land anywhere on it"
        if job.is_last_laying(rule.id)
        else "the next stage is bonded there",
        "below_waits": all_over and not any(la.kind == "ply" for la in own),
        "before_covered": " before anything covers it" if not job.is_last_laying(rule.id) else "",
        "cover_below": job.top(rule.id),
        "peel_ply_on": bool(before) and job.has_peel_ply(before[-1].id),
        "was_infused": bool(before) and before[-1].kind == "dry_layup",
        "is_infusion": rule.kind == "dry_layup",
        "leaves_peel_ply": job.has_peel_ply(rule.id),
        "next_lays": not job.is_last_laying(rule.id),
        "bag_is_on": bool(before)
        and rule.kind == "cure"
        and _kind_before(job, rule) in LAYING_KINDS,
        "dresses_core": any(la.kind == "core" for la in own)
        and job.next_kind(rule.id) != "cure"
        and bool(laying)
        and laying[-1].id != rule.id,
    }


def _kind_before(job: Job, rule: StageRule) -> str:
    ids = [r.id for r in job.stages]
    place = ids.index(rule.id)
    return job.stages[place - 1].kind if place else ""


def _bag_facts(job: Job, rule: StageRule, bag: BagPlan | None) -> dict:
    infused = rule.kind == "dry_layup"
    core_below = bag is not None and any(role == "core" for role, _ in bag.outlines)
    core_open = bag is not None and "core" in bag.stack
    seconds = figure("leak_time_infusion" if infused else "leak_time") * 60
    drop = figure("leak_drop")
    source = standard().figures["leak_time_infusion" if infused else "leak_drop"].source
    facts = {
        "narrow_breather": margins(job).breather < _PORT_MM,
        "rests_on": "core" if core_below else "laminate",
        "pad_words": "Pad every sharp edge"
        + (" and the foot of every bevel" if core_open else "")
        + " with a folded strip of breather.",
        "leak_seconds": seconds,
        "leak_time": minutes_text(seconds),
        "leak_drop": drop,
        "leak_drop_text": f"{drop:.0f} mbar (1 inHg)",
        "leak_vacuum": figure("leak_vacuum"),
        "leak_source": source,
        "tape_length": "",
        "pleats": 0,
        "vacuum_place": "",
        "gauge_place": "",
        "resin_place": "",
        "vacuum_edge": "",
        "flow_length": "",
        "from_edge": True,
        "inlet_place": "",
        "lines_out": "",
        "has_fill": False,
        "fill_time": "",
        "strip_fill": "",
        "fill_front": "",
        "fill_basis": "",
        "has_strip": False,
        "strip_length": "",
        "strip_minutes": 0.0,
        "strip_time": "",
    }
    if bag is None:
        return facts
    facts["tape_length"] = job.run(bag.tape_length_mm)
    facts["pleats"] = len(bag.pleats_mm)
    ports = {name: (x, y) for name, x, y in bag.ports}
    facts["vacuum_place"] = f"beside the {edge_beside(job, *ports['vacuum port'])} edge"
    facts["gauge_place"] = f"beside the {edge_beside(job, *ports['gauge'])} edge"
    if infused:
        facts |= _infusion_facts(job, rule, bag, ports)
    return facts


def _infusion_facts(
    job: Job, rule: StageRule, bag: BagPlan, ports: dict[str, tuple[float, float]]
) -> dict:
    """Where lines lie, how far the resin runs, and how long that takes."""
    way = flow_length_mm(bag)
    from_edge, tape = rule.inlet == "edge", margins(job).tape
    facts: dict = {
        "from_edge": from_edge,
        "flow_length": job.about(round(way, -1)),
        "lines_out": f"the resin line {job.about(resin_out_mm(tape))} and the "
        f"vacuum line {job.about(vacuum_out_mm(tape))}",
        "vacuum_edge": "the whole edge",
        "gauge_place": "on the vacuum line, as far from its port as it gets",
    }
    if from_edge:
        facts["resin_place"] = f"the {edge_beside(job, *ports['resin inlet'])} edge"
        facts["vacuum_edge"] = f"the {edge_beside(job, *ports['vacuum port'])} edge"
        facts["gauge_place"] = "at the far end of the vacuum line"
    else:
        out = job.about(vacuum_out_mm(tape))
        facts["lines_out"] = f"the vacuum line {out}"
        facts["inlet_place"] = _from_edges(job, ports["resin inlet"])
    resin = job.resin(rule)
    if resin is not None:
        strip = min(STRIP_MM, way)
        life = pot_life_s(resin, job.spec.workshop.room_c)
        limit = strip_limit_s(spread_mm2(way, rule.inlet), strip, life)
        facts["has_strip"] = True
        facts["strip_length"] = job.about(strip)
        facts["strip_minutes"] = round(limit / 60, 1)
        facts["strip_time"] = _told(limit, 600)
    fill = fill_of(job, rule, bag)
    if fill is not None:
        quarter, half, most = (_told(seconds, 120) for seconds in fill.front_s)
        facts["has_fill"] = True
        facts["fill_time"] = _told(fill.seconds, 120)
        facts["strip_fill"] = _told(fill.strip_s, 120)
        facts["fill_front"] = (
            f"a quarter of the way after {quarter}, half after {half}, three quarters after {most}"
        )
        facts["fill_basis"] = (
            f"viscosity {fill.viscosity_mpas:.0f} mPa s, permeability {fill.permeability_m2:.2g} "
            f"m2, {100 * fill.porosity:.0f} % of the stack not fibre, {fill.vacuum_mbar:.0f} mbar"
        )
    return facts


def _told(seconds: float, in_minutes_s: float) -> str:
    """A time in seconds, from so many on in minutes."""
    return minutes_text(seconds) if seconds >= in_minutes_s else f"{seconds:.0f} s"


def _from_edges(job: Job, at: tuple[float, float]) -> str:
    """A place on the face by its distances from the nearest edge and one that runs across it."""
    import shapely

    point = shapely.Point(at)
    found: list[tuple[float, str, float]] = []
    for edge in job.face.edges:
        line = shapely.LineString(edge.points_mm)
        run = np.asarray(edge.points_mm)[-1] - np.asarray(edge.points_mm)[0]
        found.append((line.distance(point), edge.name, float(np.arctan2(run[1], run[0]))))
    found.sort()
    first = found[0]
    across = [f for f in found[1:] if abs(np.sin(f[2] - first[2])) > 0.5] or found[1:2]
    return " and ".join(f"{job.length(round(d, -1))} from the {name} edge"
                        for d, name, _ in [first, *across[:1]])  # fmt: skip


def _pieces(job: Job, layers: tuple[LaidLayer, ...], kind: str) -> list[Piece]:
    return [p for la in layers if la.kind == kind for p in job.pieces_of(la)]


def _layers_cut(job: Job, layers: tuple[LaidLayer, ...], kind: str) -> tuple[Scope, ...]:
    """Layers of one kind with their pieces, to tick off layer by layer as they are cut."""
    return tuple(
        Scope({"pieces": la.pieces, "angle": degrees_text(la.angle_deg)})
        for la in layers
        if la.kind == kind
    )


def _ids(pieces: list[Piece]) -> tuple[str, ...]:
    return tuple(p.id for p in pieces)


def _cut_scopes(job: Job, bag: BagPlan | None) -> tuple[Scope, ...]:
    scopes = []
    for cut in bag.cuts if bag else ():
        if cut.unit == "m":
            size = job.run(cut.length_mm)
        else:
            count = f"{cut.count} of " if cut.count > 1 else ""
            size = f"{count}{job.length(cut.length_mm)} x {job.length(cut.width_mm)}"
        scopes.append(Scope({"what": cut.name, "size": size, "where": cut.where}))
    return tuple(scopes)


def _rod_length(job: Job, piece: Piece) -> str:
    """One rod and its length: "LC.1 2800 mm", "LC 3000 mm, 4 times"."""
    facts = piece_scope(job, piece).facts
    return f"{piece.id} {facts['length']}{facts['times']}"
