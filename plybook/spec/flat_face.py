"""Flat faces as drawn in the spec: corner points, sides and arcs to a ring with named sides."""

from __future__ import annotations

import math

import numpy as np

from plybook.diagnostics import Place
from plybook.spec.collect import Collector
from plybook.spec.model import OutlineMould
from plybook.spec.outlines import (
    Boxes,
    arc_by_radius,
    arc_points,
    arc_through,
    circle,
    clean,
    crossing,
    edges_of,
    inside,
    rings_meet,
    round_corners,
)
from plybook.spec.written.mould import ArcTo, Circle, FlatMould, LineTo, ListedMould
from plybook.units import bare_mm, mm

Ring = np.ndarray  # (n, 2), mm


def flat_face(w: FlatMould, out: Collector) -> OutlineMould | None:
    """A face from its written outline; None where something is wrong with it."""
    made = _ring(w.outline, w.corners, w, ("outline",), out)
    if made is None:
        return None
    ring, names = made
    return OutlineMould(ring, holes_in(ring, w, out), edges_of(names), w.here)


def too_many_holes(count: int, place: Place, out: Collector) -> bool:
    """Whether there are more holes than a face may have; it is told."""
    if count <= out.limits["holes"]:
        return False
    out.error("too-many", f"{count} holes", out.limits.why("holes"), place)
    return True


def holes_in(ring: np.ndarray, w: FlatMould | ListedMould, out: Collector) -> tuple[Ring, ...]:
    """The written holes of a face as rings; each lies inside the outline and apart from others."""
    holes: list[Ring] = []
    places: list[Place] = []
    if too_many_holes(len(w.holes), w.key_place("holes") if w.holes else w.here, out):
        return ()
    for n, hole in enumerate(w.holes):
        place = w.place_of("holes", n)
        if isinstance(hole, Circle):
            hole_ring = circle(hole.circle, hole.diameter / 2)
        else:
            made = _ring(hole, 0.0, w, ("holes", n), out)
            if made is None:
                continue
            hole_ring = made[0]
        if (point := rings_meet(ring, hole_ring)) is not None:
            out.error(
                "hole-outside",
                f"the hole meets the outline at ({bare_mm(point[0]):.6g}, {bare_mm(point[1]):.6g})",
                "a hole lies inside the outline",
                place,
            )
        elif not inside(ring, hole_ring[0]):
            out.error(
                "hole-outside",
                "the hole lies outside the outline",
                "a hole lies inside the outline",
                place,
            )
        holes.append(hole_ring)
        places.append(place)
    boxes = Boxes(holes)
    for n, hole_ring in enumerate(holes):
        for other in (holes[k] for k in boxes.before(n)):
            if (
                rings_meet(other, hole_ring) is not None
                or inside(other, hole_ring[0])
                or inside(hole_ring, other[0])
            ):
                out.error("hole-outside", "two holes touch or overlap", "make one of them",
                          places[n])  # fmt: skip
                break
    return tuple(holes)


