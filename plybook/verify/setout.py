"""The set-out of the mould: every figure worked out anew from the lines and outlines of plan.json.

Terms:
    line: what is measured along or square to: a long edge, a station, the axis, a base line.
    outline: what is drawn within the net line: of a core, an opening, an insert or a bond land.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from plybook.verify import plane
from plybook.verify.report import Report
from plybook.verify.setout_less import NAME, check_left_out, left_out

FIGURE_MM = 2e-3  # between coordinates that keep four decimals
LAID_MM = 0.7  # of an outline from the pieces it goes round, over seams of up to 0.6 mm
ON_MM = 0.06  # a mark from the line or outline that it is of
ARC_MM = 0.3  # a corner told by its radius from the corner as it is
NEAR_MM = 5.0
_AT_ONCE = 64
MOST_FINE = 20_000
MOST_MARKS, MOST_LINES = 20_000, 300  # builds have fewer: what a forged plan may cost
FINE_MM = 40.0  # between places where an outline is looked at
BOW_MM = 1.0  # a line that leaves its string by more has its offsets told


def line_of(points: list) -> np.ndarray:
    """Points of plan.json as (n, 2).

    Raises:
        ValueError: they are no line of finite points.
    """
    line = np.array(points, dtype=float)
    if line.ndim != 2 or line.shape[1] != 2 or len(line) < 2 or not np.isfinite(line).all():
        raise ValueError("not a line of points")
    return line


def check_setout(plan: dict, report: Report) -> None:
    """Lines against the face, outlines against the pieces, marks, diagonals and bows against
    both."""
    if "setout" not in plan:
        report.fault(NAME, "is missing")
        return
    held = plan["setout"]
    if not check_left_out(plan, report):
        return
    sizes = [len(held[key]) for key in ("marks", "outlines", "diagonals", "bows")]
    if max(sizes) > MOST_MARKS or len(held["lines"]) > MOST_LINES:
        report.fault(NAME, f"has more than {MOST_MARKS} marks or {MOST_LINES} lines")
        return
    lines = {line["name"]: line_of(line["points_mm"]) for line in held["lines"]}
    marks = {mark["number"]: mark for mark in held["marks"]}
    numbered = [mark["number"] for mark in held["marks"]] == list(range(1, len(marks) + 1))
    report.expect(numbered, "marks of the mould numbered in order", NAME, "counts its marks wrong")
    flat = plan["surface"]["flat"]
    good = held["flat"] == flat and (flat or len(held["rows"]) > 1)
    report.expect(good, "set-outs of a face of their kind", NAME, "is of a face of another kind")
    (_check_base if flat else _check_lines)(plan, lines, report)
    _check_outlines(plan, report)
    of_outline: dict[int, list[dict]] = {}
    for mark in held["marks"]:
        _check_mark(mark, held, lines, report)
        of_outline.setdefault(mark["outline"], []).append(mark)
    for place, outline in enumerate(held["outlines"]):
        _check_drawn(outline, of_outline.get(place, []), report)
    if not flat:
        _check_crossings(held, of_outline, lines, report)
    _check_diagonals(held, marks, plan["surface"], report)
    _check_bows(held, lines, marks, report)


# ---------------------------------------------------------------- lines


def _check_base(plan: dict, lines: dict, report: Report) -> None:
    """Base line and square line of a flat face touch its net line, lowest and furthest left."""
    net = line_of(plan["surface"]["outline_mm"])
    (x0, y0), (x1, y1) = net.min(axis=0), net.max(axis=0)
    wanted = {"base line": [(x0, y0), (x1, y0)], "square line": [(x0, y1), (x0, y0)]}
    for name, points in wanted.items():
        good = np.abs(lines[name] - points).max() <= FIGURE_MM
        report.expect(good, "lines that a mould is set out from", NAME,
                      f"has the {name} elsewhere")  # fmt: skip
    axis = lines["axis"]
    good = abs(axis[0, 1] - axis[-1, 1]) <= FIGURE_MM
    report.expect(good, "axes of a set-out along 0°", NAME, "has its axis aslant")
    _check_seen("axis", axis, plan, report)


def _check_lines(plan: dict, lines: dict, report: Report) -> None:
    """Long edges, stations and axis of a face through stations."""
    held = plan["setout"]
    edges = {edge["name"]: line_of(edge["points_mm"]) for edge in plan["surface"]["edges"]}
    first, last = (line["name"] for line in held["lines"][:2])
    root, tip = (lines[held["rows"][k]] for k in (0, -1))
    gap = 2 * sum(kink["gap_mm"] for kink in plan["surface"]["kinks"] if not kink["accepted"])
    for name in (first, last):
        good = name in edges and plane.same_line(edges[name], lines[name], FIGURE_MM)
        good = good and _gap(lines[name][0], root) < _gap(lines[name][-1], root)
        report.expect(good, "lines that a mould is set out from", NAME,
                      f"has {name} elsewhere than the face")  # fmt: skip
    for row in (root, tip):
        good = any(plane.same_line(edge, row, FIGURE_MM) for edge in edges.values())
        report.expect(good, "lines that a mould is set out from", NAME,
                      "has its first or last station off the net line")  # fmt: skip
    for name in held["rows"]:
        row = lines[name]
        ends = max(_gap(row[0], lines[first]), _gap(row[-1], lines[last]))
        report.expect(ends <= ON_MM + gap, "stations from edge to edge", NAME,
                      f"{name} ends {ends:.2f} mm from its edge")  # fmt: skip
        _check_seen(name, row, plan, report)
    axis = lines["axis"]
    good = np.abs(axis[:, 1]).max() <= FIGURE_MM and abs(axis[0, 0]) <= FIGURE_MM
    report.expect(good, "axes of a set-out along 0°", NAME, "has its axis off 0°")


def _check_seen(name: str, line: np.ndarray, plan: dict, report: Report) -> None:
    """A station or the axis, against its mark on the pieces that lie as they are cut."""
    seen = [
        line_of(mark["points_mm"])
        for piece in plan["pieces"]
        if piece["outline_mm"] == piece["laid_outline_mm"]
        for mark in piece["marks"]
        if (mark["kind"] == name == "axis" and mark["label"] == "0°")  # others are fibres
        or (mark["kind"] == "station" and mark["label"].startswith(f"{name} ("))
    ]
    long = line
    if name != "axis":
        way = [line[0] - line[1], line[-1] - line[-2]]
        long = np.vstack([line[0] + 1e3 * way[0], line, line[-1] + 1e3 * way[1]])
    else:
        long = np.array([(-1e6, line[0, 1]), (1e6, line[0, 1])])
    rows = plan["setout"]["rows"]  # the first and the last are net edges
    if not seen and name not in (*rows[:1], *rows[-1:]):
        report.unproved.append(f"where {name} lies on the mould: no template shows it as it lies")
    for points in seen:
        off = float(plane.distance_to_path(points, long, False).max())
        report.expect(off <= 0.1, "stations and axis where templates have them", NAME,
                      f"{name} lies {off:.2f} mm from where a template has it")  # fmt: skip


def _gap(point: np.ndarray, line: np.ndarray) -> float:
    return float(plane.distance_to_path(point[None], line, False)[0])


# ---------------------------------------------------------------- outlines


def _check_outlines(plan: dict, report: Report) -> None:
    """Each outline runs where pieces end, and each end of a piece within the net line has one."""
    held = plan["setout"]
    net = [line_of(plan["surface"]["outline_mm"]), *map(line_of, plan["surface"]["holes_mm"])]
    ends = {layer["id"]: _sides(plan, layer["id"]) for layer in plan["layers"]}
    boxes = plane.boxes(net)
    drawn: dict[str, list[np.ndarray]] = {}
    for outline in held["outlines"]:
        points = _closed(outline)
        ended = points[[0, -1]]
        good = outline["closed"] or float(_gaps(ended, _ring(net[0])).max()) <= LAID_MM
        good = good and (outline["closed"] or outline["role"] != "net line")
        report.expect(good, "outlines that are closed or end on the net line", NAME,
                      f"the {outline['role']} {outline['of']} has loose ends")  # fmt: skip
        if outline["role"] == "net line":
            far = np.abs(boxes - plane.boxes([points])).max(axis=(1, 2))
            off = _apart(points, net[int(np.argmin(far))])
        else:
            layer = _layer(outline)
            drawn.setdefault(layer, []).append(points)
            fine = _fine(points)
            sides = ends.get(layer, [])
            off = float(_gaps(fine, *sides).max()) if sides else math.inf
        report.expect(off <= LAID_MM, "outlines of a set-out where the pieces end", NAME,
                      f"the {outline['role']} {outline['of']} is {off:.2f} mm off")  # fmt: skip
    for layer in plan["layers"]:
        if layer["kind"] != "core" and not layer["removed_after"] and layer["id"] not in drawn:
            continue
        if layer["id"] in left_out(plan):
            continue
        sides = ends[layer["id"]]
        lines = [*drawn.get(layer["id"], []), *map(_ring, net)]
        kinks = (kink["gap_mm"] for kink in plan["surface"]["kinks"] if not kink["accepted"])
        apart = LAID_MM + max(kinks, default=0.0)  # panels on either side of a break
        for k, side in enumerate(sides):
            fine = _fine(side)
            inner = fine[plane.inside(fine, net[0])]
            if not len(inner):
                continue
            others = [*sides[:k], *sides[k + 1 :]]
            far = _gaps(inner, *lines, *others)
            if far.max() > LAID_MM:  # an end that another piece lies over or meets is none
                if others:
                    far[_gaps(inner, *others) <= apart] = 0.0
                for other in others:
                    far[plane.inside(inner, other[:-1])] = 0.0
            report.expect(float(far.max()) <= LAID_MM,
                          "ends of cores and lands that the set-out draws", NAME,
                          f"draws nothing {far.max():.1f} mm about an end of "
                          f"{layer['id']}")  # fmt: skip


def _fine(line: np.ndarray) -> np.ndarray:
    """A line with points no further apart than `FINE_MM`, or so far that it has not too many."""
    found = [line[:1]]
    step = max(FINE_MM, float(np.hypot(*np.diff(line, axis=0).T).sum()) / MOST_FINE)
    for a, b in zip(line, line[1:], strict=False):
        count = max(1, math.ceil(float(np.hypot(*(b - a))) / step))
        found.append(a + (b - a) * np.linspace(0.0, 1.0, count + 1)[1:, None])
    return np.vstack(found)


def _layer(outline: dict) -> str:
    """The layer of an outline; of an opening that of the core, "H in C" or "in C"."""
    name = outline["of"]
    return f" {name}".rpartition(" in ")[2] if outline["role"] == "opening" else name


def _sides(plan: dict, layer: str) -> list[np.ndarray]:
    """The rings of a layer's pieces where they lie, closed: outlines and holes."""
    found = []
    for piece in plan["pieces"]:
        if piece["layer"] == layer:
            for one in (piece["laid_outline_mm"], *piece.get("laid_holes_mm", [])):
                found.append(_ring(line_of(one)))
    return found


