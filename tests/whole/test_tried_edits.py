"""A refusal by numbers names place and cause, and the edit it proposes builds as written."""

import re
from dataclasses import replace

import numpy as np
import pytest

import plybook.tryout as tryout
from plybook.build import Read, shape, with_tried_edits
from plybook.diagnostics import Severity
from plybook.edits import ladders
from plybook.laminate import lay_up
from plybook.laminate.refusals import tangled_pieces
from plybook.surface import build_face
from tests.spec.goods import SHARED, read

HEAD = """\
plybook: 1
include: shared.yaml
part: {number: RF-1, name: Part, date: 2026-05-04, units: mm}
"""
PLATE = "mould: {outline: [[0, 0], [%d, 0], [%d, %d], [0, %d]]}\nlayers:\n%s"
TWISTED = """\
mould:
  side: upper
  loft: ruled
  stations:
    - {at: 0, chord: 600, section: naca 2412}
    - {at: 900, chord: 600, twist: 180 deg, section: naca 2412}
axis: {share: 0.3}
layers: [{ply: P, cloth: twill, angle: 0}]
"""
NARROW = PLATE % (300, 300, 200, 200, """\
  - {ply: P, cloth: twill, angle: 0}
  - {core: C, sheet: foam, edges: {all: bevel 45},
     region: {patch: {at: [150, 60], size: [200, 18]}}}
""")  # fmt: skip
BESIDE = PLATE % (300, 300, 200, 200, """\
  - {ply: P, cloth: twill, angle: 0}
  - {core: C, sheet: foam, edges: {all: bevel 30}, region: {inset: 20}}
  - {insert: H, block: birch, in: C, region: {patch: {at: [60, 80], size: [50, 40]}}}
""")  # fmt: skip
WIDE = PLATE % (3000, 3000, 2000, 2000, """\
  - {ply: P, cloth: twill, angle: 45, splice: {join: butt, narrowest: 1300}}
""")  # fmt: skip
COVERED = PLATE % (3000, 3000, 2000, 2000, """\
  - {core: C, sheet: foam, seams: to suit the sheets}
  - {insert: H, block: birch, in: C, region: {patch: {at: [1500, 1000], size: [2900, 1900]}}}
""")  # fmt: skip
CHANNEL = """\
mould:
  form: female
  loft: ruled
  stations:
    - {at: 0, section: {channel: [[70, -76], [0, -76], [0, 76], [70, 76]], radius: 8}}
    - {at: 900, section: {channel: [[70, -76], [0, -76], [0, 76], [70, 76]], radius: 8}}
axis: {share: 0.5}
layers:
  - {core: C, sheet: foam, region: {inset: 20}, edges: {all: bevel 45}}
  - {ply: P, cloth: twill, angle: 0}
"""
NOSE = """\
mould:
  form: female
  side: lower
  loft: smooth
  stations:
    - {at: 0, chord: 537, section: naca 4415}
    - {at: 570, chord: 430, sweep: -10, section: naca 4415}
    - {at: 1140, chord: 322, sweep: 40, rise: 25, twist: -1.5 deg, section: naca 4415}
axis: {share: 0.3}
edges: {all: {trim: 25}}
layers:
  - {core: C, sheet: foam, region: {inset: 2}, edges: {all: bevel 60}}
  - {ply: P, cloth: twill, angle: 0}
"""
STOCK = "  - {id: F1, sheet: foam, quantity: as needed}\n"


def refused(body, shared=SHARED, head=HEAD):
    """The errors of a part, with the edits that were tried."""
    spec = read(head + body, shared_yaml=shared).specs[0]
    review = with_tried_edits(spec, shape(Read(spec, ()))[1])
    return [f for f in review.findings if f.severity is Severity.ERROR]


# code, spec, words of the message, the edit in the help, how it is written into the spec
CASES = [
    ("pattern-folds", TWISTED, "between the stations at 0 and 900 mm the section turns by 180",
     r"no `twist` over (\d+)°", lambda n: (TWISTED.replace("180 deg", f"{n} deg"), SHARED)),
    ("bevels-meet", NARROW, "x 150, y 60 mm",
     r"`bevel (\d+)` on the bevelled edges of C",
     lambda n: (NARROW.replace("bevel 45", f"bevel {n}"), SHARED)),
    ("slope-through-hole", BESIDE, "x 60, y 80 mm",
     r"`bevel (\d+)` on the bevelled edges of C",
     lambda n: (BESIDE.replace("bevel 30", f"bevel {n}"), SHARED)),
    ("splice-impossible", WIDE, "3564 mm across its warp",  # 5000 sin 45 = 3536, and its corners
     r"`narrowest: (\d+) mm` for P", lambda n: (WIDE.replace("1300", n), SHARED)),
    ("core-seams-not-found", COVERED, "2438 x 1219 mm",
     r"a sheet of (\d+ x \d+) mm of foam in the stock", lambda n: (COVERED, SHARED.replace(
         STOCK, f"{STOCK}  - {{id: F2, sheet: foam, length: {n.split(' x ')[0]}, "
                f"width: {n.split(' x ')[1]}, quantity: as needed}}\n"))),
    # an arc of 8 mm has no parallel 10 mm inside it
    ("raised-too-high", CHANNEL, "radius of 8.0 mm",
     r"each `radius` of the channel (\d+) mm larger",
     lambda n: (CHANNEL.replace("radius: 8", f"radius: {8 + int(n)}"), SHARED)),
    pytest.param("pattern-folds", NOSE, ", by the edge of C",
                 r"(\d+) mm more of `inset` at every edge for C",
                 lambda n: (NOSE.replace("inset: 2", f"inset: {2 + int(n)}"), SHARED),
                 marks=pytest.mark.slow),
]  # fmt: skip


