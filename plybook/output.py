"""Which files a build consists of, and what each is made from.

One function per folder; each gives file name -> bytes, the manifest last. Nothing here draws or
formats, and nothing here touches the disk.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from plybook import __version__, tables
from plybook.crew import each
from plybook.diagnostics import Finding
from plybook.drawing.book import booklet
from plybook.drawing.booktext import glyph_findings
from plybook.drawing.layout import layout_scene
from plybook.drawing.template import draw_pieces
from plybook.laminate.model import Piece
from plybook.nest.model import CutPlan, Item, Layout
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
Manner = tuple[str, str]  # unit (mm, in) and profile (r2010, r12) a part is drawn in


@dataclass(frozen=True)
class PartFiles:
    """The files of one part and what was found while they were made."""

    files: Files
    findings: tuple[Finding, ...]


def part_files(planned: Planned) -> PartFiles:
    """Everything in `out/<part number>/`."""
    part, plan, shop = planned.part, planned.plan, planned.shop
    spec, face, laminate = part.spec, part.face, part.laminate
    own = own_layouts(plan, part.number)

    book = booklet(spec, face, laminate, plan, shop)
    files: Files = {"booklet.html": book_html(book), "booklet.pdf": book_pdf(book)}
    drawings = draw_pieces(laminate, face, spec)
    tiled = templates_pdf(spec, laminate, face, drawings=drawings)
    files["templates.pdf"] = tiled.pdf
    files["templates-fullsize.pdf"] = fullsize_pdf(spec, laminate, face, drawings)
    files["labels.pdf"] = labels_pdf(spec, laminate, shop)
    for drawing in drawings:
        stem = f"templates/{file_name(drawing.piece.id)}"
        files[f"{stem}.dxf"] = dxf_bytes(drawing.full, spec.workshop.dxf == "r12")
        files[f"{stem}.svg"] = svg_bytes(drawing.full)
    parts = [part, *(p for p in planned.parts if p.number != part.number)]
    files["cutplan.pdf"] = cutplan_pdf(own, _pieces(parts), [p.spec for p in parts])
    files |= _drawings_of(own, planned.drawings[_manner(spec)])
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


def set_files(
    name: str, parts: Sequence[Part], plan: CutPlan, drawings: Mapping[Manner, Files]
) -> Files:
    """Everything in the folder of a set: the cut plan that its parts share."""
    specs = [part.spec for part in parts]
    files = {"cutplan.pdf": cutplan_pdf(plan, _pieces(parts), specs, name, "Shared cut plan")}
    files |= _drawings_of(plan, drawings[_manner(specs[0])])
    for table, (head, rows) in {
        "stock": tables.stock_table(plan),
        "placements": tables.placements_table(plan),
    }.items():
        files[f"tables/{table}.csv"] = csv_bytes(head, rows)
    return with_manifest(files, _facts(name, specs))


def layout_files(
    spec: PartSpec, pieces: Sequence[Piece], layout: Layout, items: Sequence[Item], title: str
) -> Files:
    """One layout by itself: the sheet for the bench and its 1:1 drawings."""
    placed = {p.item for p in layout.placements}
    own = tuple(item for item in items if item.id in placed)
    known = {f"{spec.part.number}/{piece.id}": piece for piece in pieces}
    plan = CutPlan((layout,), own, ())
    files = {"cutplan.pdf": cutplan_pdf(plan, known, [spec], spec.part.number, title)}
    return files | _draw_layout((layout, own, known, _manner(spec)))


def cut_drawings(parts: Sequence[Part], plan: CutPlan) -> dict[Manner, Files]:
    """The 1:1 drawings of every layout, in each manner that a part of the plan is drawn in."""
    pieces = _pieces(parts)
    manners = list(dict.fromkeys(_manner(part.spec) for part in parts))
    wanted = []
    for manner in manners:
        for layout in plan.layouts:
            placed = {p.item for p in layout.placements}
            items = tuple(item for item in plan.items if item.id in placed)
            wanted.append((layout, items, {name: pieces[name] for name in placed}, manner))
    made = iter(each(_draw_layout, wanted))
    return {one: {k: v for _ in plan.layouts for k, v in next(made).items()} for one in manners}


def _manner(spec: PartSpec) -> Manner:
    return spec.part.units, spec.workshop.dxf


def _draw_layout(wanted: tuple[Layout, tuple[Item, ...], dict[str, Piece], Manner]) -> Files:
    layout, items, pieces, (unit, dxf) = wanted
    scene = layout_scene(layout, items, pieces, unit)
    stem = f"cutplan/{_stock_name(layout)}"
    return {f"{stem}.dxf": dxf_bytes(scene, dxf == "r12"), f"{stem}.svg": svg_bytes(scene)}


def _drawings_of(shown: CutPlan, drawings: Files) -> Files:
    stems = {f"cutplan/{_stock_name(layout)}" for layout in shown.layouts}
    return {name: data for name, data in drawings.items() if name[:-4] in stems}


def _pieces(parts: Sequence[Part]) -> dict[str, Piece]:
    return {f"{part.number}/{piece.id}": piece for part in parts for piece in part.laminate.pieces}


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
