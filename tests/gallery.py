"""Remake the pictures of README.md from real output: `python -m tests.gallery`.

Builds the shipped specs into a temporary folder and renders chosen pages to `out/gallery/`.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import pypdfium2

from plybook.cli import main

ROOT = Path(__file__).parent.parent
GALLERY = ROOT / "out" / "gallery"
# picture -> (part, file, words that the page must hold, width in pixels)
PICTURES = {
    "cover.png": ("TN-310", "booklet.pdf", ("Upper wing skin",), 620),
    "step-lay.png": ("TN-310", "booklet.pdf", ("step ", "Lay B1:", "mixed at"), 620),
    "step-saw.png": ("TN-310", "booklet.pdf", ("step ", "Cut core panel C.2"), 620),
    "cutplan-cloth.png": ("TN-310+TN-311", "cutplan.pdf", ("TW-1, drawing 10 of",), 620),
    "figures.png": ("TN-310", "templates.pdf", ("figures to draw by",), 620),
}


def render(pdf: Path, words: tuple[str, ...], width: int):
    """The first page that holds all words, as a picture."""
    document = pypdfium2.PdfDocument(pdf)
    for page in document:
        text = page.get_textpage().get_text_bounded()
        if all(word.lower() in text.lower() for word in words):
            return page.render(scale=width / page.get_width()).to_pil()
    raise SystemExit(f"no page of {pdf.name} holds {words}")


def remake() -> int:
    GALLERY.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        specs = [str(ROOT / "specs" / name) for name in ("wing-skin.yaml",)]
        for spec in specs:
            if code := main(["build", spec, "--out", folder]):
                return code
        for name, (part, file, words, width) in PICTURES.items():
            picture = render(Path(folder) / part / file, words, width)
            picture.convert("RGB").quantize(48).save(GALLERY / name, optimize=True)
            print(GALLERY / name)
    return 0


if __name__ == "__main__":
    sys.exit(remake())
