"""Faces used by several tests of this room."""

import numpy as np

from plybook.spec.model import (
    AtShare,
    NacaSection,
    PolylineSection,
    Station,
    StationMould,
)
from plybook.surface import face_of
from plybook.surface.raised import Raiser

EDGES = ("leading", "trailing", "root", "tip")
CHANNEL = PolylineSection(
    np.array([[0.0, 0.0], [0.0, -100.0], [200.0, -100.0], [200.0, 0.0]]), (20.0, 20.0)
)


def half_circle(radius):
    """A half round gutter, centre at the origin: two corners whose arcs meet."""
    r = radius
    return PolylineSection(np.array([[-r, 0.0], [-r, -r], [r, -r], [r, 0.0]]), (r, r))


def circle(radius):
    """A whole round section, split at its lowest point: four corners whose arcs meet."""
    r = radius
    corners = np.array([[0.0, -r], [r, -r], [r, r], [-r, r], [-r, -r], [0.0, -r]])
    return PolylineSection(corners, (r,) * 4)


def station(at, chord, section="2412", sweep=0.0, rise=0.0, twist=0.0, about=0.25):
    if isinstance(section, str):
        section = NacaSection(section)
    return Station(at, chord, sweep, rise, twist, about, section)


def mould(*stations, side="upper", form="female", loft="ruled", shares=(0.0, 1.0), accepted=()):
    if isinstance(stations[0].section, PolylineSection):
        side = "all"
    return StationMould(tuple(stations), side, *shares, form, loft, EDGES, accepted)


def face(*stations, hand="right", axis=0.25, finer=1.0, **more):
    return face_of(mould(*stations, **more), AtShare(axis), hand, finer)


def distances(points):
    """All mutual distances, which no rigid motion changes."""
    return np.linalg.norm(points[:, None] - points[None], axis=2)


def grid(spans, shares):
    return np.stack(np.meshgrid(spans, shares, indexing="ij"), axis=-1).reshape(-1, 2)


def raise_face(made, height_mm, break_lines=(), within=None, margin_mm=120.0, step_mm=25.0):
    """The map of a face for a single height field."""
    return Raiser(made, break_lines, within, margin_mm, step_mm).raise_to(height_mm)
