"""What may stand in a page of HTML; anything else is a fault.

Head, style and script of a page are those that this plybook brings along, its content policy allows
just these, its letters are those of the typeface. The body of the booklet is held to the tables
below: element, where it may stand, attributes, values. A class hides or shows, so that each element
has a list of its own. To let another element in, give it a row here.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Iterator
from functools import cache
from importlib.resources import files

from plybook.verify.lettermetrics import strange_letters
from plybook.verify.looks import LOOKS, TINTS
from plybook.verify.pagedata import LEDGERS
from plybook.verify.pagetree import Element, Page, read_page

_ANY, _ID, _NUMBER, _FLAG = ".*", r"[\w.: +-]+", r"-?\d*\.?\d+", ""
_COLOUR = "#[0-9a-f]{6}"
_DATA = {"data-of": _ANY, "data-do": "[a-z-]+", "data-add": "[a-z]+", "data-task": _ANY}
# element -> attribute -> what it may be, a regular expression; none has to be there
ATTRIBUTES: dict[str, dict[str, str]] = {
    "a": {"class": "skip|button|button (?:back|next|js-only)", "href": _ANY,
          "hidden": _FLAG, "data-stage": _ANY, "target": "_blank", "rel": "noopener"},
    "noscript": {},
    "p": {"class": "kicker|no-js|notice|state|strong|use"},
    "header": {"class": "bar"},
    "div": {"class": "all|bar-row|blank (?:date|initials|lot|measure|text|time)|caution|"
                     "caution small|cautions|checks|cup|cup timed|cups|deeds|deeds js-only|foot|"
                     "ids|ledger|line|notices|photos|plate|rescale js-only|row|run-line|run-list|"
                     "running js-only|seen|signoff|timer|timers|tools|tools js-only|view|warnings|"
                     "what",
            "hidden": _FLAG, "role": "note",
            "data-columns": _ANY, "data-cup": _ANY, "data-decimals": r"\d", "data-grams": _ANY,
            "data-kind": "wait|limit", "data-label": _ANY, "data-ledger": "[a-z]+",
            "data-of": _ANY, "data-seconds": r"\d+", "data-shows": "[a-z]+", "data-timer": _ANY,
            "data-tray": r"\d+", "data-with-first-cup": _FLAG},
    "details": {"class": "contents|fold|fold of-cup|more js-only"},
    "summary": {},
    "span": {"class": "count|field-label|held|id|no-js|says when|state|state bad|unit|when|wide|"
                      "words",
             "hidden": _FLAG, "role": "status"},
    "nav": {"aria-label": "All pages|Turn the page", "class": "turn"},
    "ul": {"class": "chips|files|many"},
    "ol": {"class": "steps"},
    "li": {}, "strong": {}, "dt": {}, "dd": {}, "h1": {}, "h3": {}, "figure": {}, "figcaption": {},
    "thead": {}, "tbody": {}, "tr": {}, "caption": {}, "defs": {},
    "small": {"class": "count|left"},
    "h2": {"tabindex": "-1"},
    "button": {**_DATA, "type": "button",
               "class": "finish|js-only|js-only add|js-only look|now js-only|start js-only|"
                        "stop js-only",
               "disabled": _FLAG, "hidden": _FLAG, "aria-expanded": "false",
               "aria-controls": "timer-list"},
    "main": {"tabindex": "-1"},
    "section": {"class": "card [a-z]+", "data-step": _ANY, "data-stage": _ANY,
                "data-minutes": _NUMBER, "aria-labelledby": _ID},
    "svg": {"class": r"n\d+|sign|shared", "width": r"\d+", "height": "0", "role": "img",
            "viewbox": rf"0 0 {_NUMBER} {_NUMBER}", "aria-label": _ANY, "aria-hidden": "true"},
    "g": {"class": r"s\d+"},
    "path": {"d": r"[MLlzZ0-9. -]+"},
    "circle": {"cx": _NUMBER, "cy": _NUMBER, "r": _NUMBER},
    "text": {"x": _NUMBER, "y": _NUMBER,
             "transform": rf"rotate\({_NUMBER} {_NUMBER} {_NUMBER}\)"},
    "use": {"href": r"#d\d+"},
    "dl": {"class": "facts"},
    "label": {"class": "tick|button|button js-only"},
    "input": {**_DATA, "type": "checkbox|date|file|text", "class": "file", "accept": _ANY,
              "autocomplete": "off", "autocapitalize": "characters", "inputmode": "decimal",
              "data-counts": _FLAG, "data-difference": _ANY, "data-expected": _NUMBER,
              "data-field": _ANY, "data-high": _NUMBER, "data-low": _NUMBER, "data-kind": "[a-z]+",
              "data-offers": _ANY, "data-unit": _ANY},
    "textarea": {"rows": r"\d+", "data-field": _ANY},
    "table": {"class": "cards|ruled no-js"},
    "th": {"class": "[rcs ]+", "scope": "col"},
    "td": {"class": "[rcs ]+", "data-head": _ANY},
    "output": {"class": "verdict|rest"},
    "footer": {"class": "bar-row js-only"},
}  # fmt: skip
# id -> element and class that alone may have it, by which the script finds it
IDS: dict[str, tuple[str, str]] = {
    "bar": ("header", "bar"), "head": ("div", "bar-row"), "contents": ("details", "contents"),
    "serial": ("span", ""), "state": ("span", "state"), "quiet": ("span", "state bad"),
    "awake": ("span", "state"), "go-on": ("a", "button js-only"), "undo": ("button", "js-only"),
    "look": ("button", "js-only look"), "running": ("div", "running js-only"),
    "timer-line": ("button", ""), "timer-deeds": ("div", "deeds"), "main": ("main", ""),
    "timer-list": ("div", "run-list"), "notices": ("div", "notices"),
    "warnings": ("div", "warnings"),
    "foot": ("footer", "bar-row js-only"),
    "articles": ("div", "tools js-only"), "conflicts": ("div", ""), "seal": ("p", "state"),
    "photo-size": ("p", "state"), **dict.fromkeys(LEDGERS, ("div", "ledger")),
}  # fmt: skip
# and the elements that are numbered or named after their card
NAMED = {"section": r"p-[\w-]+", "h2": r"p-[\w-]+-t", "g": r"d\d+", "path": r"d\d+",
         "circle": r"d\d+"}  # fmt: skip
# element -> what may stand in it; a drawing holds no words but its own
_FLOW = ("p", "div", "details", "ul", "ol", "h3", "label", "table", "dl", "figure")
CHILDREN: dict[str, tuple[str, ...]] = {
    "body": ("a", "noscript", "header", "main", "svg", "footer"),
    "header": ("div",), "main": ("section",), "footer": ("span",), "noscript": ("p", "svg"),
    "section": (*_FLOW, "h2"), "nav": ("a", "ul", "div", "button"),
    "div": (*_FLOW, "h1", "h2", "span", "button", "nav", "small", "svg", "noscript", "dt", "dd",
            "output"),
    "details": ("summary", "nav", *_FLOW), "summary": ("span",), "ul": ("li",), "ol": ("li",),
    "li": ("a",), "a": ("span",), "p": ("span", "strong", "small"),
    "h1": ("span",), "span": ("small",),
    "button": ("span", "strong"), "label": ("span", "input", "textarea"),
    "figure": ("div", "figcaption"), "dl": ("div",),
    "table": ("caption", "thead", "tbody"), "thead": ("tr",), "tbody": ("tr",), "tr": ("th", "td"),
    "svg": ("g", "path", "circle", "use", "defs"), "g": ("g", "path", "circle", "text", "use"),
    "defs": ("g", "path", "circle"),
}  # fmt: skip
HIDDEN = {"a": ("go-on",), "span": ("quiet",), "div": ("running", "timer-list")}  # by id
_SHOWN_BY_SCRIPT = ("stop js-only", "finish")  # classes of buttons
_NO_WORDS = ("body", "header", "main", "section", "svg", "g", "use", "path", "circle", "defs", "ul",
             "ol", "dl", "table", "thead", "tbody", "tr", "figure", "input", "nav")  # fmt: skip
_KNOWN = {kind: {name: re.compile(value, re.DOTALL) for name, value in row.items()}
          for kind, row in ATTRIBUTES.items()}  # fmt: skip

POLICY = (
    "default-src 'none'; script-src '{script}'; style-src '{style}'; font-src data:; "
    "img-src data: blob:; base-uri 'none'; form-action 'none'"
)
_FONT = re.compile(
    r'@font-face\{font-family:"Source Sans Pro";font-weight:(400|700);'
    r'src:url\(data:font/woff;base64,([A-Za-z0-9+/=]+)\) format\("woff"\)\}\n'
)
_PLACES = re.compile(r"/\* (drawings by day|drawings by night|part on paper) \*/")
_COLOURS = rf"(?:--k[0-9a-f]{{6}}:{_COLOUR};|--t-[a-z0-9_]+:{_COLOUR};)*"
_INKED = (
    r"stroke:var\(--k[0-9a-f]{6}\);stroke-width:(?P<wide>[\d.]+)px(?:;stroke-dasharray:[\d. ]+)?"
)
_RULE = re.compile(
    r"\.s\d+\{fill:(?:none|var\(--t-[a-z0-9_]+\));(?:stroke:none|" + _INKED + r")\}|"
    r"\.s\d+\{fill:var\(--k[0-9a-f]{6}\);(?:stroke:none|stroke:var\(--t-white\);stroke-width:1\.2px;"
    r"paint-order:stroke;stroke-linejoin:round);font-size:(?P<size>[\d.]+)px(?:;font-weight:700)?\}|"
    r"figure \.n\d+\{min-width:\d+px\}"
)
_WIDTHS = {f"{look.width_mm:g}" for look in LOOKS.values()}
_DAY = re.compile(rf"--(?:k([0-9a-f]{{6}})|t-[a-z0-9_]+):({_COLOUR});")
SMALLEST_PX = 1.5  # of letters, in units of a drawing


def strange_in_page(data: bytes) -> Iterator[str]:
    """What the booklet or the cutting table's page holds that it may not.

    Raises:
        ValueError: it cannot be read.
    """
    page = read_page(data)
    yield from _frame(page)
    if page.name == "plan":
        body = _asset("table.html").replace("TITLE", _escaped(page.title))
        if page.body != body:
            yield "a body that is not the one of the cutting table's page"
        return
    seen: set[str] = set()
    for element in page.tree.walk():
        yield from _element(element)
        if "id" in element.attributes:
            yield from _id(element, element.attributes["id"], seen)


def _id(element: Element, name: str, seen: set[str]) -> Iterator[str]:
    """Only what is known by an id has it, and each another one."""
    own = (element.kind, element.attributes.get("class", ""))
    named = NAMED.get(element.kind)
    if name in seen or not (IDS.get(name) == own or (named and re.fullmatch(named, name))):
        yield f"<{element.kind} id={name!r}>"
    seen.add(name)


def _frame(page: Page) -> Iterator[str]:
    """Script, style, policy and letters, against what this plybook brings along."""
    folder = "book" if page.name == "book" else "table"
    if page.script not in _scripts(folder, page.script):
        yield "a script that is not the one of this plybook"
    policy = POLICY.format(script=_digest(page.script), style=_digest(page.style))
    if page.policy != policy:
        yield "another content policy"
    fonts = _FONT.match(page.style)
    style, count = page.style, 0
    while fonts:
        program = base64.b64decode(fonts[2])
        yield from strange_letters(fonts[1] == "700", program)
        style, count = style[fonts.end() :], count + 1
        fonts = _FONT.match(style)
    if count != 2:
        yield "typefaces of another number"
    if folder == "table":
        if style != _asset("table.css"):
            yield "a style that is not the one of this plybook"
    else:
        yield from _style(style, json.loads(page.facts))


def _scripts(folder: str, script: str) -> tuple[str, ...]:
    """The script made of the source files of this plybook, in the order in which they stand."""
    known = _sources(folder)
    order = sorted(known, key=script.find)
    body = "\n".join(order)
    return (f'"use strict";\n(() => {{\n{body}}})();\n',)


def _style(style: str, facts: dict) -> Iterator[str]:
    """The style sheet of the booklet with the colours and looks of its drawings in their places."""
    pieces = _PLACES.split(_asset("book.css"))
    inner = {
        "drawings by day": f"({_COLOURS})",
        "drawings by night": f"({_COLOURS})",
        "part on paper": r'"((?:[A-Za-z0-9]|\\[0-9a-f]+ )*)"',
    }
    made = "".join(inner[p] if k % 2 else re.escape(p) for k, p in enumerate(pieces))
    found = re.match(made, style)
    if found is None:
        yield "a style that is not the one of this plybook"
        return
    for name, said in zip(pieces[1::2], found.groups(), strict=True):
        if name == "drawings by day":
            for ink, colour in _DAY.findall(said):
                if colour not in ((f"#{ink}",) if ink else TINTS):
                    yield f"a drawing in the colour {colour}"
        elif name == "drawings by night":
            dark = [c for ink, c in _DAY.findall(said) if ink and _bright(c) < _NIGHT_LEAST]
            if dark:
                yield f"a drawing that is dark by night: {dark[0]}"
        else:
            plain = re.sub(r"\\([0-9a-f]+) ", lambda m: chr(int(m[1], 16)), said)
            sheet = f"{facts['part']} {facts['name']}, revision {facts['revision']}"
            if plain != sheet:
                yield f"sheets headed {plain!r} when printed"
    for rule in style[found.end() :].split("\n"):
        known = _RULE.fullmatch(rule)
        if rule and (
            known is None
            or (known["wide"] and known["wide"] not in _WIDTHS)
            or (known["size"] and float(known["size"]) < SMALLEST_PX)
        ):
            yield f"a rule {rule[:50]!r}"


_NIGHT_LEAST = 70  # of 255, brightest part of a colour by night


def _bright(colour: str) -> int:
    return max(int(colour[k : k + 2], 16) for k in (1, 3, 5))


def _element(element: Element) -> Iterator[str]:
    kind = element.kind
    if kind != "body":
        above = element.within.kind if element.within else ""
        if kind not in _KNOWN or kind not in CHILDREN.get(above, ()):
            yield f"<{kind}> in <{above}>"
            return
        for name, value in element.attributes.items():
            if name == "id":
                continue  # by a table of its own
            if name not in _KNOWN[kind] or not _KNOWN[kind][name].fullmatch(value):
                yield f"<{kind} {name}={value[:40]!r}>"
        if "hidden" in element.attributes:
            ids, classes = element.attributes.get("id"), element.attributes.get("class", "")
            if ids not in HIDDEN.get(kind, ()) and classes not in _SHOWN_BY_SCRIPT:
                yield f"<{kind}> that is hidden"
        if kind == "a" and not re.fullmatch(
            r"#[\w-]+|[\w%./+-]+", element.attributes.get("href", "")
        ):
            yield f"a way to {element.attributes.get('href')!r}"
    if kind in _NO_WORDS and "".join(element.words).strip():
        yield f"words loose in <{kind}>: {''.join(element.words).strip()[:40]!r}"


@cache
def _asset(name: str) -> str:
    return (files("plybook.write") / "assets" / name).read_text(encoding="utf-8")


@cache
def _sources(folder: str) -> tuple[str, ...]:
    place = files("plybook.write") / "assets" / folder
    return tuple(f.read_text(encoding="utf-8") for f in place.iterdir() if f.name.endswith(".js"))


def _digest(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode()


def _escaped(text: str) -> str:
    for char, written in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;"),
                          ("'", "&#x27;")):  # fmt: skip
        text = text.replace(char, written)
    return text
