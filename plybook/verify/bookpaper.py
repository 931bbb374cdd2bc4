"""The booklet on paper against plan.json: its steps in order, each with what is its own.

Terms:
    flow: the words of all pages as they were set, without running heads and feet, and without the
        line on top of a page on which another goes on.
    kicker: the small line above a title; it numbers a step within its stage.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass

from plybook.verify.bookcontents import HEAD_MM, NAME, body_of, is_contents
from plybook.verify.lettering import rosette_in_order
from plybook.verify.pdf_pages import Page, Words
from plybook.verify.printed import ANGLE, CUT_OFF, after, angle, pattern, same, squeeze
from plybook.verify.report import Report
from plybook.verify.steptold import WITH_ANGLE, StepTold

GOES_ON = (", continued", CUT_OFF)  # how the title of a page ends where it goes on
_HANDS = {"left": "LEFT hand", "right": "RIGHT hand", "none": ""}
_WITH_ANGLE = re.compile(rf"(\S+)\s+({ANGLE.pattern})")


@dataclass(frozen=True)
class Flow:
    """`text` is squeezed; `starts` tells where in it each of the words begins."""

    text: str
    starts: list[int]
    words: list[tuple[int, Words]]  # page, words

    def between(self, start: int, end: int) -> list[tuple[int, Words]]:
        """The words that begin within a stretch of the text."""
        return self.words[bisect_left(self.starts, start) : bisect_left(self.starts, end)]

    def at(self, place: int) -> tuple[int, Words]:
        """The words that hold a place of the text."""
        return self.words[bisect_right(self.starts, place) - 1]


def flow_of(pages: Iterable[Page]) -> Flow:
    """The flow of a booklet's pages."""
    parts: list[str] = []
    starts: list[int] = []
    kept: list[tuple[int, Words]] = []
    length = 0
    for number, page in enumerate(pages):
        if is_contents(page):
            continue
        for place, words in enumerate(body_of(page)):
            squeezed = squeeze(words.text)
            goes_on = place == 0 and words.text.endswith(GOES_ON)
            if squeezed and not goes_on:
                parts.append(squeezed)
                starts.append(length)
                kept.append((number, words))
                length += len(squeezed)
    return Flow("".join(parts), starts, kept)


def owner_of(part: dict) -> str:
    """What every page is headed with: number, name, revision and hand of the part."""
    facts = (part["number"], part["name"], f"revision {part['revision']}", _HANDS[part["hand"]])
    return " \u00b7 ".join(fact for fact in facts if fact)


def check_heads(plan: dict, pages: list[Page], report: Report) -> None:
    """Each page is headed with the part and its revision, and with its number."""
    owner = owner_of(plan["part"])
    for number, page in enumerate(pages, start=1):
        head = sorted((w for w in page.words if w.at_mm[1] >= page.height_mm - HEAD_MM),
                      key=lambda w: w.at_mm[0])  # fmt: skip
        said = [w.text for w in head]
        good = len(said) == 2 and same(said[0], owner) and said[1] == f"{number} / {len(pages)}"
        report.expect(good, "PDF pages headed with their part and number", NAME,
                      f"page {number} is headed {said}")  # fmt: skip


def check_steps_on_paper(plan: dict, flow: Flow, told: StepTold, report: Report) -> None:
    """Every step in its turn; between its title and what follows, all that is its own."""
    at = 0
    found: list[tuple[dict, int, int]] = []  # step, start of its kicker, end of its title
    for head, step in _headed(plan):
        end = after(head, flow.text, at)
        report.expect(end >= 0, "PDF steps in order", NAME,
                      f"step {step['title']!r} is not there in its turn")  # fmt: skip
        if end >= 0:
            found.append((step, end - len(squeeze(head)), end))
            at = end
    stops = sorted([start for _, start, _ in found] + _other_heads(plan, flow))
    for step, start, title_end in found:
        stop = next((s for s in stops if s > start), len(flow.text))
        where = f"{NAME}, step {step['title']}"
        _check_plate(step, flow, title_end, told, where, report)
        told.check(step, flow.text[title_end:stop], where)
        _check_place(flow, start, stop, where, report)
        _check_pictures(step, flow.between(start, stop), told, where, report)