@pytest.mark.parametrize(("code", "body", "said", "edit", "written"), CASES)
def test_an_edit_that_is_proposed_was_tried_and_builds_as_written(code, body, said, edit, written):
    (finding,) = refused(body)
    assert finding.code == code and said in finding.message
    (figure,) = re.match(rf"tried: {edit} lays up", finding.help).groups()
    body, shared = written(figure)
    assert refused(body, shared) == []


def test_where_no_edit_works_all_that_were_tried_are_named():
    """Strips of 20 m, on a part of 3 m."""
    (finding,) = refused(WIDE.replace("1300", "20 m"))
    assert finding.help.startswith("tried, and none lays up: `stagger: 25 mm` for P; `narrowest: ")
    assert "a roll of twill with 1875 mm of use" in finding.help


def test_lengths_of_an_edit_are_tried_and_told_in_the_unit_of_the_part():
    inches = HEAD.replace("units: mm", "units: in")
    body = WIDE.replace("3000", "118").replace("2000", "79").replace("1300", "51")
    spec = read(inches + body, shared_yaml=SHARED).specs[0]
    (ply,) = spec.layers
    figures = [
        edit.spec.layers[0].splice.narrowest_mm / 25.4
        for ladder in ladders(spec, "splice-impossible", [ply])
        for edit in ladder
        if "narrowest" in edit.words
    ]
    assert figures == [25.5, 10.1875]  # of 51, in sixteenths


@pytest.mark.parametrize("hand", ["left", "right"])
def test_the_place_is_that_of_the_drawing_on_either_hand(hand):
    (finding,) = refused(NARROW, head=HEAD.replace("units: mm", f"units: mm, hand: {hand}"))
    assert "x 150, y 60 mm" in finding.message
    assert finding.help.startswith("tried: `bevel 60`")


def test_few_edits_are_tried_however_many_layers_are_refused(monkeypatch):
    asked = []
    monkeypatch.setattr(tryout._Trial, "lays", lambda self, spec: asked.append(spec))
    patches = "".join(
        f"  - {{core: C{k}, sheet: foam, edges: {{all: bevel 30}}, "
        f"region: {{patch: {{at: [{100 + 60 * k}, 60], size: [40, 18]}}}}}}\n"
        for k in range(30)
    )
    findings = refused(PLATE % (2000, 2000, 200, 200, patches))
    assert len(findings) == 30 and {f.code for f in findings} == {"bevels-meet"}
    assert len(asked) == tryout.TRIES == len(set(map(id, asked)))


def test_nothing_is_tried_for_a_sound_part_or_one_that_is_written_wrongly(monkeypatch):
    def tried(*_):
        raise AssertionError("an edit was tried")

    monkeypatch.setattr(tryout._Trial, "lays", tried)
    assert refused(NARROW.replace("18]", "60]")) == []
    (finding,) = refused(NARROW.replace("at: [150, 60]", "at: [900, 60]"))
    assert finding.code == "region-empty" and "tried" not in finding.help


def test_a_trial_ends_when_its_work_is_done(monkeypatch):
    """One that has cost more than all may is the last."""
    monkeypatch.setattr(tryout, "_WORK", -1)
    (finding,) = refused(WIDE.replace("1300", "20 m"))
    assert finding.help.startswith("check the width")


def test_what_the_verifier_would_refuse_names_its_place_and_an_edit_that_it_takes(monkeypatch):
    """A verifier that is made to dislike every bevel flatter than 70 degrees."""
    import plybook.verify as verify

    def faults(plans, laid_out):
        slopes = [e["angle_deg"] for p in plans[0]["pieces"] for e in p["edges"]]
        return {"RF-1": ["piece C: a slope is flat"]} if min(slopes) < 70 else {}

    monkeypatch.setattr(verify, "plan_faults", faults)
    (finding,) = refused(NARROW.replace("18]", "60]"))
    assert finding.code == "not-proved" and finding.layers == ("C",)
    assert "(the piece lies about x 150, y 60 mm)" in finding.message
    assert finding.help.startswith("tried: `bevel 75` on the bevelled edges of C lays up")


def test_a_tangled_piece_is_named_with_the_place_where_it_crosses_itself():
    """A cut of 100 x 100 with two corners exchanged crosses itself in its middle."""
    spec = read(HEAD + NARROW.replace("200, 18", "100, 100"), shared_yaml=SHARED).specs[0]
    face = build_face(spec)
    (core,) = [p for p in lay_up(spec, face).pieces if p.layer == "C"]
    a, b, c, d = core.outline_mm
    crossed = replace(core, outline_mm=np.array([a, c, b, d]), laid_outline_mm=core.outline_mm)
    (finding,) = tangled_pieces((crossed,), face)
    assert finding.code == "outline-tangled"
    x, y = map(int, re.search(r"at x (\d+), y (\d+) mm", finding.message).groups())
    assert 100 <= x <= 200 and 10 <= y <= 110  # on the outline of the piece
