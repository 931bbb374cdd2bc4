"""Materials: from the files to one shelf, with what is not written worked out."""

from __future__ import annotations

from collections.abc import Sequence

from plybook.diagnostics import Place
from plybook.spec.collect import Collector
from plybook.spec.model import (
    Cloth,
    Consumable,
    CoreStock,
    Elastic,
    Materials,
    Resin,
    RodStock,
    SpliceRule,
    ThickenedResin,
    WorkLimits,
)
from plybook.spec.written.materials import ClothMaterial, MaterialShelf
from plybook.units import bare_mm, mm

# density of the fibre alone, g/cm3; usual data-sheet values, from memory
FIBRE_G_CM3 = {"carbon": 1.80, "glass": 2.54, "aramid": 1.44}
PLAUSIBLE_AREAL_G_M2 = (10.0, 3000.0)
PLAUSIBLE_ROLL_MM = (20.0, 4000.0)
_USUAL_ROLL_MM = 1270.0  # 50 in
LEAST_CORE_MM = 1.0  # the thinnest mats and foams that are sold as core; from memory
# hardener to 100 of resin by weight: a peroxide for polyester takes 1 to 3, amines for epoxy 10 to
# 100; from memory of data sheets
HARDENER_PERCENT = (0.5, 120.0)

# per weave: faces alike, warp and weft alike, locking angle, strain limit %, usual splice;
# common practice, no source
_WEAVE = {
    "unidirectional": (True, False, 5.0, 0.2),
    "plain": (True, True, 35.0, 0.5),
    "twill": (False, True, 40.0, 0.5),
    "satin": (False, False, 45.0, 0.5),
    "biaxial": (False, False, 30.0, 0.3),
    "triaxial": (False, False, 20.0, 0.3),
    "mat": (True, True, 60.0, 1.0),
}
_THICKNESS_TOLERANCE = 0.10  # of the worked thickness; common practice, no source
_MOST_FIBRE_SHARE = 0.785  # parallel round fibres in a square array touch: pi / 4 (geometry)
_DEFAULT_FIBRE_SHARE = 0.40  # wet lay-up by hand; common practice, no source
_DEFAULT_OVERLAP_MM = 25.0
_DEFAULT_STAGGER_MM = 50.0
_DEFAULT_NARROWEST_MM = 100.0


def resolve_materials(shelves: list[MaterialShelf], out: Collector) -> Materials:
    """Put the materials of all files on one shelf.

    Args:
        shelves: in the order of inclusion.
        out: takes the findings (an id used twice, implausible figures, unknown resins).
    """
    seen: dict[str, Place] = {}
    found: dict[str, dict] = {kind: {} for kind in MaterialShelf.model_fields}
    for shelf in shelves:
        for kind, by_id in found.items():
            for name, written in getattr(shelf, kind).items():
                place = shelf.entry_place(kind, name)
                if name in seen:
                    out.error(
                        "duplicate-id",
                        f"material `{name}` is defined twice",
                        "give one of them another id",
                        place,
                        seen[name],
                    )
                    continue
                seen[name] = place
                by_id[name] = _MAKERS[kind](name, written, place, out)
    for cloth in found["cloths"].values():
        if cloth.resin and cloth.resin not in found["resins"]:
            out.unknown("resin", cloth.resin, found["resins"], cloth.place)
    for thick in found["thickened"].values():
        if thick.resin not in found["resins"]:
            out.unknown("resin", thick.resin, found["resins"], thick.place)
    return Materials(**found)


def cured_thickness_mm(areal_g_m2: float, fibre_g_cm3: float, fibre_volume_share: float) -> float:
    """Thickness of one cured ply without voids: areal weight / (fibre density x volume share)."""
    return areal_g_m2 / (fibre_g_cm3 * fibre_volume_share) / 1000.0


