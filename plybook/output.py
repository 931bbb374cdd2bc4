"""Which files a build consists of, and what each is made from.

One function per folder; each gives file name -> bytes, the manifest last. Nothing here draws or
formats, and nothing here touches the disk.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from plybook import __version__, tables
from plybook.diagnostics import Finding
from plybook.drawing.book import booklet
from plybook.drawing.booktext import glyph_findings
from plybook.drawing.layout import layout_scene
from plybook.drawing.template import draw_pieces
from plybook.nest.model import CutPlan, Layout
from plybook.plan import owner, plan_dict, to_json
from plybook.spec.model import PartSpec
from plybook.write.book_html import book_html
from plybook.write.book_pdf import book_pdf
from plybook.write.dxf import dxf_bytes
from plybook.write.folder import with_manifest
from plybook.write.labels_pdf import labels_pdf
from plybook.write.sheets_pdf import cutplan_pdf
from plybook.write.svg import svg_bytes
from plybook.write.tables import csv_bytes
from plybook.write.templates import fullsize_pdf, templates_pdf

if TYPE_CHECKING:
    from plybook.build import Part, Planned

Files = dict[str, bytes]


@dataclass(frozen=True)
class PartFiles:
    """The files of one part and what was found while they were made."""

    files: Files
    findings: tuple[Finding, ...]


def part_files(
    planned: Planned, parts: Sequence[Part], progress: Callable[[str], None]
) -> PartFiles:
    """Everything in `out/<part number>/`; `parts` are all that are cut from the same stock."""
    part, plan, shop = planned.part, planned.plan, planned.shop
    spec, face, laminate = part.spec, part.face, part.laminate
    own = own_layouts(plan, part.number)

    progress(f"{part.number}: booklet")
    book = booklet(spec, face, laminate, plan, shop)
    files: Files = {"booklet.html": book_html(book), "booklet.pdf": book_pdf(book)}
    progress(f"{part.number}: templates")
    drawings = draw_pieces(laminate, face, spec, progress)
    tiled = templates_pdf(spec, laminate, face, drawings=drawings)
    files["templates.pdf"] = tiled.pdf
    files["templates-fullsize.pdf"] = fullsize_pdf(spec, laminate, face, drawings)
    files["labels.pdf"] = labels_pdf(spec, laminate, plan, shop)
    for drawing in drawings:
        stem = f"templates/{file_name(drawing.piece.id)}"
        files[f"{stem}.dxf"] = dxf_bytes(drawing.full)
        files[f"{stem}.svg"] = svg_bytes(drawing.full)
    progress(f"{part.number}: cut plan")
    files |= _cut_files([part, *(p for p in parts if p is not part)], own, plan)
    for name, (head, rows) in {
        "pieces": tables.pieces_table(laminate),
        "stock": tables.stock_table(own),
        "placements": tables.placements_table(own),
        "quantities": tables.quantities_table(shop),
        "resin": tables.resin_table(shop),
        "checks": tables.checks_table(shop),
    }.items():
        files[f"tables/{name}.csv"] = csv_bytes(head, rows)
    lost = glyph_findings(book)
    files["plan.json"] = to_json(
        {
            **plan_dict(spec, face, laminate, plan, shop, lost),
            "tiles": [asdict(sheet) for sheet in tiled.sheets],
            "record_key": book.record_key,
        }
    )
    return PartFiles(with_manifest(files, _facts(part.number, [spec])), lost)


def set_files(name: str, parts: Sequence[Part], plan: CutPlan) -> Files:
    """Everything in the folder of a set: the cut plan that its parts share."""
    files = _cut_files(parts, plan, plan, name, "Shared cut plan")
    for table, (head, rows) in {
        "stock": tables.stock_table(plan),
        "placements": tables.placements_table(plan),
    }.items():
        files[f"tables/{table}.csv"] = csv_bytes(head, rows)
    return with_manifest(files, _facts(name, [part.spec for part in parts]))


def own_layouts(plan: CutPlan, number: str) -> CutPlan:
    """The layouts that cut something for one part."""
    own = tuple(
        layout
        for layout in plan.layouts
        if any(owner(p.item)[0] == number for p in layout.placements)
    )
    return CutPlan(own, plan.items, plan.findings)


def file_name(id: str) -> str:
    """An id as part of a file name, the same on every system."""
    return "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "_" for c in id)


def _cut_files(
    parts: Sequence[Part], shown: CutPlan, plan: CutPlan, name: str = "", title: str = ""
) -> Files:
    specs = [part.spec for part in parts]
    pieces = {
        f"{part.number}/{piece.id}": piece for part in parts for piece in part.laminate.pieces
    }
    files: Files = {"cutplan.pdf": cutplan_pdf(shown, pieces, specs, name, title)}
    for layout in shown.layouts:
        scene = layout_scene(layout, plan.items, pieces, specs[0].part.units)
        stem = f"cutplan/{_stock_name(layout)}"
        files[f"{stem}.dxf"], files[f"{stem}.svg"] = dxf_bytes(scene), svg_bytes(scene)
    return files


def _stock_name(layout: Layout) -> str:
    return file_name(layout.unit.id)


def _facts(folder: str, specs: Sequence[PartSpec]) -> dict[str, object]:
    return {
        "folder": folder,
        "plybook": __version__,
        "parts": [
            {
                "number": spec.part.number,
                "revision": spec.part.revision,
                "spec": [{"file": f.path, "sha256": f.sha256} for f in spec.files],
            }
            for spec in specs
        ],
    }
