"""A document as one HTML file for the bench: offline, nothing fetched, nothing sent.

Without scripting every page can be read and printed. With it, one page shows at a time, and ticks,
figures, timers and deviations are kept in the browser and go out and in as one small JSON file
(read again by `plybook.record`). The content policy allows this file's own style, script and type
and nothing else.
"""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from html import escape
from itertools import groupby
from typing import Any
from urllib.parse import quote

from plybook.drawing.document import (
    Blank,
    Block,
    CautionBox,
    CheckBox,
    Cup,
    Cups,
    Document,
    Facts,
    Heading,
    Items,
    Ledger,
    Links,
    Notes,
    OnScreen,
    Paragraph,
    Photo,
    Picture,
    PictureRow,
    Plate,
    SignOff,
    Table,
    TimerBox,
    limit_words,
    show_duration,
)
from plybook.drawing.typesetting import typeset
from plybook.write.book_contents import contents, page_titles
from plybook.write.book_tools import ARTICLE_TOOLS, RECORD_TOOLS, step_entries, step_tools
from plybook.write.figures import Figures, colours
from plybook.write.numbers import number
from plybook.write.offline import asset, content_policy, one_script, script_json, told
from plybook.write.webfont import font_faces

HANDS = {"left": "LEFT hand", "right": "RIGHT hand", "none": ""}
_SIGN = (
    '<svg class="sign" viewBox="0 0 52 46" aria-hidden="true"><path d="M26 3 L49 43 L3 43 Z"/>'
    '<path d="M26 17 L26 30"/><circle cx="26" cy="37" r="1"/></svg>'
)


def book_html(document: Document) -> bytes:
    """The book as one HTML file; same bytes for the same document."""
    names = _card_ids(document)
    pictures = [picture for page in document.pages for picture in _pictures_of(page.blocks)]
    drawn = Figures([(picture.scene, picture.alt or picture.caption) for picture in pictures])
    svg = dict(zip(map(id, pictures), drawn.svg, strict=True))
    titles = page_titles(document)
    cards = "\n".join(_card(document, names, titles, k, svg) for k in range(len(document.pages)))
    body = f"""<a class="skip" href="#main">To the page in hand</a>
<noscript><p class="notice">Scripting is off in this browser: everything can be read
and printed, but ticks, timers and entries are not kept.</p></noscript>
<header class="bar" id="bar">
<div class="bar-row" id="head">{contents(document, names, titles)}
<h1>{_head_words(document)} · <span
id="serial">No. {escape(document.serial) or "______"}</span></h1>
<button type="button" id="undo" class="js-only" disabled>Undo</button></div>
<div id="running" class="running js-only" hidden>
<div class="run-line"><button type="button" id="timer-line" aria-expanded="false"
aria-controls="timer-list"><strong></strong><span></span></button>
<div id="timer-deeds" class="deeds"></div></div>
<div id="timer-list" class="run-list" hidden></div></div>
<div id="warnings" class="warnings"><span id="quiet" class="state bad" hidden>Tap the page once so
that timers can sound.</span></div>
<div id="notices" class="notices"></div>
</header>
<main id="main" tabindex="-1">
{cards}
</main>
{drawn.shared}
<footer class="bar-row js-only" id="foot"><span id="state" class="state" role="status"></span>
<span id="awake" class="state"></span></footer>"""
    style = font_faces(body) + _looks(drawn)
    sheet = f"{document.part} {document.name}, revision {document.revision}"
    style = style.replace("/* part on paper */", _css_text(sheet + _serial_words(document)))
    script = one_script("book", _SCRIPTS)
    policy = content_policy(script, style)
    title = f"{document.title} {document.part} {document.name}, revision {document.revision}"
    facts = {
        "part": document.part,
        "name": document.name,
        "revision": document.revision,
        "hand": document.hand,
        "plan": document.record_key,
        "title": title,
        "bench": any(page.kind == "step" for page in document.pages),  # else it is a printed record
    }
    page = f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{escape(policy)}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>{escape(title)}</title>
