"""Words swapped in a built folder, its manifest made good again: `plybook verify` tells them."""

import io
import json
import re
import shutil

import pytest
from pypdf import PdfReader, PdfWriter

from plybook.cli import main
from plybook.verify import verify_folder
from plybook.verify.book import check_book
from plybook.verify.bookpaper import check_steps_on_paper, flow_of
from plybook.verify.names import Names
from plybook.verify.pdf_pages import Page, Words
from plybook.verify.printed import after, angle, lasts, lengths, same, squeeze
from plybook.verify.report import Report
from plybook.verify.sheets import check_sheets
from plybook.verify.steptold import StepTold, limits_told
from plybook.verify.tiles import check_tiles
from tests.forging import change_plan, faults, page_bytes, reseal, swap, with_page

PART = "TN-420"
ALL_TOLD = [
    "labels with the id and the angle of their piece",
    "labels with the layer and the material of their piece",
    "sheets of labels with an arrow along each fibre and no other line",
    "pieces on the kit list of their stage",
    "sheets lettered with the id, fibre and layer of their piece",
    "cards that tell the facts of their piece",
    "rows of the list of pieces in the tiled templates",
    "rows of the booklet's cut list equal to plan.json",
    "rows of the booklet's stack equal to plan.json",
    "rows of the booklet's table of zones equal to plan.json",
    "rows of the booklet's table of quantities equal to plan.json",
    "rows of the booklet's table of cups equal to plan.json",
    "figures of the HTML's script equal to plan.json",
    "pictures drawn alike on screen and on paper",
    *(
        f"{medium} {what}"
        for medium in ("HTML", "PDF")
        for what in (
            "steps with all their checks",
            "steps with their cautions and their work",
            "steps with the angle of their pieces",
            "steps with their pieces in large letters",
            "steps with the layer, material and number in hand",
            "waits and limits of the length planned",
            "measures with their limits",
        )
    ),
]


@pytest.fixture(scope="module")
def panel_out(tmp_path_factory):
    """A part in millimetres, on Letter paper: the starter panel."""
    folder = tmp_path_factory.mktemp("panel")
    spec = folder / "panel.yaml"
    assert main(["new", "panel", str(spec)]) == 0
    text = spec.read_text()
    assert "paper: a4" in text
    spec.write_text(text.replace("paper: a4", "paper: letter"))
    assert main(["build", str(spec), "--out", str(folder / "out"), "--effort", "quick"]) == 0
    return folder / "out"


@pytest.mark.parametrize("build", ["hatch_tiled", "panel_out"])
def test_a_good_build_tells_its_own_words_on_every_paper(build, request):
    (report,) = verify_folder(request.getfixturevalue(build)).folders
    assert report.sound, report.faults
    assert [what for what in ALL_TOLD if not report.proofs.get(what)] == []


def found(content, patterns):
    """The first match of each pattern among the strings a page shows."""
    return [re.search(pattern, content) for pattern in patterns]


def page_with(data, *patterns):
    """The number of the first page but the contents that shows all of some strings."""
    for k in range(len(PdfReader(io.BytesIO(data)).pages)):
        shown = page_bytes(data, k)
        if all(found(shown, patterns)) and b"(Contents)" not in shown:
            return k
    raise AssertionError(f"{patterns} are on no page")


def swapped(one, other, on=()):
    """A forgery: the first matches of two patterns exchanged, on the first page that has both."""

    def forge(data):
        page = page_with(data, one, other, *on)
        content = page_bytes(data, page)
        a, b = sorted(found(content, (one, other)), key=lambda m: m.start())
        return with_page(
            data, page,
            content[: a.start()] + b[0] + content[a.end() : b.start()] + a[0] + content[b.end() :],
        )  # fmt: skip

    return forge


def changed(old, new, on=()):
    """A forgery: the first match of a pattern changed, on the first page that has it."""

    def forge(data):
        page = page_with(data, old, *on)
        content = re.sub(old, lambda found: found.expand(new), page_bytes(data, page), count=1)
        return with_page(data, page, content)

    return forge


