"""Joints: two pieces of one layer meet or overlap by what they state, all along.

Strips of one ply are cut in one frame, so a splice is measured on the cut outlines themselves:
what lies below changes where a strip comes to lie, not how far it reaches over its neighbour.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from plybook.verify import plane
from plybook.verify.report import Report
from plybook.verify.tolerances import JOINT_MM

STEP_MM = 5.0  # between the places of a joint that are measured
LEAST_MM = 5.0  # a joint shorter than this is none
END_MM = 5.0  # places as near the end of a joint, and its overlap more, may face another side
# A length in the cut frame against the same on the part. Rows lie where the line leaves its chords
# by 0.01 mm at most, which shortens a chord of 2 mm by 0.007 % and of 10 mm by nothing; cores do
# not state what a twisted leaf strains them by, and plies state it for 99 % of their area.
STRETCH = 0.001
# Meshes follow a crease to 0.025 mm, which on a slope of 45 degrees is 0.01 mm of length; a joint
# crosses four creases for each core and two for each block. Rounded feet of bevels add as much
# again: of 10 broken skins, 8 of them over a core, the most was 0.09 mm.
SLACK_MM = 0.2
SLANT_MM = 40.0
STRAIGHT_MM = 0.02
BEND_MM = 3.0  # a line bends by what it turns over so much to either side
ALL_ALONG = "splices with the overlap they state all along"

Lines = Sequence[np.ndarray]


def check_joints(plan: dict, report: Report) -> None:
    """Every joint of plies and films, and every joint at a break of the face."""
    pieces = {piece["id"]: piece for piece in plan["pieces"]}
    proved = _check_breaks(plan, pieces, report)
    for piece in plan["pieces"]:
        for neighbour in piece.get("splice", {}).get("neighbours", ()):
            other = pieces.get(neighbour)
            if other is None:
                report.fault(f"piece {piece['id']}",
                             f"its splice names {neighbour}, which is not there")  # fmt: skip
            elif piece["id"] < neighbour and piece["id"] in other["splice"]["neighbours"]:
                _check_splice(piece, other, frozenset((piece["id"], neighbour)) in proved, report)


def base_name(name: str) -> str:
    """The name of an edge without the count of its stretch."""
    return name.split(" (")[0]


def edges_named(piece: dict, name: str) -> list[np.ndarray]:
    """The stretches of a piece's outline with one name, (n, 2) each."""
    return [
        np.array(edge["points_mm"], dtype=float).reshape(-1, 2)
        for edge in piece["edges"]
        if base_name(edge["name"]) == name
    ]


def _check_splice(piece: dict, other: dict, at_break: bool, report: Report) -> None:
    where = f"splice {piece['id']} to {other['id']}"
    names = [{base_name(edge["name"]) for edge in p["edges"]} for p in (piece, other)]
    shared = sorted(name for name in names[0] & names[1] if name.startswith("splice "))
    wanted = float(piece["splice"]["overlap_mm"])
    reach = np.zeros(0)
    for past_mm in (0.0, 2 * wanted):  # of a slender piece the sides may lie past one another
        if not len(reach):
            reach = np.concatenate(
                [reach, *(_reaches(piece, other, name, past_mm) for name in shared)]
            )
    if not len(reach):
        if not at_break:
            report.fault(where, "the parts have no side in common")
        return
    worst = float(reach[np.argmax(np.abs(reach - wanted))])
    report.expect(abs(worst - wanted) <= JOINT_MM, ALL_ALONG, where,
                  f"the parts overlap by {worst:.2f} mm, stated {wanted:.2f}")  # fmt: skip


def _reaches(piece: dict, other: dict, name: str, past_mm: float) -> np.ndarray:
    """How far the parts reach over one another along a splice, mm; negative where they gape. The
    sides of the other part are carried on straight by `past_mm` at either end."""
    found = []
    outline = np.array(other["outline_mm"], dtype=float)
    facing = [_carried_on(line, past_mm) for line in edges_named(other, name)]
    for line in edges_named(piece, name):
        points = stepped(line, STEP_MM)
        away, meets = across(points, facing)
        points, away = points[meets], away[meets]
        if len(points) and np.hypot(*np.diff(points, axis=0).T).sum() >= LEAST_MM:
            found.append(np.where(plane.inside(points, outline), away, -away))
    return np.concatenate(found or [np.zeros(0)])


def _carried_on(line: np.ndarray, by_mm: float) -> np.ndarray:
    ends = line[[0, -1]] - line[[1, -2]]
    ends *= by_mm / np.maximum(np.hypot(*ends.T), 1e-12)[:, None]
    return np.vstack([line[0] + ends[0], line, line[-1] + ends[1]]) if by_mm else line


