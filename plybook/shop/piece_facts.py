"""The facts about layers, pieces, edges and seams, for the sentences of `trade/`."""

from __future__ import annotations

import re
from dataclasses import dataclass

from plybook.laminate.model import LaidLayer, Piece, PieceEdge
from plybook.laminate.notation import fibre_directions
from plybook.shop.job import Job
from plybook.shop.mixing import Need
from plybook.shop.words import Fact, Scope, counted, degrees_text, listed
from plybook.spec.model import HOLES, Film, Ply, Rod, StageRule
from plybook.units import show_number

Needs = dict[tuple[str, str], Need]
_STRETCH = re.compile(r" \(\d+\)$")


def layer_scope(job: Job, rule: StageRule, layer: LaidLayer, needs: Needs) -> Scope:
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
    seams = seams_of(pieces) if layer.kind == "core" else ()
    facts: dict[str, Fact] = {
        "layer": layer.id,
        "material": job.name(layer.material),
        "angle": degrees_text(layer.angle_deg),
        **_fibre_facts(job, layer),
        "pieces": tuple(p.id for p in pieces),
        "one_piece": len(pieces) == 1,
        "in_order": ", in that order" if len(pieces) > 1 else "",
        "lay_minutes": base,
        "first_on_mould": bool(job.laminate.layers) and job.laminate.layers[0].id == layer.id,
        "butts": kinds == {"butt"},
        "overlaps_cloth": kinds == {"overlap"} and len(overlaps) == 1,
        "mixed_splices": len(kinds) > 1 or (kinds == {"overlap"} and len(overlaps) > 1),
        "overlap": job.length(max(overlaps)) if overlaps else "",
        **_note_facts(job, layer),
        "has_seams": bool(seams),
        "seams": tuple(seam.name for seam in seams),
        "has_bevels": any(e.treatment == "bevel" for p in pieces for e in p.edges if not e.mate),
        "resin_shows": "at the holes all over"
        if getattr(source, "perforate", True)
        else "all round",
        "seam_butter": _butter(seams, any(inserts_let_in(p) for p in pieces)),
        "perforate": getattr(source, "perforate", True),
        "wets": need is not None,
        "core_covered": layer.kind == "core" and job.is_covered(layer),
        "core_line": _place_words(job),
        **_drop_facts(job, layer, source),
        **_film_facts(job, source),
        **_insert_facts(job, layer),
    }
    for use in ("neat", "bond"):
        coat = needs.get((use, layer.id))
        facts[f"{use}_minutes"] = max(5.0, coat.seconds / 60) if coat else 5.0
    neat = needs.get(("neat", layer.id))
    sides = 2 if facts["core_covered"] else 1
    facts["neat_side"] = f"{neat.mass_g / sides:.0f} g" if neat else ""
    for kind in ("ply", "core", "insert", "rod", "film"):
        facts[f"is_{kind}"] = layer.kind == kind
    rods = sum(p.quantity for p in pieces)
    facts["rod_counts"] = f"{counted(rods, 'rod')} side by side" if rods > 1 else "one rod"
    lists = {
        "panel": tuple(panel_scope(job, p) for p in pieces) if layer.kind == "core" else (),
        "seam": seam_scopes(seams),
    }
    return Scope(facts, lists)


def _note_facts(job: Job, layer: LaidLayer) -> dict:
    source = job.spec_layers.get(layer.id)
    note = layer.note or (source.note if source is not None else "")
    return {"has_note": bool(note), "note": _sentence(note) if note else ""}


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
    if drop is None or before is None:
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
    }


def _insert_facts(job: Job, layer: LaidLayer) -> dict:
    source = job.spec_layers.get(layer.id)
    core = getattr(source, "core", "")
    return {
        "in_core": bool(core),
        "core": core,
        "in_core_words": f" in its opening in {core}" if core else "",
    }