def _ring(points: np.ndarray) -> np.ndarray:
    return np.vstack([points, points[:1]])


def _closed(outline: dict) -> np.ndarray:
    points = line_of(outline["points_mm"])
    return _ring(points) if outline["closed"] else points


def _gaps(points: np.ndarray, *lines: np.ndarray) -> np.ndarray:
    """Distance of each of (k, 2) points to the nearest of some lines. Points a few at a time, which
    mostly lie together, are held against what comes near them, else against all."""
    start = np.concatenate([line[:-1] for line in lines])
    end = np.concatenate([line[1:] for line in lines])
    low, high = np.minimum(start, end) - NEAR_MM, np.maximum(start, end) + NEAR_MM
    found = np.empty(len(points))
    for k in range(0, len(points), _AT_ONCE):
        own = points[k : k + _AT_ONCE]
        near = ((low <= own.max(axis=0)) & (high >= own.min(axis=0))).all(axis=1)
        gaps = np.full(len(own), np.inf)
        if near.any():
            gaps = plane.distance_to_sides(own, start[near], end[near])
        far = gaps > NEAR_MM
        if far.any():
            gaps[far] = plane.distance_to_sides(own[far], start, end)
        found[k : k + _AT_ONCE] = gaps
    return found


def _apart(points: np.ndarray, one: np.ndarray) -> float:
    closed = _ring(one)
    return float(max(_gaps(points, closed).max(), _gaps(closed, points).max()))