def stepped(line: np.ndarray, step_mm: float) -> np.ndarray:
    """Points along an open line at even steps, not its ends: (n, 2) or (n, 3)."""
    size = np.linalg.norm(np.diff(line, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(size)])
    count = max(3, int(plane.steps(along[-1:], step_mm)[0]))
    at = along[-1] * (np.arange(count) + 0.5) / count
    return np.column_stack([np.interp(at, along, column) for column in line.T])


def across(points: np.ndarray, lines: Lines) -> tuple[np.ndarray, np.ndarray]:
    """How far points lie from the nearest of some lines, and which of them face it: those whose
    nearest place is not the very end of a line. Plane or space."""
    best, meets = np.full(len(points), np.inf), np.zeros(len(points), bool)
    for line in lines:
        start, step = line[:-1], np.diff(line, axis=0)
        size = np.maximum(np.sum(step * step, axis=1), 1e-30)
        own, at = np.zeros((2, len(points)))
        nearest = np.zeros(len(points), int)
        for some in plane.in_blocks(np.arange(len(points)), len(step)):
            way = points[some, None] - start[None]
            share = np.sum(way * step[None], axis=2) / size
            away = np.linalg.norm(way - np.clip(share, 0, 1)[..., None] * step[None], axis=2)
            best_of, rows = np.argmin(away, axis=1), np.arange(len(some))
            nearest[some], own[some], at[some] = best_of, away[rows, best_of], share[rows, best_of]
        off_end = ((nearest == 0) & (at < 0)) | ((nearest == len(step) - 1) & (at > 1))
        meets = np.where(own < best, ~off_end, meets)
        best = np.minimum(best, own)
    return best, meets


# ---------------------------------------------------------------- at a break of the face


def _check_breaks(plan: dict, pieces: dict[str, dict], report: Report) -> set[frozenset[str]]:
    """Joints whose pieces are cut in frames of their own, and the pairs of pieces they are of.

    On the part both pieces have their joint in one line; that line is as long in either frame as
    on the part, and as far from a second line beside it; and both pieces reach to it, all along.
    """
    found = set()
    for joint in plan.get("joints", []):
        sides = joint["sides"]
        where = f"{joint['name']}, {' to '.join(side['piece'] for side in sides)}"
        found.add(frozenset(side["piece"] for side in sides))
        lines = [np.array(side.get("meets_mm", side["on_part_mm"]), dtype=float) for side in sides]
        apart = float(np.linalg.norm(lines[0] - lines[1], axis=1).max())
        report.expect(apart <= JOINT_MM, "joints at a break on one line of the part", where,
                      f"the two sides are {apart:.2f} mm apart on the part")  # fmt: skip
        reaches = []
        for side in sides:
            piece = pieces[side["piece"]]
            wrong = _untrue(side, piece)
            report.expect(wrong <= 0, "joints at a break of their true length and bow", where,
                          f"in the frame of {piece['id']} the joint is not what it is on the part "
                          f"by {wrong:.2f} mm more than cloth gives")  # fmt: skip
            reaches.append(_reach_past(side, piece, joint["name"]))
        reach = np.sum(reaches, axis=0)
        good, wanted = np.isfinite(reach), float(joint["overlap_mm"])
        steps = np.linalg.norm(np.diff(lines[0], axis=0), axis=1)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        inner = np.minimum(along, along[-1] - along) > END_MM + wanted
        if not good.any() or not good[inner].all():
            report.fault(where, "the pieces do not reach the joint all along")
            continue
        bends = [_at_bends(np.array(side["line_mm"], dtype=float), wanted) for side in sides]
        off = np.abs(reach - wanted) - np.max(bends, axis=0)
        worst = float(reach[good][np.argmax(off[good])])
        report.expect(off[good].max() <= JOINT_MM, "joints at a break closed all along", where,
                      f"the pieces reach over one another by {worst:.2f} mm, "
                      f"stated {wanted:.2f}")  # fmt: skip
    return found


def _at_bends(line: np.ndarray, wide_mm: float) -> np.ndarray:
    """(n,) by how much an overlap is wider, at most, where its line bends, mm.

    An edge parallel to a line at a distance w is w / cos(half the turn) away from the inside of a
    bend, and more than w from there on over w tan(half the turn).
    """
    size = np.linalg.norm(np.diff(line, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(size)])
    back, ahead = (
        np.column_stack([np.interp(along + step, along, column) for column in line.T]) - line
        for step in (-BEND_MM, BEND_MM)
    )
    turn = np.arctan2(
        np.abs(back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]), -np.sum(back * ahead, axis=1)
    )
    turn[np.minimum(along, along[-1] - along) < BEND_MM] = 0.0  # towards an end nothing is known
    half = np.minimum(turn, 1.0) / 2
    wider = wide_mm * (1 / np.cos(half) - 1)
    reach = wide_mm * np.tan(half) + BEND_MM
    first = np.searchsorted(along, along - reach, "left")
    past = np.searchsorted(along, along + reach, "right")
    return _most_within(wider, first, past)


