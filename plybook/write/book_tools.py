"""The buttons of the booklet that keep the record: HTML beside the blocks of the document."""

from __future__ import annotations

from html import escape

from plybook.drawing.document import Page
from plybook.drawing.ledgers import DEVIATIONS


def step_tools(page: Page) -> str:
    """What can be added to a step: its own deviations, photos and history."""
    task = page.chapter.partition(". ")[2]  # the stage's title
    of = escape(page.id)
    return (
        f'<div class="ledger" data-shows="{DEVIATIONS.id}" data-of="{of}"></div>'
        f'<div class="photos" data-of="{of}"></div>'
        '<div class="tools"><button type="button" class="js-only" '
        f'data-add="{DEVIATIONS.id}">Write down a deviation</button>'
        '<label class="button js-only">Add a photo<input type="file" accept="image/*" '
        f'data-do="photo" data-of="{of}" class="file"></label>'
        '<button type="button" class="js-only" data-do="work" '
        f'data-task="{escape(task)}">Start work</button>'
        '<button type="button" class="js-only" data-do="page-history">History</button></div>'
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
