"""The cutting table's page against plan.json: every figure that it draws is one of the plan's."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from typing import Any

from plybook.verify.report import Report

NAME = "table.html"
# keys of plan.json that the page must hold as they stand there, where they stand there
PART = {"number", "name", "revision", "hand", "date", "units"}
MATERIAL = {"name", "kind", "weave", "grain"}
PIECE = {
    "id", "layer", "kind", "material", "angle_deg", "quantity", "stage", "may_turn_over",
    "outline_mm", "cut_outline_mm", "holes_mm", "bag_side_outline_mm", "bag_side_holes_mm", "marks",
}  # fmt: skip
LAYOUT = {
    "stock", "kind", "material", "width_mm", "edge_mm", "length_mm", "outline_mm", "bad_zones_mm",
    "table_mm", "bays",
}  # fmt: skip
PLACED = {"piece", "copy", "x_mm", "y_mm", "rotation_deg", "flipped"}
ALSO = PLACED | {"part", "outline_mm"}


class _Page(HTMLParser):
    """The scripts of a page, and whatever it could load or go to."""

    def __init__(self) -> None:
        super().__init__()
        self.scripts: list[tuple[dict[str, str | None], str]] = []
        self.strangers: list[str] = []
        self.policy = ""
        self._inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = dict(attrs)
        self._inside = tag == "script"
        if self._inside:
            self.scripts.append((held, ""))
        if tag == "meta" and held.get("http-equiv") == "Content-Security-Policy":
            self.policy = held.get("content") or ""
        loading = {"src", "href", "srcset", "action", "data", "style"} & set(held)
        if loading or tag in ("iframe", "object", "embed", "base", "form", "link"):
            self.strangers.append(tag)
        self.strangers += [f"{tag} {name}" for name in held if name.startswith("on")]

    def handle_endtag(self, tag: str) -> None:
        self._inside = self._inside and tag != "script"

    def handle_data(self, data: str) -> None:
        if self._inside:
            held, text = self.scripts[-1]
            self.scripts[-1] = held, text + data


def check_table(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """table.html: closed, and with the plan's own figures."""
    if NAME not in files:
        report.fault(NAME, "is missing")
        return
    page = _Page()
    page.feed(files[NAME].decode("utf-8"))
    kinds = [held.get("type") for held, _ in page.scripts]
    ours = kinds == ["application/json", None] and not page.strangers
    more = ", ".join(page.strangers) or str(kinds)
    report.expect(ours, "pages of the cutting table that load nothing", NAME,
                  f"holds more than its own script: {more}")  # fmt: skip
    closed = re.match(r"default-src 'none';", page.policy) and "http" not in page.policy
    report.expect(bool(closed), "pages of the cutting table with a closed content policy", NAME,
                  "its content policy is open")  # fmt: skip
    if not ours:
        return
    try:
        data = json.loads(page.scripts[0][1])
    except ValueError as wrong:
        report.fault(NAME, f"cannot be read: {wrong}")
        return
    _same(data.get("part"), plan["part"], PART, "part", report)
    for name, row in plan["materials"].items():
        _same(data.get("materials", {}).get(name), row, MATERIAL, f"material {name}", report)
    pieces = [p["id"] for p in plan["pieces"]]
    _rows(data.get("pieces"), plan["pieces"], pieces, PIECE, "piece", report)
    stocks = [layout["stock"] for layout in plan["layouts"]]
    _rows(data.get("layouts"), plan["layouts"], stocks, LAYOUT, "layout", report)
    for shown, layout in zip(data.get("layouts", []), plan["layouts"], strict=False):
        for key, keys in (("placements", PLACED), ("also_cut", ALSO)):
            wanted = layout.get(key, [])
            names = [f"{p['piece']} copy {p['copy']}" for p in wanted]
            of = f"layout {layout['stock']}, piece"
            _rows(shown.get(key), wanted, names, keys, of, report)


def _rows(
    shown: Any, wanted: list[dict], names: list[str], keys: set[str], what: str, report: Report
) -> None:
    """Rows in the plan's order, none more and none fewer."""
    count = len(shown) if isinstance(shown, list) else 0
    if count != len(wanted):
        report.fault(NAME, f"{what}: {count} are shown, plan.json has {len(wanted)}")
        return
    for one, row, name in zip(shown, wanted, names, strict=True):
        _same(one, row, keys, f"{what} {name}", report)


def _same(shown: Any, row: dict, keys: set[str], where: str, report: Report) -> None:
    wanted = {key: value for key, value in row.items() if key in keys}
    held = {k: v for k, v in shown.items() if k in keys} if isinstance(shown, dict) else {}
    other = sorted(k for k in wanted.keys() | held.keys() if wanted.get(k, "") != held.get(k, ""))
    report.expect(not other, "rows of plan.json on the cutting table's page", NAME,
                  f"{where}: {', '.join(other)} differ from plan.json")  # fmt: skip