# ---------------------------------------------------------------- marks


def _check_mark(mark: dict, held: dict, lines: dict, report: Report) -> None:
    """What a mark is of, where it lies, and its distances."""
    place = mark["outline"]
    if mark["role"] == "axis" or (mark["row"] and mark["role"] == "net line"):
        edges = [line["name"] for line in held["lines"][:2]]
        good = place == -1 and mark["of"] in (edges if mark["role"] == "net line" else ["axis"])
    else:
        of = held["outlines"][place] if 0 <= place < len(held["outlines"]) else {}
        good = all(of.get(key) == mark[key] for key in ("role", "of"))
    report.expect(good, "marks of what the set-out draws", f"mark {mark['number']}",
                  f"is of {mark['of']}, which is not drawn there")  # fmt: skip
    at = np.array(mark["at_mm"], dtype=float)
    where = f"mark {mark['number']}"
    if mark["row"]:
        off = _gap(at, lines[mark["row"]])
        report.expect(off <= ON_MM, "marks on their station", where,
                      f"lies {off:.2f} mm off {mark['row']}")  # fmt: skip
    if mark["role"] == "axis":
        off = abs(at[1] - lines["axis"][0, 1])
        report.expect(off <= ON_MM, "marks on the axis", where, f"lies {off:.2f} mm off the axis")
    for tie in mark["ties"]:
        if tie["way"] in ("across", "radius"):
            continue  # with the outline
        line = lines[tie["line"]]
        if tie["way"] == "along":
            told, said = _along(at, line), tie["mm"]
            if tie["line"] == "axis":  # it runs on past its ends
                told = float(at[0] - line[0, 0])
        else:
            told, said = _square(at, line), tie["mm"]
            side = _side(told, tie["line"], held, lines)
            report.expect(abs(told) < ON_MM or side == tie["side"], "sides of marks", where,
                          f"lies {side} {tie['line']}, not {tie['side']}")  # fmt: skip
            told = abs(told)
        report.expect(abs(told - said) <= FIGURE_MM, "distances of marks, worked out anew", where,
                      f"is {told:.2f} mm {tie['way']} {tie['line']}, not {said:.2f}")  # fmt: skip
    told_by = {(tie["way"], tie["line"]) for tie in mark["ties"]}
    fixed = len(told_by) >= 2 or bool(mark["row"])
    report.expect(fixed and len(told_by) == len(mark["ties"]), "marks that are told whole", where,
                  "is not told by enough distances")  # fmt: skip


