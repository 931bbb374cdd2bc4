"""The facts a standard step may name, for one stage of one part.

One function per scope: the stage, its layers, its pieces, seams, edges, stock. A name is given
here once; the sentences that use it stand in `trade/`.
"""

from __future__ import annotations

import numpy as np

from plybook.laminate.model import LaidLayer, Piece, Zone
from plybook.shop.bagging import edge_beside, flow_length_mm, margins, mould_tape_mm, ring_length_mm
from plybook.shop.job import Job
from plybook.shop.mixing import pot_life_s
from plybook.shop.model import BagPlan, Measure
from plybook.shop.piece_facts import (
    Needs,
    layer_scope,
    panel_scope,
    piece_scope,
    seam_scopes,
    seams_of,
    source_scopes,
)
from plybook.shop.resin import Thickening, infusion_mass, peel_ply_of
from plybook.shop.standard import LAYING_KINDS, figure, standard
from plybook.shop.words import Fact, Scope, listed, minutes_text
from plybook.spec.model import OutlineMould, StageRule, StationMould

_STRIP_MM = 200.0  # length of the test strip of an infusion
_LARGE_MM = 1500.0  # a part as long wants two people to lift it
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
    facts["rod_lengths"] = tuple(_rod_length(job, piece) for piece in pieces["rod"])
    facts["rod_lines"] = tuple(dict.fromkeys(piece.layer for piece in pieces["rod"]))
    facts["fit_minutes"] = 20 + 10.0 * len(pieces["core"])
    facts["has_carbon_cloth"] = any(_is_carbon(job, la) for la in layers if la.kind == "ply")
    facts["has_carbon_rod"] = any(_is_carbon(job, la) for la in layers if la.kind == "rod")
    for use in ("prime", "infuse", "peel_ply", "wet"):
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
    seams = seams_of(pieces["core"])
    facts["has_seams"] = bool(seams)
    facts["as_one"] = ", taped together, in one" if seams else ""
    facts["seam_pairs"] = tuple(f"{s.name} between {s.between}, {s.cut}" for s in seams)
    facts["bevelled"] = any(
        e.treatment == "bevel" and not e.mate for piece in pieces["core"] for e in piece.edges
    )
    zones = _thin_zones(job)
    facts["zones"] = len(zones)
    facts["jig_minutes"] = 10 + 4.0 * len(jig)
    off = _films_off(job, rule)
    lists = {
        "layer": tuple(layer_scope(job, rule, la, needs) for la in layers),
        "cloth_piece": tuple(piece_scope(job, p) for p in pieces["ply"]),
        "film_off": tuple(piece_scope(job, p) for p in off),
        "film_piece": tuple(piece_scope(job, p) for p in films),
        "panel": tuple(panel_scope(job, p) for p in pieces["core"]),
        "insert_piece": tuple(piece_scope(job, p) for p in pieces["insert"]),
        "rod_piece": tuple(piece_scope(job, p) for p in pieces["rod"]),
        "roll": source_scopes(job, [*pieces["ply"], *films]),
        "bar": source_scopes(job, pieces["rod"]),
        "cut": _cut_scopes(job, bag),
        "seam": seam_scopes(seams),
        "coat": tuple(Scope({"coat": n + 1}) for n in range(int(figure("wax_coats")))),
        "station": tuple(Scope({"station": name}) for name in _stations(job)),
        "trim_edge": tuple(
            Scope({"edge": e.edge, "trim": job.length(e.trim_mm)})
            for e in job.spec.edges
            if e.trim_mm > 0
        ),
        "zone": tuple(_zone_scope(job, zone) for zone in zones),
        "measure": tuple(
            _measure_scope(number, m) for number, m in enumerate(jig, 1) if m.unit != "screws"
        ),
        "screws": tuple(
            _measure_scope(number, m) for number, m in enumerate(jig, 1) if m.unit == "screws"
        ),
    }
    facts["has_films_off"] = bool(off)
    facts["films_off"] = _ids(off)
    facts["known_rolls"] = bool(lists["roll"])
    facts["has_trim"] = bool(lists["trim_edge"])
    facts["trims"] = _trims(job)
    facts["keeps_peel_ply"] = bool(facts["peel_ply_on"]) and not off
    facts["peel_mass"] = _peel_mass(job, rule) if facts["keeps_peel_ply"] else ""
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