def _cloth(name: str, w: ClothMaterial, place: Place, out: Collector) -> Cloth:
    faces, axes, locking, strain = _WEAVE[w.weave]
    density = w.fibre_density or FIBRE_G_CM3.get(w.fibre)
    if density is None:
        out.error(
            "missing",
            f"cloth `{name}` says neither its fibre nor the fibre's density",
            "add `fibre: carbon` (or glass, aramid) or `fibre_density: 1.8`",
            place,
        )
        density = 1.8
    share = w.fibre_share or _share_of_thickness(w, density) or _DEFAULT_FIBRE_SHARE
    worked = cured_thickness_mm(w.weight, density, share)
    low, high = PLAUSIBLE_AREAL_G_M2
    if not low <= w.weight <= high:
        out.warning(
            "implausible-weight",
            f"cloth `{name}` weighs {w.weight:g} g/m2, outside {low:g} to {high:g} g/m2",
            "is the unit right? write 200 g/m2 or 5.9 oz/yd2",
            w.place_of("weight"),
        )
    elif w.thickness and abs(w.thickness / worked - 1) > _THICKNESS_TOLERANCE:
        implied = cured_thickness_mm(w.weight, density, 1.0) / w.thickness
        out.warning(
            "implausible-thickness",
            f"cloth `{name}`: weight {w.weight:g} g/m2 and a fibre share of {share:.2f} give a ply "
            f"of {mm(worked):.3f}, but the card says {mm(w.thickness):g}, which would be a share "
            f"of {implied:.2f}",
            "correct the one that is wrong; leave out `thickness` or `fibre_share`, and it is "
            "worked out from the rest",
            w.place_of("thickness"),
        )
    usable = w.usable or w.roll
    if usable > w.roll:
        out.error(
            "out-of-range",
            f"cloth `{name}`: usable width {mm(usable):g} is more than the roll's {mm(w.roll):g}",
            "swap them, or leave `usable` out",
            w.place_of("usable"),
            w.place_of("roll"),
        )
    if w.elastic and w.elastic.nu12**2 >= w.elastic.e1 / w.elastic.e2:
        # a ply beyond it would give energy when strained (Jones, Mechanics of Composite
        # Materials, 2nd ed. 1999, section 2.4; from memory)
        out.error(
            "out-of-range",
            f"cloth `{name}`: nu12 is {w.elastic.nu12:g}, expected less than the square root of "
            f"e1 / e2, {(w.elastic.e1 / w.elastic.e2) ** 0.5:.3g}",
            "check the three figures on the data sheet",
            w.elastic.place_of("nu12"),
        )
    _plausible_roll(name, w.roll, w.place_of("roll"), out)
    fibres = _fibres(name, w, out)
    s = w.splice
    splice = SpliceRule(
        s.join.kind if s else "overlap",
        s.join.overlap_mm if s else _DEFAULT_OVERLAP_MM,
        _DEFAULT_STAGGER_MM if s is None or s.stagger is None else s.stagger,
        _DEFAULT_NARROWEST_MM if s is None or s.narrowest is None else s.narrowest,
    )
    if s and s.keep_clear:
        out.error(
            "misplaced-key",
            "`keep_clear` belongs to a part, not to a cloth",
            "write it under `splices:` of the part spec",
            s.key_place("keep_clear"),
        )
    return Cloth(
        id=name,
        name=w.name,
        weave=w.weave,
        areal_g_m2=w.weight,
        fibre_g_cm3=density,
        fibre_volume_share=share,
        thickness_mm=w.thickness or worked,
        roll_width_mm=w.roll,
        usable_width_mm=usable,
        faces_alike=faces if w.faces_alike is None else w.faces_alike,
        axes_alike=axes if w.axes_alike is None else w.axes_alike,
        splice=splice,
        strain_limit_pct=strain if w.strain_limit is None else w.strain_limit,
        locking_deg=locking if w.locking is None else w.locking,
        least_bend_mm=w.least_bend,
        resin=w.resin or "",
        elastic=Elastic(w.elastic.e1, w.elastic.e2, w.elastic.g12, w.elastic.nu12)
        if w.elastic
        else None,
        price=w.price,
        data_sheet=w.data_sheet,
        place=place,
        fibres_deg=fibres,
    )


_PLIES_OF = {"biaxial": 2, "triaxial": 3}  # of a stitched cloth


def _fibres(name: str, w: ClothMaterial, out: Collector) -> tuple[float, ...] | None:
    """The fibre directions that a stitched cloth says; None where none or wrong ones."""
    if w.fibres is None:
        return None
    count = _PLIES_OF.get(w.weave)
    if count is None:
        out.error(
            "wrong-fibres",
            f"cloth `{name}` is not stitched, but says directions of its fibres",
            "take `fibres` out: only biaxial and triaxial cloths have it",
            w.place_of("fibres"),
        )
        return None
    folded = [(a + 90.0) % 180.0 - 90.0 for a in w.fibres]
    axes = sorted(abs(a) if abs(a) == 90.0 else a for a in folded)
    mirrored = sorted(abs(a) if abs(a) == 90.0 else -a for a in folded)
    if len(set(axes)) != count or len(axes) != count:
        wrong = f"a {w.weave} cloth has {count} different directions of fibres, `{name}` says "
        wrong += ", ".join(f"{a:g}" for a in w.fibres)
    elif axes != mirrored:
        wrong = f"the fibres of `{name}` are not alike on both sides of the warp"
    else:
        return tuple(axes)
    out.error(
        "wrong-fibres",
        wrong,
        "write them from the warp, like `fibres: [0, 90]` or `[45, -45]`: a cloth that is not "
        "alike on both sides of its warp would be another cloth on the other hand",
        w.place_of("fibres"),
    )
    return None


def _share_of_thickness(w: ClothMaterial, fibre_g_cm3: float) -> float:
    """The fibre share that a thickness stands for; 0 where none can be told from it."""
    if not w.thickness:
        return 0.0
    share = cured_thickness_mm(w.weight, fibre_g_cm3, 1.0) / w.thickness
    return share if share <= _MOST_FIBRE_SHARE else 0.0


def _plausible_roll(name: str, width_mm: float, place: Place, out: Collector) -> None:
    low, high = PLAUSIBLE_ROLL_MM
    if not low <= width_mm <= high:
        out.warning(
            "implausible-roll",
            f"`{name}` comes on a roll {mm(width_mm):g} wide, "
            f"outside {bare_mm(low):g} to {mm(high):g}",
            f"is the unit right? write it with its unit, as in `roll: {mm(_USUAL_ROLL_MM):g}` or "
            f"`roll: {_USUAL_ROLL_MM / 1000:g} m`",
            place,
        )