def _most_within(values: np.ndarray, first: np.ndarray, past: np.ndarray) -> np.ndarray:
    """(n,) the largest of the values, or 0, that reach to a place: value k reaches from place
    first[k] to before past[k]."""
    n = len(values)
    level = np.log2(np.maximum(past - first, 1)).astype(int)  # two spans of 2 ** level cover it
    most = np.zeros((int(level.max(initial=0)) + 1, n))
    np.maximum.at(most, (level, np.minimum(first, n - 1)), values)
    np.maximum.at(most, (level, np.maximum(past - 2**level, 0)), values)
    for k in range(len(most) - 1, 0, -1):
        np.maximum(most[k - 1], most[k], out=most[k - 1])
        half = 2 ** (k - 1)
        np.maximum(most[k - 1][half:], most[k][:-half], out=most[k - 1][half:])
    return most[0]


def _untrue(side: dict, piece: dict) -> float:
    """How much more the joint and a line beside it differ, cut against part, than strain can do.

    Both lines are compared over every stretch, and their distance at every place, straight and
    slantwise; what the map of the piece says that it stretches them by is taken off.
    """
    give = max((abs(s) for s in piece["strain_pct"]), default=0.0) / 100 + STRETCH
    names = ("line_mm", "beside_mm"), ("on_part_mm", "beside_on_part_mm")
    cut, part = ([np.array(side[n], dtype=float) for n in pair] for pair in names)
    line, across, beside, *slants = _stretch(side)
    worst = -np.inf
    for flat, space, stretch in zip(cut, part, (line, beside), strict=True):
        own, true = (np.linalg.norm(np.diff(row, axis=0), axis=1) for row in (flat, space))
        total = np.concatenate([[0.0], np.cumsum(own - true * (1 + stretch))])
        length = np.concatenate([[0.0], np.cumsum(true)])
        worst = max(worst, _over_stretches(total, give * length) - SLACK_MM)
    own, true = (np.linalg.norm(one - two, axis=1) for one, two in (cut, part))
    off = np.abs(own - true * (1 + across))
    worst = max(worst, float((off - SLACK_MM - give * true).max()))
    return max(worst, _askew(cut, part, slants, give))


def _over_stretches(value: np.ndarray, allowed: np.ndarray) -> float:
    """The most by which a value changes more, from any place of a line to any later one, than what
    is allowed has grown; `allowed` never falls. (n,) each."""
    up, down = value - allowed, -value - allowed
    return max(float((one - np.minimum.accumulate(one)).max()) for one in (up, down))


def _stretch(side: dict) -> list[np.ndarray]:
    """Shares by which the cut is longer than the part: along the joint, from it to the row beside,
    along that row, and slantwise out to it and back."""
    count = len(side["line_mm"])
    stated = side.get("stretch_pct", {})
    sizes = {"line": count - 1, "across": count, "beside": count - 1, "out": count, "back": count}
    return [
        np.array(stated.get(key, np.zeros(size)), dtype=float).reshape(size) / 100
        for key, size in sizes.items()
    ]


def _askew(cut: Lines, part: Lines, slants: Lines, give: float) -> float:
    """As `_untrue`, slantwise from either line to the other, where the part is straight between.

    Lines that are shifted against one another keep all their lengths, but not these.
    """
    worst = -np.inf
    for (near, far), slant in zip(((0, 1), (1, 0)), slants, strict=True):
        run = np.linalg.norm(np.diff(part[far], axis=0), axis=1)
        along = np.concatenate([[0.0], np.cumsum(run)])
        ahead = np.searchsorted(along, along + SLANT_MM)
        here = np.flatnonzero(ahead < len(along))
        ahead = ahead[here]
        chord = np.linalg.norm(part[far][ahead] - part[far][here], axis=1)
        straight = along[ahead] - along[here] - chord < STRAIGHT_MM
        here, ahead = here[straight], ahead[straight]
        own, true = (
            np.linalg.norm(lines[far][ahead] - lines[near][here], axis=1) for lines in (cut, part)
        )
        excess = np.abs(own - true * (1 + slant[here])) - SLACK_MM - give * true
        worst = max(worst, float(excess.max(initial=-np.inf)))
    return worst


def _reach_past(side: dict, piece: dict, name: str) -> np.ndarray:
    """(n,) how far a piece reaches past its joint's line at every place, mm; nan where no side of
    it faces the place."""
    points = np.array(side["line_mm"], dtype=float)
    outline = np.array(piece["outline_mm"], dtype=float)
    away, meets = across(points, edges_named(piece, name))
    back = np.array(side["beside_mm"], dtype=float) - points
    back /= np.linalg.norm(back, axis=1)[:, None]
    # a hair past the line, seen from the piece: inside where the piece goes on
    beyond = plane.inside(points - back * min(away.min(initial=1.0) / 2 + 1e-6, 1.0), outline)
    return np.where(meets, np.where(beyond, away, -away), np.nan)
