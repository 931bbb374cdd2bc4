"""A part laid dry and infused, from its spec to the paper book."""

import math
import re
import shutil
from pathlib import Path

import pytest

from plybook.drawing.book import booklet
from plybook.drawing.document import Items
from plybook.drawing.typesetting import typeset
from plybook.laminate import lay_up
from plybook.nest import CutJob, LayoutMemory, plan_cuts
from plybook.outside import Outside
from plybook.shop import plan_work
from plybook.spec import load
from plybook.surface import build_face
from plybook.write.book_html import book_html
from plybook.write.book_pdf import book_pdf
from tests.write.pages import colliding, off_page, opened, words

SPECS = Path(__file__).parents[2] / "specs"
STAGES = """
stages:
  - {stage: prep, kind: mould_preparation}
  - {stage: dry, kind: dry_layup, lays: [A, C, B], resin: lam-epoxy}
  - {stage: out, kind: demould}
  - {stage: trim, kind: trim}
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("infused")
    shutil.copytree(SPECS / "shared", folder / "shared")
    text = (SPECS / "hatch.yaml").read_text(encoding="utf-8")
    text, wet, _ = text.partition("\nstages:")
    assert wet
    (folder / "hatch.yaml").write_text(text + STAGES, encoding="utf-8")
    (spec,) = load(folder / "hatch.yaml", Outside()).specs
    face = build_face(spec)
    laminate = lay_up(spec, face)
    memory = LayoutMemory.from_bytes(None)
    plan = plan_cuts([CutJob(spec, laminate.pieces)], effort="quick", memory=memory)
    shop = plan_work(spec, face, laminate, plan)
    return spec, laminate, shop, booklet(spec, face, laminate, plan, shop)


def dry_steps(shop):
    return next(stage for stage in shop.stages if stage.id == "dry").steps


def test_all_is_laid_dry_before_the_bag_is_tight_and_resin_is_mixed_after(made):
    _, laminate, shop, _ = made
    names = [step.name for step in dry_steps(shop)]
    laid = [p for step in dry_steps(shop) if step.lays for p in step.pieces]
    assert laid == [p.id for p in laminate.pieces]
    last_laid = max(k for k, step in enumerate(dry_steps(shop)) if step.lays)
    assert last_laid < names.index("leak") < names.index("check_room") < names.index("infuse")
    assert not any(step.batches for step in dry_steps(shop)[: names.index("check_room")])


def test_the_leak_limit_is_the_published_one_for_infusion(made):
    """Less than 1 inHg (33.9 mbar) in 5 min: a resin supplier's page on the drop test."""
    (leak,) = [step for step in dry_steps(made[2]) if step.name == "leak"]
    drop = next(check for check in leak.checks if check.at_most is not None)
    assert drop.at_most == pytest.approx(33.8639, abs=0.5) and drop.expected is None
    assert leak.timers[0].seconds == 300 and drop.source
    assert any("econd reading" in check.text for check in leak.checks)


def test_the_shares_of_the_infusion_add_up_to_the_cups(made):
    """Cups hold what the sentence says, and its shares sum to its total, to rounding."""
    _, _, shop, document = made
    (infuse,) = [step for step in dry_steps(shop) if step.name == "infuse"]
    page = next(p for p in document.pages if p.id == infuse.id)
    told = next(b for b in page.blocks if isinstance(b, Items)).items[0]
    total, *shares = (float(g) for g in re.findall(r"([\d.]+) g\b", told))
    assert len(shares) >= 6 and math.fsum(shares) == pytest.approx(total, abs=0.5 * len(shares))
    cups = [b for b in shop.batches if b.stage == "dry"]
    assert total - 1.0 <= math.fsum(b.mass_g for b in cups) < total + 1.0 + 5.0 * len(cups)
    for cup in cups:
        assert math.fsum(mass for _, mass in cup.parts) == pytest.approx(cup.mass_g, abs=1e-9)


def test_no_breather_is_named_where_none_is_laid(made):
    _, _, shop, _ = made
    (bag,) = shop.bags
    assert bag.method == "infusion" and "breather" not in {c.role for c in bag.cuts}
    assert not any("breather" in cut.where for cut in bag.cuts)


def test_the_book_prints_and_shows_the_whole_path(made):
    _, _, shop, document = made
    pdf = opened(book_pdf(document))
    text = "\n".join(words(page) for page in pdf)
    html = book_html(document).decode("utf-8")
    for step in dry_steps(shop):
        title = typeset(step.title)
        assert title in text.replace("\r\n", " ") or title[:30] in text
        assert step.id in html
    for number, page in enumerate(pdf, start=1):
        assert list(colliding(page)) == [], f"page {number}"
        assert list(off_page(page)) == [], f"page {number}"
