"""The mould face and its axis, worked out."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from plybook.diagnostics import Place, SpecError
from plybook.spec.collect import Collector
from plybook.spec.csv_outline import read_points
from plybook.spec.flat_face import flat_face
from plybook.spec.gather import Folder
from plybook.spec.model import (
    AtShare,
    Axis,
    BetweenPoints,
    EdgeRule,
    Mould,
    NacaSection,
    OnFace,
    OnPattern,
    OutlineMould,
    PartSpec,
    PointRef,
    PolylineSection,
    Section,
    Station,
    StationMould,
)
from plybook.spec.section_files import read_section
from plybook.spec.written.files import PartFile
from plybook.spec.written.mould import (
    Channel,
    DrawnMould,
    FacePoint,
    FlatMould,
    ListedMould,
    LoftedMould,
    SectionFile,
)
from plybook.units import bare_mm, mm

LEAST_SHARE = 1e-6  # of a chord: a hair's breadth on any part made by hand
DEFAULT_TRIM_MM = 10.0  # cloth beyond the net line where the spec does not say


def resolve_mould(written: PartFile, folder: Folder, out: Collector) -> Mould | None:
    """The mould face; None where it cannot be made (the findings say why)."""
    made = _made(written, folder, out)
    if isinstance(made, OutlineMould) and len(made.edges) > out.limits["edges"]:
        out.error(
            "too-many",
            f"an outline of {len(made.edges)} sides from corner to corner",
            f"smooth the drawing; {out.limits.why('edges')}",
            made.place,
        )
        return None
    return made


def _made(written: PartFile, folder: Folder, out: Collector) -> Mould | None:
    mould = written.mould
    if isinstance(mould, FlatMould):
        return flat_face(mould, out)
    try:
        if isinstance(mould, DrawnMould):
            from plybook.spec.dxf_outline import read_outline

            return read_outline(mould, folder, out)
        if isinstance(mould, ListedMould):
            return read_points(mould, folder, out)
    except SpecError as problem:
        out.take(problem)
        return None
    return _lofted(mould, folder, out)


def edge_names(mould: Mould) -> tuple[str, ...]:
    """Names of the edges of a face, in order and once each."""
    if isinstance(mould, StationMould):
        return mould.edge_names
    return tuple(dict.fromkeys(name for name, _, _ in mould.edges))


# ---------------------------------------------------------------- lofted faces


def _refuse_points(stations: Sequence[Station], out: Collector) -> None:
    """A chord that is next to nothing beside the largest."""
    largest = max((s.chord_mm for s in stations), default=0.0)
    for station in stations:
        if station.chord_mm * out.limits["taper"] < largest:
            out.error(
                "comes-to-a-point",
                f"the chord of {mm(station.chord_mm):g} is less than a "
                f"{out.limits['taper']:g}th of the largest, {mm(largest):g}",
                f"end the part before the point: {out.limits.why('taper')}",
                station.place,
            )


def _lofted(w: LoftedMould, folder: Folder, out: Collector) -> StationMould | None:
    place = w.here
    if len(w.stations) < 2:
        out.error(
            "too-few-stations",
            f"a lofted face has {len(w.stations)} station(s), expected 2 or more",
            "add the other end; a flat face is given by its `outline:`",
            w.key_place("stations"),
        )
        return None
    if len(w.stations) > out.limits["stations"]:
        out.error(
            "too-many",
            f"{len(w.stations)} stations",
            out.limits.why("stations"),
            w.key_place("stations"),
        )
        return None
    channel = isinstance(w.stations[0].section, Channel)
    stations = []
    for before, one in zip([None, *w.stations], w.stations, strict=False):
        if before is not None and one.at <= before.at:
            out.error(
                "station-order",
                f"the station at {mm(one.at):g} does not come after the one at {mm(before.at):g}",
                "list stations from root to tip",
                one.place_of("at"),
                before.place_of("at"),
            )
        if isinstance(one.section, Channel) != channel:
            out.error(
                "mixed-sections",
                "channels and closed sections in one face",
                "give every station the same kind of section",
                one.place_of("section"),
                w.stations[0].place_of("section"),
            )
            continue
        chord = one.chord
        if channel and chord is not None:
            out.error(
                "misplaced-key",
                "a channel is given in real size and has no chord",
                "delete `chord`",
                one.key_place("chord"),
            )
        if not channel and chord is None:
            out.error(
                "missing", f"`chord` is missing (at: {mm(one.at):g})", "add `chord:`", one.here
            )
        if (section := _section(one, folder, out)) is not None:
            stations.append(
                Station(
                    one.at,
                    1.0 if channel else chord or 1.0,
                    one.sweep,
                    one.rise,
                    one.twist,
                    one.twist_about,
                    section,
                    one.here,
                )
            )
    if not stations:  # each is told already
        return None
    _refuse_points(stations, out)
    if channel:
        sections = [s.section for s in stations]
        counts = {len(s.points_mm) for s in sections if isinstance(s, PolylineSection)}
        if len(counts) > 1:
            out.error(
                "mixed-sections",
                "the channels have different numbers of corners: "
                + ", ".join(str(n) for n in sorted(counts)),
                "give every station the same corners in the same order",
                w.key_place("stations"),
            )
        if w.side not in (None, "all"):
            out.error(
                "misplaced-key",
                f"a channel has no {w.side} side",
                "delete `side`",
                w.place_of("side"),
            )
    elif w.side is None:
        out.error(
            "missing",
            "the mould does not say which side of the section it is",
            "add `side: upper` or `side: lower`",
            place,
        )
    elif w.side == "all":
        out.error(
            "out-of-range",
            "a closed section is laid as its upper or lower side",
            "write `side: upper` or `side: lower`",
            w.place_of("side"),
        )
    names = _loft_edges(w, channel)
    if len(set(names)) < 4:
        out.error(
            "duplicate-id",
            f"two edges of the face have one name: {', '.join(names)}",
            "give each edge its own name",
            w.place_of("edge_names"),
        )
    spans = [s.at_mm for s in stations]
    kinks = []
    for n, at in enumerate(w.accept_kinks):
        near = next((s for s in spans if abs(s - at) < 1e-6), None)
        if near is None:
            out.error(
                "unknown-station",
                f"there is no station at {mm(at):g}",
                "stations: " + ", ".join(f"{s:g}" for s in spans),
                w.place_of("accept_kinks", n),
            )
        else:
            kinks.append(near)
    return StationMould(
        tuple(stations),
        "all" if channel else w.side or "upper",
        *w.cover,
        w.form,
        w.loft,
        names,
        tuple(kinks),
        place,
    )


def _loft_edges(w: LoftedMould, channel: bool) -> tuple[str, str, str, str]:
    own = w.edge_names
    first, last = ("first", "last") if channel else ("leading", "trailing")
    return own.first or first, own.last or last, own.root, own.tip


def _section(station, folder: Folder, out: Collector) -> Section | None:
    w = station.section
    if isinstance(w, SectionFile):
        place = station.place_of("section", "file")
        try:
            return read_section(folder.read(w.file, place), folder.shown(w.file), place, out)
        except SpecError as problem:
            out.take(problem)
            return None
    if isinstance(w, Channel):
        return _channel(w, out)
    return NacaSection(w.partition(" ")[0], w.endswith("sharp"))


def _channel(w: Channel, out: Collector) -> PolylineSection | None:
    place = w.key_place("channel")
    points = np.array(w.channel, dtype=float).reshape(-1, 2)
    if len(points) < 2:
        out.error(
            "outline-too-short",
            f"a channel of {len(points)} point(s), expected 2 or more",
            "list its corners",
            place,
        )
        return None
    inner = len(points) - 2
    if w.radius is not None and w.radii is not None:
        out.error(
            "out-of-range",
            "both `radius` and `radii` are given",
            "keep one of them",
            w.key_place("radii"),
        )
    radii = list(w.radii) if w.radii is not None else [w.radius or 0.0] * inner
    if len(radii) != inner:
        out.error(
            "out-of-range",
            f"{len(radii)} radii for {inner} inner corners",
            "give one for each corner between the ends",
            w.key_place("radii"),
        )
        return None
    sides = np.hypot(*np.diff(points, axis=0).T)
    for i, side in enumerate(sides):
        if side < 1e-6:
            out.error(
                "repeated-point",
                f"points {i + 1} and {i + 2} of the channel are the same",
                "delete one",
                w.place_of("channel", i + 1),
            )
            return None
    cuts = [0.0, *(_cut_back(points, k + 1, r) for k, r in enumerate(radii)), 0.0]
    for i, side in enumerate(sides):
        if cuts[i] + cuts[i + 1] > side + 1e-9:
            out.error(
                "radius-too-large",
                f"the corner radii need {mm(cuts[i] + cuts[i + 1]):.4g} "
                f"of the {mm(side):.4g} between points {i + 1} and {i + 2}",
                "make the radii smaller",
                w.key_place("radii" if w.radii else "radius"),
            )
            return None
    return PolylineSection(points, tuple(radii))


def _cut_back(points: np.ndarray, i: int, radius: float) -> float:
    u, v = points[i - 1] - points[i], points[i + 1] - points[i]
    cosine = float(np.clip(u @ v / (np.hypot(*u) * np.hypot(*v)), -1, 1))
    angle = math.acos(cosine)
    return radius / math.tan(angle / 2) if 1e-9 < angle < math.pi - 1e-9 else 0.0


# ---------------------------------------------------------------- points, axis, edges


def point_ref(written, lofted: bool, place: Place, out: Collector) -> PointRef | None:
    """A written point as a point of this face."""
    if isinstance(written, FacePoint):
        if not lofted:
            out.error(
                "wrong-point",
                "a flat face has no span and share",
                "write the point as [x, y]",
                place,
            )
            return None
        return OnFace(written.span, written.share)
    return OnPattern(*written)


def refuse_no_direction(
    points: Sequence[PointRef | None], places: Sequence[Place], out: Collector
) -> None:
    """Refuse two points of a line that follow one another and lie in one place.

    Args:
        points: of the line; those that could not be read are None.
        places: where each is written.
        out: takes what is found.
    """
    for one, other, place in zip(points, points[1:], places[1:], strict=False):
        if one is not None and other is not None and _in_one_place(one, other, out):
            out.error(
                "repeated-point",
                "this point lies where the one before it lies, and a line needs a direction",
                "move one of them",
                place,
            )


def _in_one_place(one: PointRef, other: PointRef, out: Collector) -> bool:
    if isinstance(one, OnFace) and isinstance(other, OnFace):
        along, across = one.span_mm - other.span_mm, one.share - other.share
        return abs(along) < out.limits["least-mm"] and abs(across) < LEAST_SHARE
    if isinstance(one, OnPattern) and isinstance(other, OnPattern):
        apart = math.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm)
        return apart < out.limits["least-mm"]
    return False  # where the face has the one is not known yet


def resolve_axis(written: PartFile, lofted: bool, out: Collector) -> Axis:
    """Where 0 degrees runs. A lofted face must say; a flat face runs along its drawing's x."""
    axis = written.axis
    if axis is None:
        if lofted:
            out.error(
                "missing",
                "the spec does not say where 0 degrees runs",
                "add `axis: {share: 0.25}` (or from one point to another)",
                written.here,
            )
        return BetweenPoints(OnPattern(0.0, 0.0), OnPattern(1000.0, 0.0))
    if axis.share is not None and (axis.from_ is not None or axis.to is not None):
        out.error(
            "out-of-range", "the axis has both a share and points", "keep one of them", axis.here
        )
    if axis.share is not None:
        if not lofted:
            out.error(
                "wrong-point",
                "a flat face has no share",
                "write `axis: {from: [0, 0], to: [100, 0]}`",
                axis.here,
            )
        return AtShare(axis.share)
    if axis.from_ is None or axis.to is None:
        out.error(
            "missing",
            "the axis needs `share`, or both `from` and `to`",
            "write `axis: {share: 0.25}`",
            axis.here,
        )
        return AtShare(0.25)
    start = point_ref(axis.from_, lofted, axis.place_of("from"), out)
    end = point_ref(axis.to, lofted, axis.place_of("to"), out)
    refuse_no_direction([start, end], [axis.place_of("from"), axis.place_of("to")], out)
    return BetweenPoints(start or OnPattern(0, 0), end or OnPattern(1, 0))