def piece_scope(job: Job, piece: Piece) -> Scope:
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
            "material": job.name(piece.material),
            "thickness": f"{show_number(piece.thickness_mm, 2)} mm",
            "times": f", {piece.quantity} times" if piece.quantity > 1 else "",
            "length": job.placed(length),
            "source": listed(unit.id for unit in units) if units else "its stock",
            **_insert_facts(job, layer),
            **_note_facts(job, layer),
        }
    )


def _fibre_facts(job: Job, layer: LaidLayer) -> dict[str, Fact]:
    """How the fibres of a layer lie: along its angle, or as a stitched cloth has them; a mat has
    none."""
    cloth = job.spec.materials.cloths.get(layer.material)
    weave = cloth.weave if cloth is not None and layer.kind == "ply" else ""
    turns = sorted(fibre_directions(cloth, layer.angle_deg)) if cloth is not None else []
    return {
        "one_fibre": weave not in ("biaxial", "triaxial", "mat"),
        "stitched": weave in ("biaxial", "triaxial"),
        "fibre_angles": listed(degrees_text(turn) for turn in turns),
    }


def panel_scope(job: Job, piece: Piece) -> Scope:
    base = piece_scope(job, piece)
    outer = [e for e in piece.edges if not e.mate]
    bevels = [e for e in outer if e.treatment == "bevel"]
    scarfs = [e for e in piece.edges if e.treatment == "scarf"]
    joined = [e for e in piece.edges if e.mate and e.treatment == "square"]
    planed = [e for e in joined if _is_planed(piece, e)]
    seams = [e for e in joined if e not in planed]
    squares = [e for e in outer if e.treatment == "square"]
    wide = {e.wide_side for e in bevels} or {"mould"}
    core = job.spec_layers.get(piece.layer)
    stock = job.spec.materials.cores.get(piece.material)
    let_in = inserts_let_in(piece)
    holes = piece.hole_names.count("")
    facts: dict[str, Fact] = {
        "bevels": _names(bevels),
        "has_bevels": bool(bevels),
        "bevel_angle": _angles(bevels),
        "wide_side": listed(sorted(wide)),
        "narrow_side": "bag" if wide == {"mould"} else "mould" if wide == {"bag"} else "narrow",
        "seams": _names(seams),
        "has_seams": bool(seams),
        "mates": tuple(dict.fromkeys(e.mate for e in seams)),
        "square_edges": _names(squares),
        "has_square_edges": bool(squares),
        "has_openings": bool(let_in),
        "openings": len(let_in),
        "inserts": let_in,
        "has_holes": holes > 0,
        "holes": holes,
        "hole_cut": _hole_cut(core) if holes else "",
        "perforate": bool(getattr(core, "perforate", True)),
        "has_grain": bool(stock and stock.grain),
    }
    lists = {
        "bevel": tuple(Scope({"edge": name, "angle": _angles(bevels)}) for name in _names(bevels)),
        "scarf": tuple(_scarf_scope(edge) for edge in scarfs),
        "seam_edge": tuple(Scope({"edge": _edge_name(e), "mate": e.mate}) for e in seams),
        "planed_edge": tuple(Scope({"edge": _edge_name(e), "mate": e.mate}) for e in planed),
        "panel_note": tuple(
            Scope({"note": _sentence(note)}) for note in map(_panel_note, piece.notes) if note
        ),
    }
    return Scope({**base.facts, **facts}, lists)


def inserts_let_in(piece: Piece) -> tuple[str, ...]:
    """The inserts a panel is cut out for, in holes or at its edges."""
    edges = (_edge_name(e) for e in piece.edges)
    at_edges = (name.removeprefix("let-in ") for name in edges if name.startswith("let-in "))
    return tuple(dict.fromkeys([*filter(None, piece.hole_names), *at_edges]))


