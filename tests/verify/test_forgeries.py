"""Hundreds of kinds of change to built folders, their manifests made good again: each is caught.

The verifier runs in this process. Of each check it is remembered which files it reads, so that
after a change of one file only those checks run again that read it.
"""

import hashlib
import json
import shutil
from collections import Counter
from functools import partial

import pytest

from plybook import verify
from plybook.cli import main
from plybook.verify.allowed import check_allowed, strange
from plybook.verify.manifest import check_manifest
from plybook.verify.report import Report
from tests.verify.forgeries import BY_FILE, BY_OTHERS, KINDS, MANIFEST, OF_PAPER, PDF, PLAN

PARTS = ("hatch", "skin")
# kinds of change that the verifier does not see, by file, and says so in `not checked`: a letter
# of a corner that a sheet has no room for; strokes of the rosette on the roll; the caption below a
# strip of the cut plan, where it lies further down
NOT_PROVED_ON_PAPER = {
    "cutplan.pdf": {"words pushed down half way"},
    "templates.pdf": {"words taken out"},
    "templates-roll.pdf": {"a rule left out half way"},
}
AT_ONCE = 30  # kinds that are tried before what was read is let go of
EVERY = 9  # one kind in so many is tried each time


class Read(dict):
    """The files of a folder; notes which are read."""

    def __init__(self, files):
        super().__init__(files)
        self.names = set()

    def __getitem__(self, name):
        self.names.add(name)
        return super().__getitem__(name)

    def __iter__(self):
        self.names.add("*")
        return super().__iter__()

    def items(self):
        self.names.add("*")
        return super().items()


class Folder:
    """A built folder in memory, and which check reads which of its files."""

    def __init__(self, folder):
        self.files = {
            p.relative_to(folder).as_posix(): p.read_bytes()
            for p in sorted(folder.rglob("*")) if p.is_file()
        }  # fmt: skip
        self.manifest = json.loads(self.files.pop("manifest.json"))
        self.plan = json.loads(self.files["plan.json"])
        self.reads = {}
        for check in verify.OF_FILES:
            files, report = Read(self.files), Report("")
            check(self.plan, files, report)
            assert report.faults == [], check.__name__
            self.reads[check] = files.names

    def fault_of_file(self, name, data):
        """The first fault once one file is exchanged."""
        files = {**self.files, name: data}
        checks = [partial(check_allowed, {name: data})]
        checks += [partial(check, self.plan, files) for check in verify.OF_FILES
                   if self.reads[check] & {name, "*"}]  # fmt: skip
        return first_fault(checks)

    def fault_of_plan(self, plan):
        """The first fault once plan.json is exchanged."""
        checks = [partial(check, plan) for check in verify.OF_PLAN]
        checks += [partial(check, plan, self.files) for check in verify.OF_FILES]
        stocks = [layout["stock"] for layout in plan["layouts"]]
        checks.append(partial(check_manifest, self.manifest, [plan], stocks, True))
        return first_fault(checks)


def first_fault(checks):
    for check in checks:
        report = Report("")
        try:
            check(report)
        except Exception as wrong:  # as the verifier takes it: what cannot be read is a fault
            return f"{type(wrong).__name__}: {wrong}"
        if report.faults:
            return report.faults[0]
    return ""


@pytest.fixture(scope="module")
def built(hatch_out, tmp_path_factory):
    """A sandwich panel and a wing skin, in memory."""
    place = tmp_path_factory.mktemp("skin")
    spec = place / "skin.yaml"
    assert main(["new", "skin", str(spec)]) == 0
    assert main(["build", str(spec), "--out", str(place / "out"), "--effort", "quick"]) == 0
    (skin,) = (place / "out").iterdir()
    folders = {"hatch": Folder(hatch_out / "TN-420"), "skin": Folder(skin)}
    yield folders
    verify.forget()


def tried(folder, ending, name):
    """Whether a change of a kind could be made, and what is said of the first file it changes."""
    for file, data in folder.files.items():
        if file.endswith(ending):
            changed = BY_FILE[ending][name](data)
            if changed is not None:
                return file, folder.fault_of_file(file, changed)
    return "", None