<style>{style}</style>
</head>
<body>
{body}
<script type="application/json" id="book">{script_json(facts)}</script>
<script>{script}</script>
</body>
</html>
"""
    return page.encode("utf-8", "replace")


def _serial_words(document: Document) -> str:
    return f", No. {document.serial}" if document.serial else ""


def _css_text(words: str) -> str:
    """Words as a string of a style sheet that nothing in them can end."""
    kept = (c if c.isalnum() and c.isascii() else f"\\{ord(c):x} " for c in words)
    return f'"{"".join(kept)}"'


def _looks(drawn: Figures) -> str:
    """The style sheet; the colours of the drawings stand by day and by night in their places."""
    sheet = asset("book.css").replace("/* drawings by day */", colours(night=False))
    return sheet.replace("/* drawings by night */", colours(night=True)) + drawn.style


# The files of assets/book in the order they are joined: each uses what is above it at once, and
# what is below it only inside its functions.
_SCRIPTS = (
    "page", "sha256", "log", "record", "notices", "fields", "ledger", "timers", "figures", "steps",
    "history", "articles", "photos", "exchange", "offers", "start",
)  # fmt: skip


# ---------------------------------------------------------------- the frame of the page


def _head_words(document: Document) -> str:
    facts = (document.part, document.name, f"revision {document.revision}", HANDS[document.hand])
    return told(" · ".join(f for f in facts if f))


def _card_ids(document: Document) -> list[str]:
    """Ids of the cards: from the page's own id, plain characters only, each once."""
    out: list[str] = []
    for page in document.pages:
        name = "p-" + re.sub(r"[^A-Za-z0-9_-]+", "-", page.id)
        while name in out:
            name += "_"
        out.append(name)
    return out


def _card(
    document: Document, names: list[str], titles: list[str], k: int, svg: dict[int, str]
) -> str:
    page = document.pages[k]
    body, signs = page.blocks, ""
    last = body[-1] if body and page.kind == "step" else None
    if isinstance(last, SignOff):
        body, signs = body[:-1], _sign_off(last)  # beside the buttons that turn the page
    blocks = "\n".join(_laid_out(body, page.kind == "step", svg))
    turn = []
    if k:
        turn.append(_turn("back", "Back", names[k - 1], titles[k - 1]))
    if k + 1 < len(names):
        turn.append(_turn("next", "Next", names[k + 1], titles[k + 1], _LEFT))
    extra = more = ""
    if page.kind == "step":
        turn.append(_SIGN_BUTTON)
        extra, more = step_entries(page) + signs, step_tools(page)
    if page.kind == "cover":
        extra = ARTICLE_TOOLS
    if page.id == "record":
        extra = RECORD_TOOLS
    return (
        f'<section class="card {page.kind}" id="{names[k]}" data-step="{escape(page.id)}" '
        f'data-stage="{escape(page.chapter)}" data-minutes="{number(page.minutes, 1)}" '
        f'aria-labelledby="{names[k]}-t">'
        f'<p class="kicker">{told(page.kicker)}</p>'
        f'<h2 id="{names[k]}-t" tabindex="-1">{told(page.title)}</h2>\n{blocks}\n'
        f'<div class="foot">{extra}<nav class="turn" aria-label="Turn the page">{"".join(turn)}'
        f"</nav>{more}</div></section>"
    )


# Signs the step and turns the page; it shows once nothing else on the page is open.
_SIGN_BUTTON = '<button type="button" class="finish" hidden></button>'


_LEFT = '<small class="left"></small>'


def _turn(kind: str, word: str, name: str, title: str, more: str = "") -> str:
    words = f"{word}<small>{told(title)}</small>{more}"
    return f'<a class="button {kind}" href="#{name}"><span>{words}</span></a>'