def _core(name, w, place, out) -> CoreStock:
    if len(w.sheet) != 2:
        out.error(
            "not-a-size",
            f"core `{name}`: the sheet has {len(w.sheet)} sizes, expected length and width",
            "write it like [8 ft, 4 ft]",
            w.place_of("sheet"),
        )
    sheet = (w.sheet[0], w.sheet[-1]) if w.sheet else (1.0, 1.0)
    if w.use == "core" and w.thickness < LEAST_CORE_MM:
        out.warning(
            "implausible-core",
            f"core `{name}` is {mm(w.thickness):g} thick; none is sold under {mm(LEAST_CORE_MM):g}",
            f"is the unit right? for half an inch write `thickness: 1/2 in`, for 6 mm "
            f"`thickness: {bare_mm(6):g}`",
            w.place_of("thickness"),
        )
    return CoreStock(
        name,
        w.name,
        w.thickness,
        w.density,
        sheet,
        w.grain,
        w.resin_uptake,
        w.least_bend,
        w.price,
        w.data_sheet,
        w.use,
        place,
    )


def _rod(name, w, place, out) -> RodStock:
    if not w.supply:
        out.error(
            "empty",
            f"rod `{name}` is sold in no length",
            "add one: supply: [50 m]",
            w.place_of("supply"),
        )
    return RodStock(
        name,
        w.name,
        w.width,
        w.height,
        w.density,
        tuple(w.supply),
        w.least_bend,
        w.price,
        w.data_sheet,
        place,
    )


def _consumable(name, w, place, out) -> Consumable:
    return Consumable(
        name,
        w.name,
        w.role,
        w.roll or 0.0,
        w.weight,
        w.thickness,
        w.resin_uptake,
        w.roll_length or 0.0,
        w.price,
        w.data_sheet,
        place,
    )


def _plausible_mix(
    name: str, parts: Sequence[tuple[str, float]], place: Place, out: Collector
) -> None:
    """Warn where there is more of a second part than of the first, or next to nothing of it."""
    for component, by_weight in parts[1:]:
        first, resin = parts[0]
        percent = 100.0 * by_weight / resin
        low, high = HARDENER_PERCENT
        if low <= percent <= high:
            continue
        pair = [(first, by_weight), (component, resin)]  # the figures the other way round
        if "resin" in component.lower():
            pair = [(component, by_weight), (first, resin)]
        turned = ", ".join(f"{key}: {value:g}" for key, value in pair)
        out.warning(
            "implausible-mix",
            f"resin `{name}` is mixed with {percent:.3g} parts of {component} to 100 of {first}; "
            f"resins take {low:g} to {high:g}",
            f"the resin comes first: did you mean `mix: {{{turned}}}`?"
            if len(parts) == 2 and low <= 1e4 / percent <= high
            else "check the ratio on the data sheet: by weight, not by volume",
            place,
        )


def _resin(name, w, place, out) -> Resin:
    parts = tuple(w.mix.items())
    if not parts:
        out.error(
            "empty", f"resin `{name}` has no parts", "write mix: {resin: 100, hardener: 27}", place
        )
    first = parts[0][1] if parts else 100.0
    _plausible_mix(name, parts, w.place_of("mix"), out)
    parts = tuple((component, by_weight * 100.0 / first) for component, by_weight in parts)
    return Resin(
        name,
        w.name,
        parts,
        w.density,
        w.pot_life.time,
        w.pot_life.mass,
        w.pot_life.at,
        w.largest_batch,
        w.cure,
        w.data_sheet,
        w.price,
        place,
        w.viscosity or 0.0,
        _work(name, w.work, out),
    )


def _work(name: str, w, out) -> WorkLimits | None:
    """Limits of the room a resin is worked in; both temperatures or neither."""
    if w is None:
        return None
    if (w.at_least is None) != (w.at_most is None) or (w.at_least or 0) > (w.at_most or 0):
        out.error(
            "room-limits",
            f"the room of resin `{name}` has no coldest and warmest temperature in that order",
            "write both, as in `work: {at_least: 18 C, at_most: 28 C}`",
            w.here,
        )
        return None
    if (w.humidity or 0.0) > 100.0:
        out.error(
            "room-limits",
            f"the air of resin `{name}` may have {w.humidity:g} % humidity",
            "write a percentage up to 100",
            w.place_of("humidity"),
        )
        return None
    return WorkLimits(w.at_least or 0.0, w.at_most or 0.0, w.humidity or 0.0)


def _thickened(name, w, place, out) -> ThickenedResin:
    return ThickenedResin(
        name, w.name, w.resin, w.filler, w.filler_to_resin, w.filler_density, w.coat, place
    )


_MAKERS = {
    "cloths": _cloth,
    "cores": _core,
    "rods": _rod,
    "consumables": _consumable,
    "resins": _resin,
    "thickened": _thickened,
}
