"""The facts a standard step may name, for one stage of one part.

One function per scope: the stage, its layers, its pieces, seams, edges, stock. A name is given
here once; the sentences that use it stand in `trade/`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from plybook.laminate.model import LaidLayer, Piece, PieceEdge
from plybook.shop.bagging import edge_beside, flow_length_mm
from plybook.shop.job import Job
from plybook.shop.mixing import Need, pot_life_s
from plybook.shop.model import BagPlan, Measure
from plybook.shop.resin import Thickening, infusion_mass
from plybook.shop.standard import figure
from plybook.shop.words import Fact, Scope, counted, degrees_text, listed, minutes_text
from plybook.spec.model import Film, OutlineMould, Ply, Rod, StageRule, StationMould
from plybook.units import show_number

Needs = dict[tuple[str, str], Need]
_STRETCH = re.compile(r" \(\d+\)$")
_MOST_ZONES = 6  # thickness is measured in so many zones, the largest ones
_CARBON_G_CM3 = (1.65, 2.1)  # fibre density that can only be carbon among the usual ones


def stage_scope(
    job: Job, rule: StageRule, needs: Needs, bag: BagPlan | None, jig: tuple[Measure, ...]
) -> Scope:
    """Facts and lists of one stage; figures of the cups come later, from the cups themselves."""
    layers = job.layers_of(rule.id)
    pieces = {kind: _pieces(job, layers, kind) for kind in ("ply", "core", "insert", "rod", "film")}
    facts: dict[str, Fact | float] = {
        **_part_facts(job),
        **_room_facts(job, rule, layers),
        **_below_facts(job, rule),
        **_bag_facts(job, rule, bag),
        **_default_facts(job),
        "stage": job.title(rule),
        "mixes": bool(needs),
        "cups": 0,
    }
    films = tuple(p for p in pieces["film"])
    facts["flat_pieces"] = _ids([*pieces["ply"], *films])
    facts["has_flat"] = bool(facts["flat_pieces"])
    facts["cut_what"] = listed(
        word for word, some in (("cloth", pieces["ply"]), ("films", films)) if some
    )
    for kind, name in (("ply", "cloth"), ("core", "core"), ("insert", "insert"), ("rod", "rod")):
        facts[f"{name}_pieces"] = _ids(pieces[kind])
        facts[f"has_{kind}"] = bool(pieces[kind])
    facts["inserts"] = facts["insert_pieces"]
    facts["has_film"] = bool(pieces["film"])
    facts["cut_minutes"] = figure("cut_minutes") * len(facts["flat_pieces"])
    facts["rod_minutes"] = 10 + 4.0 * len(pieces["rod"])
    facts["fit_minutes"] = 20 + 10.0 * len(pieces["core"])
    facts["has_carbon_cloth"] = any(_is_carbon(job, la) for la in layers if la.kind == "ply")
    facts["has_carbon_rod"] = any(_is_carbon(job, la) for la in layers if la.kind == "rod")
    for use in ("prime", "infuse", "peel_ply"):
        need = needs.get((use, ""))
        facts[f"{use}_minutes"] = max(5.0, need.seconds / 60) if need else 5.0
        facts[f"{use}_mass"] = f"{need.mass_g:.0f} g" if need else ""
    facts["infuse_minutes"] = 60.0
    if ("infuse", "") in needs:
        mass = infusion_mass(job, rule, job.resin(rule))
        facts["infusion_mass"] = f"{mass.total_g:.0f} g"
        facts["infusion_split"] = mass.split()
    facts.setdefault("infusion_mass", "")
    facts.setdefault("infusion_split", "")
    seams = _seams(pieces["core"])
    facts["has_seams"] = bool(seams)
    facts["as_one"] = ", taped together, in one" if seams else ""
    facts["seam_pairs"] = tuple(f"{s.name} between {s.between}, {s.cut}" for s in seams)
    facts["seams_square"] = bool(seams) and all(s.cut == "square" for s in seams)
    zones = _thin_zones(job)
    facts["zones"] = len(zones)
    facts["jig_minutes"] = 10 + 4.0 * len(jig)
    lists = {
        "layer": tuple(_layer_scope(job, rule, la, needs) for la in layers),
        "cloth_piece": tuple(_piece_scope(job, p) for p in pieces["ply"]),
        "film_piece": tuple(_piece_scope(job, p) for p in films),
        "panel": tuple(_panel_scope(job, p) for p in pieces["core"]),
        "insert_piece": tuple(_piece_scope(job, p) for p in pieces["insert"]),
        "rod_piece": tuple(_piece_scope(job, p) for p in pieces["rod"]),
        "roll": _sources(job, [*pieces["ply"], *films]),
        "bar": _sources(job, pieces["rod"]),
        "cut": _cut_scopes(job, bag),
        "seam": _seam_scopes(seams),
        "coat": tuple(Scope({"coat": n + 1}) for n in range(int(figure("wax_coats")))),
        "station": tuple(Scope({"station": name}) for name in _stations(job)),
        "trim_edge": tuple(
            Scope({"edge": e.edge, "trim": job.length(e.trim_mm)})
            for e in job.spec.edges
            if e.trim_mm > 0
        ),
        "zone": tuple(_zone_scope(zone) for zone in zones),
        "measure": tuple(_measure_scope(m) for m in jig if m.unit != "screws"),
        "way": tuple(
            Scope({"title": title, "how": how})
            for title, how in dict.fromkeys(
                (m.title.partition(", ")[0], m.how) for m in jig if m.unit != "screws"
            )
        ),
        "screws": tuple(_measure_scope(m) for m in jig if m.unit == "screws"),
    }
    facts["known_rolls"] = bool(lists["roll"])
    facts["has_trim"] = bool(lists["trim_edge"])
    return Scope(facts, lists)


def _part_facts(job: Job) -> dict[str, Fact | float]:
    part, mould = job.spec.part, job.spec.mould
    hands = {"left": ", LEFT hand", "right": ", RIGHT hand"}
    layers = job.laminate.layers
    area = job.face.area_mm2 / 1e6
    mass = job.laminate.mass_g
    female = isinstance(mould, StationMould) and mould.form == "female"
    tape_m = area * 1e3 / figure("mould_tape_width") * 1.15  # flange and offcuts
    return {
        "part": part.number,
        "name": part.name,
        "revision": part.revision,
        "hand_words": hands.get(part.hand, ""),
        "mould_word": "mould plate"
        if isinstance(mould, OutlineMould)
        else "inside of the mould"
        if female
        else "outside of the mould",
        "curved": not job.face.flat,
        "into_corners": _has_corners(job),
        "stations": _stations(job),
        "mould_tape": job.run(tape_m * 1000),
        "tape_way": "along the part" if not job.face.flat else "one way",
        "seal_minutes": 15 + 20 * area,
        "wax_minutes": figure("wax_coats") * (4 + 6 * area),
        "trim_minutes": 20 + _perimeter(job) / 100,
        "has_carbon": any(_is_carbon(job, la) for la in layers),
        "any_core": any(la.kind == "core" for la in layers),
        "mass": f"{mass / 1000:.2f} kg" if mass >= 1000 else f"{mass:.0f} g",
        "mass_g": round(mass),
        "mass_tolerance_g": round(mass * figure("mass_tolerance") / 100),
    }


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
    return {
        "onto_cured": last is not None and bool(own),
        "below_peel_ply": last is not None and job.has_peel_ply(last.id),
        "below_bare": last is not None and not job.lays_peel_ply(last.id),
        "over_core": bool(cores),
        "core_below": tuple(name for layer in cores for name in layer.pieces),
        "lays_peel_ply": bool(own) and job.lays_peel_ply(rule.id),
        "has_own_peel_ply": job.own_peel_ply(rule.id),
        "peel_over": "the whole laminate" if any(la.kind == "ply" for la in own) else "the rods",
        "cover_below": "peel ply" if job.has_peel_ply(rule.id) else "core",
        "peel_ply_on": bool(before) and job.has_peel_ply(before[-1].id),
        "was_infused": bool(before) and before[-1].kind == "dry_layup",
        "is_infusion": rule.kind == "dry_layup",
        "leaves_peel_ply": job.has_peel_ply(rule.id),
        "next_lays": not job.is_last_laying(rule.id),
        "bag_is_on": bool(before) and rule.kind == "cure" and _kind_before(job, rule) in LAYING,
        "dresses_core": any(la.kind == "core" for la in own)
        and job.next_kind(rule.id) != "cure"
        and bool(laying)
        and laying[-1].id != rule.id,
    }


LAYING = ("wet_laminate", "core_bond", "dry_layup")


def _kind_before(job: Job, rule: StageRule) -> str:
    ids = [r.id for r in job.stages]
    place = ids.index(rule.id)
    return job.stages[place - 1].kind if place else ""


def _bag_facts(job: Job, rule: StageRule, bag: BagPlan | None) -> dict:
    infused = rule.kind == "dry_layup"
    seconds = figure("leak_time_infusion" if infused else "leak_time") * 60
    drop = figure("leak_drop")
    from plybook.shop.standard import standard

    source = standard().figures["leak_time_infusion" if infused else "leak_drop"].source
    facts = {
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
    }
    if bag is None:
        return facts
    facts["tape_length"] = job.run(bag.tape_length_mm)
    facts["pleats"] = len(bag.pleats_mm)
    ports = {name: (x, y) for name, x, y in bag.ports}
    facts["vacuum_place"] = f"beside the {edge_beside(job, *ports['vacuum port'])} edge"
    facts["gauge_place"] = f"beside the {edge_beside(job, *ports['gauge'])} edge"
    if infused:
        facts["resin_place"] = f"the {edge_beside(job, *ports['resin inlet'])} edge"
        facts["vacuum_edge"] = f"the {edge_beside(job, *ports['vacuum port'])} edge"
        facts["gauge_place"] = "at the far end of the vacuum line"
        facts["flow_length"] = job.length(round(flow_length_mm(bag), -1))
    return facts


def _default_facts(job: Job) -> dict:
    names = {"peel_ply": "peel ply", "wax": "mould wax", "release_coat": "release film (PVA)",
             "spray_tack": "resin-soluble spray tack"}  # fmt: skip
    facts: dict[str, Fact | float] = {}
    for role, plain in names.items():
        card = job.consumable(role)
        facts["tack" if role == "spray_tack" else role] = card.name if card else plain
    for name in ("wax_wait", "release_wait"):
        facts[name] = minutes_text(figure(name) * 60)
        facts[f"{name}_seconds"] = figure(name) * 60
    facts["wax_coats"] = int(figure("wax_coats"))
    facts["panel_minutes"] = figure("panel_minutes")
    for name, source in (
        ("peel_margin", "peel_ply_beyond"), ("breather_margin", "breather_beyond"),
        ("tape_margin", "tape_beyond"), ("pleat_height", "pleat_height"),
        ("pleat_pitch", "pleat_pitch"), ("mesh_stop", "mesh_short_of_vacuum"),
        ("seam_gap", "seam_gap"), ("perforation_pitch", "perforation_pitch"),
    ):  # fmt: skip
        facts[name] = job.length(round(figure(source)))
    return facts


def _layer_scope(job: Job, rule: StageRule, layer: LaidLayer, needs: Needs) -> Scope:
    pieces = job.pieces_of(layer)
    source = job.spec_layers.get(layer.id)
    need = needs.get(("lay", layer.id))
    base = 5.0 + 2.0 * len(pieces)
    area = sum(p.area_mm2 * p.quantity for p in pieces) / 1e6
    if need is not None:
        base += need.seconds / 60
    elif rule.kind == "dry_layup":
        base += 8.0 * area
    kinds = {p.splice.kind for p in pieces if p.splice is not None}
    overlaps = {p.splice.overlap_mm for p in pieces if p.splice and p.splice.kind == "overlap"}
    seams = _seams(pieces) if layer.kind == "core" else ()
    note = layer.note or (source.note if source is not None else "")
    facts: dict[str, Fact | float] = {
        "layer": layer.id,
        "material": material_name(job, layer.kind, layer.material),
        "angle": degrees_text(layer.angle_deg),
        "pieces": tuple(p.id for p in pieces),
        "one_piece": len(pieces) == 1,
        "in_order": ", in that order" if len(pieces) > 1 else "",
        "lay_minutes": base,
        "first_on_mould": bool(job.laminate.layers) and job.laminate.layers[0].id == layer.id,
        "butts": kinds == {"butt"},
        "overlaps_cloth": kinds == {"overlap"} and len(overlaps) == 1,
        "mixed_splices": len(kinds) > 1 or (kinds == {"overlap"} and len(overlaps) > 1),
        "overlap": job.length(max(overlaps)) if overlaps else "",
        "has_note": bool(note),
        "note": note,
        "has_seams": bool(seams),
        "has_bevels": any(e.treatment == "bevel" for p in pieces for e in p.edges if not e.mate),
        "seam_butter": _butter(seams, any(p.holes_mm for p in pieces)),
        "perforate": getattr(source, "perforate", True),
        **_drop_facts(job, layer, source),
        **_film_facts(job, source),
        **_insert_facts(job, layer),
    }
    for use in ("neat", "bond"):
        coat = needs.get((use, layer.id))
        facts[f"{use}_minutes"] = max(5.0, coat.seconds / 60) if coat else 5.0
    for kind in ("ply", "core", "insert", "rod", "film"):
        facts[f"is_{kind}"] = layer.kind == kind
    rods = sum(p.quantity for p in pieces)
    facts["rod_counts"] = f"{counted(rods, 'rod')} side by side" if rods > 1 else "one rod"
    lists = {
        "panel": tuple(_panel_scope(job, p) for p in pieces) if layer.kind == "core" else (),
        "seam": _seam_scopes(seams),
    }
    return Scope(facts, lists)


def _drop_facts(job: Job, layer: LaidLayer, source) -> dict:
    """Where a layer of a run ends against the one before it."""
    drop = source.drop if isinstance(source, Ply | Rod) else None
    before = None
    if drop is not None:
        for other in job.laminate.layers:
            card = job.spec_layers.get(other.id)
            run = card.drop if isinstance(card, Ply | Rod) else None
            if run is not None and (run.run, run.index) == (drop.run, drop.index - 1):
                before = other
    if before is None:
        return {"drops": False, "drop_step": "", "drop_way": "", "drop_after": ""}
    shorter = layer.region.area < before.region.area
    return {
        "drops": True,
        "drop_step": job.length(abs(drop.step_mm)),
        "drop_way": "short of" if shorter else "beyond",
        "drop_after": before.id,
    }


def _film_facts(job: Job, source) -> dict:
    removed = source.removed_after if isinstance(source, Film) else ""
    titles = {rule.id: job.title(rule) for rule in job.stages}
    return {
        "removed": bool(removed),
        "removed_after": f"the stage “{titles.get(removed, removed)}”" if removed else "",
        "where_note": "",
    }


def _insert_facts(job: Job, layer: LaidLayer) -> dict:
    source = job.spec_layers.get(layer.id)
    core = getattr(source, "core", "")
    return {
        "in_core": bool(core),
        "core": core,
        "in_core_words": f" in its opening in {core}" if core else "",
    }


def _piece_scope(job: Job, piece: Piece) -> Scope:
    layer = next(la for la in job.laminate.layers if la.id == piece.layer)
    units = job.units_of_piece.get(piece.id, ())
    length = float(piece.outline_mm[:, 0].max() - piece.outline_mm[:, 0].min())
    stock = job.spec.materials.rods.get(piece.material)
    if stock is not None and stock.width_mm > 0:
        length = piece.area_mm2 / stock.width_mm
    return Scope(
        {
            "piece": piece.id,
            "piece_only": (piece.id,),
            "layer": piece.layer,
            "angle": degrees_text(piece.angle_deg),
            "material": material_name(job, piece.kind, piece.material),
            "thickness": f"{show_number(piece.thickness_mm, 2)} mm",
            "times": f", {piece.quantity} times" if piece.quantity > 1 else "",
            "length": job.length(length),
            "source": listed(unit.id for unit in units) if units else "its stock",
            **_insert_facts(job, layer),
        }
    )


def _panel_scope(job: Job, piece: Piece) -> Scope:
    base = _piece_scope(job, piece)
    outer = [e for e in piece.edges if not e.mate]
    bevels = [e for e in outer if e.treatment == "bevel"]
    scarfs = [e for e in piece.edges if e.treatment == "scarf"]
    seams = [e for e in piece.edges if e.mate and e.treatment == "square"]
    squares = [e for e in outer if e.treatment == "square"]
    wide = {e.wide_side for e in bevels} or {"mould"}
    core = job.spec_layers.get(piece.layer)
    stock = job.spec.materials.cores.get(piece.material)
    openings = [cut.insert for cut in getattr(core, "cut_outs", ())] if piece.holes_mm else []
    facts = {
        "bevels": _names(bevels),
        "has_bevels": bool(bevels),
        "bevel_angle": _angles(bevels),
        "wide_side": listed(sorted(wide)),
        "narrow_side": "bag" if wide == {"mould"} else "mould" if wide == {"bag"} else "narrow",
        "scarfs": _names(scarfs),
        "has_scarfs": bool(scarfs),
        "scarf_angle": _angles(scarfs),
        "seams": _names(seams),
        "has_seams": bool(seams),
        "mates": tuple(dict.fromkeys(e.mate for e in seams)),
        "square_edges": _names(squares),
        "has_square_edges": bool(squares),
        "has_openings": bool(piece.holes_mm),
        "openings": len(piece.holes_mm),
        "inserts": tuple(openings) or ("the insert",),
        "perforate": bool(getattr(core, "perforate", True)),
        "has_grain": bool(stock and stock.grain),
    }
    lists = {
        "bevel": tuple(Scope({"edge": name, "angle": _angles(bevels)}) for name in _names(bevels)),
        "scarf": tuple(Scope({"edge": name, "angle": _angles(scarfs)}) for name in _names(scarfs)),
        "seam_edge": tuple(Scope({"edge": _edge_name(e), "mate": e.mate}) for e in seams),
        "panel_note": tuple(
            Scope({"note": _sentence(note)}) for note in map(_panel_note, piece.notes) if note
        ),
    }
    return Scope({**base.facts, **facts}, lists)


def material_name(job: Job, kind: str, material: str) -> str:
    """The name of a material as its card has it."""
    cards = job.spec.materials
    for shelf in (cards.cloths, cards.cores, cards.rods, cards.consumables):
        if material in shelf:
            return shelf[material].name or material
    return material


def _pieces(job: Job, layers: tuple[LaidLayer, ...], kind: str) -> list[Piece]:
    return [p for la in layers if la.kind == kind for p in job.pieces_of(la)]


def _ids(pieces: list[Piece]) -> tuple[str, ...]:
    return tuple(p.id for p in pieces)


def _names(edges: list[PieceEdge]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(_edge_name(e) for e in edges))


def _angles(edges: list[PieceEdge]) -> str:
    return listed((f"{a:g}°" for a in sorted({e.angle_deg for e in edges})), "or")


@dataclass(frozen=True)
class _Seam:
    name: str
    between: str
    cut: str  # "square", "scarfed at 20°"


def _seams(pieces) -> tuple[_Seam, ...]:
    """Each seam between two panels once."""
    found: dict[tuple[str, ...], _Seam] = {}
    for piece in pieces:
        for edge in piece.edges:
            if edge.mate:
                pair = tuple(sorted((piece.id, edge.mate)))
                words = {"scarf": "scarfed", "bevel": "bevelled"}.get(edge.treatment)
                cut = f"{words} at {edge.angle_deg:g}°" if words else "square"
                name = _edge_name(edge).removeprefix("seam ")
                found.setdefault(pair, _Seam(name, listed(pair), cut))
    return tuple(found.values())


def _seam_scopes(seams: tuple[_Seam, ...]) -> tuple[Scope, ...]:
    return tuple(Scope({"seam": s.name, "between": s.between, "cut": s.cut}) for s in seams)


def _butter(seams, openings: bool) -> str:
    """Where else the thickened coat goes, for the end of a sentence."""
    places = [*(["the seam faces"] if seams else []),
              *(["the walls of the openings"] if openings else [])]  # fmt: skip
    return f", and butter {listed(places)}" if places else ""


def _edge_name(edge: PieceEdge) -> str:
    """The name without the number that tells two stretches of one edge apart."""
    return _STRETCH.sub("", edge.name)


def _panel_note(text: str) -> str:
    """What a note of a panel adds to the words of the step, "" for nothing."""
    if text.startswith("seam "):
        head, _, more = text.partition("; ")
        return f"{head.partition(':')[0]}: {more}" if more else ""
    return "" if text.startswith("mould side down") else text


def _sources(job: Job, pieces: list[Piece]) -> tuple[Scope, ...]:
    """Stock units with the pieces of this stage that come from each."""
    units: dict[str, tuple[str, list[str]]] = {}
    for piece in pieces:
        for unit in job.units_of_piece.get(piece.id, ()):
            name = material_name(job, piece.kind, unit.material)
            units.setdefault(unit.id, (name, []))[1].append(piece.id)
    return tuple(
        Scope({"unit": unit, "material": name, "unit_pieces": tuple(ids)})
        for unit, (name, ids) in units.items()
    )


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


def _stations(job: Job) -> tuple[str, ...]:
    if not isinstance(job.spec.mould, StationMould):
        return tuple(line.label for line in job.face.station_lines)
    return tuple(job.length(line.span_mm) for line in job.face.station_lines)


def _thin_zones(job: Job):
    """The largest zones without core or insert, where a caliper can close on the laminate."""
    thick = {la.id for la in job.laminate.layers if la.kind in ("core", "insert")}
    zones = [zone for zone in job.laminate.zones if not thick & set(zone.layers)]
    largest = sorted(zones, key=lambda zone: -zone.area_m2)[:_MOST_ZONES]
    return tuple(zone for zone in zones if zone in largest)


def _zone_scope(zone) -> Scope:
    return Scope(
        {
            "zone": zone.label,
            "thickness_mm": round(zone.thickness_mm, 2),
            "thickness_tolerance_mm": max(0.1, round(zone.thickness_mm * 0.1, 2)),
        }
    )


def _measure_scope(measure: Measure) -> Scope:
    return Scope(
        {
            "title": measure.title,
            "how": measure.how,
            "expected": measure.expected,
            "tolerance": measure.tolerance,
            "unit": measure.unit,
            "count": round(measure.expected),
        }
    )


def _is_carbon(job: Job, layer: LaidLayer) -> bool:
    cloth = job.spec.materials.cloths.get(layer.material)
    if cloth is not None:
        return _CARBON_G_CM3[0] <= cloth.fibre_g_cm3 <= _CARBON_G_CM3[1]
    rod = job.spec.materials.rods.get(layer.material)
    return rod is not None and "carbon" in f"{rod.id} {rod.name}".lower()


def _has_corners(job: Job) -> bool:
    from plybook.spec.model import PolylineSection

    mould = job.spec.mould
    return isinstance(mould, StationMould) and any(
        isinstance(s.section, PolylineSection) for s in mould.stations
    )


def _perimeter(job: Job) -> float:
    ring = job.face.outline_mm
    return float((((ring - [*ring[1:], ring[0]]) ** 2).sum(axis=1) ** 0.5).sum())


def _sentence(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "!", "?")) else f"{text}."