def across(one, other, words):
    """A forgery: words of one page (known by a pattern) exchanged for those of another."""

    def forge(data):
        pages = page_with(data, one), page_with(data, other)
        assert pages[0] != pages[1]
        contents = [page_bytes(data, page) for page in pages]
        a, b = (re.search(pattern, content) for pattern, content in zip(words, contents,
                                                                        strict=True))  # fmt: skip
        for page, content, mine, other_words in zip(pages, contents, (a, b), (b, a), strict=True):
            data = with_page(
                data, page, content[: mine.start()] + other_words[0] + content[mine.end() :]
            )
        return data

    return forge


def turned_arrow(data):
    """The shaft of the first label's arrow, mirrored."""
    content = page_bytes(data, 0)
    shaft = re.search(rb"n ([\d.]+) ([\d.]+) m ([\d.]+) ([\d.]+) l S", content)
    x0, y0, x1, y1 = shaft.groups()
    line = b"n %s %s m %s %s l S" % (x0, y1, x1, y0)
    return with_page(data, 0, content.replace(shaft[0], line, 1))


def lifted(pattern):
    """A forgery: words moved up to the step above, on the first page that shows them."""

    def forge(data):
        page = page_with(data, pattern)
        content = page_bytes(data, page)
        shown = re.search(rb"BT 1 0 0 1 ([\d.]+) ([\d.]+) Tm [^()]*" + pattern, content)
        start, end = shown.span(2)
        return with_page(data, page, content[:start] + b"700" + content[end:])

    return forge


