"""What to measure on the jig, each figure computed from the mould face in space.

Terms:
    line: the share of the section the jig is measured along: the reference axis where it is one,
        else the middle of the face.
    height: plumb from a line stretched across the tips down to the mould face. A left or right
        part hangs its line across both tips, its own and the other hand's, so it lies level at
        the height of the tip; a part without a hand hangs it from its own first to its own last
        station.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from plybook.diagnostics import Finding, note
from plybook.shop.job import Job
from plybook.shop.model import Measure
from plybook.shop.standard import figure
from plybook.spec.model import AtShare, JigCheck, StationMould


def jig_measures(job: Job) -> tuple[tuple[Measure, ...], list[Finding]]:
    """Every measure the spec's jig checks ask for, and what could not be computed."""
    measures: list[Measure] = []
    findings: list[Finding] = []
    for check in job.spec.jig_checks:
        if not isinstance(job.spec.mould, StationMould):
            if check.kind in ("straightness", "diagonal", "level", "screws"):
                measures += (replace(m, kind=check.kind) for m in _flat(job, check))
            else:
                findings.append(_not_here(check, "a flat part has no stations in space"))
            continue
        made = _MAKERS[check.kind](job, check)
        if not made:
            findings.append(_not_here(check, "there is no station between the ends"))
        measures += (replace(m, kind=check.kind) for m in made)
    return _own_ids(measures), findings


def line_share(job: Job) -> float:
    """The share of the section the jig is measured along."""
    mould, axis = _mould(job), job.spec.axis
    if isinstance(axis, AtShare):
        return axis.share
    return (mould.from_share + mould.to_share) / 2


def line_points_mm(job: Job, spans_mm: np.ndarray, share: float | None = None) -> np.ndarray:
    """Points of the face in part axes (x aft, y starboard, z up) along a share: (n, 3)."""
    spans = np.asarray(spans_mm, dtype=float)
    where = np.full_like(spans, line_share(job) if share is None else share)
    return job.face.to_space(job.face.to_pattern(np.column_stack((spans, where))))


def tip_line_heights_mm(job: Job, spans_mm: np.ndarray) -> np.ndarray:
    """Height of the line across the tips above the face at some spans: (n,), mm."""
    ends = _spans(job)
    points = line_points_mm(job, spans_mm)
    first, last = line_points_mm(job, np.array([ends[0], ends[-1]]))
    if job.spec.part.hand in ("left", "right"):
        return last[2] - points[:, 2]
    along = np.hypot(points[:, 0] - first[0], points[:, 1] - first[1])
    whole = math.hypot(last[0] - first[0], last[1] - first[1])
    return first[2] + (last[2] - first[2]) * along / whole - points[:, 2]


def _height(job: Job, check: JigCheck) -> list[Measure]:
    handed = job.spec.part.hand in ("left", "right")
    ends = _spans(job)
    if handed and check.at_mm == ends[-1]:
        return [_tip_height(job, check)]
    spans = _asked(job, check, ends[:-1] if handed else ends[1:-1])
    across = (
        "line level across both tips, this hand's and the other's"
        if handed
        else "line from the face at the first station to the face at the last"
    )
    return [
        Measure(
            check.id,
            f"{check.title or 'Height under the line across the tips'}, {_at(job, span)}",
            round(float(height), 1),
            check.tolerance_mm,
            "mm",
            f"{across}; plumb down to {_line_words(job)}; minus: above the line",
            at_mm=float(span),
        )
        for span, height in zip(spans, tip_line_heights_mm(job, np.array(spans)), strict=True)
    ]


def _tip_height(job: Job, check: JigCheck) -> Measure:
    """At the tip itself the line across the tips says nothing: the tip above the root instead."""
    ends = _spans(job)
    first, last = line_points_mm(job, np.array([ends[0], ends[-1]]))
    return Measure(
        check.id,
        check.title or "Tip above the root",
        round(float(last[2] - first[2]), 1),
        check.tolerance_mm,
        "mm",
        f"with a water level, from the face at the root to the face at the tip, at"
        f" {_line_words(job)}",
        at_mm=float(ends[-1]),
    )


