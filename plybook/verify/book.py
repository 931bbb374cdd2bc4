"""The booklet against plan.json: steps, checks and pieces, in order."""

from __future__ import annotations

import re
from html.parser import HTMLParser

from plybook.verify.pdf_pages import Book
from plybook.verify.report import Report

_ANGLE = re.compile(r"([-+\u2212]?\d+(?:\.\d+)?)°")
PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ASME Y14.1 size A


def check_book(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Stages and steps lay each piece once, in order, and both booklets tell just these steps."""
    _check_order(plan, report)
    _check_batches(plan, report)
    steps = [step for stage in plan["stages"] for step in stage["steps"]]
    if "booklet.html" in files:
        _check_html(plan, steps, files["booklet.html"], report)
    else:
        report.fault("booklet.html", "is missing")
    for name in ("booklet.pdf", "cutplan.pdf", "templates.pdf"):
        if name not in files:
            report.fault(name, "is missing")
            continue
        try:
            book = Book(files[name])
            _check_paper(name, book, report)
            if name == "booklet.pdf":
                _check_pdf(plan, steps, book, report)
        except ValueError as wrong:
            report.fault(name, f"cannot be read: {wrong}")


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
    order = [
        ranks[known[p]["layer"]] for p in sequence if p in known and known[p]["layer"] in ranks
    ]
    kinds = [known[p]["kind"] for p in sequence if p in known and known[p]["layer"] in ranks]
    for a, b, kind, next_kind in zip(order, order[1:], kinds, kinds[1:], strict=False):
        let_in = {kind, next_kind} == {"insert", "core"}  # an insert may go in before its core
        report.expect(a <= b or let_in, "layers laid from the mould face up", "steps",
                      f"layer {plan['layers'][b]['id']} is laid after "
                      f"{plan['layers'][a]['id']}")  # fmt: skip


def _check_batches(plan: dict, report: Report) -> None:
    ids = {step["id"] for stage in plan["stages"] for step in stage["steps"]}
    for batch in plan["quantities"].get("batches", []):
        total = sum(part["mass_g"] for part in batch["parts"])
        report.expect(abs(total - batch["mass_g"]) < 1e-6, "batches whose parts sum to their mass",
                      f"batch {batch['id']}",
                      f"its parts sum to {total:g} g, not to {batch['mass_g']:g}")  # fmt: skip
        report.expect(batch["step"] in ids, "batches mixed for a step that is there",
                      f"batch {batch['id']}", f"there is no step {batch['step']}")  # fmt: skip


class _Cards(HTMLParser):
    """Cards with their title and words; addresses; fields."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.cards: list[dict] = []
        self.addresses: list[str] = []
        self.fields: list[str] = []
        self._in_title = self._in_plate = self._skip = False
        self.depth = 0

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        if tag == "section" and "card" in values.get("class", "").split():
            self.cards.append({"id": values.get("id", ""), "class": values["class"],
                               "title": "", "plate": "", "words": []})  # fmt: skip
        self._in_title = tag == "h2"
        if tag == "div":
            self._in_plate = values.get("class", "") == "ids"
        self._skip = tag in ("style", "script")
        for name in ("src", "href", "action", "data", "poster", "srcset"):
            if name in values:
                self.addresses.append(values[name] or "")
        if "data-field" in values:
            self.fields.append(values["data-field"])

    def handle_endtag(self, tag):
        if tag == "h2":
            self._in_title = False
        if tag == "div":
            self._in_plate = False
        if tag in ("style", "script"):
            self._skip = False

    def handle_data(self, data):
        if self._skip or not self.cards:
            return
        if self._in_title:
            self.cards[-1]["title"] += data
        if self._in_plate:
            self.cards[-1]["plate"] += f" {data}"
        self.cards[-1]["words"].append(data)


def _check_html(plan: dict, steps: list[dict], data: bytes, report: Report) -> None:
    name = "booklet.html"
    page = _Cards()
    page.feed(data.decode("utf-8"))
    page.close()
    if not data.rstrip().endswith(b"</html>"):
        report.fault(name, "is cut short")
    outside = [a for a in page.addresses if not a.startswith(("#", "data:"))]
    report.expect(not outside and b"@import" not in data, "booklets that ask nothing of a network",
                  name, f"names {outside[:1]}")  # fmt: skip
    report.expect(b"Content-Security-Policy" in data, "booklets with a closed content policy", name,
                  "has no content policy")  # fmt: skip
    twice = {f for f in page.fields if page.fields.count(f) > 1}
    report.expect(not twice, "booklets whose fields have names of their own", name,
                  f"two fields are called {sorted(twice)[:1]}")  # fmt: skip
    cards = [card for card in page.cards if "step" in card["class"].split()]
    if len(cards) != len(steps):
        report.fault(name, f"{len(cards)} step cards, {len(steps)} steps in plan.json")
        return
    pieces = {piece["id"]: piece for piece in plan["pieces"]}
    batches = plan["quantities"].get("batches", [])
    for card, step in zip(cards, steps, strict=True):
        words = _squeeze(" ".join(card["words"]))
        where = f"{name}, step {step['title']}"
        report.expect(_squeeze(card["title"]) == _squeeze(step["title"]), "HTML steps in order",
                      where, f"the card says {card['title']!r}")  # fmt: skip
        if step["lays"]:
            lost = [p for p in step["pieces"] if p not in words]
            report.expect(not lost, "HTML steps that name their pieces", where,
                          f"does not name {', '.join(lost)}")  # fmt: skip
            _check_angle(step, pieces, card["plate"], where, report)
        _check_cups(step, batches, words, where, report)
        lost = [c["text"] for c in step["checks"] if _squeeze(c["text"]) not in words]
        report.expect(not lost, "HTML steps with all their checks", where,
                      f"has lost the check {lost[:1]}")  # fmt: skip


def _check_angle(
    step: dict, pieces: dict[str, dict], plate: str, where: str, report: Report
) -> None:
    """The angle in large letters is that of every piece of the step; where they differ there is
    none."""
    told = {float(figure.replace("\u2212", "-")) for figure in _ANGLE.findall(plate)}
    laid = {_folded(pieces[p]["angle_deg"]) for p in step["pieces"]
            if p in pieces and pieces[p]["kind"] in ("ply", "rod")}  # fmt: skip
    wanted = laid if len(laid) == 1 else set()
    report.expect(told == wanted, "HTML steps with the angle of their pieces", where,
                  f"says {sorted(told)} degrees for {sorted(laid)}")  # fmt: skip


def _folded(angle_deg: float) -> float:
    """An axis within (-90, 90], to the tenth that is printed."""
    folded = round((angle_deg + 90.0) % 180.0 - 90.0, 1)
    return 90.0 if folded == -90.0 else folded + 0.0


def _check_cups(step: dict, batches: list[dict], words: str, where: str, report: Report) -> None:
    """Each cup mixed at a step tells the mass of every part, as exactly as it is printed."""
    for batch in batches:
        if batch["step"] != step["id"]:
            continue
        names = [f"{re.escape(_squeeze(part['name']))}([\\d.]+)g" for part in batch["parts"]]
        said = list(re.finditer(r"\+".join(names) + r"=([\d.]+)g", words))
        masses = [part["mass_g"] for part in batch["parts"]] + [batch["mass_g"]]
        good = any(
            all(_as_printed(figure, mass) for figure, mass in zip(m.groups(), masses, strict=True))
            for m in said
        )
        report.expect(good, "cups with the mass of every part at their step", where,
                      f"cup {batch['id']} is told as {said[0][0] if said else 'nothing'}, not "
                      f"{' + '.join(f'{m:g}' for m in masses[:-1])} g")  # fmt: skip


def _as_printed(figure: str, value: float) -> bool:
    decimals = len(figure.partition(".")[2])
    return abs(float(figure) - value) <= 0.5 * 10.0**-decimals + 1e-6


def _check_paper(name: str, book: Book, report: Report) -> None:
    size = sorted(book.size_mm(0))
    report.expect(
        any(max(abs(a - b) for a, b in zip(size, p, strict=True)) < 0.01
            for p in PAPERS_MM.values()),
        "PDF files on A4 or Letter", name, f"its page is {size[0]:.1f} x {size[1]:.1f} mm",
    )  # fmt: skip
    report.expect(book.prints_at_full_size, "PDF files that ask for printing at full size", name,
                  "lets the viewer scale it")  # fmt: skip


def _check_pdf(plan: dict, steps: list[dict], book: Book, report: Report) -> None:
    """The steps in order on paper; between one title and the next, its pieces and its cups."""
    name = "booklet.pdf"
    words = _squeeze(" ".join(w for k in range(book.count) for w in book.words(k)))
    batches = plan["quantities"].get("batches", [])
    at, starts = 0, []
    for step in steps:
        title = _squeeze(step["title"])
        headed = re.compile(r"step\d+of\d+" + re.escape(title)).search(words, at)
        found = headed.start() if headed else words.find(title, at)
        report.expect(found >= 0, "PDF steps in order", name,
                      f"step {step['title']!r} is not there in its turn")  # fmt: skip
        at = max(found, at)
        starts.append((at, headed is not None))
    ends = [start if headed else len(words) for start, headed in starts[1:]]
    for step, (start, _), end in zip(steps, starts, [*ends, len(words)], strict=True):
        where = f"{name}, step {step['title']}"
        own = words[start:end]  # the title alone may stand in a list of steps too
        if step["lays"]:
            lost = [p for p in step["pieces"] if _squeeze(p) not in own]
            report.expect(not lost, "PDF steps that name their pieces", where,
                          f"does not name {', '.join(lost)}")  # fmt: skip
        _check_cups(step, batches, own, where, report)


def _squeeze(text: str) -> str:
    """Words without the white space and hyphens that setting adds."""
    return re.sub(r"[\s\u00ad\u00a0\u202f]+", "", text)