D = rb"\\00\d"  # a sign that no keyboard has, by its code in one typeface or another
LAY_A1, LAY_A2 = rb"\(Lay A1: Carbon", rb"\(Lay A2: Carbon"
PLUS, NOUGHT = rb"\(\+45" + D + rb"\)", rb"\(0" + D + rb"\)"
TWILL = rb"Carbon 2" + D + rb"2 twill 200 g/m" + D
CARBON, FOAM = rb"\(" + TWILL + rb"\)", rb"\(PVC foam 80, 6 mm\)"
MINUS = rb"\(" + D + rb"45" + D + rb"\)"
FIBRE_PLUS, FIBRE_NOUGHT = rb"\(Fibre at \+45" + D, rb"\(Fibre at 0" + D
CUP = rb"\(resin [\d.]+ g \+ hardener [\d.]+ g = [\d.]+ g"
ON_PAPER = [
    ("labels.pdf", swapped(PLUS, NOUGHT), "labels.pdf, label 1: says"),
    ("labels.pdf", swapped(rb"\(A1\)", rb"\(B2\)"), "labels.pdf, label 1: says"),
    ("labels.pdf", changed(TWILL, b"PVC foam 80, 6 mm"),
     "the name of carbon-twill-200"),
    ("labels.pdf", changed(rb"\(C (\\\d+) PVC", b"(B \\001 PVC"), "not C and the name"),
    ("labels.pdf", changed(rb"UP (\\\d+) stage 2 of", rb"UP \1 stage 3 of"), "not 'BAG SIDE UP"),
    ("labels.pdf", changed(rb"lay 1 of 5", b"lay 2 of 5"), "not 'BAG SIDE UP"),
    ("labels.pdf", changed(rb"lay 1 of 5", b"lay 1 of 4"), "not 'BAG SIDE UP"),
    ("labels.pdf", changed(rb"from TW-1, along", b"from TW-2, along"), "it is cut at"),
    ("labels.pdf", changed(rb"(from TW-1, along )\d+", rb"\g<1>1"), "it is cut at"),
    ("labels.pdf", changed(rb"to (\d+) ", rb"to 1\1 "), "it is cut at"),
    ("labels.pdf", changed(rb"DATUM span 0 in", b"DATUM span 5 in"), "says ['DATUM"),
    ("labels.pdf", changed(rb"DATUM span 0 in, [^)]*", b""), "says []"),
    ("labels.pdf", changed(rb"BAG SIDE UP", b"MOULD SIDE UP"), "not 'BAG SIDE UP"),
    ("labels.pdf", changed(rb"QTY 1 of 1", b"QTY 1 of 2"), "QTY 1 of 1"),
    ("labels.pdf", changed(rb"\(TN-420 rev A\)", b"(TN-420 rev B)"), "TN-420 rev A"),
    ("labels.pdf", changed(rb"\(bevel 45", b"(bevel 35"), "not 'bevel 45"),
    ("labels.pdf", turned_arrow, "an arrow on sheet 1 lies otherwise"),
    ("labels.pdf", changed(rb"\(A2 0" + D, b"(A2 90\\002"), "A2 is not there as in plan.json"),
    ("booklet.pdf", across(LAY_A1, LAY_A2, (PLUS, NOUGHT)), "says 0°, not +45°"),
    ("booklet.pdf", across(LAY_A1, LAY_A2, (FIBRE_PLUS, FIBRE_NOUGHT)), "has lost the check"),
    ("booklet.pdf", across(LAY_A1, LAY_A2, (rb"\(A1\)", rb"\(A2\)")), "not A1"),
    ("booklet.pdf", across(LAY_A1, LAY_A2, (rb"\(A1  \+45" + D, rb"\(A2  0" + D)),
     "a picture names A2"),
    ("booklet.pdf", changed(rb"\(A1  \+45(" + D + rb")", rb"(A1  -45\1", on=[LAY_A1]),
     "a picture says 'A1  -45°'"),
    ("booklet.pdf", changed(rb"\(layer A1", b"(layer A2"), "says 'layerA2"),
    ("booklet.pdf", across(LAY_A1, rb"\(Lay core C", (CUP, CUP)), "Cup 1 is told as"),
    ("booklet.pdf", changed(rb"1 h 59 min later", b"2 h 59 min later"), "Cup 1 is told with"),
    ("booklet.pdf", changed(rb"what is left of Cup 1", b"what is left of Cup 3"),
     "does not go on with"),
    ("booklet.pdf", changed(rb"\(Release film drying, 1 h", b"(Release film drying, 2 h"),
     "'Release film drying' with other than 3600 s"),
    ("booklet.pdf", changed(rb"\(not before", b"(not after"), "other than"),
    ("booklet.pdf", changed(rb"\(\\\(21 ", b"(\\(31 "), "holds 'Room temperature' against"),
    ("booklet.pdf", changed(rb"at least 677", b"at least 67"), "holds 'Vacuum below"),
    ("booklet.pdf", swapped(rb"\(Coat 1 on and buffed\)", rb"\(Coat 4 on and buffed\)"),
     "has lost the check"),
    ("booklet.pdf", changed(rb"Never thin the resin", b"Always thin the resin"), "does not say"),
    ("booklet.pdf", lifted(rb"\(Film unbroken all over\)"), "stands with another step"),
    ("booklet.pdf", changed(rb"step 6 of 16", b"step 7 of 16"), "is not there in its turn"),
    ("booklet.pdf", swapped(PLUS, NOUGHT, on=[rb"\(Cut list\)"]), "cut list does not tell A1"),
    ("booklet.pdf", swapped(PLUS, NOUGHT, on=[rb"\(The stack\)"]), "stack does not tell A1"),
    ("booklet.pdf", changed(rb"\(58\)", b"(68)"), "table of cups does not tell Cup 1"),
    ("templates.pdf", changed(rb"\(A1\) Tj", b"(B2) Tj", on=[rb"\(MAP\)"]), "the card of A1"),
    ("templates.pdf", changed(CARBON, b"(PVC foam 80, 6 mm)", on=[rb"\(MAP\)"]), "the card of A1"),
    ("templates.pdf", changed(PLUS, b"(-45\\002)", on=[rb"\(1-1\)", rb"\(DATUM"]), "on A1"),
    ("templates.pdf", changed(rb"\(A1\) Tj", b"(B2) Tj", on=[rb"\(1-1\)", rb"\(DATUM"]), "on A1"),
    ("templates.pdf", changed(rb"\(Layer A1 ", b"(Layer B2 "), "on A1"),
    ("templates.pdf", changed(CARBON, b"(PVC foam 80, 6 mm)", on=[rb"\(1-1\)", rb"\(DATUM"]),
     "on A1"),
    ("templates.pdf", swapped(rb"\(A1\) Tj", rb"\(B2\) Tj"), "tells ['B2']"),
    ("templates.pdf", swapped(CARBON, FOAM), "tells ['A1']"),
    ("templates-fullsize.pdf", changed(PLUS, b"(-45\\001)"), "on A1"),
    ("templates-fullsize.pdf", changed(rb"\(Piece A1\)", b"(Piece B2)"), "the card of A1"),
    ("booklet.pdf", swapped(rb"\(90" + D + rb"\)", MINUS, on=[LAY_A1]),
     "a rosette has its angles exchanged"),
    ("booklet.pdf", changed(rb"revision A\)", b"revision B)"), "page 1 is headed"),
    ("booklet.pdf", changed(rb"\(3 / ", b"(4 / "), "page 3 is headed"),
    ("booklet.pdf", changed(rb"\(145 g\\\)|\(\\\(145 g\\\)\)", b"(\\(154 g\\))",
                            on=[rb"\(Record, continued\)"]), "record does not tell a mass"),
    ("booklet.pdf", changed(rb"\(4 with ", b"(5 with "), "cover does not tell the part"),
    ("booklet.pdf", swapped(rb"\(1\) Tj", rb"\(2\) Tj", on=[LAY_A1]), "does not say"),
    ("templates.pdf", changed(rb"SIDE 2 (\\\d+) BEVEL", b"SIDE 2 \\001 SCARF", on=[rb"\(MAP\)"]),
     "other edges"),
    ("templates-fullsize.pdf", changed(rb"\(no hand\)", b"(LEFT HAND)"), "the card of A1"),
    ("templates-fullsize.pdf", swapped(rb"\(90" + D + rb"\)", MINUS),
     "a rosette whose angles are exchanged"),
    ("templates-fullsize.pdf", changed(rb"\(THIS FACE UP = BAG SIDE\)", b"(EITHER FACE UP)"),
     "on A1"),
    ("templates-fullsize.pdf", changed(rb"\(1 OFF\) Tj", b"(2 OFF) Tj"), "on A1"),
    ("templates-fullsize.pdf", changed(rb"\(lay-up\)", b"(mould)"), "the card of A1"),
]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize(("name", "forge", "words"), ON_PAPER)
def test_words_forged_on_paper_are_told(hatch_tiled, name, forge, words):
    data = (hatch_tiled / PART / name).read_bytes()
    forged = forge(data)
    assert page_texts(forged) != page_texts(data), "the test did not change the page"
    told = faults_of(hatch_tiled / PART, name, forged)
    assert any(words in fault for fault in told), told