def _diagonal(job: Job, check: JigCheck) -> list[Measure]:
    mould = _mould(job)
    ends = _spans(job)
    far = ends[-1] if check.at_mm is None else check.at_mm
    low, high = mould.from_share, mould.to_share
    first, last, root, tip = mould.edge_names
    measures = []
    for a, b, names in (
        (low, high, f"{root} at the {first} edge to {_end(job, far, tip)} at the {last} edge"),
        (high, low, f"{root} at the {last} edge to {_end(job, far, tip)} at the {first} edge"),
    ):
        start = line_points_mm(job, np.array([ends[0]]), a)[0]
        end = line_points_mm(job, np.array([far]), b)[0]
        measures.append(
            Measure(
                check.id,
                f"{check.title or 'Diagonal'}, {names}",
                round(float(np.linalg.norm(end - start)), 1),
                check.tolerance_mm,
                "mm",
                "straight through the air, tape held tight, corner to corner of the net line",
                at_mm=float(far),
            )
        )
    return measures


def _straightness(job: Job, check: JigCheck) -> list[Measure]:
    ends = _spans(job)
    spans = _asked(job, check, ends[1:-1])
    first, last = line_points_mm(job, np.array([ends[0], ends[-1]]))[:, :2]
    way = (last - first) / np.linalg.norm(last - first)
    measures = []
    for span, point in zip(spans, line_points_mm(job, np.array(spans))[:, :2], strict=True):
        beside = point - first
        measures.append(
            Measure(
                check.id,
                f"{check.title or 'Straightness'}, {_at(job, span)}",
                round(abs(float(way[0] * beside[1] - way[1] * beside[0])), 1),
                check.tolerance_mm,
                "mm",
                f"string from the first to the last station at {_line_words(job)}; level from the"
                " string, seen from above",
                at_mm=float(span),
            )
        )
    return measures


def _level(job: Job, check: JigCheck) -> list[Measure]:
    mould = _mould(job)
    spans = [_spans(job)[0]] if check.at_mm is None else [check.at_mm]
    measures = []
    for span in spans:
        front = line_points_mm(job, np.array([span]), mould.from_share)[0]
        back = line_points_mm(job, np.array([span]), mould.to_share)[0]
        first, last = mould.edge_names[:2]
        aft, drop = float(back[0] - front[0]), float(front[2] - back[2])
        upright = abs(drop) > abs(aft)  # a web stands: it is plumbed, not levelled
        title = check.title or ("Plumb" if upright else "Level")
        how = (
            f"how far the {last} edge stands aft of the {first} edge, with a plumb line"
            if upright
            else f"height of the {first} edge above the {last} edge, with a water level"
        )
        measures.append(
            Measure(
                check.id,
                f"{title}, {_at(job, span)}",
                round(aft if upright else drop, 1),
                check.tolerance_mm,
                "mm",
                how,
                at_mm=float(span),
            )
        )
    return measures


def _twist(job: Job, check: JigCheck) -> list[Measure]:
    ends = _spans(job)
    spans = _asked(job, check, ends[1:])
    root, _ = _section_angle(job, ends[0])
    measures = []
    for span in spans:
        angle, chord = _section_angle(job, span)
        measures.append(
            Measure(
                check.id,
                f"{check.title or 'Twist against the root'}, {_at(job, span)}",
                round(angle - root, 2),
                round(math.degrees(math.atan2(check.tolerance_mm, chord)), 2),
                "°",
                "digital level across the face from edge to edge, set to zero at the root; "
                + _plus_words(job, root),
                at_mm=float(span),
            )
        )
    return measures


def _plus_words(job: Job, root_deg: float) -> str:
    """Which way a twist counts as plus: a web stands, so there it is not the nose that rises."""
    if abs(root_deg) < 45.0 or abs(root_deg) > 135.0:
        return "nose up counts as plus"
    return f"the {_mould(job).edge_names[1 if root_deg < 0 else 0]} edge aft counts as plus"


def _screws(job: Job, check: JigCheck) -> list[Measure]:
    ends = _spans(job)
    fine = np.unique(np.concatenate((np.linspace(ends[0], ends[-1], 200), ends)))
    length = float(np.linalg.norm(np.diff(line_points_mm(job, fine), axis=0), axis=1).sum())
    return _screw_count(job, check, length)