# ---------------------------------------------------------------- blocks


def _html(block: Block, svg: dict[int, str]) -> str:
    if isinstance(block, Picture):
        return _picture(block, svg)
    if isinstance(block, PictureRow):
        return f'<div class="row">{"".join(_picture(p, svg) for p in block.pictures)}</div>'
    if isinstance(block, OnScreen):
        html = "\n".join(_html(inner, svg) for inner in block.blocks)
        if not block.fold:
            return html
        return f'<details class="fold"><summary>{told(block.fold)}</summary>{html}</details>'
    return _MAKERS[type(block)](block)


def _laid_out(blocks: Sequence[Block], step: bool, svg: dict[int, str]) -> Iterator[str]:
    """Blocks of a page; of a step, cautions first, and what stands beside each other on a wide
    screen in groups."""
    if step:
        blocks = sorted(blocks, key=lambda block: not isinstance(block, CautionBox))
    for group, run in groupby(blocks, _group_of):
        html = "\n".join(_html(block, svg) for block in run)
        yield f'<div class="{group}">{html}</div>' if group and step else html


def _group_of(block: Block) -> str:
    """Pictures with the figures read beside them, cautions, waits, and what is filled in."""
    if _is_seen(block):
        return "seen"
    names = {CautionBox: "cautions", TimerBox: "timers", CheckBox: "checks", Blank: "checks"}
    return names.get(type(block), "")


def _is_seen(block: Block) -> bool:
    if isinstance(block, OnScreen):
        return isinstance(block.blocks[0], Picture | Links)
    return isinstance(block, Picture | PictureRow | Table)


def _pictures_of(blocks: Iterable[Block]) -> Iterator[Picture]:
    for block in blocks:
        if isinstance(block, Picture):
            yield block
        elif isinstance(block, PictureRow):
            yield from block.pictures
        elif isinstance(block, OnScreen):
            yield from _pictures_of(block.blocks)


def _heading(block: Heading) -> str:
    return f"<h3>{told(block.text)}</h3>"


def _paragraph(block: Paragraph) -> str:
    return f"<p{' class=strong' if block.strong else ''}>{told(block.text)}</p>"


def _items(block: Items) -> str:
    rows = "".join(f"<li>{told(item)}</li>" for item in block.items)
    if block.numbered:
        return f'<ol class="steps">{rows}</ol>'
    many = len(block.items) >= 6 and max(map(len, block.items)) <= 40
    return f'<ul class="many">{rows}</ul>' if many else f"<ul>{rows}</ul>"


def _table(block: Table) -> str:
    align = (block.align or "l" * len(block.head)).replace("l", " ")

    def cell(tag: str, words: str, k: int) -> str:
        short = "s" if len(words) <= 14 else ""
        marks = " ".join(m for m in (align[k].strip(), short) if m)
        side = f' class="{marks}"' if marks else ""
        head = f' data-head="{escape(typeset(block.head[k]))}"' if tag == "td" else ' scope="col"'
        return f"<{tag}{side}{head}>{told(words)}</{tag}>"

    head = "".join(cell("th", words, k) for k, words in enumerate(block.head))
    rows = "".join(
        "<tr>" + "".join(cell("td", words, k) for k, words in enumerate(row)) + "</tr>"
        for row in block.rows
    )
    caption = f"<caption>{told(block.caption)}</caption>" if block.caption else ""
    return (
        f'<table class="cards">{caption}<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>'
    )


def _facts(block: Facts) -> str:
    rows = "".join(
        f"<div><dt>{told(label)}</dt><dd>{told(value)}</dd></div>"
        for label, value in block.rows
    )
    return f'<dl class="facts">{rows}</dl>'


def _plate(block: Plate) -> str:
    ids = " &nbsp; ".join(escape(i) for i in block.ids)
    angle = f"<span>{told(block.angle)}</span>" if block.angle else ""
    return (
        f'<div class="plate"><div class="ids"><span>{ids}</span>{angle}</div>'
        f'<div class="line">{told(block.line)}</div></div>'
    )


