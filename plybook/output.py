"""Which files a build consists of, and what each is made from.

Each folder is file name -> bytes, the manifest last. What takes long is cut into pieces of work
of one function each, which several processors share. Nothing here draws or formats, and nothing
here touches the disk.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from plybook import __version__, tables
from plybook.builtfolder import SHARED
from plybook.crew import each
from plybook.diagnostics import SpecError
from plybook.drawing.book import booklet
from plybook.drawing.layout import layout_scene
from plybook.drawing.markoutlist import LIGHT, Addresses
from plybook.drawing.template import draw_pieces
from plybook.laminate.model import Piece
from plybook.marking import refuse_shared_files
from plybook.names import file_name
from plybook.nest.model import CutPlan, Item, Layout
from plybook.plan import owner, plan_dict, to_json
from plybook.review import not_proved
from plybook.shop.purchases import to_buy_together
from plybook.spec.model import PartSpec
from plybook.units import show_number
from plybook.write.bag_sheets import bag_pages
from plybook.write.book_html import book_html
from plybook.write.book_pdf import book_pdf
from plybook.write.dxf import dxf_bytes
from plybook.write.folder import MANIFEST, sha256, with_manifest
from plybook.write.fullsize import fullsize_pdf
from plybook.write.labels_pdf import labels_pdf
from plybook.write.poster_pdf import poster_files
from plybook.write.roll_pages import RollTemplates, roll_pdf
from plybook.write.shared import OtherHand, choose_all
from plybook.write.sheets_pdf import cut_sheets
from plybook.write.svg import svg_bytes
from plybook.write.table_html import table_html
from plybook.write.tables import csv_bytes
from plybook.write.templates import PaperTemplates, templates_pdf
from plybook.write.where_pages import SetPlan, reference, where_pdf

if TYPE_CHECKING:
    from plybook.build import Part, Planned

Files = dict[str, bytes]
TABLE, CUT_PLAN = "table.html", "cutplan.pdf"
Manner = tuple[str, str]  # unit (mm, in) and profile (r2010, r12) a part is drawn in
Wanted = tuple[Layout, tuple[Item, ...], dict[str, Piece], Manner]  # to be drawn 1:1


@dataclass(frozen=True)
class Templates:
    """The templates of one part, and where each piece stands on paper."""

    files: Files
    paper: PaperTemplates
    roll: RollTemplates


@dataclass(frozen=True)
class Book:
    """The booklet of one part."""

    files: Files
    record_key: str


def folders_of(planned: Sequence[Planned], set_name: str = "") -> dict[str, Files]:
    """Every folder of a build; its work is shared among the processors, the longest first.

    Args:
        planned: all parts of the build.
        set_name: of the folder of the shared cut plan, which several parts have.

    Returns:
        Folder name -> files.

    Raises:
        SpecError: the verifier would call the plan wrong, or two would name one file.
    """
    parts, plan = planned[0].parts, planned[0].plan
    refuse_shared_files(layout.unit.id for layout in plan.layouts)
    for part in parts:
        refuse_shared_files(piece.id for piece in part.laminate.pieces)
    name = set_name or "+".join(part.number for part in parts)
    layouts = _wanted_layouts(parts, plan)
    work: list[tuple[Callable[[Any], Any], Any]] = [
        *((templates_of, one) for one in planned),
        *((book_of, (one, name if len(parts) > 1 else "")) for one in planned),
        (cut_plans, (name, planned)),
        (proved_plans, planned),
        *((draw_layout, one) for one in layouts),
    ]
    made = iter(each(_make, work))
    templates: list[Templates] = [next(made) for _ in planned]
    books: list[Book] = [next(made) for _ in planned]
    cut, shared, where = next(made)
    proved: list[dict] = next(made)
    for _ in layouts:
        cut |= next(made)
    if shared is None:
        return {parts[0].number: _part_folder(planned[0], proved[0], templates[0], books[0], cut)}
    whole = with_manifest(cut, manifest_facts(name, [part.spec for part in parts]))
    told = reference(shared, sha256(whole[MANIFEST]))
    folders = {
        one.part.number: _part_folder(one, {**data, SHARED: told}, sheets, book, files)
        for one, data, sheets, book, files in zip(
            planned, proved, templates, books, where, strict=True
        )
    }
    folders[name] = whole
    return folders


def paper_told(folders: Mapping[str, Files]) -> Iterator[str]:
    """How much paper the templates of each part take on a plotter."""
    for name, files in folders.items():
        if "plan.json" in files:
            yield f"{name} on a plotter: {json.loads(files['plan.json'])['roll']['told']}"


def _make(job: tuple[Callable[[Any], Any], Any]) -> Any:
    make, given = job
    return make(given)


def templates_of(planned: Planned) -> Templates:
    """Every piece: on ordinary paper, on a plotter's sheet, and as files for a cutter."""
    spec, face, laminate = planned.part.spec, planned.part.face, planned.part.laminate
    drawings = draw_pieces(laminate, face, spec)
    other = _other_hand(planned)
    chosen = choose_all(drawings, spec, other)
    paper = templates_pdf(spec, laminate, face, chosen=chosen, other=other)
    roll = roll_pdf(spec, chosen)
    files: Files = {
        "templates.pdf": paper.pdf,
        "templates-roll.pdf": roll.pdf,
        "templates-fullsize.pdf": fullsize_pdf(spec, laminate, face, drawings),
        **poster_files(spec, face, laminate),
        "labels.pdf": labels_pdf(spec, laminate, planned.shop, planned.plan),
    }
    for drawing in drawings:
        stem = f"templates/{file_name(drawing.piece.id)}"
        files[f"{stem}.dxf"] = dxf_bytes(drawing.full, spec.workshop.dxf == "r12")
        files[f"{stem}.svg"] = svg_bytes(drawing.full)
    return Templates(files, paper, roll)


