"""Trade rules on the stack of each zone: angles outside, directions, symmetry, balance."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from plybook.laminate.model import LaidLayer, Zone
from plybook.laminate.notation import fibre_directions, folded
from plybook.laminate.rule_case import Breach, Case, names
from plybook.laminate.rulebook import Rule
from plybook.laminate.zones import stack_layer
from plybook.units import mm

_LEAST_SHARE = 0.05  # zones smaller than this share of the face are not judged
_NEAR_45_DEG = 7.5
_CLASSES = ("0", "45", "90")


def _judged(case: Case) -> list[Zone]:
    """Zones large enough to be judged that hold cloth."""
    whole = sum(zone.area_m2 for zone in case.zones)
    return [
        zone for zone in case.zones if zone.area_m2 >= _LEAST_SHARE * whole and _plies(case, zone)
    ]


def _plies(case: Case, zone: Zone) -> list[LaidLayer]:
    return [case.layers[case.order[i]] for i in zone.layers if i in _ply_ids(case)]


def _ply_ids(case: Case) -> set[str]:
    return {ply.id for ply in case.plies}


def _told(case: Case, zones: Sequence[Zone], words: str) -> Iterator[Breach]:
    """One breach for all zones of a kind."""
    if not zones:
        return
    whole = sum(zone.area_m2 for zone in case.zones)
    share = 100 * sum(zone.area_m2 for zone in zones) / whole
    ids = {name for zone in zones for name in zone.layers if name in _ply_ids(case)}
    shown = names([zone.label for zone in zones[:4]])
    more = f" and {len(zones) - 4} more" if len(zones) > 4 else ""
    plural = "zones" if len(zones) > 1 else "zone"
    yield Breach(
        f"{plural} {shown}{more}, {share:.0f} % of the face: {words}",
        tuple(sorted(ids, key=lambda i: case.order[i])),
    )


def _directions(case: Case, layer: LaidLayer) -> tuple[float, ...]:
    return fibre_directions(case.spec.materials.cloths[layer.material], layer.angle_deg)


def outside_not_45(case: Case, rule: Rule) -> Iterator[Breach]:
    """First and last ply of each zone."""

    def good(layer: LaidLayer) -> bool:
        turns = _directions(case, layer)
        return any(abs(abs(folded(d)) - 45) <= _NEAR_45_DEG for d in turns) or not turns

    bad = [
        zone
        for zone in _judged(case)
        if not (good(_plies(case, zone)[0]) and good(_plies(case, zone)[-1]))
    ]
    yield from _told(case, bad, "the outermost cloth does not lie at 45 deg on both sides")


def direction_missing(case: Case, rule: Rule) -> Iterator[Breach]:
    """Share of the fibre thickness in each direction; a mat counts for all."""
    by_words: dict[str, list[Zone]] = {}
    for zone in _judged(case):
        sums = dict.fromkeys(_CLASSES, 0.0)
        for layer in _plies(case, zone):
            turns = _directions(case, layer)
            for direction in turns:
                away = abs(folded(direction))
                name = "0" if away < 22.5 else "90" if away > 67.5 else "45"
                sums[name] += layer.thickness_mm / len(turns)
            if not turns:
                for name, share in (("0", 0.25), ("45", 0.5), ("90", 0.25)):
                    sums[name] += layer.thickness_mm * share
        total = sum(sums.values())
        low = [f"{n} deg" for n in _CLASSES if sums[n] < rule.value / 100 * total - 1e-9]
        if low:
            words = f"under {rule.value:g} % of the fibre lies at {names(low)}"
            by_words.setdefault(words, []).append(zone)
    for words, zones in by_words.items():
        yield from _told(case, zones, words)


def zone_not_symmetric(case: Case, rule: Rule) -> Iterator[Breach]:
    """Zones whose stack does not read the same from both faces."""
    bad = [zone for zone in _judged(case) if not zone.symmetric]
    yield from _told(case, bad, "the stack is not symmetric")


def zone_not_balanced(case: Case, rule: Rule) -> Iterator[Breach]:
    """Zones with an off-axis ply that has no opposite."""
    bad = [zone for zone in _judged(case) if not zone.balanced]
    yield from _told(case, bad, "off-axis plies have no opposite")


def hardpoint_not_balanced(case: Case, rule: Rule) -> Iterator[Breach]:
    """Plus against minus 45 on each side of an insert, by thickness."""
    for insert in (x for x in case.layers if x.kind == "insert"):
        zones = [z for z in case.zones if insert.id in z.layers]
        if not zones:
            continue
        zone = max(zones, key=lambda z: z.area_m2)
        place = zone.layers.index(insert.id)
        for side, ids in (("mould", zone.layers[:place]), ("bag", zone.layers[place + 1 :])):
            surplus = 0.0
            plies = [case.layers[case.order[i]] for i in ids if i in _ply_ids(case)]
            for layer in plies:
                own = stack_layer(layer, case.spec).directions_deg
                for direction in own:
                    if abs(abs(folded(direction)) - 45) <= _NEAR_45_DEG:
                        sign = 1 if folded(direction) > 0 else -1
                        surplus += sign * layer.thickness_mm / len(own)
            if abs(surplus) > 1e-6:
                more, less = ("+45", "-45") if surplus > 0 else ("-45", "+45")
                yield Breach(
                    f"hardpoint {insert.id}: on its {side} side {mm(abs(surplus)):.2f} more cloth "
                    f"lies at {more} than at {less} deg ({names([p.id for p in plies])})",
                    (insert.id, *(p.id for p in plies)),
                )


CHECKS = {
    "outside-not-45": outside_not_45,
    "direction-missing": direction_missing,
    "zone-not-symmetric": zone_not_symmetric,
    "zone-not-balanced": zone_not_balanced,
    "hardpoint-not-balanced": hardpoint_not_balanced,
}