def faults_of(folder, name, data):
    """What the file's own checks say of it."""
    report = Report(str(folder))
    plan = json.loads((folder / "plan.json").read_bytes())
    check = {"labels.pdf": check_sheets, "templates-fullsize.pdf": check_sheets,
             "templates.pdf": check_tiles}.get(name, check_book)  # fmt: skip
    check(plan, {name: data}, report)
    return [fault for fault in report.faults if fault.startswith(name)]


def page_texts(data):
    return [page.get_contents().get_data() for page in PdfReader(io.BytesIO(data)).pages]


def said_instead(old, new, count=1):
    """A forgery: words of the HTML changed."""
    bound, plain = "\u00a0".encode(), b" "
    return lambda data: data.replace(bound, plain).replace(old.encode(), new.encode(), count)


def said_for(one, other):
    """A forgery: two words of the HTML exchanged, wherever they stand."""
    return lambda data: swap(data, one.encode(), other.encode())


ON_SCREEN = [
    (said_for("Fibre at +45° within", "Fibre at 0° within"), "has lost the check"),
    (said_for('<div class="ids"><span>A1<', '<div class="ids"><span>A2<'), "shows 'A2', not A1"),
    (said_instead('<div class="line">layer A1', '<div class="line">layer A2'), "says 'layer A2"),
    (said_instead("Lay A1, the side marked UP", "Lay B2, the side marked UP"), "does not say"),
    (said_instead(">A1  +45°<", ">A1  -45°<"), "a picture says 'A1  -45°'"),
    (said_instead('data-seconds="3600"', 'data-seconds="360"'), "data-seconds='360'> is not"),
    (said_instead("Release film drying, 1 h<", "Release film drying, 2 h<"), "other than 3600 s"),
    (said_instead('data-kind="wait"', 'data-kind="limit"'), "data-kind='limit'> is not"),
    (said_instead('data-low="18.0"', 'data-low="8.0"'), "data-low='8.0'> is not as planned"),
    (said_instead('data-high="24.0"', 'data-high="44.0"'), "data-high='44.0'> is not as planned"),
    (said_instead("(21 ± 3 °C)", "(31 ± 3 °C)"), "holds 'Room temperature' against"),
    (said_instead("(at least 677 mbar)", "(at least 67 mbar)"), "holds 'Vacuum below"),
    (said_instead("Never thin the resin", "Always thin the resin", -1), "does not say"),
    (said_instead("what is left of Cup 1", "what is left of Cup 3"), "does not go on with"),
    (said_instead('<span class="id">Cup 1<', '<span class="id">Cup 3<'), "Cup 1 is told with"),
    (said_instead('data-head="Angle">+45°', 'data-head="Angle">0°'), "cut list does not tell A1"),
    (said_instead('data-head="Parts">resin 45.7', 'data-head="Parts">resin 54.7'),
     "table of cups does not tell Cup 1"),
    (said_instead("peeled off: 145 g", "peeled off: 154 g"), "figures does not"),
]  # fmt: skip