def _picture(block: Picture, svg: dict[int, str]) -> str:
    """The drawing waits in `noscript`: without scripting it shows, with it the script takes it
    out when its card is turned to, so that a long book opens as fast as a short one."""
    caption = f"<figcaption>{told(block.caption)}</figcaption>" if block.caption else ""
    drawing = f"<noscript>{svg[id(block)]}</noscript>"
    return f'<figure><div class="view">{drawing}</div>{caption}</figure>'


def _links(block: Links) -> str:
    rows = "".join(
        f'<li><a href="{escape(quote(address))}" target="_blank" rel="noopener">{told(words)}</a>'
        "</li>"
        for words, address in block.rows
    )
    head = f"<h3>{told(block.label)}</h3>" if block.label else ""
    return f'{head}<ul class="files">{rows}</ul>'


def _check(block: CheckBox) -> str:
    return (
        f'<label class="tick"><input type="checkbox" data-field="{escape(block.id)}" data-counts>'
        f'<span class="words">{told(block.text)}</span><span class="when"></span></label>'
    )


def _asked(block: Blank) -> str:
    """A blank that the page asks for: it is open until something is written."""
    return _blank(block, " data-counts")


def _blank(block: Blank, counts: str = "") -> str:
    low, high = block.limits
    data: dict[str, Any] = {"field": block.id, "kind": block.kind}
    if block.kind == "measure":
        data |= {"low": low, "high": high, "expected": block.expected, "unit": block.unit or None}
    if block.kind in ("measure", "initials"):
        counts = " data-counts"
    if block.optional:
        counts = ""
    if block.difference:
        data["difference"] = " ".join(block.difference)
    if block.offers:
        data["offers"] = " ".join(block.offers)
    attributes = "".join(
        f' data-{name}="{escape(str(value))}"' for name, value in data.items() if value is not None
    )
    mode = {"measure": ' inputmode="decimal"', "initials": ' autocapitalize="characters"'}
    said = limit_words(block)
    sort = "date" if block.kind == "date" else "text"
    parts = [
        f"<label><span>{told(block.label)}</span>"
        f'<input type="{sort}" autocomplete="off"{mode.get(block.kind, "")}{attributes}{counts}>'
        "</label>"
    ]
    if block.kind == "measure" and (block.unit or said):
        limits = f" ({told(said)})" if said else ""
        parts.append(f'<span class="unit">{told(block.unit)}{limits}</span>')
    if block.kind == "time":
        parts.append('<button type="button" class="now js-only">Now</button>')
    if block.kind == "initials":
        parts.append('<span class="when"></span>')
    if block.note:
        parts.append(f"<small>{told(block.note)}</small>")
    if block.kind in ("measure", "time"):
        parts.append('<output class="verdict"></output>')
    return f'<div class="blank {block.kind}">{"".join(parts)}</div>'


def _sign_off(block: SignOff) -> str:
    """Blanks of a sign-off; on screen the time is that of the entry, so that no blank asks it."""
    asked = [b for b in block.blanks if not (b.kind == "time" and b.id.endswith(".time"))]
    return f'<div class="signoff">{"".join(map(_blank, asked))}</div>'


def _notes(block: Notes) -> str:
    return (
        f'<label><span class="field-label">{told(block.label)}</span>'
        f'<textarea rows="{block.lines}" data-field="{escape(block.id)}"></textarea></label>'
    )


