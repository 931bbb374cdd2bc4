"""The whole work of three small parts: order, completeness and words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from plybook.shop import plan_work
from plybook.shop.standard import LAYING_KINDS
from tests.shop import parts

PARTS = {"hatch": parts.hatch, "skin": parts.skin, "spar": parts.spar}


@pytest.fixture(scope="module", params=PARTS)
def work(request):
    spec, face, laminate, plan = PARTS[request.param]()
    return laminate, plan_work(spec, face, laminate, plan)


def test_no_placeholder_is_left(work):
    """Every printed word is filled in, and says something."""
    _, shop = work
    for where, text in parts.all_words(shop):
        assert "{" not in text and "}" not in text, where
        assert "  " not in text and " ." not in text and " ," not in text, (where, text)
        assert "None" not in text, (where, text)


def test_each_layer_is_laid_once_in_order(work):
    """One laying step per layer, in the order from the mould face up, naming all its pieces."""
    laminate, shop = work
    laying = [step for stage in shop.stages for step in stage.steps if step.lays]
    assert [step.layer for step in laying] == [layer.id for layer in laminate.layers]
    assert [step.pieces for step in laying] == [layer.pieces for layer in laminate.layers]


def test_nothing_is_laid_before_it_is_cut(work):
    """A piece is handled in a cutting step before the step that lays it."""
    _, shop = work
    handled: set[str] = set()
    for stage in shop.stages:
        for step in stage.steps:
            if step.lays:
                films = {p for p in step.pieces if p.startswith("PEEL")}
                assert set(step.pieces) - films <= handled, step.title
            handled.update(step.pieces)


def test_step_ids_are_unique_and_stable(work):
    """Ids differ between steps, checks and timers, and come out the same again."""
    _, shop = work
    steps = [step for stage in shop.stages for step in stage.steps]
    ids = [step.id for step in steps]
    ids += [check.id for step in steps for check in step.checks]
    ids += [timer.id for step in steps for timer in step.timers]
    assert len(ids) == len(set(ids))


def test_every_cured_face_has_peel_ply(work):
    """Each laying stage that leaves cloth on top ends with peel ply before the bag."""
    laminate, shop = work
    kind_of = {layer.id: layer.kind for layer in laminate.layers}
    for stage in shop.stages:
        if stage.kind in LAYING_KINDS and any(
            kind_of[step.layer] == "ply" for step in stage.steps if step.lays
        ):
            names = [step.name for step in stage.steps]
            assert names.index("peel_ply") < names.index("bag")


def test_batches_exist_and_are_used(work):
    """Steps name cups that exist, and each cup is named by its own step."""
    _, shop = work
    steps = {step.id: step for stage in shop.stages for step in stage.steps}
    cups = {batch.id: batch for batch in shop.batches}
    assert cups and {b for step in steps.values() for b in step.batches} == set(cups)
    for batch in cups.values():
        assert batch.id in steps[batch.step].batches


def test_a_caution_is_said_once_in_full():
    """In full the first time in the book, shortly in later stages, once in each stage."""
    shop = plan_work(*parts.skin())
    said = [(stage.id, c.text) for stage in shop.stages for s in stage.steps for c in s.cautions]
    assert len(said) == len(set(said))
    gloves = [
        (stage, text) for stage, text in said if "loves on, clean" in text or "allergic" in text
    ]
    assert [stage for stage, _ in gloves] == ["skin", "core", "cover"]
    assert "allergic" in gloves[0][1] and len(gloves[1][1]) < len(gloves[0][1])
    assert gloves[1][1] == gloves[2][1]


def test_estimates_name_their_source_and_only_what_is_used():
    """Each default figure says where it comes from; infusion figures only where one infuses."""
    skin, spar = (plan_work(*part()) for part in (parts.skin, parts.spar))
    for line in (*skin.estimates, *spar.estimates):
        assert len(line.rpartition(" - ")[2]) > 10
    assert any("trap left" in line for line in spar.estimates)
    assert not any("trap left" in line for line in skin.estimates)
    assert any("common practice, no source" in line for line in skin.estimates)
    assert any("AC 43.13-1B" in line for line in skin.estimates)


def test_what_is_checked_of_a_ply_follows_from_how_its_cloth_is_made():
    """A stitched cloth is laid by its warp, and a mat has no fibre to turn."""
    for weave, fibres, wanted in (
        ("twill", None, "Fibre at +45° within 3°"),
        ("biaxial", None, "Warp at +45°, fibres at 0° and 90°, within 3°"),
        ("biaxial", (0.0, 90.0), "Warp at +45°, fibres at −45° and +45°, within 3°"),
        ("mat", None, ""),
    ):
        spec, face, laminate, plan = parts.spar()
        cloths = spec.materials.cloths
        made = replace(cloths["carbon-200"], weave=weave, fibres_deg=fibres)
        shelf = replace(spec.materials, cloths={**cloths, "carbon-200": made})
        shop = plan_work(replace(spec, materials=shelf), face, laminate, plan)
        (step,) = [s for st in shop.stages for s in st.steps if s.lays and s.layer == "F1"]
        said = [check.text for check in step.checks if "within 3°" in check.text]
        assert [text.replace("-", "−") for text in said] == ([wanted] if wanted else [])