def _hole_cut(core) -> str:
    """How the openings of a core are cut, for the end of a sentence."""
    cut = core.cuts[HOLES]
    if cut.kind not in ("bevel", "scarf"):
        return "SQUARE, no bevel"
    narrow = "bag" if cut.wide_side == "mould" else "mould"
    return (
        f"with a bevel of {cut.angle_deg:g}°: the inner line on the {cut.wide_side} side, out to "
        f"the wider line on the {narrow} side"
    )


def _scarf_scope(edge: PieceEdge) -> Scope:
    """A scarf wide on the mould side slopes up to the bag, so the other panel lies on it."""
    wide_below = edge.wide_side == "mould"
    return Scope(
        {
            "edge": _edge_name(edge),
            "angle": f"{edge.angle_deg:g}°",
            "slope_side": "bag" if wide_below else "mould",
            "under": "under" if wide_below else "over",
            "mate": edge.mate or "what it meets",
        }
    )


def _place_words(job: Job) -> str:
    """Where a core goes that lies on wet cloth, where nothing can be drawn."""
    if job.face.station_lines:
        return "with its station lines on the marks on the flange"
    return "with its axis and datum corner on the marks on the plate"


def _names(edges: list[PieceEdge]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(_edge_name(e) for e in edges))


def _angles(edges: list[PieceEdge]) -> str:
    return listed((f"{a:g}°" for a in sorted({e.angle_deg for e in edges})), "or")


@dataclass(frozen=True)
class Seam:
    name: str
    between: str
    cut: str  # "square", "scarfed at 20°"


def seams_of(pieces) -> tuple[Seam, ...]:
    """Each seam between two panels once."""
    found: dict[tuple[str, ...], Seam] = {}
    for piece in pieces:
        for edge in piece.edges:
            if edge.mate:
                pair = tuple(sorted((piece.id, edge.mate)))
                words = {"scarf": "scarfed", "bevel": "bevelled"}.get(edge.treatment)
                cut = f"{words} at {edge.angle_deg:g}°" if words else "square"
                name = _edge_name(edge).removeprefix("seam ")
                found.setdefault(pair, Seam(name, listed(pair), cut))
    return tuple(found.values())


def seam_scopes(seams: tuple[Seam, ...]) -> tuple[Scope, ...]:
    return tuple(Scope({"seam": s.name, "between": s.between, "cut": s.cut}) for s in seams)


def _butter(seams, openings: bool) -> str:
    """Where else the thickened coat goes, for the end of a sentence."""
    places = [*(["the seam faces"] if seams else []),
              *(["the walls of the openings"] if openings else [])]  # fmt: skip
    return f", and butter {listed(places)}" if places else ""


def _edge_name(edge: PieceEdge) -> str:
    """The name without the number that tells two stretches of one edge apart."""
    return _STRETCH.sub("", edge.name)


def _is_planed(piece: Piece, edge: PieceEdge) -> bool:
    """Whether a square edge is planed after it is cut, to meet its mate where the face breaks."""
    words = f"{_edge_name(edge)} to {edge.mate}: SQUARE, then planed"
    return any(note.startswith(words) for note in piece.notes)


def _panel_note(text: str) -> str:
    """What a note of a panel adds to the words of the step, "" for nothing."""
    if text.startswith("seam "):
        head, _, more = text.partition("; ")
        return f"{head.partition(':')[0]}: {more}" if more else ""
    return "" if text.startswith(("mould side down", "hole for ", "opening: ")) else text


def source_scopes(job: Job, pieces: list[Piece]) -> tuple[Scope, ...]:
    """Stock units with the pieces of this stage that come from each."""
    units: dict[str, tuple[str, list[str]]] = {}
    for piece in pieces:
        for unit in job.units_of_piece.get(piece.id, ()):
            name = job.name(unit.material)
            units.setdefault(unit.id, (name, []))[1].append(piece.id)
    return tuple(
        Scope({"unit": unit, "material": name, "unit_pieces": tuple(ids)})
        for unit, (name, ids) in units.items()
    )


def _sentence(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "!", "?")) else f"{text}."
