"""What the spec adds, changes and drops; stages that are wrong; layers that have none."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from plybook.diagnostics import Severity
from plybook.shop import plan_work
from plybook.spec import model as s
from tests.shop import parts

LAYS = {"skin": ("P1", "P2"), "core": ("C1", "H1"), "cover": ("P3", "P4")}
KINDS = {"skin": "wet_laminate", "core": "core_bond", "cover": "wet_laminate"}


def stages(**rules):
    """The three laying stages, with changes by stage id."""
    return tuple(
        replace(s.StageRule(id, KINDS[id], "", layers), **rules.get(id, {}))
        for id, layers in LAYS.items()
    )


def steps_of(shop, stage):
    return next(st for st in shop.stages if st.id == stage).steps


def errors(shop):
    return [f for f in shop.findings if f.severity is Severity.ERROR]


def test_a_step_is_added_after_another():
    """It stands right after the step it names, with its own words, checks and cautions."""
    added = s.AddedStep("leak", "Photograph the bag", ("Take a picture of the gauge.",), ("Done",))
    shop = plan_work(*parts.skin(stages(skin={"add_steps": (added,)})))
    names = [step.name for step in steps_of(shop, "skin")]
    assert names[names.index("leak") + 1] == "added leak"
    step = steps_of(shop, "skin")[names.index("leak") + 1]
    assert (step.title, step.text) == ("Photograph the bag", ("Take a picture of the gauge.",))
    assert [c.text for c in step.checks] == ["Done"] and step.checks[0].id
    assert not errors(shop)


def test_steps_added_at_one_place_keep_their_order():
    """Two after the same step, one at the start, one at the end."""
    added = tuple(s.AddedStep(w, t) for w, t in
                  (("leak", "one"), ("leak", "two"), ("start", "first"), ("", "last")))  # fmt: skip
    shop = plan_work(*parts.skin(stages(skin={"add_steps": added})))
    titles = [step.title for step in steps_of(shop, "skin")]
    at = titles.index("one")
    assert titles[at + 1] == "two" and titles[0] == "first" and titles[-1] == "last"


def test_a_step_is_changed_for_one_layer_only():
    """Words given replace the standard ones; what is left out stays; other layers keep theirs."""
    change = s.AddedStep("lay_ply.P2", "", ("Lay P2 as two people.",))
    shop = plan_work(*parts.skin(stages(skin={"change_steps": (change,)})))
    p1, p2 = (step for step in steps_of(shop, "skin") if step.lays)
    assert p2.text == ("Lay P2 as two people.",) and p2.title.startswith("Lay P2")
    assert p2.checks and p2.batches and p1.text != p2.text


def test_changed_words_change_the_id_and_nothing_else():
    """A changed step is a new step; the others keep their ids, so that their ticks stay."""
    before = plan_work(*parts.skin(stages()))
    change = s.AddedStep("leak", "", ("Check for leaks with the old gauge.",))
    after = plan_work(*parts.skin(stages(skin={"change_steps": (change,)})))
    ids = [[step.id for st in shop.stages for step in st.steps] for shop in (before, after)]
    assert len(ids[0]) == len(ids[1])
    assert sum(a != b for a, b in zip(*ids, strict=True)) == 1


def test_a_step_is_dropped():
    """Gone from the stage, without a finding."""
    shop = plan_work(*parts.skin(stages(skin={"drop_steps": ("strip_bag",)})))
    assert "strip_bag" not in [step.name for step in steps_of(shop, "skin")]
    assert not errors(shop)


@pytest.mark.parametrize("name", ["lay_ply", "lay_ply.P1"])
def test_a_laying_step_cannot_be_dropped(name):
    """A layer without its step would be forgotten at the bench."""
    shop = plan_work(*parts.skin(stages(skin={"drop_steps": (name,)})))
    assert [f.code for f in errors(shop)] == ["drop-laying-step"]
    assert errors(shop)[0].layers == ("P1",)


@pytest.mark.parametrize("key", ["drop_steps", "add_steps", "change_steps"])
def test_an_unknown_step_is_an_error_with_a_proposal(key):
    """A slip of the pen names the step that was meant and lists the ones there are."""
    value = "leek" if key == "drop_steps" else s.AddedStep("leek", "x")
    shop = plan_work(*parts.skin(stages(skin={key: (value,)})))
    (found,) = errors(shop)
    assert found.code == "unknown-step" and "did you mean 'leak'" in found.help
    assert "bag" in found.help


def test_dropping_a_step_the_part_has_not_got_is_no_error():
    """A process shared by several parts may drop what only some of them have."""
    shop = plan_work(*parts.hatch())
    assert "prime_core" not in [x.name for st in shop.stages for x in st.steps]
    shop = plan_work(*parts.skin(stages(skin={"drop_steps": ("prime_core",)})))
    assert not errors(shop)


def test_users_words_are_not_read_as_placeholders():
    """Braces and percent signs of the user are printed as they are."""
    words = "Mix {quickly} at 100 % <b>"
    shop = plan_work(
        *parts.skin(stages(skin={"add_steps": (s.AddedStep("leak", words, (words,)),)}))
    )
    step = next(x for x in steps_of(shop, "skin") if x.name == "added leak")
    assert step.title == words and step.text == (words,)


def test_a_layer_no_stage_lays_is_an_error():
    """It would never reach the mould."""
    rules = stages()
    rules = (*rules[:2], replace(rules[2], layers=("P3",)))
    found = errors(plan_work(*parts.skin(rules)))
    assert [(f.code, f.layers) for f in found] == [("layer-without-stage", ("P4",))]


def test_stages_out_of_the_order_of_the_layers_are_an_error():
    """The core cannot be bonded before the plies under it are laid."""
    a, b, c = stages()
    found = errors(plan_work(*parts.skin((b, a, c))))
    assert found and {f.code for f in found} == {"stage-order"}


def test_a_stage_that_cannot_lay_is_an_error():
    """Trimming lays nothing."""
    a, b, c = stages()
    found = errors(plan_work(*parts.skin((a, b, replace(c, kind="trim")))))
    assert {f.code for f in found} == {"stage-lays-nothing"}


def test_an_unknown_kind_of_stage_is_an_error():
    """The standard kinds are listed."""
    rules = (*stages(), s.StageRule("x", "polish", "", ()))
    (found,) = errors(plan_work(*parts.skin(rules)))
    assert found.code == "unknown-stage-kind" and "wet_laminate" in found.help


def test_a_stage_that_lays_nothing_is_left_out_and_said():
    """No empty chapter in the book."""
    rules = (*stages(), s.StageRule("more", "wet_laminate", "More", ()))
    shop = plan_work(*parts.skin(rules))
    assert "more" not in [st.id for st in shop.stages]
    assert "stage-without-layers" in {f.code for f in shop.findings}


def test_without_resin_there_are_no_cups_and_it_is_said():
    """Steps stay, cups do not."""
    bare = replace(parts.MATERIALS, resins={}, thickened={})
    shop = plan_work(*parts.skin(materials=bare))
    assert not shop.batches
    assert "no-resin" in {f.code for f in shop.findings}


def test_cure_follows_spec_then_card_then_default():
    """The stage's own figure, else the resin's card, else the default; longest before demoulding
    (24 h at room temperature, TM 1-1500-204-23-1)."""
    shop = plan_work(*parts.skin(stages(core={"cure_s": 5 * 3600.0})))
    cures = {st.id: st.cure_s for st in shop.stages}
    assert cures == {"skin": 8 * 3600, "core": 5 * 3600, "cover": 24 * 3600}


def shop_without(stage, *names):
    rules = stages(**{stage: {"drop_steps": names}})
    return plan_work(*parts.skin(rules))


def test_any_step_can_be_dropped_and_the_rest_still_reads_as_one_text():
    """Each step that lays nothing, in each stage, one at a time: no hole in a sentence, no cup
    without its step, no step changed besides those that speak of it."""
    whole = plan_work(*parts.skin(stages()))
    for stage in whole.stages:
        for name in dict.fromkeys(step.name for step in stage.steps if not step.lays):
            shop = shop_without(stage.id, name)
            assert not errors(shop), name
            assert name not in [x.name for x in steps_of(shop, stage.id)]
            for where, text in parts.all_words(shop):
                assert text and not any(s in text for s in ("{", "  ", " .", " ,", "..")), where
            used = {b for st in shop.stages for x in st.steps for b in x.batches}
            assert used == {b.id for b in shop.batches}


@pytest.mark.parametrize(
    ("stage", "gone", "speaks"),
    [("core", "fit_core", {"neat_coat", "thick_coat", "lay_core"}), ("core", "bag", {"leak",
     "leave", "strip_bag"}), ("skin", "bag", {"leak", "leave", "strip_bag"}),
     ("skin", "cut_cloth", set())],
)  # fmt: skip
def test_what_speaks_of_a_dropped_step_is_named(stage, gone, speaks):
    """The line round the core is drawn when it is fitted dry; without it none may speak of it."""
    told = [f for f in shop_without(stage, gone).findings if f.code == "dropped-step-relied-on"]
    assert {f.message.split("'")[1] for f in told} == speaks
    assert all("change" in f.help for f in told)


def test_own_words_for_the_step_that_speaks_of_it_settle_the_matter():
    """Core laid to a template instead of a drawn line."""
    words = tuple(
        s.AddedStep(step, "", ("Lay it to the template.",))
        for step in ("neat_coat", "thick_coat", "lay_core")
    )
    rules = stages(core={"drop_steps": ("fit_core",), "change_steps": words})
    found = {f.code for f in plan_work(*parts.skin(rules)).findings}
    assert "dropped-step-relied-on" not in found


def test_without_peel_ply_the_next_stage_sands_and_nothing_speaks_of_it():
    """Dropping it takes it out of cups, bag and cut list too."""
    shop = shop_without("skin", "peel_ply")
    own = steps_of(shop, "skin")
    assert not any("peel ply" in text for step in own for text in step.text)
    assert "peel_ply" not in {cut.role for cut in shop.bags[0].cuts}
    assert not any("peel ply" in b.purpose for b in shop.batches if b.stage == "skin")
    (opened,) = [x for x in steps_of(shop, "core") if x.name == "open_face"]
    assert opened.text[0].startswith("Sand") and "Strip" not in opened.text[0]


def test_the_language_page_lists_the_standard_steps():
    """The table of specs/README.md names each step of each kind, in order."""
    from pathlib import Path

    from plybook.shop.standard import standard

    page = (Path(__file__).parents[2] / "specs" / "README.md").read_text(encoding="utf-8")
    for kind, stage in standard().stages.items():
        (row,) = [line for line in page.splitlines() if line.startswith(f"| `{kind}` |")]
        assert re.findall(r"`(\w+)`", row)[1:] == [step.name for step in stage.steps]