def missed(built, kinds):
    """Kinds of which a change was made and not caught; how many were made at all."""
    found, made = [], Counter()
    for part in built:
        for count, (ending, name) in enumerate(kinds):
            if count % AT_ONCE == 0:
                verify.forget()
            file, fault = tried(built[part], ending, name)
            if fault is not None:
                made[ending, name] += 1
                if not fault:
                    found.append(f"{part}, {file}: {name}")
    return found, made


def test_changes_of_some_kinds_are_caught(hatch_out):
    folder = Folder(hatch_out / "TN-420")
    kinds = [kind for kind in KINDS if kind[0] != ".pdf"][::EVERY]
    found, made = missed({"hatch": folder}, kinds)
    verify.forget()
    assert found == []
    assert len(made) > len(kinds) // 2


@pytest.mark.slow
def test_changes_of_every_kind_are_caught(built):
    found, made = missed(built, [kind for kind in KINDS if kind[0] != ".pdf"])
    assert found == []
    assert len(made) >= 250


@pytest.mark.slow
def test_changes_of_paper_are_caught(built):
    data = built["hatch"].files["templates-fullsize.pdf"]
    assert strange("pdf of drawings", data) == ()
    found = []
    for name, change in PDF.items():
        changed = None if name in BY_OTHERS else change(data)
        if changed is not None and not told(changed):
            found.append(name)
    assert found == []


@pytest.mark.slow
def test_changes_of_words_and_lines_on_paper_are_caught(built):
    """Each kind on every sheet that has what it changes: a part may have no box, not both."""
    found, made = [], Counter()
    for folder in built.values():
        for file, data in folder.files.items():
            verify.forget()
            for name, change in OF_PAPER.items() if file.endswith(".pdf") else ():
                changed = change(data)
                if changed is not None:
                    made[name] += 1
                    if not folder.fault_of_file(file, changed):
                        found.append((file, name))
    named = [(file, name) for file, names in NOT_PROVED_ON_PAPER.items() for name in names]
    assert [row for row in found if row not in named] == []
    assert set(made) == set(OF_PAPER)
    assert len(named) <= 5


def told(data):
    """Whether something is said of a PDF of drawings."""
    try:
        return bool(strange("pdf of drawings", data))
    except ValueError:
        return True


@pytest.mark.slow
@pytest.mark.parametrize("part", PARTS)
def test_changes_of_the_plan_are_caught(part, built):
    folder, found, made = built[part], [], 0
    for name, change in PLAN.items():
        plan = change(folder.plan)
        if plan is not None:
            made += 1
            if not folder.fault_of_plan(plan):
                found.append(name)
    assert found == []
    assert made > len(PLAN) // 2


@pytest.mark.slow
@pytest.mark.parametrize("name", MANIFEST)
def test_changes_of_the_manifest_are_caught(name, hatch_out, tmp_path):
    folder = tmp_path / "TN-420"
    shutil.copytree(hatch_out / "TN-420", folder)
    manifest = MANIFEST[name](json.loads((folder / "manifest.json").read_bytes()))
    (folder / "manifest.json").write_text(json.dumps(manifest))
    assert not verify.verify_folder(folder).sound


@pytest.mark.slow
def test_a_template_more_in_the_manifest_is_caught(hatch_out, tmp_path):
    folder = tmp_path / "TN-420"
    shutil.copytree(hatch_out / "TN-420", folder)
    data = (folder / "templates" / "A1.svg").read_bytes()
    (folder / "templates" / "A9.svg").write_bytes(data)
    manifest = json.loads((folder / "manifest.json").read_bytes())
    digest = hashlib.sha256(data).hexdigest()
    manifest["files"].append({"name": "templates/A9.svg", "bytes": len(data), "sha256": digest})
    (folder / "manifest.json").write_text(json.dumps(manifest))
    (report,) = verify.verify_folder(folder).folders
    assert any("templates/A9.svg" in fault for fault in report.faults)