def _headed(plan: dict) -> Iterable[tuple[str, dict]]:
    """Each step with its kicker and title."""
    count = len(plan["stages"])
    for number, stage in enumerate(plan["stages"], start=1):
        for place, step in enumerate(stage["steps"], start=1):
            yield (f"Stage {number} of {count} · {stage['title']} · step {place} of "
                   f"{len(stage['steps'])}{step['title']}"), step  # fmt: skip


def _other_heads(plan: dict, flow: Flow) -> list[int]:
    """Where a page starts that is no step: what is laid out for a stage, what follows the last."""
    heads = [f"Stage {number} of {len(plan['stages'])} · {stage['title']}Lay out before you start"
             for number, stage in enumerate(plan["stages"], start=1)]  # fmt: skip
    kicker = f"{plan['part']['number']} · revision {plan['part']['revision']}"
    heads += [kicker + title for title in ("Jig card", "Quantities")]
    ends = [(after(head, flow.text), len(squeeze(head))) for head in heads]
    return [end - length for end, length in ends if end >= 0]


def _check_plate(
    step: dict, flow: Flow, at: int, told: StepTold, where: str, report: Report
) -> None:
    """Below the title, in large letters, the ids in hand and the angle they have in common."""
    sawn = step["shows"] == "core" and not step["lays"] and len(step["pieces"]) == 1
    ids = told.plate(step)
    if not ids or step["shows"] == "none":
        return
    shown = pattern(ids).match(flow.text, at)
    if sawn and (shown is None or flow.at(at)[1].mark):
        return  # its picture names the panel
    report.expect(shown is not None, "PDF steps with their pieces in large letters", where,
                  f"shows {flow.text[at : at + len(ids) + 8]!r}, not {ids}")  # fmt: skip
    if shown is None:
        return
    wanted = "".join(told.plate_angle(step))
    next_words = [w.text for _, w in flow.between(shown.end(), shown.end() + 1) if not w.mark]
    large = next(iter(next_words), "")
    said = large if ANGLE.fullmatch(large) else ""
    report.expect(said == wanted, "PDF steps with the angle of their pieces", where,
                  f"says {said or 'no angle'}, not {wanted or 'none'}")  # fmt: skip
    line = flow.text[shown.end() + len(said) : shown.end() + len(said) + 2000]
    if line.startswith("layer"):  # there is none on a crowded page
        report.expect(told.plate_line(step, line),
                      "PDF steps with the layer, material and number in hand", where,
                      f"says {line[:60]!r}")  # fmt: skip


def _check_place(flow: Flow, start: int, stop: int, where: str, report: Report) -> None:
    """The words of a step stand below its kicker and above what follows on the page."""
    first, above = flow.at(start)
    last, below = flow.at(stop) if stop < len(flow.text) else (-1, above)
    astray = [
        words.text
        for page, words in flow.between(start, stop)
        if (page == first and words.at_mm[1] > above.at_mm[1] + 0.1)
        or (page == last and words.at_mm[1] <= below.at_mm[1] + 0.1)
    ]
    report.expect(not astray, "PDF steps whose words stand together", where,
                  f"{astray[:1]} stands with another step")  # fmt: skip


def _check_pictures(
    step: dict, words: list[tuple[int, Words]], told: StepTold, where: str, report: Report
) -> None:
    """The pieces named in a step's pictures are those in hand."""
    shown = {w.text.split()[0] for _, w in words if w.mark == "ID" and w.text.strip()}
    strange = sorted(shown & set(told.pieces) - set(step["pieces"]))
    pictures = [w for _, w in words]
    report.expect(rosette_in_order(pictures), "PDF steps with a rosette that turns as it should",
                  where, "a rosette has its angles exchanged")  # fmt: skip
    report.expect(not strange, "PDF steps whose pictures name their own pieces alone", where,
                  f"a picture names {', '.join(strange)}")  # fmt: skip


def check_named_angles(plan: dict, said: Iterable[str], name: str, report: Report) -> None:
    """Words that are an id and an angle, as in the pictures, tell the angle of that piece or
    layer."""
    known: dict[str, set[str]] = {}
    for row in (*plan["pieces"], *plan.get("layers", [])):
        if row["kind"] in WITH_ANGLE:
            known.setdefault(row["id"], set()).add(angle(row["angle_deg"]))
    for text in said:
        if "°" in text and (match := _WITH_ANGLE.fullmatch(text.strip())):
            if match[1] not in known:
                continue
            report.expect(match[2] in known[match[1]], "ids in pictures with their own angle",
                          name, f"a picture says {text.strip()!r}")  # fmt: skip