def _along(at: np.ndarray, line: np.ndarray) -> float:
    """How far along a line (n, 2) the point nearest to another lies."""
    start, step = line[:-1], np.diff(line, axis=0)
    size = np.hypot(*step.T)
    share = np.clip(np.sum((at - start) * step, axis=1) / np.maximum(size**2, 1e-30), 0.0, 1.0)
    off = np.hypot(*(start + share[:, None] * step - at).T)
    k = int(np.argmin(np.round(off, 6)))
    return float(size[:k].sum() + share[k] * size[k])


def _square(at: np.ndarray, line: np.ndarray) -> float:
    """Signed distance from a line carried on straight past its ends; positive on its left."""
    ways = []
    for end in (line, line[::-1]):
        far = np.flatnonzero(np.hypot(*(end - end[0]).T) >= 5.0)
        back = end[far[0]] if len(far) else end[-1]
        ways.append((end[0] - back) / np.hypot(*(end[0] - back)))
    long = np.vstack([line[0] + 1e5 * ways[0], line, line[-1] + 1e5 * ways[1]])
    start, step = long[:-1], np.diff(long, axis=0)
    size = np.sum(step**2, axis=1)
    share = np.clip(np.sum((at - start) * step, axis=1) / np.maximum(size, 1e-30), 0.0, 1.0)
    gap = at - (start + share[:, None] * step)
    k = int(np.argmin(np.round(np.hypot(*gap.T), 9)))
    left = step[k, 0] * gap[k, 1] - step[k, 1] * gap[k, 0]
    return float(np.copysign(np.hypot(*gap[k]), left))