def _ledger(block: Ledger) -> str:
    row = "<tr>" + "<td></td>" * len(block.columns) + "</tr>"
    head = "".join(f"<th>{told(column.label)}</th>" for column in block.columns)
    columns = [
        {"name": c.name, "label": c.label, "kind": c.kind, "options": list(c.options)}
        for c in block.columns
    ]
    facts = escape(json.dumps({"title": block.title.partition(":")[0], "columns": columns}))
    return (
        f"<h3>{told(block.title)}</h3>"
        f'<table class="ruled no-js"><thead><tr>{head}</tr></thead><tbody>{row * block.rows}'
        f'</tbody></table><div class="ledger" id="{block.id}" data-ledger="{block.id}" '
        f'data-shows="{block.id}" data-columns="{facts}"></div>'
        f'<div class="tools"><button type="button" class="js-only add" data-add="{block.id}">'
        f"{told(block.add)}</button></div>"
    )


def _caution(block: CautionBox) -> str:
    source = f" <small>Source: {told(block.source)}</small>" if block.source else ""
    small = " small" if block.small else ""
    return (
        f'<div class="caution{small}" role="note">{_SIGN}<p>{told(block.text)}{source}</p></div>'
    )


def _timer(block: TimerBox, of_cup: bool = False) -> str:
    """A time with its buttons; a cup's time has those of the cup."""
    words = f"{block.label}, {show_duration(block.seconds)}"
    word = "limit" if block.kind == "limit" else "wait"
    begins = " data-with-first-cup" if block.with_first_cup else ""
    return (
        f'<div class="timer" data-timer="{escape(block.id)}" data-seconds="{block.seconds}" '
        f'data-kind="{word}" data-label="{escape(block.label)}"{begins}><span class="words">'
        f'{told(words)}</span><span class="says when"></span>'
        f'{"" if of_cup else _START}<span class="no-js">started ______ ended ______</span></div>'
    )


_START = (
    '<button type="button" class="start js-only">Start</button>'
    '<button type="button" class="stop js-only" hidden>Stop</button>'
)


def _cups(block: Cups) -> str:
    return f'<div class="cups">{"".join(map(_cup, block.cups))}</div>'


def _cup(cup: Cup) -> str:
    """What goes into a cup and its buttons; what is seldom typed lies folded below."""
    limit = _timer(cup.limit, of_cup=True) if cup.limit else ""
    return (
        f'<div class="cup{" timed" if cup.limit else ""}" data-cup="{escape(cup.id)}" '
        f'data-tray="{cup.tray_s}"><div class="what">'
        f'<p><span class="id">{escape(cup.id)}</span> <strong>{told(cup.parts)}</strong></p>'
        f'<p class="use">{told(cup.use)}</p>{limit}</div><div class="deeds js-only"></div>'
        '<details class="fold of-cup"><summary>Lots, time<span class="held"></span></summary>'
        f"{_weighed(cup)}{_sign_off(SignOff((cup.mixed, cup.lots)))}</details></div>"
    )


def _weighed(cup: Cup) -> str:
    """Where the first part weighed is entered, so that the rest is told to match."""
    if cup.weighed is None:
        return ""
    grams = escape(json.dumps([[name, grams] for name, grams in cup.grams]))
    return (
        f'<div class="rescale js-only" data-grams="{grams}" data-decimals="{cup.decimals}">'
        f'{_blank(cup.weighed)}<output class="rest"></output></div>'
    )


def _photo(block: Photo) -> str:
    data = base64.b64encode(block.data).decode()
    words = told(block.caption)
    return (
        f'<figure class="photo"><img src="data:image/jpeg;base64,{data}" alt="{words}" '
        f'width="{block.width}" height="{block.height}"><figcaption>{words}</figcaption></figure>'
    )


_MAKERS: dict[type, Callable[[Any], str]] = {
    Heading: _heading, Paragraph: _paragraph, Items: _items, Table: _table, Facts: _facts,
    Plate: _plate, CheckBox: _check, Blank: _asked,
    SignOff: _sign_off, Notes: _notes, Ledger: _ledger, Photo: _photo, CautionBox: _caution,
    TimerBox: _timer, Cups: _cups, Links: _links,
}  # fmt: skip
