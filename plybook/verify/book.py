"""The booklet against plan.json: steps, checks and pieces, in order."""

from __future__ import annotations

from itertools import groupby, pairwise

from plybook.verify.bookcontents import check_contents, is_contents
from plybook.verify.bookpaper import check_heads, check_named_angles, check_steps_on_paper, flow_of
from plybook.verify.bookplaces import check_places
from plybook.verify.bookscreen import check_screen
from plybook.verify.booktables import check_tables_of_book
from plybook.verify.names import Names
from plybook.verify.pdf_pages import Book, open_book
from plybook.verify.report import Report
from plybook.verify.steptold import StepTold

PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ASME Y14.1 size A


def check_book(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Both booklets tell just the steps of plan.json."""
    if "booklet.html" in files:
        check_screen(plan, files, report)
    else:
        report.fault("booklet.html", "is missing")
    for name in ("booklet.pdf", "cutplan.pdf", "templates.pdf"):
        if name not in files:
            report.fault(name, "is missing")
            continue
        try:
            book = open_book(files[name])
            _check_paper(name, book, report)
            if name == "booklet.pdf":
                _check_pages(plan, book, name, report)
        except ValueError as wrong:
            report.fault(name, f"cannot be read: {wrong}")


def check_steps(plan: dict, report: Report) -> None:
    """Stages and steps lay each piece once, in order, and mix what they need."""
    _check_order(plan, report)
    _check_batches(plan, report)


def _check_pages(plan: dict, book: Book, name: str, report: Report) -> None:
    """The booklet on paper: steps, tables and the words of its pictures."""
    pages = [book.page(k) for k in range(book.count)]
    check_heads(plan, pages, report)
    check_contents(book, report)
    check_places([page for page in pages if not is_contents(page)], name, report)
    flow = flow_of(pages)
    names = Names(plan)
    check_steps_on_paper(plan, flow, StepTold("PDF", plan, names, report), report)
    check_tables_of_book(plan, names, flow.text, name, report)
    shown = [words.text for page in pages for words in page.words if words.mark]
    check_named_angles(plan, shown, name, report)


def _check_order(plan: dict, report: Report) -> None:
    laid: dict[str, list[str]] = {}
    sequence: list[str] = []
    for stage in plan["stages"]:
        for step in stage["steps"]:
            if step["lays"]:
                for piece in step["pieces"]:
                    laid.setdefault(piece, []).append(step["id"])
                    sequence.append(piece)
    known = {p["id"]: p for p in plan["pieces"]}
    for piece in known:
        times = len(laid.get(piece, []))
        report.expect(times == 1, "pieces laid once in the steps", f"piece {piece}",
                      f"is laid {times} times")  # fmt: skip
    for piece in set(laid) - set(known):
        report.fault(f"piece {piece}", "is laid in a step and is not cut")
    ranks = {layer["id"]: k for k, layer in enumerate(plan.get("layers", []))}
    laid_pieces = [known[p] for p in sequence if p in known and known[p]["layer"] in ranks]
    rising = [ranks[p["layer"]] for p in laid_pieces if p["kind"] != "insert"]
    for a, b in pairwise(rising):
        report.expect(a <= b, "layers laid from the mould face up", "steps",
                      f"layer {plan['layers'][b]['id']} is laid after "
                      f"{plan['layers'][a]['id']}")  # fmt: skip
    for _, run in groupby(laid_pieces, key=lambda p: p["kind"] == "ply"):
        between_plies = list(run)
        with_core = any(p["kind"] == "core" for p in between_plies)
        for piece in (p for p in between_plies if p["kind"] == "insert"):
            report.expect(with_core, "inserts laid with a core", "steps",
                          f"no core is laid between the same plies as {piece['id']}")  # fmt: skip


def _check_batches(plan: dict, report: Report) -> None:
    ids = {step["id"] for stage in plan["stages"] for step in stage["steps"]}
    for batch in plan["quantities"].get("batches", []):
        total = sum(part["mass_g"] for part in batch["parts"])
        report.expect(abs(total - batch["mass_g"]) < 1e-6, "batches whose parts sum to their mass",
                      f"batch {batch['id']}",
                      f"its parts sum to {total:g} g, not to {batch['mass_g']:g}")  # fmt: skip
        report.expect(batch["step"] in ids, "batches mixed for a step that is there",
                      f"batch {batch['id']}", f"there is no step {batch['step']}")  # fmt: skip


def _check_paper(name: str, book: Book, report: Report) -> None:
    size = sorted(book.size_mm(0))
    report.expect(
        any(max(abs(a - b) for a, b in zip(size, p, strict=True)) < 0.01
            for p in PAPERS_MM.values()),
        "PDF files on A4 or Letter", name, f"its page is {size[0]:.1f} x {size[1]:.1f} mm",
    )  # fmt: skip
    report.expect(book.prints_at_full_size, "PDF files that ask for printing at full size", name,
                  "lets the viewer scale it")  # fmt: skip
