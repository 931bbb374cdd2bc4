"""One list of nasty words through every name, note and title, to DXF, SVG, HTML, CSV, PDF, screen.

Each sink is read by a library that had no part in writing it.
"""

import csv
import io
import json
import re
import shutil
from html.parser import HTMLParser
from urllib.parse import unquote

import ezdxf
import pypdfium2
import pytest
from lxml import etree

from plybook.cli import main
from plybook.drawing.typesetting import typeset
from plybook.verify import verify_folder
from tests.conftest import SPECS
from tests.whole.nasty import NASTY

PART = "TN-420"


def quoted(text):
    """A YAML scalar in double quotes, as JSON writes it."""
    return json.dumps(text, ensure_ascii=False)


def squeezed(text):
    return re.sub(r"\s+", "", text)


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The hatch with nasty words wherever words are free."""
    folder = tmp_path_factory.mktemp("nasty")
    shutil.copytree(SPECS, folder / "specs", ignore=shutil.ignore_patterns("*.layouts.json"))
    path = folder / "specs" / "hatch.yaml"
    text = path.read_text()
    text = re.sub(r"name: Inspection hatch", lambda _: f"name: {quoted(NASTY[1])}", text)
    text = re.sub(r"designer: .*", lambda _: f"designer: {quoted(NASTY[0])}", text)
    notes = "  notes:\n" + "".join(f"    - {quoted(n)}\n" for n in NASTY)
    text = text.replace("\nmould:", notes + "\nmould:", 1)
    head, layers = text.split("layers:", 1)
    said = iter([*NASTY, *NASTY])
    layers = re.sub(
        r"(    cloth: .*|    sheet: .*)",
        lambda m: f"{m[1]}\n    note: {quoted(next(said))}",
        layers,
    )
    path.write_text(head + "layers:" + layers, encoding="utf-8")
    materials = folder / "specs" / "shared" / "materials.yaml"
    text = materials.read_text()
    text = text.replace("name: Carbon 2x2 twill 200 g/m2", f"name: {quoted(NASTY[8])}")
    text = text.replace("name: PVC foam 80, 6 mm", f"name: {quoted(NASTY[7])}")
    text = text.replace("name: Laminating epoxy, slow hardener", f"name: {quoted(NASTY[2])}")
    materials.write_text(text, encoding="utf-8")
    out = folder / "out"
    assert main(["build", str(path), "--out", str(out), "--effort", "quick"]) == 0
    return out / PART


class Page(HTMLParser):
    """The words of a page outside script and style, and every tag with its attributes."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.words, self.tags, self._skip = [], [], 0

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._skip += tag in ("script", "style")

    def handle_endtag(self, tag):
        self._skip -= tag in ("script", "style")

    def handle_data(self, data):
        if not self._skip:
            self.words.append(data)


def test_the_folder_verifies(built):
    (report,) = verify_folder(built).folders
    assert report.sound, report.faults


def test_the_plan_keeps_what_was_typed(built):
    assert json.loads((built / "plan.json").read_bytes())["part"]["name"] == NASTY[1]


def test_html_shows_every_word_and_runs_none(built, hatch_out):
    page, plain = Page(), Page()
    page.feed((built / "booklet.html").read_text("utf-8"))
    plain.feed((hatch_out / PART / "booklet.html").read_text("utf-8"))
    shown = squeezed(" ".join(page.words))
    assert [n for n in NASTY if squeezed(typeset(n)) not in shown] == []
    tags = {tag for tag, _ in page.tags}
    assert tags <= {tag for tag, _ in plain.tags}, "words of the spec became tags"
    count = [sum(tag == "script" for tag, _ in p.tags) for p in (page, plain)]
    assert count[0] == count[1]
    files = {e["name"] for e in json.loads((built / "manifest.json").read_bytes())["files"]}
    for tag, attributes in page.tags:
        assert not any(name.startswith("on") for name in attributes)
        address = attributes.get("href", "#")
        assert address.startswith("#") or (tag == "a" and unquote(address) in files), address


def test_html_keeps_one_style_and_one_data_block_each(built):
    text = (built / "booklet.html").read_text("utf-8")
    assert text.count("</script>") == len(re.findall(r"<script[\s>]", text))
    assert text.count("</style>") == len(re.findall(r"<style[\s>]", text))


def test_svg_is_well_formed_and_shows_what_was_typed(built):
    for path in built.rglob("*.svg"):
        root = etree.fromstring(path.read_bytes(), etree.XMLParser(resolve_entities=False))
        kinds = {etree.QName(e).localname for e in root.iter() if isinstance(e.tag, str)}
        assert not kinds & {"script", "foreignObject", "image", "a", "b"}
    words = " ".join(etree.parse(built / "templates" / "A1.svg").getroot().itertext())
    assert squeezed(NASTY[8]) in squeezed(words)


def test_dxf_shows_what_was_typed_and_keeps_its_layers(built, hatch_out):
    words = ""
    for path in sorted((built / "templates").glob("*.dxf")):
        drawing = ezdxf.readfile(path)
        assert not drawing.audit().errors
        words += " ".join(
            t.plain_text() for t in drawing.modelspace() if t.dxftype() in ("TEXT", "MTEXT")
        )
        twin = ezdxf.readfile(hatch_out / PART / "templates" / path.name)
        assert {x.dxf.name for x in drawing.layers} == {x.dxf.name for x in twin.layers}
    for shown in (NASTY[0], NASTY[8]):
        assert squeezed(shown) in squeezed(words)


def test_csv_cells_are_what_was_typed_and_no_formula(built):
    found = set()
    for path in built.rglob("*.csv"):
        text = path.read_bytes().decode("utf-8-sig")
        for row in csv.reader(io.StringIO(text, newline="")):
            for cell in row:
                numeric = re.fullmatch(r"[+-]?\d+(\.\d+)?", cell)
                assert numeric or cell[:1] not in ("=", "+", "-", "@", "\t", "\r"), cell
                found.add(cell[1:] if cell[:1] == "'" else cell)
    assert NASTY[8] in found


@pytest.mark.parametrize("name", ["booklet.pdf", "labels.pdf", "cutplan.pdf", "templates.pdf"])
def test_pdf_shows_what_was_typed(built, name):
    book = pypdfium2.PdfDocument(built / name)
    shown = squeezed(" ".join(page.get_textpage().get_text_range() for page in book))
    wanted = NASTY if name == "booklet.pdf" else [NASTY[8][:12]]
    hidden = [n for n in wanted if squeezed(typeset(n)) not in shown.replace("\ufffe", "")]
    assert hidden == []


@pytest.mark.parametrize("odd", [*NASTY, "\x1b[31mred", "\u202egnp.exe", "日本語", "a\tb"])
@pytest.mark.parametrize("encoding", ["utf-8", "ascii", "cp1252"])
def test_the_screen_shows_it_and_obeys_nothing(tmp_path, monkeypatch, odd, encoding):
    """An unknown key holds the words; the terminal gets them without a control character."""
    shutil.copytree(SPECS, tmp_path / "specs")
    path = tmp_path / "specs" / "hatch.yaml"
    key = json.dumps(odd, ensure_ascii=True)
    path.write_text(path.read_text() + f"\n{key}: 1\n", encoding="utf-8")
    raw = io.BytesIO()
    screen = io.TextIOWrapper(raw, encoding=encoding, write_through=True)
    monkeypatch.setattr("sys.stderr", screen)
    assert main(["check", str(path), "--format", "line"]) == 1
    shown = raw.getvalue().decode(encoding)
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e]", shown)
    if odd.isascii() and odd.isprintable():
        assert odd in shown