def _side(off: float, name: str, held: dict, lines: dict) -> str:
    """The side of a line in words."""
    if held["flat"]:
        sides = {"square line": ("along 0°", "left of"), "base line": ("above", "below")}
        return sides[name][off < 0]
    first, last = (line["name"] for line in held["lines"][:2])
    if name in (first, last):
        other = lines[last if name == first else first]
        return "inside" if off * _square(other[len(other) // 2], lines[name]) > 0 else "outside"
    start, tip = (_square(end, lines[name]) for end in lines["axis"][[0, -1]])
    return "tipward" if off * (tip - start) > 0 else "rootward"


def _check_drawn(outline: dict, own: list[dict], report: Report) -> None:
    """An outline drawn from mark to mark, corners rounded, is the outline."""
    line = _closed(outline)
    where = f"{outline['role']} {outline['of']}"
    across = [tie["mm"] for mark in own for tie in mark["ties"] if tie["way"] == "across"]
    if across:
        far = np.hypot(*(line - np.array(own[0]["at_mm"])).T)
        good = len(own) == 1 and np.abs(far - across[0] / 2).max() <= ARC_MM
        report.expect(bool(good), "outlines drawn again from their marks", where,
                      "is another circle")  # fmt: skip
        return
    drawn = _rounded(own, outline["closed"])
    off = np.inf if len(drawn) < 2 else float(_gaps(line, drawn).max())
    doubled = math.log2(outline["within_mm"] / BOW_MM) if outline["within_mm"] > 0 else -1.0
    report.expect(doubled >= 0 and doubled == round(doubled), "tolerances of outlines", where,
                  f"is drawn within {outline['within_mm']:g} mm")  # fmt: skip
    most = outline["within_mm"] + ON_MM
    if any(tie["way"] == "radius" for mark in own for tie in mark["ties"]):
        most = ARC_MM
    report.expect(off <= most, "outlines drawn again from their marks", where,
                  f"is {off:.2f} mm from the lines that join its marks")  # fmt: skip


def _rounded(marks: list[dict], closed: bool) -> np.ndarray:
    """The line through marks, with an arc at each that tells a radius."""
    at = np.array([mark["at_mm"] for mark in marks], dtype=float).reshape(-1, 2)
    found: list[np.ndarray] = []
    for k, mark in enumerate(marks):
        radius = sum(tie["mm"] for tie in mark["ties"] if tie["way"] == "radius")
        if not radius:
            found.append(at[k])
            continue
        to = [at[(k + step) % len(at)] - at[k] for step in (-1, 1)]
        one, two = (way / np.hypot(*way) for way in to)
        half = np.arccos(np.clip(one @ two, -1.0, 1.0)) / 2
        reach = radius / np.tan(half)
        middle = at[k] + (one + two) / np.hypot(*(one + two)) * radius / np.sin(half)
        for share in np.linspace(0.0, 1.0, 33):
            spot = at[k] + one * reach * (1 - share) + two * reach * share
            out = spot - middle
            found.append(middle + out / np.hypot(*out) * radius)
    if closed and found:
        found.append(found[0])
    return np.array(found).reshape(-1, 2)


def _check_crossings(held: dict, of_outline: dict, lines: dict, report: Report) -> None:
    """Wherever a station crosses an outline there is a mark."""
    for place, outline in enumerate(held["outlines"]):
        line = _closed(outline)
        marks = of_outline.get(place, [])
        own = np.array([mark["at_mm"] for mark in marks], dtype=float).reshape(-1, 2)
        if any(tie["way"] == "across" for mark in marks for tie in mark["ties"]):
            continue
        for name in held["rows"]:
            for spot in _met(line, lines[name]):
                off = np.hypot(*(own - spot).T).min(initial=np.inf)
                report.expect(off <= 0.6, "crossings of stations that are marked", name,
                              f"crosses {outline['of']} without a mark")  # fmt: skip


def _met(one: np.ndarray, other: np.ndarray) -> Iterator[np.ndarray]:
    """Where two lines cross properly."""
    c, ways = other[None, :-1], np.diff(other, axis=0)[None]
    for some in plane.in_blocks(np.arange(len(one) - 1), len(other)):
        a, way = one[some, None], (one[some + 1] - one[some])[:, None]
        under = way[..., 0] * ways[..., 1] - way[..., 1] * ways[..., 0]
        safe = np.where(np.abs(under) < 1e-12, np.nan, under)
        gap = c - a
        s = (gap[..., 0] * ways[..., 1] - gap[..., 1] * ways[..., 0]) / safe
        t = (gap[..., 0] * way[..., 1] - gap[..., 1] * way[..., 0]) / safe
        hit = (s > 1e-6) & (s < 1 - 1e-6) & (t > 1e-6) & (t < 1 - 1e-6)
        for k, m in zip(*np.nonzero(hit), strict=True):
            yield a[k, 0] + s[k, m] * way[k, 0]


# ---------------------------------------------------------------- diagonals and bows


def _check_diagonals(held: dict, marks: dict, surface: dict, report: Report) -> None:
    for row in held["diagonals"]:
        a, b = (np.array(marks[row[end]]["at_mm"]) for end in ("start", "end"))
        told = float(np.hypot(*(b - a)))
        report.expect(abs(told - row["mm"]) <= FIGURE_MM, "diagonals, worked out anew",
                      f"diagonal {row['start']} to {row['end']}",
                      f"is {told:.2f} mm, not {row['mm']:.2f}")  # fmt: skip
    bays = max(0, len(held["rows"]) - 1)
    report.expect(held["flat"] or len(held["diagonals"]) == 2 * bays, "bays with both diagonals",
                  NAME, f"has {len(held['diagonals'])} diagonals of {bays} bays")  # fmt: skip
    strain = max(abs(surface[f"largest_{kind}_pct"]) for kind in ("tension", "compression"))
    good = abs(held["strain_pct"] - (0.0 if surface["developable"] else strain)) <= 1e-5
    report.expect(good, "set-outs with the strain of the face", NAME, "tells another strain")
    longest = max((row["mm"] for row in held["diagonals"]), default=0.0)
    bound = max(2.0, longest / 1000.0) + longest * held["strain_pct"] / 100.0
    report.expect(bound - 1e-6 <= held["tolerance_mm"] < bound + 1.0,
                  "tolerances of the diagonals", NAME, "tells another tolerance")  # fmt: skip


def _check_bows(held: dict, lines: dict, marks: dict, report: Report) -> None:
    """Offsets of each bow; and that no line from mark to mark leaves its string untold."""
    for bow in held["bows"]:
        a, b = (np.array(marks[bow[end]]["at_mm"]) for end in ("start", "end"))
        way = (b - a) / np.hypot(*(b - a))
        square = np.array([-way[1], way[0]])
        where = f"bow of {bow['line']}"
        good = len(bow["at_mm"]) == len(bow["offsets_mm"]) > 0
        for at, off in zip(bow["at_mm"], bow["offsets_mm"], strict=False):
            gap = _gap(a + at * way + off * square, lines[bow["line"]])
            good = good and gap <= ON_MM and 0 < at < np.hypot(*(b - a))
        report.expect(bool(good), "bows whose offsets lie on their line", where,
                      "has an offset that is not on its line")  # fmt: skip
        left = _side(1.0, bow["line"], {**held, "flat": False}, lines)
        turned = _along(b, lines[bow["line"]]) < _along(a, lines[bow["line"]])
        right = {"inside": "outside", "outside": "inside", "tipward": "rootward",
                 "rootward": "tipward"}[left]  # fmt: skip
        wanted = [right, left] if turned else [left, right]
        report.expect(bow["sides"] == wanted, "sides of bows", where, f"bows {bow['sides']}")
    told = {(bow["line"], bow["start"], bow["end"]) for bow in held["bows"]}
    for line, start, end in _strings(held):
        a, b = (np.array(marks[k]["at_mm"]) for k in (start, end))
        points = lines[line]
        low, high = sorted((_along(a, points), _along(b, points)))
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        own = points[(along >= low) & (along <= high)]
        off = _gaps(own, np.array([a, b])).max(initial=0.0)
        report.expect(off <= BOW_MM + ON_MM or (line, start, end) in told,
                      "lines from mark to mark that are straight or have their offsets", line,
                      f"leaves its string by {off:.1f} mm untold")  # fmt: skip


def _strings(held: dict) -> Iterator[tuple[str, int, int]]:
    """Each stretch of a long edge between stations, and each station: line and its two marks."""
    if held["flat"]:
        return
    first, last = (line["name"] for line in held["lines"][:2])
    net = {(m["row"], m["of"]): m["number"] for m in held["marks"] if m["role"] == "net line"}
    for edge in (first, last):
        for a, b in zip(held["rows"], held["rows"][1:], strict=False):
            yield edge, net[a, edge], net[b, edge]
    for row in held["rows"]:
        yield row, net[row, first], net[row, last]