POINTS_OF_STATION = 40  # of an outline, which cost as much as the lines of one station
USUAL_TRIM_MM, MOST_TRIM_MM = 40.0, 100.0  # common practice, no source
MOST_TRIM_SHARE = 0.25  # of the face
_LEAST_LONG_MM, _LEAST_WIDE_MM = 50.0, 10.0  # of a part that is laid up; common practice, no source


def _most_trim_mm(face_mm: float) -> float:
    """The widest trim that is taken for meant."""
    return min(MOST_TRIM_MM, max(USUAL_TRIM_MM, MOST_TRIM_SHARE * face_mm))


def _sizes_mm(mould: Mould) -> tuple[float, float]:
    """The two sizes of a face, roughly: of its outline, or its span and chord or girth."""
    if not isinstance(mould, StationMould):
        long, wide = np.ptp(np.asarray(mould.ring_mm), axis=0)
        return float(long), float(wide)
    at = [s.at_mm for s in mould.stations]
    across = []
    for station in mould.stations:
        if isinstance(station.section, PolylineSection):
            steps = np.diff(np.asarray(station.section.points_mm), axis=0)
            across.append(float(np.linalg.norm(steps, axis=1).sum()))
        else:
            across.append(station.chord_mm)
    return max(at) - min(at), max(across)


