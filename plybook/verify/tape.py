"""Pieces rebuilt from the printed figures, as a builder draws them: two tapes to each corner, a
straightedge between corners, offsets from it, and the curves that the corner sheets show.

Only what the paper says is used; plan.json says where a card stands, which letter means which point
of the outline, and what the outline must come out as.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from plybook.verify import plane
from plybook.verify.layouts import tape_unit
from plybook.verify.lettering import Lettering, edge_words, face_words
from plybook.verify.lettermetrics import MIDDLE, width
from plybook.verify.pdf_pages import Line, Page, Words
from plybook.verify.pieces import ring
from plybook.verify.printed import MM_PER_INCH, angle, same
from plybook.verify.report import Report
from plybook.verify.tolerances import PAPER_MM

WIDEST_MM = 3.0  # no one states a wider tolerance for a cut
STEP_MM = 5.0
_MOST_LINES = 5  # of the words beside a figure
_ON_EDGE_MM = 0.1  # edges are chorded apart from their outline
# half of the last mark of a tape, by its unit and whether it lies on cloth, which is placed by
# millimetres and sixteenths; common practice, no source
_HALF_MM = {
    ("mm", True): 0.5, ("mm", False): 0.25,
    ("in", True): MM_PER_INCH / 32, ("in", False): MM_PER_INCH / 64,
}  # fmt: skip
_ROUNDING_MM = 5e-4  # of knots in plan.json, which keep four decimals
_ROWS_SHARE = 0.45  # of a card's width is its picture
LENGTH = r"(-?\d+(?: \d+/\d+|/\d+|\.\d+)?)"
KNOT = r"([A-Z]\d*)"
_PAIR = re.compile(rf"{KNOT}\u2013{KNOT}")
_TIE = re.compile(rf"{LENGTH} (mm|in)")
_DRAW = re.compile(rf"Draw {KNOT}\u2013{KNOT}(?:; find (.*?))?\.(?: |$)")
_FIND = re.compile(rf"{KNOT} from {KNOT} and {KNOT}")
_BOWS = re.compile(r"Bows, off the straight line: (.*?side)\.(?: |$)")
_OFFSET = re.compile(rf"{LENGTH}: {LENGTH} (out|in)side")
LAY = re.compile(
    rf"Lay: (?:from {KNOT} to {KNOT} {LENGTH} (mm|in) along the (?:warp|grain), {LENGTH} "
    rf"(?:mm|in) square to it to the (left|right)|{KNOT}\u2013{KNOT} runs (along|square to) the "
    r"(?:warp|grain))\."
)
_OUT_MM = (4.5, 6.0, 8.0, 10.0, 12.0)  # from a cross to the middle of its letter, to a tenth
_TOO = re.compile(r"Mirrored, the template of .+ too\.|.+ too, \d+ OFF in all: see their cards\.")
_LEAD = re.compile(rf"{KNOT} to {KNOT} {LENGTH} (mm|in)")


@dataclass(frozen=True)
class Told:
    """What a card tells, lengths in mm."""

    base: tuple[str, str]
    finds: tuple[tuple[str, str, str], ...]
    ties: dict[frozenset[str], float]
    bows: dict[tuple[str, str], list[tuple[float, float]]]
    lay: re.Match[str] | None


def check_figures(
    plan: dict, tiles: list[dict], pages: dict[int, Page], report: Report
) -> dict[str, list[np.ndarray]]:
    """Every card of `figures` in plan.json: its piece comes out within the stated tolerance.

    Returns:
        For the pieces that are drawn by figures, the lines that come out, in the piece's frame.
    """
    by_id = {piece["id"]: piece for piece in plan["pieces"]}
    done: dict[str, list[np.ndarray]] = {}
    for card in plan.get("figures", []):
        piece = by_id[card["piece"]]
        where = f"templates.pdf, page {card['page']}, figures of {piece['id']}"
        done[piece["id"]] = []
        if card["page"] not in pages:
            report.fault(where, "are on no page")
            continue
        done[piece["id"]] = _check_card(plan, piece, card, tiles, pages, where, report)
    return done


def _check_card(
    plan: dict, piece: dict, card: dict, tiles: list[dict], pages: dict[int, Page], where: str,
    report: Report,
) -> list[np.ndarray]:  # fmt: skip
    words = list(inside(pages[card["page"]].words, card["box_mm"]))
    ids = [w.text for w in words if w.mark == "ID"]
    report.expect(len(ids) == 1 and same(ids[0], piece["id"], cut=False),
                  "cards of figures that bear the name of their piece", where,
                  f"are headed {ids}")  # fmt: skip
    _check_words(plan, piece, card, words, where, report)
    left = card["box_mm"][0] + _ROWS_SHARE * (card["box_mm"][2] - card["box_mm"][0])
    told = _read([w for w in words if w.at_mm[0] >= left])
    if told is None:
        report.fault(where, "do not say how it is drawn")
        return []
    knots = {name: np.array([x, y]) for name, x, y in card["knots"]}
    rings = [ring(piece.get("cut_outline_mm", piece["outline_mm"])),
             *(ring(h)[::-1] for h in piece["holes_mm"])]  # fmt: skip
    stray = max(float(np.min([plane.distance_to_path(at[None], r) for r in rings]))
                for at in knots.values())  # fmt: skip
    report.expect(stray <= PAPER_MM, "lettered points on their outline", where,
                  f"letter a point {stray:.2f} mm off the outline")  # fmt: skip
    shown = _check_windows(piece, card, tiles, pages, told, knots, rings, report)
    made = _drawn(told, card["runs"], knots, rings)
    tolerance = float(card["tolerance_mm"])
    if made is None or not 0 < tolerance <= WIDEST_MM:
        report.fault(where, "do not find every corner" if made is None else
                     f"state a tolerance of {tolerance:g} mm")  # fmt: skip
        return []
    off = max(
        float(np.min([plane.distance_to_path(dense(made), r) for r in rings], axis=0).max()),
        float(to_lines(np.concatenate([dense([np.vstack([r, r[:1]])]) for r in rings]), made)),
    )
    printed = {(a, b) for a, b, kind in card["runs"] if kind == "printed"}
    report.expect(off <= tolerance and printed <= shown,
                  "pieces rebuilt from their printed figures", where,
                  f"rebuild it {off:.2f} mm off, stated {tolerance:g} mm"
                  + "; a curve is not printed" * (not printed <= shown))  # fmt: skip
    check_lay(piece, told.lay, tape_unit(plan), knots, where, report)
    return made


def _check_words(
    plan: dict, piece: dict, card: dict, words: list[Words], where: str, report: Report
) -> None:
    """The head of a card tells face, count, stage, layer and material; each side its edge."""
    lettering = Lettering(plan, "templates.pdf", report)
    said = [w.text for w in words if w.mark == "TEXT"]
    head = f"{face_words(piece)} \u00b7 {piece['quantity']} OFF \u00b7 Stage {piece['stage']}"
    flowing = [*said, *map(" ".join, zip(said, said[1:], strict=False))]  # what takes two lines
    wrong = [] if any(same(s, head) for s in flowing) else ["no " + head]
    layer = f"Layer {lettering.places.get(piece['layer'], piece['layer'])} \u00b7 "
    below = [s for s in flowing if s.startswith(layer[:6])]
    if not any(
        same(s, layer + s.partition(" \u00b7 ")[2])
        and lettering.names.fits(piece["material"], s.partition(" \u00b7 ")[2])
        for s in below
    ):
        wrong.append("another layer or material")
    lettering_fibre = [w.text.removeprefix("GRAIN ") for w in words if w.mark == "FIBRE"]
    if any(text != angle(piece["angle_deg"]) for text in lettering_fibre):
        wrong.append(f"the angle {lettering_fibre}")
    knots = {name: np.array([x, y]) for name, x, y in card["knots"]}
    rings = [ring(piece.get("cut_outline_mm", piece["outline_mm"])),
             *(ring(h)[::-1] for h in piece["holes_mm"])]  # fmt: skip
    rows = {text: k for k, text in enumerate(said) if _PAIR.fullmatch(text)}
    for start, end, kind in card["runs"]:
        k = rows.get(f"{start}\u2013{end}")
        true = _stretch(knots[start], knots[end], rings)
        if k is None or true is None:
            continue  # told once, for two runs between the same corners
        told = [" ".join(said[k + 2 : stop]) for stop in range(k + 3, k + 2 + _MOST_LINES)]
        if kind == "printed":
            told = [re.sub(r"^printed on page \d+( \u00b7 )?", "", rest) for rest in told]
        own = _edges_at(true, piece)
        wrong += [f"{told[0]!r} on {start}\u2013{end}"] * (
            bool(own) and not any(same(rest, words) for rest in told for words in own)
        )
    report.expect(not wrong, "cards of figures that tell the facts of their piece", where,
                  f"say {wrong[:2]}")  # fmt: skip


def _edges_at(run: np.ndarray, piece: dict) -> list[str]:
    """The words of the edges that the middle of a stretch of the outline lies on."""
    steps = np.hypot(*np.diff(run, axis=0).T)
    walked = np.concatenate([[0.0], np.cumsum(steps)])
    middle = [np.interp(walked[-1] / 2, walked, run[:, k]) for k in (0, 1)]
    return [
        edge_words(edge, piece)
        for edge in piece["edges"]
        if len(edge["points_mm"]) > 1
        and plane.distance_to_path(np.array([middle]), np.array(edge["points_mm"]), closed=False)[0]
        < _ON_EDGE_MM
    ]


def inside(words: Iterable[Words], box: list[float]) -> Iterable[Words]:
    x0, y0, x1, y1 = box
    return (w for w in words if x0 - 0.5 <= w.at_mm[0] <= x1 and y0 - 0.5 <= w.at_mm[1] <= y1)


def _read(words: list[Words]) -> Told | None:
    """The rows of a card, from the top."""
    rows: dict[float, list[Words]] = {}
    for word in words:
        if word.mark == "TEXT":
            rows.setdefault(round(word.at_mm[1], 1), []).append(word)
    lines: list[str] = []
    ties: dict[frozenset[str], float] = {}
    unit = "mm"
    for height in sorted(rows, reverse=True):
        row = [w.text for w in sorted(rows[height], key=lambda w: w.at_mm[0])]
        for k, text in enumerate(row[:-1]):
            pair, tie = _PAIR.fullmatch(text), _TIE.fullmatch(row[k + 1])
            if pair and tie:
                key, unit = frozenset(pair.groups()), tie[2]
                length = to_mm(tie[1], unit)
                if ties.setdefault(key, length) != length:
                    return None  # told twice, as two arcs of a round hole are, and not alike
                break
        else:
            lines.append(row[-1])
    text = " ".join(lines)
    draw = _DRAW.search(text)
    if draw is None:
        return None
    bows: dict[tuple[str, str], list[tuple[float, float]]] = {}
    if told := _BOWS.search(text):
        for part in told[1].split("; "):
            pair = _PAIR.match(part)
            if pair is None:
                return None
            bows[pair[1], pair[2]] = [
                (to_mm(a, unit), to_mm(b, unit) * (1 if side == "out" else -1))
                for a, b, side in _OFFSET.findall(part)
            ]
    finds = tuple(_FIND.findall(draw[3] or ""))
    return Told((draw[1], draw[2]), finds, ties, bows, LAY.search(text))


def to_mm(text: str, unit: str) -> float:
    value = sum(Fraction(part) for part in text.split())
    return float(value) * (MM_PER_INCH if unit == "in" else 1.0)


def _drawn(
    told: Told, runs: list[list[str]], knots: dict[str, np.ndarray], rings: list[np.ndarray]
) -> list[np.ndarray] | None:
    """The lines a builder gets, laid on the true outline as well as they go."""
    a, b = told.base
    try:
        at = {a: np.zeros(2), b: np.array([told.ties[frozenset((a, b))], 0.0])}
        for name, one, other in told.finds:
            p, q = at[one], at[other]
            r, s = told.ties[frozenset((one, name))], told.ties[frozenset((other, name))]
            gap = math.dist(p, q)
            along = (r * r - s * s + gap * gap) / (2 * gap)
            up = math.sqrt(max(r * r - along * along, 0.0))
            way = (q - p) / gap
            left = _cross(knots[other] - knots[one], knots[name] - knots[one]) > 0
            at[name] = p + along * way + (up if left else -up) * np.array([-way[1], way[0]])
    except (KeyError, ZeroDivisionError):
        return None
    if set(at) != set(knots):
        return None
    names = list(knots)
    moved = _onto(np.array([at[n] for n in names]), np.array([knots[n] for n in names]))
    at = dict(zip(names, moved, strict=True))
    lines = []
    for start, end, kind in runs:
        p, q = at[start], at[end]
        gap = math.dist(p, q)
        if kind == "printed":
            true = _stretch(knots[start], knots[end], rings)
            if true is None:
                return None
            lines.append(_onto_ends(true, p, q))
            continue
        if frozenset((start, end)) not in told.ties or gap == 0.0:
            return None
        way = (q - p) / gap
        number = int(np.argmin([plane.distance_to_path(knots[start][None], r)[0] for r in rings]))
        out = np.array([way[1], -way[0]]) * (1 if number == 0 else -1)
        marks = [p + u * way + v * out for u, v in told.bows.get((start, end), [])]
        if (kind == "bowed") != bool(marks):
            return None
        lines.append(np.array([p, *marks, q]))
    return lines


def _stretch(a: np.ndarray, b: np.ndarray, rings: list[np.ndarray]) -> np.ndarray | None:
    """The stretch of a ring from one point of it to another, in its direction."""
    for points in rings:
        i, j = (int(np.argmin(np.hypot(*(points - p).T))) for p in (a, b))
        if max(math.dist(points[i], a), math.dist(points[j], b)) > PAPER_MM:
            continue
        count = (j - i) % len(points) or len(points)
        return np.array([points[(i + k) % len(points)] for k in range(count + 1)])
    return None


def _onto(points: np.ndarray, true: np.ndarray) -> np.ndarray:
    """Points moved and turned onto others by least squares, never mirrored."""
    one, two = points - points.mean(axis=0), true - true.mean(axis=0)
    turn = math.atan2(float(np.sum(_cross(one.T, two.T))), float(np.sum(one * two)))
    x, y = true.mean(axis=0)
    return plane.placed(one, x, y, math.degrees(turn), False)


def _onto_ends(line: np.ndarray, p: np.ndarray, q: np.ndarray) -> np.ndarray:
    one, two = line[-1] - line[0], q - p
    turn = math.atan2(float(_cross(one, two)), float(one @ two))
    x, y = (p + q) / 2
    return plane.placed(line - (line[0] + line[-1]) / 2, x, y, math.degrees(turn), False)


def _cross(one, other):
    return one[0] * other[1] - one[1] * other[0]


def dense(lines: Iterable[np.ndarray]) -> np.ndarray:
    return np.concatenate([plane.walk(line, STEP_MM) for line in lines])


def to_lines(points: np.ndarray, lines: Iterable[np.ndarray]) -> float:
    return float(np.min([plane.distance_to_path(points, x, closed=False) for x in lines],
                        axis=0).max())  # fmt: skip


def check_lay(
    piece: dict, lay: re.Match[str] | None, unit: str, knots: dict[str, np.ndarray], where: str,
    report: Report,
) -> None:  # fmt: skip
    """Where the first line runs on its stock, as `LAY` found it in the words of a card: told on a
    tape in a unit, to the nearest mark."""
    if lay is None:
        report.expect(piece["kind"] not in ("ply",) or not _woven(piece),
                      "cards that say how the piece lies on its stock", where,
                      "do not say how it lies on its stock")  # fmt: skip
        return
    a, b = (lay[1], lay[2]) if lay[1] else (lay[7], lay[8])
    turn = math.radians(piece["angle_deg"])
    warp = np.array([math.cos(turn), math.sin(turn)])
    if a not in knots or b not in knots:
        report.fault(where, "lay it by a point it does not have")
        return
    way = knots[b] - knots[a]
    along, square = float(way @ warp), float(_cross(warp, way))
    if along < 0:
        along, square = -along, -square
    told_along, told_square = along, square
    if lay[9] == "along":
        told_square = 0.0
    elif lay[9]:
        told_along = 0.0
    else:
        told_along = to_mm(lay[3], lay[4])
        told_square = to_mm(lay[5], lay[4]) * (1 if lay[6] == "left" else -1)
    half = _HALF_MM[unit, piece["kind"] in ("ply", "film")] + _ROUNDING_MM
    good = max(abs(told_along - along), abs(told_square - square)) <= half
    report.expect(good, "cards that say how the piece lies on its stock", where,
                  "lay it across its warp")  # fmt: skip


def _woven(piece: dict) -> bool:
    return "mat" not in piece.get("material", "")


def _check_windows(
    piece: dict, card: dict, tiles: list[dict], pages: dict[int, Page], told: Told,
    knots: dict[str, np.ndarray], rings: list[np.ndarray], report: Report,
) -> set[tuple[str, str]]:  # fmt: skip
    """The corner sheets of a piece: true lines, crosses on their knots, true distances onwards.

    Returns:
        The runs that are printed whole.
    """
    own = [t for t in tiles if t["piece"] == piece["id"] and t.get("way") == "corners"]
    drawn: list[np.ndarray] = []
    crosses: list[np.ndarray] = []
    for sheet in own:
        where = f"templates.pdf, page {sheet['page']}, corners of {piece['id']}"
        if sheet["page"] not in pages:
            report.fault(where, "are on no page")
            continue
        page = pages[sheet["page"]]
        low, high = np.array(sheet["window_mm"][:2]), np.array(sheet["window_mm"][2:])
        corner, stretch = np.array(sheet["corner_mm"]), np.array(sheet["stretch"])
        for line in page.lines:
            points = (line.points - corner) / stretch + low
            if line.closed:
                points = np.concatenate([points, points[:1]])
            if (points.max(axis=0) < low - 0.7).any() or (points.min(axis=0) > high + 0.7).any():
                continue
            if line.mark in ("CUT", "CUT_INNER"):
                drawn.append(points)
            elif _is_cross(line):
                crosses.append(points.mean(axis=0))
        places = [(w, _at(w, sheet)) for w in page.words]
        words = [w for w, at in places if (at >= low - 0.5).all() and (at <= high + 0.5).all()]
        for word in words:
            if lead := _LEAD.fullmatch(word.text):
                tie = told.ties.get(frozenset((lead[1], lead[2])))
                good = tie is not None and abs(tie - to_mm(lead[3], lead[4])) < 1e-6
                report.expect(good, "distances from corner to corner alike on card and sheet",
                              where, f"say {word.text!r}")  # fmt: skip
        ids = [w.text for w in words if w.mark == "ID"]
        report.expect(bool(ids) and all(same(i, piece["id"], cut=False) for i in ids),
                      "corner sheets that bear the name of their piece", where,
                      f"are named {ids}")  # fmt: skip
        other = [w.text for w in words if w.mark == "TEXT" and not _LEAD.fullmatch(w.text)
                 and w.text != face_words(piece) and not _TOO.fullmatch(w.text)]  # fmt: skip
        report.expect(not other, "corner sheets with the words of corners alone", where,
                      f"say {other[:1]}")  # fmt: skip
        for letter in (w for w in words if w.mark == "REGISTRATION"):
            name = letter.text
            half = letter.size_mm * np.array([width(name, True) / 2, MIDDLE])
            middle = _at(replace(letter, at_mm=tuple(np.array(letter.at_mm) + half)), sheet)
            away = math.dist(knots[name], middle) if name in knots else math.inf
            good = min(abs(away - out) for out in _OUT_MM) <= 0.1
            report.expect(good, "crosses lettered as their card has them", where,
                          f"letter {name} where another point lies")  # fmt: skip
    if not drawn:
        return set()
    stray = float(np.min([plane.distance_to_path(np.concatenate(drawn), r) for r in rings],
                         axis=0).max())  # fmt: skip
    where = f"templates.pdf, corners of {piece['id']}"
    report.expect(stray <= PAPER_MM, "corner sheets without a stray cut", where,
                  f"a cut line strays {stray:.3f} mm from plan.json")  # fmt: skip
    found = np.array(crosses).reshape(-1, 2)
    whole = set()
    for start, end, kind in card["runs"]:
        if kind != "printed":
            continue
        true = _stretch(knots[start], knots[end], rings)
        marked = all(len(found) and np.hypot(*(found - knots[n]).T).min() <= PAPER_MM
                     for n in (start, end))  # fmt: skip
        if true is not None and marked and to_lines(dense([true]), drawn) <= PAPER_MM:
            whole.add((start, end))
    return whole


def _is_cross(line: Line) -> bool:
    return line.mark == "REGISTRATION" and len(line.points) == 2 and not line.closed


def _at(word: Words, sheet: dict) -> np.ndarray:
    corner, stretch = np.array(sheet["corner_mm"]), np.array(sheet["stretch"])
    return (np.array(word.at_mm) - corner) / stretch + np.array(sheet["window_mm"][:2])
