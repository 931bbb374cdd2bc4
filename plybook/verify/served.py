"""Pieces cut by the template of another: what comes out from it is the piece, with its own marks
and edges, and both cards say so.

Only what the paper says is used to draw; plan.json says which point a letter means.
"""

from __future__ import annotations

import math
import re

import numpy as np

from plybook.verify import plane
from plybook.verify.layouts import tape_unit
from plybook.verify.lettering import edge_words, face_words
from plybook.verify.pdf_pages import Page
from plybook.verify.pieces import ring
from plybook.verify.printed import angle, same, squeeze
from plybook.verify.report import Report
from plybook.verify.tape import (
    KNOT,
    LAY,
    LENGTH,
    WIDEST_MM,
    check_lay,
    dense,
    inside,
    to_lines,
    to_mm,
)

_SIDE = rf"{KNOT}\u2013{KNOT}, {LENGTH} (mm|in) from {KNOT}"
_CUT_OFF = re.compile(rf"Cut off from {_SIDE}, straight to {_SIDE}; keep ((?:{KNOT}, )*{KNOT})\.")
_NEAR_END_MM = 10.0  # marks so near an end line may stop short of it

Lines = list[np.ndarray]


def check_served(
    plan: dict, pages: dict[int, Page], made: dict[str, Lines], report: Report
) -> set[str]:
    """Every card of `served` in plan.json.

    Args:
        plan, pages, report: what is held true; read pages by number; takes what is found.
        made: what comes out from the figures of each piece that has any, in its frame.

    Returns:
        Ids of the pieces that have such a card.
    """
    by_id = {piece["id"]: piece for piece in plan["pieces"]}
    done = set()
    for card in plan.get("served", []):
        piece = by_id[card["piece"]]
        where = f"templates.pdf, page {card['page']}, card of {piece['id']}"
        done.add(piece["id"])
        words = [w for w in pages[card["page"]].words] if card["page"] in pages else []
        words = list(inside(words, card["box_mm"]))
        said = " ".join(w.text for w in words if w.mark == "TEXT")
        ids = [w.text for w in words if w.mark == "ID"]
        turns = [w.text.removeprefix("GRAIN ") for w in words if w.mark == "FIBRE"]
        good = (
            len(ids) == 1
            and same(ids[0], piece["id"], cut=False)
            and squeeze(_how(plan, card, by_id)) in squeeze(said)
            and squeeze(f"{face_words(piece)} \u00b7 {piece['quantity']} OFF") in squeeze(said)
            and all(text == angle(piece["angle_deg"]) for text in turns)
        )
        report.expect(good, "cards that send to the template of another piece", where,
                      f"say {said[:60]!r}")  # fmt: skip
        knots = {name: np.array([x, y]) for name, x, y in card["knots"]}
        if knots:
            check_lay(piece, LAY.search(said), tape_unit(plan), knots, where, report)
        _check_end_told(card, said, where, report)
        if card["of"] == plan["part"]["number"]:
            _check_own(plan, card, said, made, pages, where, report)
        else:
            report.expect(card["of"] == plan["part"].get("other_hand"),
                          "cards that send to the other hand", where,
                          f"send to {card['of']}")  # fmt: skip
    return done


def _how(plan: dict, card: dict, by_id: dict[str, dict]) -> str:
    """The sentence that sends to the template."""
    own = card["of"] == plan["part"]["number"]
    name = card["by"] if own else f"{card['of']} {card['by']}"
    if card["knots"]:
        return f"Figures of {name}, {'as they are' if own else 'mirrored as shown'}."
    own_way, template = angle(by_id[card["piece"]]["angle_deg"]), by_id.get(card["by"])
    alike = template is not None and angle(template["angle_deg"]) == own_way
    arrow = "" if alike else f", but the warp runs {own_way}, not along its arrow"
    return f"Template of {name}, {'as it is' if own else 'turned over'}{arrow}."


