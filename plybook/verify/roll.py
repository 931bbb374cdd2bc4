"""templates-roll.pdf against plan.json: every outline comes out true when its panels are laid over
one another by their crosses, and what is left out is drawn from straight sides."""

from __future__ import annotations

import re
from collections import Counter
from itertools import combinations

import numpy as np

from plybook.verify import plane
from plybook.verify.drawings import file_name
from plybook.verify.pdf_pages import Book, Page
from plybook.verify.pieces import ring
from plybook.verify.report import Report
from plybook.verify.svg_paths import Drawing, read_svg
from plybook.verify.tiles import compare_cut
from plybook.verify.tolerances import PAPER_MM

NAME = "templates-roll.pdf"
LONGEST_PAGE_MM = 5000.0
NOT_ON_ROLL = {"GHOST", "FRAME", "STOCK", "BAD_ZONE", "CAUTION"}
# names of crosses and panels, and lengths of rulers
_ON_ROLL = re.compile(r"[\w.-]{1,24}|(?:\S+  )?panel \d+(?: of \d+)?|"
                      r"[\d /.]+ (?:mm|in) \([\d /.]+ (?:mm|in)\)")  # fmt: skip


def check_roll(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """The plotter's roll: pages, panels, crosses, and the pieces that are not on it."""
    told = plan["roll"]
    panels, left = told["panels"], set(told["left_out"])
    shown = {panel["piece"] for panel in panels}
    for piece in plan["pieces"]:
        report.expect((piece["id"] in shown) != (piece["id"] in left),
                      "pieces on the roll of paper or left out of it", NAME,
                      f"{piece['id']} is neither shown nor left out, or both")  # fmt: skip
    _check_left_out(plan, left, report)
    if NAME not in files:
        report.fault(NAME, "is missing")
        return
    try:
        book = Book(files[NAME])
        pages = {k + 1: book.page(k) for k in range(book.count)}
    except ValueError as wrong:
        report.fault(NAME, f"cannot be read: {wrong}")
        return
    report.expect(book.prints_at_full_size, "rolls of paper printed at full size", NAME,
                  "lets the viewer scale it")  # fmt: skip
    for number, page in pages.items():
        right = abs(page.width_mm - told["width_mm"]) < 0.1 and page.height_mm < LONGEST_PAGE_MM
        report.expect(right, "pages as wide as the paper and under 5 m", f"{NAME}, page {number}",
                      f"is {page.width_mm:.1f} by {page.height_mm:.1f} mm")  # fmt: skip
    length = sum(page.height_mm for page in pages.values())
    report.expect(abs(length - told["length_mm"]) < 0.5, "lengths of paper as told", NAME,
                  f"takes {length:.0f} mm, plan.json tells {told['length_mm']:.0f}")  # fmt: skip
    _check_words(plan, files, pages, report)
    drawn, crosses = _by_panel(plan, panels, pages, report)
    for piece in plan["pieces"]:
        if piece["id"] in shown:
            own = [k for k, panel in enumerate(panels) if panel["piece"] == piece["id"]]
            lines = [line for k in own for line in drawn[k]]
            where = f"{NAME}, piece {piece['id']}"
            if lines:
                compare_cut(piece, lines, where, report)
            else:
                report.fault(where, "is not drawn")
            _check_crosses(own, panels, crosses, where, report)


def _check_words(
    plan: dict, files: dict[str, bytes], pages: dict[int, Page], report: Report
) -> None:
    """Words on the roll are those of the cutter's drawings of its pieces; a piece that is shown
    whole has all that stand within its outline there. No line is of a kind that has no place."""
    part = plan["part"]
    heads = (f"{part['number']} rev {part['revision']}", "Templates 1:1 on a roll, page ",
             "No piece needs paper: ")  # fmt: skip
    drawings = {}
    for piece in plan["pieces"]:
        name = f"templates/{file_name(piece['id'])}.svg"
        if name in files:
            drawings[piece["id"]] = read_svg(files[name])
    for number, page in pages.items():
        panels = [panel for panel in plan["roll"]["panels"] if panel["page"] == number]
        shown = [drawings[p["piece"]] for p in panels if p["piece"] in drawings]
        known = {words.text for drawing in shown for words in drawing.texts}
        said = [words.text for words in page.words if words.text.strip()]
        strange = [text for text in said if text not in known and not text.startswith(heads)
                   and not _ON_ROLL.fullmatch(text)]  # fmt: skip
        where = f"{NAME}, page {number}"
        report.expect(not strange, "words on the roll that the cutter's drawings have", where,
                      f"says {strange[:2]}")  # fmt: skip
        have = Counter(said)
        for panel in panels:
            if panel["of"] == 1 and panel["piece"] in drawings:
                have.subtract(_within(drawings[panel["piece"]]))
        lost = [text for text, count in have.items() if count < 0]
        report.expect(not lost, "pieces on the roll with all that is written in them", where,
                      f"does not say {lost[:2]}, or not as often")  # fmt: skip
        odd = {line.mark for line in page.lines} & NOT_ON_ROLL
        report.expect(not odd, "lines on the roll of kinds that have a place there", where,
                      f"has lines of {', '.join(sorted(odd))}")  # fmt: skip


def _within(drawing: Drawing) -> list[str]:
    """Words whose middle stands within the cut outline."""
    cut = max((p.points for p in drawing.paths if p.layer == "CUT"), key=len)
    at = np.array([words.at for words in drawing.texts]).reshape(-1, 2)
    inside = plane.inside(at, cut)
    return [words.text for words, yes in zip(drawing.texts, inside, strict=True) if yes]


def _check_left_out(plan: dict, left: set[str], report: Report) -> None:
    """Only rods, pieces of straight sides, and those that another template serves: as it is, or
    with straight sides to a line of their own."""
    cards = {card["piece"]: card for card in plan.get("figures", [])}
    served = {card["piece"]: card for card in plan.get("served", [])}
    for piece in plan["pieces"]:
        if piece["id"] not in left or piece["kind"] == "rod":
            continue
        card = served.get(piece["id"])
        if card is not None and (not card["ends"] or card["of"] != plan["part"]["number"]):
            continue
        runs = cards.get(card["by"] if card else piece["id"], {}).get("runs", [])
        report.expect({kind for _, _, kind in runs} == {"straight"},
                      "pieces of straight sides without paper", NAME,
                      f"{piece['id']} is left out, but has other sides")  # fmt: skip


def _by_panel(
    plan: dict, panels: list[dict], pages: dict[int, Page], report: Report
) -> tuple[list[list[np.ndarray]], list[np.ndarray]]:
    """Cut lines and crosses of each panel in its piece's frame; each line is that of the panel
    whose outline it lies nearest to."""
    known = {piece["id"]: piece for piece in plan["pieces"]}
    rings = {
        name: [ring(piece.get("cut_outline_mm", piece["outline_mm"])),
               *(ring(hole) for hole in piece["holes_mm"])]
        for name, piece in known.items()
    }  # fmt: skip
    drawn: list[list[np.ndarray]] = [[] for _ in panels]
    crosses = [np.zeros((0, 2)) for _ in panels]
    for number, page in pages.items():
        here = [k for k, panel in enumerate(panels) if panel["page"] == number]
        ids = {panels[k]["piece"] for k in here}
        words = "".join(w.text for w in page.words)
        for name in ids:
            report.expect(name.replace(" ", "") in words.replace(" ", ""),
                          "pieces named on the roll of paper", f"{NAME}, page {number}",
                          f"does not name {name}")  # fmt: skip
        for line in page.lines:
            if line.mark not in ("CUT", "CUT_INNER"):
                continue
            points = np.concatenate([line.points, line.points[:1]]) if line.closed else line.points
            best = min(
                ((_off(_in_piece(points, panels[k]), rings[panels[k]["piece"]]), k) for k in here),
                default=(np.inf, -1),
            )
            if report.expect(best[0] <= 5.0, "cut lines of a piece on the roll", NAME,
                             f"page {number} has a cut line that is no piece's"):  # fmt: skip
                drawn[best[1]].append(_in_piece(points, panels[best[1]]))
        middles = _middles(page)
        for k in here:
            at = _in_piece(middles, panels[k])
            low, high = np.array(panels[k]["window_mm"]).reshape(2, 2)
            crosses[k] = at[((at >= low - 0.1) & (at <= high + 0.1)).all(axis=1)]
    return drawn, crosses


def _in_piece(points: np.ndarray, panel: dict) -> np.ndarray:
    """Points of the page in the frame of the piece that a panel shows."""
    turn = np.radians(panel["turn_deg"])
    c, s = np.cos(turn), np.sin(turn)
    return (points - np.array(panel["at_mm"])) @ np.array([[c, -s], [s, c]])


def _off(points: np.ndarray, rings: list[np.ndarray]) -> float:
    return float(np.min([plane.distance_to_path(points, r) for r in rings], axis=0).max())


def _middles(page: Page) -> np.ndarray:
    """Where two lines of a cross meet."""
    arms = [x.points for x in page.lines if x.mark == "REGISTRATION" and len(x.points) == 2
            and abs(np.hypot(*(x.points[1] - x.points[0])) - 10.0) < 6.0]  # fmt: skip
    middles = [a.mean(axis=0) for a in arms]
    twice = [a for k, a in enumerate(middles)
             if any(np.hypot(*(a - b)) < 0.01 for b in middles[:k])]  # fmt: skip
    return np.array(twice).reshape(-1, 2)


def _check_crosses(
    own: list[int], panels: list[dict], crosses: list[np.ndarray], where: str, report: Report
) -> None:
    """Panels of a piece hang together by strips with two crosses or more that agree."""
    if len(own) < 2:
        return
    joined = {own[0]}
    links = []
    for a, b in combinations(own, 2):
        if not len(crosses[a]) or not len(crosses[b]):
            continue
        gap = np.hypot(*(crosses[a][:, None] - crosses[b][None]).transpose(2, 0, 1))
        if int((gap.min(axis=1) <= PAPER_MM).sum()) >= 2:
            links.append((a, b))
    for _ in own:
        for a, b in links:
            if a in joined or b in joined:
                joined |= {a, b}
    report.expect(joined == set(own), "pieces whose panels are joined by crosses", where,
                  "its panels cannot be laid over one another")  # fmt: skip
