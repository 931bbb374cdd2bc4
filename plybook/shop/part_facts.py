"""Facts about the part as a whole: its mould, its names for things, trim, zones and the jig.

The same in every stage; what belongs to one stage, layer or piece stands beside this file.
"""

from __future__ import annotations

import numpy as np

from plybook.laminate.model import LaidLayer, Zone
from plybook.shop.bagging import edge_beside, margins, mould_tape_mm
from plybook.shop.job import Job
from plybook.shop.model import Measure
from plybook.shop.outlines import ring_length_mm
from plybook.shop.resin import peel_ply_of
from plybook.shop.standard import figure
from plybook.shop.words import Fact, Scope, counted, listed, minutes_text
from plybook.spec.model import OutlineMould, StageRule, StationMould
from plybook.units import show_mass, told_grams

_LARGE_MM = 1500.0  # a part as long wants two people to lift it
_MOST_ZONES = 6  # thickness is measured in so many zones, the largest ones
_CARBON_G_CM3 = (1.65, 2.1)  # fibre density that can only be carbon among the usual ones


def part_facts(job: Job) -> dict[str, Fact]:
    """The part, its mould, its reference lines and what it weighs."""
    part, mould = job.spec.part, job.spec.mould
    hands = {"left": ", LEFT hand", "right": ", RIGHT hand"}
    layers = job.laminate.layers
    area = job.face.area_mm2 / 1e6
    mass = job.budget.part_g
    corners, male = _has_corners(job), isinstance(mould, StationMould) and mould.form == "male"
    stations = stations_of(job)
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
        "has_setout": job.has_setout,
        "lines_on": "flange" if stations else "plate",
        "axis_way": " from root to tip" if stations else "",
        "curved": not job.face.flat,
        "into_corners": corners and not male,
        "round_corners": corners and male,
        "stations": stations,
        "mould_tape": inline(card.name) if card else "packing tape",
        "mould_tape_run": job.run(mould_tape_mm(job)),
        "tape_way": "along the part" if not job.face.flat else "one way",
        "seal_minutes": 15 + 20 * area,
        "wax_minutes": figure("wax_coats") * (4 + 6 * area),
        "trim_minutes": 20 + ring_length_mm(job.face.outline_mm) / 100,
        "large": max(np.ptp(job.face.outline_mm, axis=0)) > _LARGE_MM,
        "core_at_edge": _core_at_edge(job),
        "has_carbon": any(is_carbon(job, la) for la in layers),
        "any_core": any(la.kind == "core" for la in layers),
        "mass": show_mass(mass),
        "has_mass": mass > 0,
        "mass_g": told_grams(mass),
        "mass_tolerance_g": told_grams(mass * figure("mass_tolerance") / 100),
    }


def default_facts(job: Job) -> dict:
    """Names of what is used up, and the usual waits, margins and sizes in the part's own unit."""
    names = {"peel_ply": "peel ply", "wax": "mould wax", "release_coat": "release film (PVA)",
             "spray_tack": "resin-soluble spray tack"}  # fmt: skip
    facts: dict[str, Fact] = {}
    for role, plain in names.items():
        card = job.consumable(role)
        facts["tack" if role == "spray_tack" else role] = inline(card.name) if card else plain
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


def thin_zones(job: Job):
    """The largest zones without core or insert, where a caliper can close on the laminate."""
    thick = {la.id for la in job.laminate.layers if la.kind in ("core", "insert")}
    zones = [zone for zone in job.laminate.zones if not thick & set(zone.layers)]
    largest = sorted(zones, key=lambda zone: -zone.area_m2)[:_MOST_ZONES]
    return tuple(zone for zone in zones if zone in largest)


def zone_scope(job: Job, zone: Zone) -> Scope:
    """A zone named so that it is found on the part: its label, its layers, the edge it lies at."""
    spot = zone.region.representative_point()
    edge = edge_beside(job, spot.x, spot.y)
    stack = counted(len(zone.layers), "layer")
    return Scope(
        {
            "zone_where": f"zone {zone.label}, {stack}, towards the {edge} edge",
            "thickness_mm": round(zone.thickness_mm, 2),
            "thickness_tolerance_mm": max(0.1, round(zone.thickness_mm * 0.1, 2)),
        }
    )


def hole_scope(job: Job, ring_mm: np.ndarray) -> Scope:
    """A hole of the part by its size and its place on the face."""
    size, middle = np.ptp(ring_mm, axis=0), (ring_mm.min(axis=0) + ring_mm.max(axis=0)) / 2
    wide, deep = (job.placed(float(v)) for v in size)
    across = wide if wide == deep else f"{wide} by {deep}"
    x, y = (job.placed(float(v)) for v in middle)
    return Scope({"across": across, "hole_at": f"x {x}, y {y}"})


def trims(job: Job) -> tuple[str, ...]:
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


def peel_mass(job: Job, rule: StageRule) -> str:
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


def measure_scope(number: int, measure: Measure) -> Scope:
    """A jig figure with its number on the jig card."""
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


def _has_corners(job: Job) -> bool:
    from plybook.spec.model import PolylineSection

    mould = job.spec.mould
    return isinstance(mould, StationMould) and any(
        isinstance(s.section, PolylineSection) for s in mould.stations
    )


def stations_of(job: Job) -> tuple[str, ...]:
    """Names of the stations, with their span in the part's own unit."""
    if not isinstance(job.spec.mould, StationMould):
        return tuple(line.label for line in job.face.station_lines)
    return tuple(f"{x.label} ({job.length(x.span_mm)})" for x in job.face.station_lines)


def is_carbon(job: Job, layer: LaidLayer) -> bool:
    """Whether a layer is of carbon fibre, by the density of its fibre or the name of its rod."""
    cloth = job.spec.materials.cloths.get(layer.material)
    if cloth is not None:
        return _CARBON_G_CM3[0] <= cloth.fibre_g_cm3 <= _CARBON_G_CM3[1]
    rod = job.spec.materials.rods.get(layer.material)
    return rod is not None and "carbon" in f"{rod.id} {rod.name}".lower()


def inline(name: str) -> str:
    """The name of a consumable inside a sentence: "Mould wax" as "mould wax", "PVA ..." as is."""
    return name[:1].lower() + name[1:] if name[1:2].islower() else name