def _screw_count(job: Job, check: JigCheck, length_mm: float) -> list[Measure]:
    pitch = check.pitch_mm or figure("screw_pitch")
    count = math.ceil(length_mm / pitch - 1e-9) + 1
    return [
        Measure(
            check.id,
            check.title or "Screws along the tooling",
            count,
            0.0,
            "screws",
            f"one at each end and one about every {job.length(length_mm / (count - 1))} between,"
            f" over {job.length(length_mm)}",
        )
    ]


def _flat(job: Job, check: JigCheck) -> list[Measure]:
    """Figures of a flat part, from its outline."""
    ring = np.asarray(job.face.outline_mm)
    low, high = ring.min(axis=0), ring.max(axis=0)
    size = high - low
    if check.kind == "screws":
        around = float(np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1).sum())
        return _screw_count(job, check, around)
    if check.kind == "diagonal":
        corners = [
            (ring[(ring @ np.array(way)).argmax()], ring[(ring @ -np.array(way)).argmax()])
            for way in ((1.0, 1.0), (1.0, -1.0))
        ]
        return [
            Measure(
                check.id,
                f"{check.title or 'Diagonal'}, {name}",
                round(float(np.linalg.norm(a - b)), 1),
                check.tolerance_mm,
                "mm",
                "corner to corner of the net line",
            )
            for (a, b), name in zip(corners, ("lower left to upper right",
                                              "upper left to lower right"), strict=True)
        ]  # fmt: skip
    title = check.title or ("Flatness" if check.kind == "straightness" else "Level")
    return [
        Measure(
            check.id,
            f"{title}, {way}",
            0.0,
            check.tolerance_mm,
            "mm",
            f"straightedge or level of {job.length(span)} laid on the mould {way}",
        )
        for way, span in (("lengthwise", float(size[0])), ("crosswise", float(size[1])))
    ]


def _section_angle(job: Job, span: float) -> tuple[float, float]:
    """Angle of the face across one station, nose up positive, and its width: (degrees, mm)."""
    mould = _mould(job)
    front = line_points_mm(job, np.array([span]), mould.from_share)[0]
    back = line_points_mm(job, np.array([span]), mould.to_share)[0]
    run = math.copysign(math.hypot(back[0] - front[0], back[1] - front[1]), back[0] - front[0])
    return math.degrees(math.atan2(front[2] - back[2], run)), float(np.linalg.norm(back - front))


def _mould(job: Job) -> StationMould:
    """The mould of a part with stations in space; flat parts are measured elsewhere."""
    assert isinstance(job.spec.mould, StationMould)
    return job.spec.mould


def _spans(job: Job) -> list[float]:
    return sorted(station.at_mm for station in _mould(job).stations)


def _asked(job: Job, check: JigCheck, usual: list[float]) -> list[float]:
    """The span asked for; else the usual stations; else mid-span."""
    if check.at_mm is not None:
        return [check.at_mm]
    ends = _spans(job)
    if usual:
        return list(usual)
    return [(ends[0] + ends[-1]) / 2]


def _at(job: Job, span: float) -> str:
    return f"station {job.length(span)}"


def _end(job: Job, span: float, tip: str) -> str:
    return tip if span == _spans(job)[-1] else _at(job, span)


def _line_words(job: Job) -> str:
    if isinstance(job.spec.axis, AtShare):
        return "the reference axis"
    return "the middle of the face"


def _own_ids(measures: list[Measure]) -> tuple[Measure, ...]:
    """Ids made unique in order: J1, J1.2, J1.3."""
    seen: dict[str, int] = {}
    out = []
    for measure in measures:
        seen[measure.id] = seen.get(measure.id, 0) + 1
        n = seen[measure.id]
        out.append(measure if n == 1 else replace(measure, id=f"{measure.id}.{n}"))
    return tuple(out)


def _not_here(check: JigCheck, why: str) -> Finding:
    return note(
        "jig-check-empty",
        f"jig check {check.id} ({check.kind}) gives no figure: {why}",
        "take it out, or name the station with `at`",
        check.place,
    )


_MAKERS = {
    "height": _height,
    "diagonal": _diagonal,
    "straightness": _straightness,
    "level": _level,
    "twist": _twist,
    "screws": _screws,
}
