"""Blocks let into a core: hardpoints of wood, laminate or dense foam.

Terms:
    core: the layer a block is let into.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from plybook.diagnostics import Finding, error, warning
from plybook.geometry.rings import canonical_ring, signed_area_mm2
from plybook.laminate.bevel import bevel_run_mm, polygons, rings_of
from plybook.laminate.core import MOULD_SIDE_DOWN, growth_of
from plybook.laminate.ids import piece_id
from plybook.laminate.leaves import Leaf, leaves_of, open_kinks_mm
from plybook.laminate.model import Piece, PieceEdge
from plybook.laminate.panel_checks import tightest_bend
from plybook.laminate.panels import edge_runs, label_ring
from plybook.laminate.sides import name_sides
from plybook.spec.model import Core, CoreStock, Insert
from plybook.surface.model import Face
from plybook.surface.places import place_words
from plybook.units import mm

_SAMPLE_MM = 20.0


@dataclass(frozen=True)
class CutLayer:
    """The pieces of one layer, what is to be said of them and the leaf each of them lies on."""

    pieces: tuple[Piece, ...]
    findings: tuple[Finding, ...]
    leaves: tuple[int, ...] = ()


def insert_thickness_mm(insert: Insert, core: Core | None) -> float:
    """As thick as the core it is let into, unless the spec says otherwise."""
    return insert.thickness_mm or (core.thickness_mm if core else 0.0)


def insert_pieces(
    insert: Insert,
    region: shapely.Geometry,
    face: Face,
    raised: object | None,
    *,
    stock: CoreStock,
    core: Core | None = None,
    core_region: shapely.Geometry | None = None,
    chord_error_mm: float = 0.02,
    views: Sequence[tuple[Face, shapely.Geometry]] = (),
) -> CutLayer:
    """Cut the blocks of one insert layer.

    Args:
        insert: the layer.
        region: where it lies, pattern mm.
        face: the mould face.
        raised: the face the block lies on (the same as its core's); None for the bare pattern.
        stock: what it is cut from.
        core: the core it is let into, None for a block that lies free.
        core_region: where that core lies, pattern mm.
        chord_error_mm: how far an outline may depart from the true curve.
        views: face and region as seen from each leaf of a face that breaks.

    Returns:
        One block per part of the region, edges square, and findings.
    """
    thickness = insert_thickness_mm(insert, core)
    views = views or ((face, region),)
    leaves = leaves_of(raised, open_kinks_mm(face) if len(views) > 1 else ())
    blocks = []
    for leaf, (view, shape) in zip(leaves, views, strict=False):
        to_cut = None if leaf.raised is None else leaf.to_cut
        own = [p for p in polygons(shape) if len(views) == 1 or _lies_on(p, leaf, view)]
        if own:
            sides = name_sides(shapely.union_all(own), view)
            sides = sides.carried(to_cut, _SAMPLE_MM, chord_error_mm / 2)
            lines = sides.lines
            blocks += [(part, lines, leaf) for part in polygons(sides.shape)]
    blocks.sort(key=lambda b: (round(b[0].centroid.x, 3), -b[0].centroid.y))
    pieces = []
    for i, (part, lines, leaf) in enumerate(blocks):
        outer, *inner = (canonical_ring(r) for r in rings_of(part))
        laid = leaf.from_cut(outer)
        edges = tuple(
            PieceEdge(name, points, "square")
            for name, _, points in edge_runs(outer, label_ring(outer, lines, {}))
        )
        pieces.append(
            Piece(
                id=piece_id(insert.id, i, len(blocks), 0, 1),
                layer=insert.id,
                kind="insert",
                material=insert.material,
                angle_deg=0.0,
                outline_mm=outer,
                holes_mm=tuple(inner),
                bag_side_outline_mm=None,
                laid_outline_mm=laid,
                laid_holes_mm=tuple(leaf.from_cut(hole) for hole in inner),
                area_mm2=signed_area_mm2(outer) - sum(map(signed_area_mm2, inner)),
                quantity=1,
                stage=insert.stage,
                thickness_mm=thickness,
                edges=edges,
                growth=growth_of(outer, laid),
                notes=(MOULD_SIDE_DOWN, "all edges square"),
            )
        )
    findings = _findings(insert, pieces, thickness, stock, core, core_region, region, face)
    return CutLayer(tuple(pieces), tuple(findings), tuple(leaf.number for _, _, leaf in blocks))


def _lies_on(part: shapely.Polygon, leaf: Leaf, view: Face) -> bool:
    """Whether the middle of a block lies on a leaf."""
    span = float(np.asarray(view.from_pattern(np.asarray(part.centroid.coords)))[0, 0])
    return leaf.low_mm < span <= leaf.high_mm


def _findings(
    insert: Insert,
    pieces: list[Piece],
    thickness: float,
    stock: CoreStock,
    core: Core | None,
    core_region: shapely.Geometry | None,
    region: shapely.Geometry,
    face: Face,
) -> list[Finding]:
    found = []
    where = place_words(np.asarray(region.centroid.coords[0]), face)
    if core is not None and core_region is not None:
        clearance = max((c.clearance_mm for c in core.cut_outs if c.insert == insert.id), default=0)
        outside = region.difference(core_region.buffer(0.05))
        if outside.area > 1.0:
            found.append(
                error(
                    "insert-outside-core",
                    f"insert {insert.id} at {where} lies partly outside core {core.id} "
                    f"({outside.area / 100:.1f} cm2)",
                    "move it, or let the core reach round it",
                    insert.place,
                    layers=(insert.id, core.id),
                )
            )
        else:
            run = max(
                (bevel_run_mm(core.thickness_mm, t.angle_deg) for _, t in core.edges), default=0.0
            )
            margin = region.distance(core_region.boundary)
            if run and margin < run + clearance:
                found.append(
                    warning(
                        "insert-in-bevel",
                        f"insert {insert.id} stands {mm(margin):.0f} from the edge of core "
                        f"{core.id}, whose bevel is {mm(run):.1f} wide there",
                        "move the insert in, or leave that edge square",
                        insert.place,
                        layers=(insert.id, core.id),
                    )
                )
    for piece in pieces:
        if stock.least_bend_mm <= 0:
            continue
        radius, point = tightest_bend(piece.laid_outline_mm, face)
        if radius < stock.least_bend_mm:
            found.append(
                warning(
                    "insert-bends-tight",
                    f"insert {piece.id} must bend to a radius of {mm(radius):.0f} at "
                    f"{place_words(point, face)}; {stock.name} follows "
                    f"{mm(stock.least_bend_mm):.0f}",
                    "shape its faces to the mould, kerf it, or build it up in thin layers",
                    insert.place,
                    layers=(insert.id,),
                )
            )
    return found