def _other_hand(planned: Planned) -> OtherHand | None:
    """The opposite hand, where both are built together; the one that comes first is printed."""
    numbers = [part.number for part in planned.parts]
    number = planned.part.spec.part.other_hand
    if number not in numbers:
        return None
    twin = planned.parts[numbers.index(number)]
    before = numbers.index(number) < numbers.index(planned.part.number)
    return OtherHand(number, twin.laminate.pieces, before)


def book_of(given: tuple[Planned, str]) -> Book:
    """The booklet, for the screen and for paper.

    Args:
        given: the part, and the folder of the cut plan that it shares, "" where it has its own.
    """
    planned, set_name = given
    part = planned.part
    book = booklet(
        part.spec, part.face, part.laminate, planned.plan, planned.shop, planned.findings,
        _addresses(planned, set_name), part.setout,
    )  # fmt: skip
    files = {"booklet.html": book_html(book), "booklet.pdf": book_pdf(book)}
    return Book(files, book.record_key)


def cut_plans(
    given: tuple[str, Sequence[Planned]],
) -> tuple[Files, SetPlan | None, list[Files]]:
    """The cut plan and its lists, with what the bags take off rolls; of several parts also how they
    refer to it, and what stands in the folder of each in its place."""
    name, planned = given
    parts, plan = planned[0].parts, planned[0].plan
    pieces, specs = _pieces(parts), [part.spec for part in parts]
    files: Files = {}
    for table, (head, rows) in (("stock", tables.stock_table(plan)),
                                ("placements", tables.placements_table(plan, specs[0].part.units)),
                                ("kits", tables.kits_table(plan))):  # fmt: skip
        if rows or table != "kits":  # nothing is said of kits
            files[f"tables/{table}.csv"] = csv_bytes(head, rows)
    if len(planned) == 1:
        bags = bag_pages(specs[0], planned[0].shop)
        return {**files, CUT_PLAN: cut_sheets(plan, pieces, specs, bags=bags).pdf}, None, []
    shelf = [thing for one in planned for thing in one.shop.shelf]
    buy = to_buy_together({one.part.number: one.shop.wants for one in planned}, shelf)
    money = specs[0].workshop.currency
    files["tables/purchases.csv"] = csv_bytes(*tables.purchases_table(buy, money))
    sheets = cut_sheets(plan, pieces, specs, name, "Shared cut plan", buy=buy)
    shared = SetPlan(name, tuple(part.number for part in parts), specs[0].part.units, sheets)
    where: list[Files] = []
    for one in planned:
        own, bags = own_layouts(plan, one.part.number), bag_pages(one.part.spec, one.shop)
        where.append({
            CUT_PLAN: where_pdf(one.part.spec, own, shared, bags),
            "tables/placements.csv": csv_bytes(
                *tables.placements_table(own, one.part.spec.part.units, one.part.number)
            ),
        })  # fmt: skip
    return {**files, CUT_PLAN: sheets.pdf}, shared, where


def proved_plans(planned: Sequence[Planned]) -> list[dict]:
    """The plan of each part as data; one that the verifier would call wrong is not written in the
    first place."""
    plans = [
        plan_dict(one.part.spec, one.part.face, one.part.laminate, one.plan, one.shop, one.findings,
                  one.part.setout)  # fmt: skip
        for one in planned
    ]
    found = list(not_proved(plans))
    if found:
        raise SpecError(found)
    return plans


