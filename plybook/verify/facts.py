"""Facts of plan.json that no drawing shows, against the page and the paper that tell them."""

from __future__ import annotations

import json
import re

from plybook.verify import plane
from plybook.verify.pagetree import Element, read_page
from plybook.verify.pieces import ring
from plybook.verify.printed import after, squeeze
from plybook.verify.report import Report

NAME = "booklet.html"
_SEVERITIES = {"note": "NOTE", "warning": "WARNING"}
_STRAIN = re.compile(
    r"([\d.]+)%tension,([\d.]+)%compression,shear([\d.]+)°\."
)  # squeezed, as the book tells how the face was laid flat
_MIND = "Mind:"
_FLAT_SHARE = 1e-6  # area of a flat face against its outline, whose points are rounded


def check_facts(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Findings, jig, strain, size of the face, and the name the record goes by."""
    if NAME not in files:
        return  # told where it is read
    page = read_page(files[NAME])
    part = plan["part"]
    facts = json.loads(page.facts)
    told = {"part": part["number"], "name": part["name"], "revision": part["revision"],
            "hand": part["hand"], "plan": plan["record_key"], "bench": True,
            "title": page.title}  # fmt: skip
    report.expect(facts == told, "booklets whose record is of their part and plan", NAME,
                  "keeps its record under another name")  # fmt: skip
    report.expect(page.title == f"Ply book {part['number']} {part['name']}, "
                  f"revision {part['revision']}", "booklets titled with their part", NAME,
                  f"is titled {page.title!r}")  # fmt: skip
    cards = {e.attributes.get("data-step"): e for e in page.tree.walk() if e.kind == "section"}
    _check_findings(plan["findings"], cards.get("findings"), report)
    _check_counts(plan, cards, report)
    _check_minded(plan, cards, report)
    _check_jig(plan, squeeze(_words(page.tree)), report)
    surface = plan["surface"]
    said = _STRAIN.search(squeeze(_words(page.tree)))
    if said:
        stated = [surface["largest_tension_pct"], -surface["largest_compression_pct"],
                  surface["largest_shear_deg"]]  # fmt: skip
        good = all(
            abs(float(a) - b) <= 0.5 * 10.0 ** -len(a.partition(".")[2]) + 1e-6
            for a, b in zip(said.groups(), stated, strict=True)
        )
        report.expect(good, "strains of the face as the book tells them", NAME,
                      f"tells {said[0]}, plan.json {stated}")  # fmt: skip
    if surface["flat"]:
        area = abs(plane.area(ring(surface["outline_mm"])))
        area -= sum(abs(plane.area(ring(hole))) for hole in surface["holes_mm"])
        good = abs(area - surface["area_mm2"]) <= _FLAT_SHARE * area + 1.0
        report.expect(good, "flat faces of the area of their outline", "surface",
                      f"its outline has {area:.0f} mm2, not {surface['area_mm2']:.0f}")  # fmt: skip


def _words(element: Element) -> str:
    return " ".join(words for inner in element.walk() for words in inner.words)


def _check_findings(findings: list[dict], card: Element | None, report: Report) -> None:
    """Every finding stands in the book with its edit and the reason it was accepted for, and no
    other."""
    said = squeeze(_words(card)) if card else ""
    for row in findings:
        told = ("message", "acknowledged", "help", "source")
        lost = [row[key] for key in told if row[key] and after(row[key], said) < 0]
        head = f"{_SEVERITIES.get(row['severity'], row['severity'])}{row['code']}"
        if head not in said:
            lost.append(f"{row['severity']} {row['code']}")
        report.expect(not lost, "findings told in the booklet", NAME,
                      f"does not tell {lost[:1]} of {row['code']}")  # fmt: skip
    count = len(re.findall("|".join(_SEVERITIES.values()), said))
    report.expect(count <= len(findings), "booklets that tell no other finding", NAME,
                  f"tells {count} findings, plan.json {len(findings)}")  # fmt: skip


def _check_counts(plan: dict, cards: dict[str | None, Element], report: Report) -> None:
    """A step on screen has no caution and no timer that plan.json has not."""
    for stage in plan["stages"]:
        for step in stage["steps"]:
            card = cards.get(step["id"])
            kinds = [e.attributes.get("class", "").split(" ")[0] for e in card.walk()
                     if e.kind == "div"] if card else []  # fmt: skip
            told = kinds.count("caution"), kinds.count("timer")
            due = len(step["cautions"]), len(step["timers"])
            report.expect(told == due, "steps with as many cautions and timers as planned", NAME,
                          f"{step['title']!r} has {told} of them, not {due}")  # fmt: skip


def _check_minded(plan: dict, cards: dict[str | None, Element], report: Report) -> None:
    """Each warning stands at the first step that lays what it is about, with the reason it was
    accepted for, and at no other."""
    layer_of = {piece["id"]: piece["layer"] for piece in plan["pieces"]}
    warnings = [row for row in plan["findings"] if row["severity"] == "warning"]
    for step in (step for stage in plan["stages"] for step in stage["steps"]):
        layers = {step["layer"], *(layer_of.get(p, "") for p in step["pieces"])} - {""}
        own = [row for row in warnings if step["lays"] and layers & set(row["layers"])]
        warnings = [row for row in warnings if row not in own]
        said = squeeze(_words(cards[step["id"]])) if step["id"] in cards else ""
        lost = [row["code"] for row in own if after(
            f"{_MIND}{row['message']}.{_why(row)}".replace("..", "."), said) < 0]  # fmt: skip
        codes = [row["code"] for row in own]
        report.expect(not lost and said.count(_MIND) == len(own), "steps with the warnings about "
                      "what they lay, and no others", NAME,
                      f"{step['title']!r} has other warnings than {codes}")  # fmt: skip


def _why(row: dict) -> str:
    return f" Accepted because: {row['acknowledged']}." if row["acknowledged"] else ""


def _check_jig(plan: dict, words: str, report: Report) -> None:
    """Every measure of the jig is asked for at a step, with its own limits, or told of."""
    checks = [c for stage in plan["stages"] for step in stage["steps"] for c in step["checks"]]
    for row in plan["jig"]:
        own = [check for check in checks
               if row["title"] in check["text"] and check["kind"] == "measure"]  # fmt: skip
        told = bool(own) or after(row["title"], words) >= 0
        good = told and all(
            all(check[key] == row[key] for key in ("expected", "tolerance", "unit"))
            for check in own
        )
        report.expect(good, "measures of the jig as the steps ask for them", "jig",
                      f"no step asks for {row['title']!r} as the jig has it")  # fmt: skip
