"""Edits that may mend a part whose geometry was refused: ladders of them, the least change first.

An edit is a changed spec with the words that say it as it is written in a spec. `tryout.py` finds
out which of them works.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from plybook.spec.model import (
    Common,
    Core,
    Film,
    Inset,
    Layer,
    OutlineMould,
    PartSpec,
    Ply,
    PolylineSection,
    Region,
    Station,
    StationMould,
    StockItem,
    Treatment,
    Whole,
)
from plybook.spec.mould import edge_names
from plybook.units import MM_PER_INCH, bare_mm, mm


@dataclass(frozen=True)
class Edit:
    """A spec that was changed, and the change in words."""

    words: str
    spec: PartSpec


Ladder = Sequence[Edit]
_Ways = Callable[[PartSpec, Sequence[Layer]], Iterable[Edit]]


def ladders(spec: PartSpec, code: str, layers: Sequence[Layer]) -> list[Ladder]:
    """The ladders that suit a refusal, the likeliest first; none where nothing is to be tried.

    Args:
        spec: the part.
        code: of the refusal.
        layers: that were refused; none where the face itself was.
    """
    ways = (_OF_LAYERS if layers else _OF_FACE).get(code, ())
    return [ladder for way in ways if (ladder := list(way(spec, layers)))]


def _handy(value_mm: float, spec: PartSpec) -> float:
    """A length as one would write it: whole mm, or sixteenths of an inch."""
    step = MM_PER_INCH / 16 if spec.part.units == "in" else 1.0
    return max(round(value_mm / step), 1) * step


def _with_layers(spec: PartSpec, new: Sequence[Layer]) -> PartSpec:
    by_id = {layer.id: layer for layer in new}
    return replace(spec, layers=tuple(by_id.get(x.id, x) for x in spec.layers))


def _ids(layers: Sequence[Layer]) -> str:
    return ", ".join(layer.id for layer in layers)


# ---------------------------------------------------------------- edits of cores


def _cores(spec: PartSpec, layers: Sequence[Layer]) -> list[Core]:
    """The cores that were refused, or else the topmost core under the first layer that was."""
    own = [layer for layer in layers if isinstance(layer, Core)]
    below = spec.layers[: [x.id for x in spec.layers].index(layers[0].id)]
    return own or [x for x in below if isinstance(x, Core)][-1:]


def _bevels(
    spec: PartSpec, layers: Sequence[Layer], angles: Sequence[float], steeper: bool
) -> Iterator[Edit]:
    cores = _cores(spec, layers)
    slopes = {t.angle_deg for core in cores for _, t in core.edges if t.kind == "bevel"}
    for angle in angles if slopes else ():
        if angle <= max(slopes) if steeper else angle >= min(slopes):
            continue
        cut = Treatment("square") if angle == 90.0 else Treatment("bevel", angle)
        new = [replace(core, edges=_cut_by(cut, core)) for core in cores]
        words = "`square`" if angle == 90.0 else f"`bevel {angle:g}`"
        yield Edit(f"{words} on the bevelled edges of {_ids(cores)}", _with_layers(spec, new))


def _cut_by(cut: Treatment, core: Core) -> tuple[tuple[str, Treatment], ...]:
    """The edges of a core, the bevelled ones cut otherwise."""
    return tuple(
        (name, replace(cut, wide_side=t.wide_side) if t.kind == "bevel" else t)
        for name, t in core.edges
    )


def _gentler(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    return _bevels(spec, layers, (30.0, 20.0, 12.0), steeper=False)


def _steeper(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    return _bevels(spec, layers, (60.0, 75.0, 90.0), steeper=True)


def _thinner(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    cores = _cores(spec, layers)
    for share in (0.75, 0.5, 0.25):
        new = [replace(c, thickness_mm=_handy(c.thickness_mm * share, spec)) for c in cores]
        if any(n.thickness_mm < c.thickness_mm for n, c in zip(new, cores, strict=True)):
            thick = ", ".join(f"{mm(n.thickness_mm):g}" for n in new)
            yield Edit(f"a sheet {thick} thick for {_ids(cores)}", _with_layers(spec, new))


def _further_in(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    cores, names = _cores(spec, layers), edge_names(spec.mould)
    for more_mm in (10.0, 25.0, 60.0) if cores else ():
        more = _handy(more_mm, spec)
        new = [replace(core, region=_drawn_in(core.region, more, names)) for core in cores]
        yield Edit(f"{mm(more):g} more of `inset` at every edge for {_ids(cores)}",
                   _with_layers(spec, new))  # fmt: skip


def _drawn_in(region: Region, by_mm: float, names: Sequence[str]) -> Region:
    """A region with a larger inset at every edge; one that has none is given it."""
    match region:
        case Whole():
            return Inset(tuple((name, by_mm) for name in names))
        case Inset():
            old = dict(region.by_mm)
            return Inset(tuple((name, old.get(name, 0.0) + by_mm) for name in names))
        case Common() if any(isinstance(x, Inset) for x in region.items):
            return Common(
                tuple(
                    _drawn_in(x, by_mm, names) if isinstance(x, Inset) else x for x in region.items
                )
            )
    return Common((region, Inset(tuple((name, by_mm) for name in names))))


def _larger_sheets(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    cores = _cores(spec, layers)[:1]
    for core in cores:
        card = spec.materials.cores[core.material]
        for times in (1.25, 1.6, 2.0, 3.0):
            long, wide = (_handy(times * side, spec) for side in card.sheet_mm)
            yield Edit(
                f"a sheet of {bare_mm(long):g} x {mm(wide):g} of {card.id} in the stock",
                replace(spec, stock=(*spec.stock, StockItem("", "sheet", card.id, long, wide, 0))),
            )


# ---------------------------------------------------------------- edits of cloth


def _trims(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    """Narrower and wider trims, at every edge that has one."""
    if not isinstance(layers[0], Ply | Film):
        return
    for share in (0.5, 1.6, 0.25):
        rules = tuple(
            replace(rule, trim_mm=_handy(rule.trim_mm * share, spec)) if rule.trim_mm else rule
            for rule in spec.edges
        )
        said = ", ".join(f"{rule.edge} {mm(rule.trim_mm):g}" for rule in rules if rule.trim_mm)
        if rules != spec.edges:
            yield Edit(f"`trim` {said}", replace(spec, edges=rules))


def _laid_flat(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    nets = [x for x in layers if isinstance(x, Ply) and x.drape == "net"]
    if nets:
        new = [replace(ply, drape="lay") for ply in nets]
        yield Edit(f"`drape: lay` for {_ids(nets)}", _with_layers(spec, new))


def _splices(spec: PartSpec, layers: Sequence[Layer], key: str) -> Iterator[Edit]:
    """Smaller figures of the splice rule for the plies that were refused."""
    plies = [layer for layer in layers if isinstance(layer, Ply)]
    rules = [p.splice or spec.materials.cloths[p.material].splice for p in plies]
    most = max((getattr(rule, f"{key}_mm") for rule in rules), default=0.0)
    for share in (0.5, 0.2) if most else ():
        figure = _handy(most * share, spec)
        figures: dict[str, Any] = {f"{key}_mm": figure}
        new = [
            replace(ply, splice=replace(rule, **figures))
            for ply, rule in zip(plies, rules, strict=True)
        ]
        yield Edit(f"`{key}: {mm(figure):g}` for {_ids(plies)}", _with_layers(spec, new))


def _staggers(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    return _splices(spec, layers, "stagger")


def _narrower(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    return _splices(spec, layers, "narrowest")


def _wider_roll(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    if not isinstance(layers[0], Ply):
        return
    cloth = spec.materials.cloths[layers[0].material]
    for times in (1.5, 2.5):
        wide = _handy(cloth.usable_width_mm * times, spec)
        more = replace(cloth, usable_width_mm=wide, roll_width_mm=max(wide, cloth.roll_width_mm))
        cards = {**spec.materials.cloths, cloth.id: more}
        yield Edit(f"a roll of {cloth.id} with {mm(wide):g} of use",
                   replace(spec, materials=replace(spec.materials, cloths=cards)))  # fmt: skip


# ---------------------------------------------------------------- edits of the face


def _with_stations(spec: PartSpec, stations: Iterable[Station]) -> PartSpec:
    assert isinstance(spec.mould, StationMould)
    return replace(spec, mould=replace(spec.mould, stations=tuple(stations)))


def _rounder(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    """Larger radii at the corners of a channel, by one length at all of them."""
    if isinstance(spec.mould, OutlineMould):
        return
    sections = [s.section for s in spec.mould.stations]
    for more_mm in (5.0, 10.0, 20.0) if isinstance(sections[0], PolylineSection) else ():
        more = _handy(more_mm, spec)
        stations = [
            replace(
                s,
                section=replace(
                    s.section, radii_mm=tuple(radius + more for radius in s.section.radii_mm)
                ),
            )
            for s in spec.mould.stations
            if isinstance(s.section, PolylineSection)
        ]
        yield Edit(f"each `radius` of the channel {mm(more):g} larger",
                   _with_stations(spec, stations))  # fmt: skip


def _less_twist(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    stations = spec.mould.stations if isinstance(spec.mould, StationMould) else ()
    most = max((abs(s.twist_deg) for s in stations), default=0.0)
    for limit in (90.0, 60.0, 30.0, 10.0):
        if most > limit:
            held = [replace(s, twist_deg=min(max(s.twist_deg, -limit), limit)) for s in stations]
            yield Edit(f"no `twist` over {limit:g}°", _with_stations(spec, held))


def _longer_chords(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    stations = spec.mould.stations if isinstance(spec.mould, StationMould) else ()
    if not stations or isinstance(stations[0].section, PolylineSection):
        return
    largest, least = (end(s.chord_mm for s in stations) for end in (max, min))
    for share in (0.05, 0.15, 0.3, 0.6):
        chord = _handy(share * largest, spec)
        if chord > least:
            held = [replace(s, chord_mm=max(s.chord_mm, chord)) for s in stations]
            yield Edit(f"no `chord` under {mm(chord):g}", _with_stations(spec, held))


def _less_sweep(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    stations = spec.mould.stations if isinstance(spec.mould, StationMould) else ()
    if not stations or len({s.sweep_mm for s in stations}) < 2:
        return
    first = stations[0].sweep_mm
    for share in (0.5, 0.2):
        held = [
            replace(s, sweep_mm=first + _handy(abs(s.sweep_mm - first) * share, spec)
                    * (1 if s.sweep_mm >= first else -1))
            for s in stations
        ]  # fmt: skip
        said = ", ".join(f"{bare_mm(s.sweep_mm):g}" for s in held[1:4])
        more = " and so on" if len(held) > 4 else ""
        yield Edit(f"`sweep` {said}{more} after the first station", _with_stations(spec, held))


def _ruled(spec: PartSpec, layers: Sequence[Layer]) -> Iterator[Edit]:
    if isinstance(spec.mould, StationMould) and spec.mould.loft == "smooth":
        yield Edit("`loft: ruled`", replace(spec, mould=replace(spec.mould, loft="ruled")))


_OVER_CORE = (_further_in, _gentler, _thinner, _trims, _rounder)
_OF_LAYERS: dict[str, tuple[_Ways, ...]] = {
    "pattern-folds": _OVER_CORE,
    "raised-too-high": (_further_in, _rounder, _thinner),
    "outline-tangled": (_trims, _further_in, _gentler, _steeper),
    "not-proved": (_trims, _steeper, _further_in, _gentler),
    "face-degenerate": (_less_sweep, _longer_chords),
    "bevels-meet": (_steeper, _thinner),
    "slope-through-hole": (_steeper, _thinner),
    "core-seams-not-found": (_larger_sheets,),
    "splice-impossible": (_staggers, _narrower, _wider_roll),
    "drape-start": (_laid_flat,),
}
_OF_FACE: dict[str, tuple[_Ways, ...]] = {
    "pattern-folds": (_less_twist, _longer_chords, _less_sweep, _ruled),
    "face-degenerate": (_longer_chords, _less_sweep, _less_twist),
}
TRIED = frozenset(_OF_LAYERS) | frozenset(_OF_FACE)  # codes