@pytest.mark.parametrize(("forge", "words"), ON_SCREEN)
def test_words_forged_on_screen_are_told(hatch_out, forge, words):
    data = (hatch_out / PART / "booklet.html").read_bytes()
    forged = forge(data)
    assert forged != data, "the test did not change the file"
    told = faults_of(hatch_out / PART, "booklet.html", forged)
    assert any(words in fault for fault in told), told


@pytest.mark.parametrize("name", sorted({name for name, *_ in ON_PAPER}))
def test_a_forgery_made_good_in_the_manifest_is_no_sound_build(hatch_tiled, tmp_path, name):
    forge, words = next((forge, words) for at, forge, words in ON_PAPER if at == name)
    copy = tmp_path / "out"
    shutil.copytree(hatch_tiled, copy)
    folder = copy / PART
    reseal(folder, name, forge((folder / name).read_bytes()))
    told = faults(copy)
    assert any(words in fault for fault in told), told
    assert not any("hash" in fault for fault in told)


def test_a_label_for_every_copy(hatch_copy):
    """Two copies of the last piece in the plan, one label in the file."""
    change_plan(hatch_copy / PART, lambda plan: plan["pieces"][-1].update(quantity=2))
    name = "labels.pdf"
    told = faults_of(hatch_copy / PART, name, (hatch_copy / PART / name).read_bytes())
    assert any("5 of 6 are a label" in fault for fault in told), told


@pytest.mark.parametrize("name", ["labels.pdf", "booklet.pdf", "templates.pdf"])
def test_pages_of_nothing_are_no_proof(hatch_out, name):
    writer = PdfWriter()
    writer.add_blank_page(595.28, 841.89)
    out = io.BytesIO()
    writer.write(out)
    told = faults_of(hatch_out / PART, name, out.getvalue())
    assert any("A1" in fault for fault in told), told


def on_page(*said):
    """A page with words below one another."""
    words = [Words("", text, (15.0, 270.0 - 5.0 * k)) for k, text in enumerate(said)]
    return Page(210.0, 297.0, [], words)


HEAD = "Stage 1 of 1 \u00b7 Lay up \u00b7 step {} of 2"
LIST = ["Contents", "Coat the plate; Lay A"]
CUP_R1 = ["Cup 1", "resin 45.7 g + hardener 12.3 g = 58.0 g"]


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        ([HEAD.format(1), "Coat the plate", *CUP_R1, HEAD.format(2), "Lay A", "A1"], ""),
        ([HEAD.format(1), "Coat the plate", HEAD.format(2), "Lay A", "A1", *CUP_R1], "nothing"),
        ([HEAD.format(1), "Coat the plate", *CUP_R1, "A1", HEAD.format(2), "Lay A"], "A1"),
        ([HEAD.format(1), "Coat the plate", "Cup 1", "resin 54.7 g + hardener 12.3 g = 58.0 g",
          HEAD.format(2), "Lay A", "A1"], "resin54.7g"),
        ([HEAD.format(1), "Coat the plate", *CUP_R1, HEAD.format(1), "Lay A", "A1"], "in its turn"),
    ],
)  # fmt: skip
def test_a_step_on_paper_tells_its_pieces_and_cups_where_it_stands(said, fault):
    """Not only in the list of steps in front of the book."""
    coat = {"id": "s1", "title": "Coat the plate", "lays": False, "pieces": [], "shows": "none"}
    lay = {"id": "s2", "title": "Lay A", "lays": True, "pieces": ["A1"], "shows": "layer"}
    batch = {
        "id": "Cup 1",
        "step": "s1",
        "mass_g": 58.0,
        "parts": [{"name": "resin", "mass_g": 45.7}, {"name": "hardener", "mass_g": 12.3}],
    }
    piece = {"id": "A1", "kind": "core", "material": "foam", "angle_deg": 0.0}
    plan = {
        "part": {"number": "X", "revision": "A"},
        "pieces": [{**piece, "layer": "A", "quantity": 1, "area_mm2": 1.0}],
        "materials": {},
        "stages": [{"title": "Lay up", "steps": [coat, lay]}],
        "quantities": {"batches": [batch]},
    }
    report = Report("x")
    told = StepTold("PDF", plan, Names(plan), report)
    check_steps_on_paper(plan, flow_of([on_page(*LIST), on_page(*said)]), told, report)
    assert bool(report.faults) == bool(fault)
    assert all(fault in found for found in report.faults), report.faults