def _check_end_told(card: dict, said: str, where: str, report: Report) -> None:
    """The line that a shorter piece ends on is told as plan.json has it."""
    told, wanted = _ends_of(said), [tuple(end) for end in card["ends"]]
    if not wanted and "Cut off" not in said:
        return
    good = len(told) == len(wanted) and all(
        a[:2] == b[:2] and abs(a[2] - b[2]) < 0.01 for a, b in zip(told, wanted, strict=True)
    )
    kept = found[11].split(", ") if (found := _CUT_OFF.search(said)) else []
    report.expect(good and kept == list(card["kept"]), "cards that say where their piece ends",
                  where, f"end it at {told}, plan.json at {wanted}")  # fmt: skip


def _ends_of(said: str) -> list[tuple[str, str, float]]:
    """The two sides of an end line with how far along them it lies, mm."""
    found = _CUT_OFF.search(said)
    if found is None or found[1] != found[5] or found[6] != found[10]:
        return []
    return [(found[1], found[2], to_mm(found[3], found[4])),
            (found[6], found[7], to_mm(found[8], found[9]))]  # fmt: skip


def _check_own(
    plan: dict, card: dict, said: str, made: dict[str, Lines], pages: dict[int, Page],
    where: str, report: Report,
) -> None:  # fmt: skip
    """The template of a piece of the same part serves: outline, marks and edges are the same."""
    by_id = {piece["id"]: piece for piece in plan["pieces"]}
    piece, other = by_id[card["piece"]], by_id.get(card["by"])
    printed = [sheet for sheet in plan["tiles"] if sheet["piece"] == card["by"]]
    if other is None or (card["by"] not in made and not printed):
        report.fault(where, f"sends to a template of {card['by']}, which there is not")
        return
    theirs = [c["knots"] for c in plan.get("figures", []) if c["piece"] == card["by"]]
    report.expect(card["knots"] == (theirs[0] if theirs else []),
                  "letters alike on pieces of one template", where,
                  f"has other letters than {other['id']}")  # fmt: skip
    tolerance = float(card["tolerance_mm"])
    lines = made.get(card["by"]) or _rings(other)
    off = _off(piece, lines, card, said)
    report.expect(off <= tolerance <= WIDEST_MM, "pieces rebuilt from the template of another",
                  where, f"comes out {off:.2f} mm off, stated {tolerance:g} mm")  # fmt: skip
    words, others = (sorted(edge_words(e, p) for e in p["edges"]) for p in (piece, other))
    report.expect(words == others, "edges alike on pieces of one template", where,
                  f"has other edges than {other['id']}")  # fmt: skip
    stray = _strays(piece, other, tolerance, bool(card["ends"]))
    report.expect(not stray, "marks alike on pieces of one template", where,
                  f"lacks {stray[:1]} on the template of {other['id']}")  # fmt: skip
    _check_master(plan, other, pages, where, report)


def _rings(piece: dict) -> Lines:
    rings = [ring(piece.get("cut_outline_mm", piece["outline_mm"])),
             *(ring(hole) for hole in piece["holes_mm"])]  # fmt: skip
    return [np.vstack([r, r[:1]]) for r in rings]


def _off(piece: dict, lines: Lines, card: dict, said: str) -> float:
    """How far what comes out from a template lies from a piece at most."""
    true = _rings(piece)
    made = dense(lines)
    if card["ends"]:
        knots = {name: np.array([x, y]) for name, x, y in card["knots"]}
        ends = [knots[a] + (knots[b] - knots[a]) * at / math.dist(knots[a], knots[b])
                for a, b, at in _ends_of(said) if a in knots and b in knots]  # fmt: skip
        if len(ends) != 2:
            return math.inf
        way = ends[1] - ends[0]
        side = np.array([-way[1], way[0]]) / np.hypot(*way)
        stays = [float((knots[name] - ends[0]) @ side) for name in card["kept"]]
        if not stays or min(stays) * max(stays) <= 0:
            return math.inf
        made = made[(made - ends[0]) @ side * math.copysign(1.0, stays[0]) >= 0]
        lines = [*lines, np.array(ends)]
        made = np.vstack([made, dense([np.array(ends)])])
    away = np.min([plane.distance_to_path(made, line[:-1]) for line in true], axis=0)
    return max(float(away.max()), to_lines(dense(true), lines))


