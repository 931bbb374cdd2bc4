"""The buttons of the booklet that keep the record: HTML beside the blocks of the document."""

from __future__ import annotations

from html import escape

from plybook.drawing.document import Page
from plybook.drawing.ledgers import DEVIATIONS


def step_entries(page: Page) -> str:
    """Where a step's own deviations and photos stand."""
    of = escape(page.id)
    return (
        f'<div class="ledger" data-shows="{DEVIATIONS.id}" data-of="{of}"></div>'
        f'<div class="photos" data-of="{of}"></div>'
    )


def step_tools(page: Page) -> str:
    """What can be added to a step, folded: it is seldom needed."""
    task = page.chapter.partition(". ")[2]  # the stage's title
    return (
        '<details class="more js-only"><summary>More</summary><div class="tools">'
        f'<button type="button" data-add="{DEVIATIONS.id}">Write down a deviation</button>'
        '<label class="button">Add a photo<input type="file" accept="image/*" '
        f'data-do="photo" data-of="{escape(page.id)}" class="file"></label>'
        f'<button type="button" data-do="work" data-task="{escape(task)}">Start work</button>'
        '<button type="button" data-do="page-history">History</button></div></details>'
    )


ARTICLE_TOOLS = (
    '<div class="tools"><button type="button" class="js-only" data-do="new-record">New record '
    'for another article</button></div><div id="articles" class="tools js-only"></div>'
)
RECORD_TOOLS = (
    '<div id="conflicts"></div><div class="photos" data-of=""></div>'
    '<p id="photo-size" class="state"></p>'
    '<p id="seal" class="state"></p>'
    '<p class="no-js">Scripting is off: write on the printed page.</p>'
    '<div class="tools"><button type="button" class="js-only" data-do="export">Export the '
    'record</button><label class="button js-only">Import a record<input type="file" '
    'accept=".json,application/json" data-do="import" class="file"></label>'
    '<label class="button js-only">Add a photo<input type="file" accept="image/*" '
    'data-do="photo" data-of="" class="file"></label>'
    '<button type="button" class="js-only" data-do="history">History of the record</button>'
    '<button type="button" class="js-only" data-do="print">Print the book, filled in</button>'
    "</div>"
)
