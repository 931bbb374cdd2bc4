"""The laminate as a whole, once every layer is laid: zones, sections, mass, rules."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from plybook.diagnostics import Finding
from plybook.laminate.core_ends import core_end_findings
from plybook.laminate.heights import HeightField
from plybook.laminate.mass import laminate_mass
from plybook.laminate.model import BreakJoint, LaidLayer, Laminate, Piece, Zone
from plybook.laminate.rules import trade_findings
from plybook.laminate.section_cut import section_cuts
from plybook.laminate.zones import find_zones
from plybook.spec.model import PartSpec
from plybook.surface.model import Face


def sum_up(
    spec: PartSpec,
    face: Face,
    layers: Sequence[LaidLayer],
    pieces: Sequence[Piece],
    joints: Sequence[BreakJoint],
    field: HeightField,
    findings: Iterable[Finding],
) -> Laminate:
    """Everything that can only be said of the whole laminate.

    Args:
        spec: the resolved spec.
        face: its mould face.
        layers: as laid, first laid first.
        pieces: what was cut.
        joints: of pieces that meet where the face breaks.
        field: the heights after the last layer.
        findings: what was found layer by layer.

    Returns:
        The laminate, findings once each.
    """
    zones = find_zones(layers, face, spec)
    laying = tuple(findings)
    mass = laminate_mass(layers, pieces, face, spec)
    return Laminate(
        pieces=tuple(pieces),
        layers=tuple(layers),
        zones=zones,
        sections=section_cuts(spec, face, layers, field),
        joints=tuple(joints),
        mass_g=mass.total_g,
        centre_mm=mass.centre_mm,
        findings=all_findings(spec, face, layers, pieces, zones, laying),
        found_laying=laying,
        masses=mass.layers,
    )


def all_findings(
    spec: PartSpec,
    face: Face,
    layers: Sequence[LaidLayer],
    pieces: Sequence[Piece],
    zones: Sequence[Zone],
    found: Iterable[Finding],
) -> tuple[Finding, ...]:
    """What was found layer by layer, what can be said of the whole and what the trade rules say,
    once each."""
    laid = tuple(found)
    unsplit = {name for f in laid if f.code == "splice-impossible" for name in f.layers}
    told = (
        *laid,
        *core_end_findings(spec, face, layers),
        *(
            f
            for f in trade_findings(spec, face, layers, pieces, zones)
            if f.code != "piece-wider-than-roll" or not unsplit.issuperset(f.layers)
        ),
    )
    return tuple(dict.fromkeys(told))