@pytest.mark.parametrize(
    ("said", "text", "good"),
    [
        ("Größe Łódź", "Größe  Łódź", True),
        ("Gr?ße", "Größe", True),  # a character that the typeface lacks
        ("Gr?sse", "Grosse", False),  # ASCII is never lacking
        ("45-+45", "45\u221345", True),
        ("+-45", "\u221345", False),
        ("Carbon uni\u2026", "Carbon unidirectional tape", True),
        ("Carbon bi\u2026", "Carbon unidirectional tape", False),
        ("\u2026", "Carbon", False),
    ],
)
def test_printed_words_are_a_text_or_its_beginning(said, text, good):
    assert same(said, text) is good


@pytest.mark.parametrize(
    ("angle_deg", "said"),
    [(45.0, "+45°"), (-45.0, "−45°"), (0.0, "0°"), (90.0, "90°"), (-90.0, "90°"), (135.0, "−45°"),
     (0.623189, "+0.6°"), (-0.04, "0°"), (22.5, "+22.5°")],
)  # fmt: skip
def test_an_axis_is_told_within_a_half_turn(angle_deg, said):
    assert angle(angle_deg) == said


@pytest.mark.parametrize(
    ("words", "seconds", "good"),
    [("1h59minlater", 7125, True), ("1h59min", 3600, False), ("45s", 45, True),
     ("24h", 86400, True), ("25min", 1500, True), ("26min", 1500, False), ("later", 0, False)],
)  # fmt: skip
def test_a_duration_is_told_to_the_minute(words, seconds, good):
    assert lasts(words, 0, seconds) is good


def test_a_length_is_told_as_closely_as_a_hand_places_what_it_is_of():
    """25.4 mm to the inch: 323.85 mm are 12 3/4 in; 10 mm are 12.6 of 32 parts."""
    assert lengths(323.85, "in") == {"123/4"}
    assert lengths(304.8, "in") == {"12"}
    assert lengths(6.35, "in") == {"1/4"}
    assert lengths(10.0, "in") == {"3/8"} and lengths(10.0, "in", "core") == {"13/32"}
    assert lengths(222.5, "mm") == {"222", "223"}  # a tie may fall either way
    assert lengths(222.25, "mm", "core") == {"222", "222.5"}
    assert lengths(222.4, "mm", "rod") == {"222.5"}


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        ({"expected": 21.0, "tolerance": 3.0}, {"°C(21±3°C)"}),
        ({"expected": 0.25, "tolerance": 0.125}, {"°C(0.25±0.125°C)"}),
        ({"at_least": 677.0}, {"°C(at least 677°C)"}),
        ({"at_most": 34.0}, {"°C(at most 34°C)"}),
        ({"at_least": 1.0, "at_most": 2.0}, {"°C(1to2°C)"}),
        ({"expected": 126.0}, {"°C(126°C)"}),
        ({}, {"°C"}),
    ],
)
def test_what_a_measure_is_held_against(limits, said):
    none = {"expected": None, "tolerance": None, "at_least": None, "at_most": None}
    assert limits_told({**none, "unit": "°C", **limits}) == said


def test_a_text_is_found_where_it_ends():
    words = squeeze("first Größe, then Gr??e")
    assert after("Größe", words) == len("firstGröße")
    assert after("Größe", words, 8) == len(words)
    assert after("Grosse", words) == -1