def _strays(piece: dict, other: dict, room_mm: float, shorter: bool) -> list[str]:
    """Marks of one of two pieces that the other has not in the same place, by name; where one is
    shorter, the ends of the layers on it, and what of the longer lies past its end."""
    outline = ring(piece.get("cut_outline_mm", piece["outline_mm"]))
    found = []
    for one, two in ((piece, other), (other, piece)):
        for mark in one["marks"]:
            if shorter and mark["kind"] == "drop_line":
                continue
            points = np.array(mark["points_mm"]).reshape(-1, 2)
            if shorter and one is other:
                points = dense([points]) if len(points) > 1 else points
                within = plane.inside(points, outline)
                clear = plane.distance_to_path(points, outline) > _NEAR_END_MM
                points = points[within & clear]
            if len(points) and not _lies_on(mark, points, two["marks"], room_mm):
                found.append(mark["label"] or mark["kind"])
    return found


def _lies_on(mark: dict, points: np.ndarray, others: list[dict], room_mm: float) -> bool:
    alike = (o for o in others if (o["kind"], o["label"]) == (mark["kind"], mark["label"]))
    for o in alike:
        line = np.array(o["points_mm"]).reshape(-1, 2)
        if len(line) == 1:
            line = np.vstack([line, line])
        if plane.distance_to_path(points, line, closed=False).max() <= room_mm:
            return True
    return False


def _check_master(
    plan: dict, other: dict, pages: dict[int, Page], where: str, report: Report
) -> None:
    """Every page of a template that serves others says which, and how many it cuts in all."""
    number = plan["part"]["number"]
    ids = [c["piece"] for c in plan["served"] if (c["of"], c["by"]) == (number, other["id"])]
    counts = {piece["id"]: piece["quantity"] for piece in plan["pieces"]}
    count = counts[other["id"]] + sum(counts[id] for id in ids)
    wanted = f"{other['id']} cuts {', '.join(ids)} too, {count} OFF in all: see their cards."
    rows = [*plan["tiles"], *plan.get("figures", [])]
    for page in sorted({row["page"] for row in rows if row["piece"] == other["id"]}):
        words = "".join(squeeze(w.text) for w in pages[page].words) if page in pages else ""
        begun = squeeze(wanted)[:40]  # a header has no room for more
        report.expect(begun in words, "templates that say which other pieces they cut",
                      f"templates.pdf, page {page}",
                      f"does not say that {other['id']} cuts {', '.join(ids)}")  # fmt: skip


def check_hands_served(plans: dict[str, tuple[dict, Report]]) -> None:
    """Where a card sends to the other hand's template, that hand has it, with the same letters."""
    for plan, report in plans.values():
        for card in plan.get("served", []):
            if card["of"] == plan["part"]["number"]:
                continue
            other, _ = plans.get(card["of"], (None, None))
            where = f"templates.pdf, page {card['page']}, card of {card['piece']}"
            if other is None:
                report.unproved.append(f"that {card['of']} has a template of {card['by']}")
                continue
            report.expect(_other_serves(other, card), "templates of the other hand that serve",
                          where, f"send to a template that {card['of']} does not have")  # fmt: skip


def _other_serves(other: dict, card: dict) -> bool:
    """Whether the other hand has a template whose letters are those of a card, mirrored, and cuts
    the same piece by it in the same way."""
    if card["piece"] != card["by"]:
        theirs = [c for c in other.get("served", []) if c["piece"] == card["piece"]]
        told = [(c["of"], c["by"], c["ends"], c["kept"]) for c in theirs]
        if told != [(other["part"]["number"], card["by"], card["ends"], card["kept"])]:
            return False
    figures = [c for c in other.get("figures", []) if c["piece"] == card["by"]]
    if not card["knots"]:
        return any(t["piece"] == card["by"] for t in other.get("tiles", []))
    return bool(figures) and [
        [name, round(x, 2), round(-y, 2)] for name, x, y in figures[0]["knots"]
    ] == [[name, round(x, 2), round(y, 2)] for name, x, y in card["knots"]]