def check_size(mould: Mould, out: Collector) -> None:
    """A face so small that a unit was surely mistaken."""
    long, wide = _sizes_mm(mould)
    if max(long, wide) < _LEAST_LONG_MM or min(long, wide) < _LEAST_WIDE_MM:
        out.warning(
            "implausible-size",
            f"the mould face is {mm(long):g} by {mm(wide):g}",
            "is the unit right? a bare number is in the unit of its file: metres are written "
            "`0.8 m`, inches `32 in`",
            mould.place,
        )


def check_amount(spec: PartSpec, out: Collector) -> None:
    """An outline of more points than can be walked once for each of its layers."""
    mould, most = spec.mould, out.limits["laid-points"]
    if isinstance(mould, StationMould):
        points = POINTS_OF_STATION * len(mould.stations)
    else:
        points = sum(len(ring) for ring in (mould.ring_mm, *mould.holes_mm))
    if points * len(spec.layers) > most:
        out.error(
            "too-many",
            f"{len(spec.layers)} layers on an outline of {points} points with its holes"
            if isinstance(mould, OutlineMould)
            else f"{len(spec.layers)} layers through {len(mould.stations)} stations",
            f"draw the face with fewer; {out.limits.why('laid-points')}",
            mould.place,
        )


def resolve_edges(written: PartFile, mould: Mould, out: Collector) -> tuple[EdgeRule, ...]:
    """One rule for every edge of the face; `all` stands for those not named."""
    names = edge_names(mould)
    least = min(_sizes_mm(mould))
    for name, edge in written.edges.items():
        if name not in names and name != "all":
            out.unknown("edge", name, (*names, "all"), written.entry_place("edges", name))
        if edge.trim is not None and edge.trim > _most_trim_mm(least):
            out.warning(
                "implausible-trim",
                f"a trim allowance of {mm(edge.trim):g} on a face {mm(least):g} across",
                f"is the unit right? {bare_mm(10):g} to {mm(30):g} is usual",
                edge.place_of("trim"),
            )
        if edge.trim is not None and 0 < edge.flange < edge.trim:
            out.warning(
                "trim-past-flange",
                f"cloth runs {mm(edge.trim):g} past "
                f"{'every' if name == 'all' else f'the {name}'} edge, and the flange there is "
                f"{mm(edge.flange):g} wide: it would hang over",
                f"lower `trim` to {mm(edge.flange / 2):.0f} or less, so that the bag can be taped"
                " to the rest of the flange, or correct `flange`",
                edge.place_of("trim"),
            )
    rest = written.edges.get("all")
    rules = []
    for name in names:
        own = written.edges.get(name) or rest
        trim = DEFAULT_TRIM_MM if own is None or own.trim is None else own.trim
        rules.append(EdgeRule(name, trim, own.flange if own else 0.0))
    return tuple(rules)