def _part_folder(
    planned: Planned,
    data: dict,
    templates: Templates,
    book: Book,
    cut: Files,
) -> Files:
    """Everything in `out/<part number>/`."""
    part, shop = planned.part, planned.shop
    spec, laminate = part.spec, part.laminate
    files = {**book.files, **templates.files, **cut}
    for name, (head, rows) in {
        "pieces": tables.pieces_table(laminate),
        "quantities": tables.quantities_table(shop, spec.workshop.currency),
        "bag_cuts": tables.bag_cuts_table(shop),
        "resin": tables.resin_table(shop),
        "checks": tables.checks_table(shop),
        "setout": tables.setout_table(part.setout, spec.part.units),
        "stiffness": tables.stiffness_table(laminate),
    }.items():
        if name in ("stiffness", "setout") and not rows:
            continue  # no cloth has elastic constants; the set-out is left out
        files[f"tables/{name}.csv"] = csv_bytes(head, rows)
    files[TABLE] = table_html(data)
    files["plan.json"] = to_json(
        {
            **data,
            "tiles": [asdict(sheet) for sheet in templates.paper.sheets],
            "figures": [asdict(card) for card in templates.paper.cards],
            "served": [asdict(card) for card in templates.paper.served],
            "roll": {
                "width_mm": templates.roll.width_mm,
                "length_mm": round(templates.roll.length_mm, 4),
                "told": templates.roll.told,
                "panels": [asdict(panel) for panel in templates.roll.panels],
                "left_out": list(templates.roll.left_out),
            },
            "printer": [100.0 / spec.workshop.printer_x_pct, 100.0 / spec.workshop.printer_y_pct],
            "record_key": book.record_key,
        }
    )
    return with_manifest(files, manifest_facts(part.number, [spec]))


def layout_files(
    plan: CutPlan,
    pieces: Mapping[str, Piece],
    specs: Sequence[PartSpec],
    set_name: str,
    title: str,
) -> Files:
    """Some layouts by themselves: their sheets for the bench and their 1:1 drawings.

    Args:
        plan: the layouts, and the items they place.
        pieces: by item id.
        specs: of the parts that are cut, the first gives paper and unit.
        set_name: the name of the parts together, "" where it is one.
        title: what the sheets show.
    """
    files = {CUT_PLAN: cut_sheets(plan, pieces, specs, set_name, title).pdf}
    for layout in plan.layouts:
        files |= draw_layout((layout, plan.items, dict(pieces), _manner(specs[0])))
    return files


def _wanted_layouts(parts: Sequence[Part], plan: CutPlan) -> list[Wanted]:
    """What the 1:1 drawing of every layout is made from, drawn as the first part has it."""
    pieces, manner = _pieces(parts), _manner(parts[0].spec)
    wanted: list[Wanted] = []
    for layout in plan.layouts:
        placed = {p.item for p in layout.placements}
        items = tuple(item for item in plan.items if item.id in placed)
        wanted.append((layout, items, {n: pieces[n] for n in placed}, manner))
    return wanted


def _manner(spec: PartSpec) -> Manner:
    return spec.part.units, spec.workshop.dxf


def draw_layout(wanted: Wanted) -> Files:
    """One layout 1:1, for a cutter."""
    layout, items, pieces, (unit, dxf) = wanted
    scene = layout_scene(layout, items, pieces, unit)
    stem = f"cutplan/{_stock_name(layout)}"
    return {f"{stem}.dxf": dxf_bytes(scene, dxf == "r12"), f"{stem}.svg": svg_bytes(scene)}


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


def _addresses(planned: Planned, set_name: str) -> Addresses:
    """Where the files lie that the booklet links to; the cut plan of several parts in the folder
    of their set."""
    own = own_layouts(planned.plan, planned.part.number).layouts
    roll = show_number(planned.part.spec.templates.roll_mm, 1)
    home = f"../{set_name}/" if set_name else ""
    cut: tuple[tuple[str, str], ...] = (("Cut plan with mark-out", f"{home}cutplan.pdf"),)
    if set_name:
        cut = (("Cut plan with mark-out, of all parts cut together", f"{home}cutplan.pdf"),
               ("Where the pieces of this part lie in it", "cutplan.pdf"))  # fmt: skip
    return Addresses(
        {p.id: f"templates/{file_name(p.id)}.svg" for p in planned.part.laminate.pieces},
        {layout.unit.id: f"{home}cutplan/{_stock_name(layout)}.svg" for layout in own},
        (
            *cut,
            (LIGHT, TABLE),
            ("Templates on paper", "templates.pdf"),
            (f"Templates on a roll of paper {roll} mm wide", "templates-roll.pdf"),
            ("Templates at full size", "templates-fullsize.pdf"),
            ("Poster: all layers and splices", "poster.pdf"),
            ("Labels", "labels.pdf"),
        ),
        TABLE,
        set_name,
    )


def _stock_name(layout: Layout) -> str:
    return file_name(layout.unit.id)


def manifest_facts(folder: str, specs: Sequence[PartSpec]) -> dict[str, object]:
    """What a manifest says of its folder: what wrote it, of which parts, from which files."""
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