def _part_facts(job: Job) -> dict[str, Fact | float]:
    part, mould = job.spec.part, job.spec.mould
    hands = {"left": ", LEFT hand", "right": ", RIGHT hand"}
    layers = job.laminate.layers
    area = job.face.area_mm2 / 1e6
    mass = job.laminate.mass_g
    corners, male = _has_corners(job), isinstance(mould, StationMould) and mould.form == "male"
    stations = _stations(job)
    card = job.consumable("mould_tape")
    if stations:
        lines = ("its station lines to the marks on the flange",
                 "their station lines to the marks on the flange")  # fmt: skip
    else:
        lines = ("its axis and datum corner to the marks on the plate",
                 "their axes and datum corners to the marks on the plate")  # fmt: skip
    return {
        "part": part.number,
        "name": part.name,
        "revision": part.revision,
        "hand_words": hands.get(part.hand, ""),
        "mould_word": "mould plate"
        if isinstance(mould, OutlineMould)
        else "outside of the plug"
        if male
        else "inside of the mould",
        "is_male": male,
        "its_lines": lines[0],
        "their_lines": lines[1],
        "has_stations": bool(stations),
        "axis_way": " from root to tip" if stations else "",
        "curved": not job.face.flat,
        "into_corners": corners and not male,
        "round_corners": corners and male,
        "stations": stations,
        "mould_tape": _inline(card.name) if card else "packing tape",
        "mould_tape_run": job.run(mould_tape_mm(job)),
        "tape_way": "along the part" if not job.face.flat else "one way",
        "seal_minutes": 15 + 20 * area,
        "wax_minutes": figure("wax_coats") * (4 + 6 * area),
        "trim_minutes": 20 + ring_length_mm(job.face.outline_mm) / 100,
        "large": max(np.ptp(job.face.outline_mm, axis=0)) > _LARGE_MM,
        "core_at_edge": _core_at_edge(job),
        "has_carbon": any(_is_carbon(job, la) for la in layers),
        "any_core": any(la.kind == "core" for la in layers),
        "mass": f"{mass / 1000:.2f} kg" if mass >= 1000 else f"{mass:.0f} g",
        "has_mass": mass > 0,
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
        "over_quoted": False,
        "quoted_mass": "",
        "largest_cup": "",
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
        facts["resin_place"] = f"the {edge_beside(job, *ports['resin inlet'])} edge"
        facts["vacuum_edge"] = f"the {edge_beside(job, *ports['vacuum port'])} edge"
        facts["gauge_place"] = "at the far end of the vacuum line"
        facts["flow_length"] = job.length(round(flow_length_mm(bag), -1))
        resin = job.resin(rule)
        if resin is not None:
            strip = min(_STRIP_MM, flow_length_mm(bag))
            life = pot_life_s(resin, job.spec.workshop.room_c)
            limit = strip_limit_s(flow_length_mm(bag), strip, life)
            facts["strip_length"] = job.about(strip)
            facts["strip_minutes"] = round(limit / 60, 1)
            facts["strip_time"] = minutes_text(limit) if limit >= 600 else f"{limit:.0f} s"
    return facts


def strip_limit_s(way_mm: float, strip_mm: float, pot_life_s: float) -> float:
    """How long a test strip may take to fill, so that the whole part is full in half a pot life.

    Darcy's law for a straight front at constant vacuum gives t = porosity x viscosity x L^2 /
    (2 x permeability x pressure): with the same stack and vacuum, time goes with the square of
    the way. The half is a margin for resin that thickens as it flows.

    Args:
        way_mm: longest way of the resin in the part.
        strip_mm: length of the strip.
        pot_life_s: of the resin in the room.
    """
    return pot_life_s / 2 * (strip_mm / way_mm) ** 2


def _default_facts(job: Job) -> dict:
    names = {"peel_ply": "peel ply", "wax": "mould wax", "release_coat": "release film (PVA)",
             "spray_tack": "resin-soluble spray tack"}  # fmt: skip
    facts: dict[str, Fact | float] = {}
    for role, plain in names.items():
        card = job.consumable(role)
        facts["tack" if role == "spray_tack" else role] = _inline(card.name) if card else plain
    for name in ("wax_wait", "release_wait"):
        facts[name] = minutes_text(figure(name) * 60)
        facts[f"{name}_seconds"] = figure(name) * 60
    inches = job.spec.part.units == "in"
    facts["butt_gap"] = job.length(figure("butt_gap"))
    facts["hole_size"] = "3/32 to 1/8 in" if inches else "2 to 3 mm"
    facts["trim_outside"] = "about 1/16 in" if inches else "1 to 2 mm"
    facts["wax_coats"] = int(figure("wax_coats"))
    facts["panel_minutes"] = figure("panel_minutes")
    for name, source in (
        ("pleat_height", "pleat_height"),
        ("pleat_pitch", "pleat_pitch"), ("mesh_stop", "mesh_short_of_vacuum"),
        ("seam_gap", "seam_gap"), ("perforation_pitch", "perforation_pitch"),
    ):  # fmt: skip
        facts[name] = job.about(figure(source))
    room = margins(job)
    facts["peel_margin"] = job.about(room.peel_ply)
    facts["breather_margin"] = job.about(room.breather)
    facts["tape_margin"] = job.about(room.tape)
    return facts


def _pieces(job: Job, layers: tuple[LaidLayer, ...], kind: str) -> list[Piece]:
    return [p for la in layers if la.kind == kind for p in job.pieces_of(la)]


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


def _zone_scope(job: Job, zone: Zone) -> Scope:
    """A zone named by its stack and the edge it lies at, so that it is found on the part."""
    spot = zone.region.representative_point()
    edge = edge_beside(job, spot.x, spot.y)
    return Scope(
        {
            "zone_where": f"zone {zone.label}, {zone.code}, towards the {edge} edge",
            "thickness_mm": round(zone.thickness_mm, 2),
            "thickness_tolerance_mm": max(0.1, round(zone.thickness_mm * 0.1, 2)),
        }
    )


def _trims(job: Job) -> tuple[str, ...]:
    """What stands over at each edge; edges with the same trim are named together."""
    by_trim: dict[str, list[str]] = {}
    for edge in job.spec.edges:
        if edge.trim_mm > 0:
            by_trim.setdefault(job.length(edge.trim_mm), []).append(edge.edge)
    if len(by_trim) == 1 and len(*by_trim.values()) == len(job.face.edges):
        return (f"{next(iter(by_trim))} at every edge",)
    return tuple(
        f"{trim} at the {listed(names)} {'edge' if len(names) == 1 else 'edges'}"
        for trim, names in by_trim.items()
    )


def _peel_mass(job: Job, rule: StageRule) -> str:
    """What the peel ply that is still on weighs, cloth and resin, for the end of a sentence."""
    last = job.laying_before(rule.id)[-1]
    card = peel_ply_of(job)
    layers = tuple(la for la in job.layers_of(last.id) if la.kind in ("ply", "rod"))
    if not job.lays_peel_ply(last.id) or card.areal_g_m2 <= 0 or not layers:
        return ""
    grams = (card.areal_g_m2 + card.resin_uptake_g_m2) * job.region(layers).area / 1e6
    return f" (what is still on of it weighs up to {grams:.0f} g)"


def _core_at_edge(job: Job) -> bool:
    """Whether core reaches the net line anywhere, so that trimming opens it."""
    import shapely

    cores = tuple(la for la in job.laminate.layers if la.kind == "core")
    if not cores:
        return False
    line = shapely.LinearRing(job.face.outline_mm)
    return job.region(cores).distance(line) < 1.0


def _rod_length(job: Job, piece: Piece) -> str:
    """One rod and its length: "LC.1 2800 mm", "LC 3000 mm, 4 times"."""
    facts = piece_scope(job, piece).facts
    return f"{piece.id} {facts['length']}{facts['times']}"


def _measure_scope(number: int, measure: Measure) -> Scope:
    return Scope(
        {
            "number": number,
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


def _inline(name: str) -> str:
    """The name of a consumable inside a sentence: "Mould wax" as "mould wax", "PVA ..." as is."""
    return name[:1].lower() + name[1:] if name[1:2].islower() else name