def _ring(steps, corner: float, w, path: tuple, out: Collector):
    """Walk an outline; None when something is wrong with it."""
    place = w.place_of(*path)
    if len(steps) > out.limits["outline-points"]:
        out.error(
            "too-many",
            f"an outline of {len(steps)} points",
            out.limits.why("outline-points"),
            place,
        )
        return None
    points, radii, arrivals, arcs = [], [], [], {}
    for n, step in enumerate(steps):
        at = w.place_of(*path, n)
        if isinstance(step, ArcTo):
            points.append(step.arc_to)
            arrivals.append(step.edge)
            radii.append(0.0)
            arcs[n] = (step, at)
        elif isinstance(step, LineTo):
            points.append(step.to)
            arrivals.append(step.edge)
            radii.append(corner if step.corner is None else step.corner)
        else:
            points.append(step)
            arrivals.append(None)
            radii.append(corner)
    last = len(points) - 1
    if last > 0 and points[0] == points[last] and 0 not in arcs:
        # closed by hand: the step back to the first corner gives the closing side
        arrivals[0] = arrivals[0] or arrivals[last]
        del points[last], radii[last], arrivals[last]
        if last in arcs:
            arcs[0] = arcs.pop(last)
    corners = len(points) + len(arcs)
    if corners < 3:
        out.error(
            "outline-too-short",
            f"an outline of {len(points)} corner(s), expected 3 or more",
            "list its corners",
            place,
        )
        return None
    size = max(max(abs(x), abs(y)) for x, y in points)
    count = len(points)
    for i in range(count):
        if points[i] == points[i - 1] and i not in arcs:
            out.error(
                "repeated-point",
                f"corner {i + 1} is the same point as the one before",
                "delete it",
                w.place_of(*path, i),
            )
            return None
    # side i runs from point i - 1 to point i; the side that leaves point i is i + 1
    leaving = [arrivals[(i + 1) % count] or f"side {i + 1}" for i in range(count)]
    for n in arcs:  # an arc's ends stay as they are
        radii[n] = radii[n - 1] = 0.0
    ring = np.array(points, float)
    if not arcs and (fault := crossing(ring)):  # told by the sides as they are drawn
        out.error("outline-crosses-itself", fault.message, fault.help, place)
        return None
    walked, names, tight = round_corners(ring, radii, leaving)
    if tight is not None:
        out.error(
            "radius-too-large",
            f"the corner radius {mm(radii[tight]):g} does not fit at "
            f"({bare_mm(points[tight][0]):g}, {bare_mm(points[tight][1]):g})",
            "make it smaller",
            w.place_of(*path, tight),
        )
        return None
    if arcs:
        walked, names = _with_arcs(walked, names, points, arcs, out)
        if walked is None:
            return None
    walked, names = clean(walked, names)
    if len(walked) > out.limits["outline-points"]:
        out.error(
            "too-many",
            f"an outline of {len(walked)} points",
            out.limits.why("outline-points"),
            place,
        )
        return None
    if fault := crossing(walked):
        out.error("outline-crosses-itself", fault.message, fault.help, place)
        return None
    if size > out.limits["part-mm"]:
        out.error(
            "out-of-range", f"an outline {mm(size):g} large", out.limits.why("part-mm"), place
        )
        return None
    return walked, names


def _with_arcs(walked, names, points, arcs, out: Collector):
    """Put arc points between the two ends of each arc side."""
    all_points, all_names = [], []
    for i in range(len(walked)):
        all_points.append(walked[i])
        all_names.append(names[i])
        end = tuple(walked[(i + 1) % len(walked)])
        for n, (step, at) in arcs.items():
            if end == tuple(points[n]) and tuple(walked[i]) == tuple(points[n - 1]):
                arc = _arc(walked[i], step, at, out)
                if arc is None:
                    return None, None
                all_points.extend(arc)
                all_names.extend([names[i]] * len(arc))
    return np.array(all_points), all_names


def _arc(start, step: ArcTo, place: Place, out: Collector):
    if (step.through is None) == (step.radius is None):
        out.error(
            "unknown-arc",
            "an arc needs either a point it passes through or a radius",
            "write {arc_to: [x, y], through: [x, y]}, or radius with turn: left",
            place,
        )
        return None
    if tuple(start) == tuple(step.arc_to):
        out.error(
            "unknown-arc",
            "an arc that ends where it starts turns 0 or 360 degrees",
            "write a full circle as two arcs",
            place,
        )
        return None
    if step.through is not None:
        found = arc_through(start, step.through, step.arc_to)
        if found is None:
            out.error(
                "unknown-arc",
                "the three points of the arc lie on a line",
                "move the point it passes through, or use a straight side",
                place,
            )
            return None
    else:
        assert step.radius is not None  # one of the two is given
        found = arc_by_radius(start, step.arc_to, step.radius, step.turn or "left")
        if step.turn is None:
            out.error(
                "missing",
                "the arc does not say which way it turns",
                "add `turn: left` or `turn: right`",
                place,
            )
            return None
        if found is None:
            half = math.dist(start, step.arc_to) / 2
            out.error(
                "radius-too-small",
                f"an arc of radius {mm(step.radius):g} cannot span {mm(2 * half):g}",
                f"the radius is at least {mm(half):g}",
                place,
            )
            return None
    return list(arc_points(*found))
