"""Read a built folder again and say what it proves.

Nothing here is shared with the modules that made the files: the readers, the plane geometry and
the arithmetic are written a second time on purpose.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from plybook.verify.allowed import check_allowed, strange
from plybook.verify.allowed_dxf import furniture
from plybook.verify.bagrolls import check_bag_files, check_bag_rolls
from plybook.verify.bays import check_all_bays
from plybook.verify.book import check_book, check_steps
from plybook.verify.booktwins import check_book_twins
from plybook.verify.cutplaces import check_cut_places
from plybook.verify.drawings import check_cut_drawings, check_templates
from plybook.verify.dxf_tags import read_dxf, sections
from plybook.verify.facts import check_facts
from plybook.verify.hands import check_hands
from plybook.verify.infusion import check_fill_times
from plybook.verify.joints import check_joints
from plybook.verify.kits import check_kits
from plybook.verify.layouts import SHARED, check_layouts, set_folder
from plybook.verify.lengths import check_lengths
from plybook.verify.manifest import MANIFEST, check_manifest, read_files
from plybook.verify.markout import check_cut_sheets
from plybook.verify.pagetree import read_page
from plybook.verify.pdf_pages import open_book
from plybook.verify.pieces import check_pieces
from plybook.verify.poster import check_poster
from plybook.verify.purchases import check_wants
from plybook.verify.recut import AGAIN, check_recut
from plybook.verify.report import Report, Reports
from plybook.verify.resin import check_resin
from plybook.verify.roles import check_roles
from plybook.verify.roll import check_roll
from plybook.verify.served import check_hands_served
from plybook.verify.setout import check_setout
from plybook.verify.setout_told import check_setout_table
from plybook.verify.sets import check_set, read_manifest
from plybook.verify.shares import check_shared
from plybook.verify.sheetlines import check_sheet_lines
from plybook.verify.sheets import check_sheets
from plybook.verify.stiffness import check_stiffness
from plybook.verify.svg_paths import read_svg
from plybook.verify.table import check_table
from plybook.verify.tables import check_tables
from plybook.verify.templateplaces import check_template_pages
from plybook.verify.tiles import check_tiles
from plybook.verify.twins import check_twins
from plybook.verify.zonestacks import check_zone_stacks

# of what plan.json holds alone
OF_PLAN = (
    check_pieces, check_joints, check_zone_stacks, check_layouts, check_all_bays, check_steps,
    check_resin, check_bag_rolls, check_setout, check_wants, check_fill_times,
)  # fmt: skip
# of what the other files hold, against it and against one another
OF_FILES = (
    check_templates, check_cut_drawings, check_twins, check_tiles, check_book, check_book_twins,
    check_tables, check_stiffness, check_lengths, check_roles, check_sheets, check_cut_sheets,
    check_table, check_roll, check_sheet_lines, check_template_pages, check_cut_places,
    check_facts, check_bag_files, check_kits, check_setout_table, check_poster,
)  # fmt: skip
# of the cut plan, which stands in the folder of the set where parts share it
OF_CUT_PLAN = (check_cut_drawings, check_cut_sheets, check_cut_places, check_kits)
LARGEST = 1e12  # a cent of a fortune, a micrometre of a roll
MOST_COPIES = 100_000  # of all pieces of a part; each is looked for in the layouts and labels
MOST_ROWS = 5_000  # pieces, or units of stock, of one part; builds are limited to a fifth
ALWAYS_UNPROVED = (
    "that the spec says what the designer meant, or is still the file that was built",
    "what pictures of the booklet show, but that they are alike on screen and on paper; in "
    "pictures of the cut plan bevels and bad zones: look at them",
    "on paper that each corner of a corner sheet has its letter, that the rosette on the roll has "
    "all its strokes, where in its window a piece's name stands, and how far below its strip the "
    "cut plan says where to measure from: look at them",
    "that paper and cutter keep their scale: measure the printed rulers",
    "that the light on the table keeps its scale: measure its box before each session",
    "strength: the tool sizes no structure",
)


def verify_folder(folder: Path, progress: Callable[[str], None] = lambda text: None) -> Reports:
    """Verify one built folder, or every built folder directly inside; with a part alone the
    folder of the cut plan that it shares, where that is beside.

    Args:
        folder: a folder with a manifest.json, or one that holds such folders.
        progress: told the name of each folder.

    Returns:
        One report per folder; none at all counts as not sound.
    """
    folder = Path(folder)
    found = [folder] if (folder / MANIFEST).exists() else []
    if not found and folder.is_dir():
        found = sorted(p.parent for p in folder.glob(f"*/{MANIFEST}"))
    if not found:
        report = Report(str(folder))
        report.fault(str(folder), "holds no build: there is no manifest.json")
        return Reports([report])
    reports = []
    plans: dict[str, tuple[dict, Report]] = {}
    sets: list[tuple[Path, dict[str, bytes], Report]] = []
    recuts: list[tuple[Path, dict[str, bytes], Report]] = []
    for one in found:  # which grows by what a part alone refers to
        progress(one.name)
        report = Report(str(one))
        files = read_files(one, report)
        _guarded(partial(check_allowed, files, report), report)
        plan = _plan(files, report) if "plan.json" in files else None
        if plan is not None:
            plans[plan["part"]["number"]] = plan, report
            shared = one.parent / (set_folder(plan) or ".")
            there = _files_of_set(shared) if SHARED in plan else None
            _check(plan, files, there, report)
            if there is not None and shared not in found:
                found.append(shared)
            _guarded(partial(_check_listing, one, plan, report), report)
        elif AGAIN in files:
            recuts.append((one, {**files, MANIFEST: (one / MANIFEST).read_bytes()}, report))
        elif not any(name.startswith("cutplan/") for name in files):
            report.fault(one.name, "has neither a plan.json nor a cut plan")
        elif "plan.json" not in files:
            sets.append((one, files, report))
        report.unproved.extend(ALWAYS_UNPROVED)
        reports.append(report)
        forget()
    for check in (check_hands, check_hands_served):
        _guarded(partial(check, plans), *(report for _, report in plans.values()))
    for one, files, report in recuts:
        known = {**_beside(one, read_manifest(files[MANIFEST])), **plans}
        _guarded(partial(check_recut, one, files, known, report), report)
    for one, files, report in sets:
        known = {**_beside(one, read_manifest((one / MANIFEST).read_bytes())), **plans}
        _guarded(partial(check_set, files, (one / MANIFEST).read_bytes(), known, report), report)
    return Reports(reports)


def _files_of_set(folder: Path) -> dict[str, bytes] | None:
    """The files of a shared cut plan and their manifest; None where they are not there."""
    if not (folder / MANIFEST).is_file() or (folder / "plan.json").exists():
        return None
    report = Report(str(folder))
    files = read_files(folder, report)
    return {**files, MANIFEST: (folder / MANIFEST).read_bytes()}


def _check_listing(folder: Path, plan: dict, report: Report) -> None:
    listing = read_manifest((folder / MANIFEST).read_bytes())
    stocks = [layout["stock"] for layout in plan["layouts"]]
    check_manifest(listing, [plan], stocks, True, report)


def forget() -> None:
    """Let go of what was read: each file of a folder is read once, however many checks ask."""
    for reader in (strange, furniture, sections, read_dxf, read_svg, read_page, open_book):
        reader.cache_clear()


def _beside(folder: Path, manifest: dict) -> dict[str, tuple[dict, Report]]:
    """The plans of a set's parts, read from the folders that stand beside the set's."""
    plans = {}
    for part in manifest.get("parts", []):
        own = folder.parent / str(part.get("number", ""))
        report = Report(str(own))
        if own.parent == folder.parent and (own / MANIFEST).is_file():
            files = read_files(own, report)
            plan = _plan(files, report) if "plan.json" in files else None
            if plan is not None and not report.faults:
                plans[plan["part"]["number"]] = plan, report
    return plans


def plan_faults(plans: Sequence[dict], laid_out: bool = True) -> dict[str, list[str]]:
    """What plans show to be wrong by themselves, before a file is written.

    Args:
        plans: `plan.json` of each part of a build, as data.
        laid_out: False where the layouts are not known yet, and nothing is said of them.

    Returns:
        Part number -> faults; only parts that have one.
    """
    known = {plan["part"]["number"]: (plan, Report(plan["part"]["number"])) for plan in plans}
    for plan, report in known.values():
        for check in OF_PLAN:
            if laid_out or check not in (check_layouts, check_all_bays):
                _guarded(partial(check, plan, report), report)
    _guarded(partial(check_hands, known), *(report for _, report in known.values()))
    return {number: report.faults for number, (_, report) in known.items() if report.faults}


def setout_faults(plan: dict) -> list[str]:
    """What `plan_faults` would say of the set-out of the mould alone."""
    report = Report(plan["part"]["number"])
    _guarded(partial(check_setout, plan, report), report)
    return report.faults


def read_plan(data: bytes) -> dict:
    """What plan.json holds.

    Raises:
        ValueError: it is no JSON, or has a number that none of a plan can be.
    """

    def number(text: str) -> float:
        if not abs(value := float(text)) <= LARGEST:
            raise ValueError(f"{text[:40]} is larger than any number of a plan")
        return value

    def whole(text: str) -> int:
        number(text[:400])
        return int(text)

    found: dict = json.loads(data, parse_float=number, parse_constant=number, parse_int=whole)
    return found


def _plan(files: dict[str, bytes], report: Report) -> dict | None:
    needed = {"part", "pieces", "layouts", "stages", "quantities", "findings", "surface"}
    try:
        plan = read_plan(files["plan.json"])
        missing = needed - set(plan)
        if missing:
            raise ValueError(f"without {', '.join(sorted(missing))}")
        if not isinstance(plan["part"]["number"], str):
            raise ValueError("its part has no number")
        copies = [piece["quantity"] for piece in plan["pieces"]]
        if not all(type(n) is int and n > 0 for n in copies) or sum(copies) > MOST_COPIES:
            raise ValueError("pieces are counted in whole numbers, "
                             f"and a part has at most {MOST_COPIES}")  # fmt: skip
        for kind in ("pieces", "layouts"):
            if len(plan[kind]) > MOST_ROWS:
                raise ValueError(f"a part has at most {MOST_ROWS} {kind}")
        return plan
    except (ValueError, TypeError, LookupError, RecursionError) as wrong:
        report.fault("plan.json", f"cannot be read: {wrong}")
        return None


def _check(
    plan: dict, files: dict[str, bytes], there: dict[str, bytes] | None, report: Report
) -> None:
    """Everything of the folder of one part.

    Args:
        plan: its plan.json.
        files: of the folder.
        there: files of the cut plan that it shares; None where there is none.
        report: takes what is found.
    """
    for step in OF_PLAN:
        _guarded(partial(step, plan, report), report)
    for check in OF_FILES:
        if check not in OF_CUT_PLAN or SHARED not in plan:
            _guarded(partial(check, plan, files, report), report)
    if SHARED in plan:
        _guarded(partial(check_shared, plan, files, there, report), report)


def _guarded(step: Callable[[], None], *reports: Report) -> None:
    """A check that stumbles over what it reads has found a fault."""
    try:
        step()
    except Exception as wrong:  # whatever damage makes a reader say: the safe side is a fault
        for report in reports:
            report.fault("plan.json", f"has lost something: {type(wrong).__name__}: {wrong}")
