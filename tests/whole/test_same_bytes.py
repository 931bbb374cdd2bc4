"""Same input, same bytes: whoever builds, wherever, whenever, with whatever settings."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import ROOT, SPECS

PART = "TN-420"


def run(arguments, cwd, umask=0o022, drop=(), **environment):
    """`plybook ARGUMENTS` in a process of its own."""
    env = {k: v for k, v in os.environ.items() if k not in drop}
    env |= {"PYTHONPATH": str(ROOT), **environment}
    return subprocess.run(
        [sys.executable, "-m", "plybook", *map(str, arguments)],
        cwd=cwd, env=env, umask=umask, capture_output=True, text=True, check=True,
    )  # fmt: skip


def contents(folder):
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*.*")}


def spoiled_hatch(folder):
    """The shipped specs; the hatch's core is larger, which the reader and the rules warn of."""
    shutil.copytree(SPECS, folder, ignore=shutil.ignore_patterns("*.layouts.json"))
    hatch = folder / "hatch.yaml"
    text = hatch.read_text()
    shared = folder / "shared" / "materials.yaml"
    shared.write_text(shared.read_text().replace("weight: 200 g/m2", "weight: 5 g/m2"))
    hatch.write_text(text)


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    """A build from nothing: no layouts are remembered yet."""
    folder = tmp_path_factory.mktemp("first")
    spoiled_hatch(folder / "specs")
    spec = folder / "specs" / "hatch.yaml"
    told = run(["build", spec, "--out", "out", "--effort", "quick", "--all"], folder)
    return folder, contents(folder / "out" / PART), told


def test_a_new_cut_plan_is_told_to_be_one_machines_own(first):
    folder, _, told = first
    assert "layouts-searched" in told.stderr and "hatch.layouts.json" in told.stderr
    assert (folder / "specs" / "hatch.layouts.json").exists()


@pytest.mark.parametrize(
    "world",
    [
        pytest.param({}, id="again"),
        pytest.param(
            {"TZ": "Asia/Kolkata", "LC_ALL": "C", "PYTHONHASHSEED": "1", "umask": 0o077,
             "USER": "nobody", "LOGNAME": "nobody", "drop": ("HOME", "USERPROFILE", "LANG")},
            id="other-user-C-locale",
        ),
        pytest.param(
            {"TZ": "America/St_Johns", "LC_ALL": "tr_TR.UTF-8", "LANG": "tr_TR.UTF-8",
             "PYTHONHASHSEED": "4242", "PYTHONUTF8": "0", "COLUMNS": "40", "TERM": "dumb",
             "SOURCE_DATE_EPOCH": "0", "OPENBLAS_NUM_THREADS": "1", "HOME": "/nowhere",
             "relative": True},
            id="other-folder-Turkish-locale",
        ),
    ],
)  # fmt: skip
def test_the_same_spec_and_layouts_give_the_same_bytes(first, world, tmp_path):
    """The layouts file goes with the spec, as it would to another machine."""
    folder, expected, _ = first
    world = dict(world)
    if world.pop("relative", False):
        shutil.copytree(folder / "specs", tmp_path / "a b" / "särskild")
        (tmp_path / "cwd").mkdir()
        spec, cwd = Path("../a b/särskild/hatch.yaml"), tmp_path / "cwd"
    else:
        spec, cwd = folder / "specs" / "hatch.yaml", tmp_path
    remembered = (folder / "specs" / "hatch.layouts.json").read_bytes()
    arguments = ["build", spec, "--out", tmp_path / "out", "--effort", "quick", "--all"]
    told = run(arguments, cwd, **world)
    made = contents(tmp_path / "out" / PART)
    assert sorted(made) == sorted(expected)
    assert [name for name in made if made[name] != expected[name]] == []
    assert "layouts-searched" not in told.stderr
    assert (folder / "specs" / "hatch.layouts.json").read_bytes() == remembered


@pytest.mark.slow
@pytest.mark.skipif(
    os.geteuid() != 0 or shutil.which("setpriv") is None,
    reason="only root may become another user, by Debian's `util-linux`",
)
def test_another_user_gets_the_same_bytes(first, tmp_path):
    """As `nobody`, who may read what we read and owns nothing but the output."""
    folder, expected, _ = first
    (tmp_path / "out").mkdir()
    shutil.chown(tmp_path / "out", 65534, 65534)
    reads = "-all,+dac_read_search"
    become = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups",
              f"--inh-caps={reads}", f"--ambient-caps={reads}"]  # fmt: skip
    spec = folder / "specs" / "hatch.yaml"
    subprocess.run(
        [*become, sys.executable, "-m", "plybook", "build", spec, "--out", tmp_path / "out",
         "--effort", "quick"],
        env={k: v for k, v in os.environ.items() if k != "HOME"} | {"PYTHONPATH": str(ROOT)},
        cwd=tmp_path, check=True, capture_output=True,
    )  # fmt: skip
    assert (tmp_path / "out" / PART / "manifest.json").stat().st_uid == 65534
    assert contents(tmp_path / "out" / PART) == expected


@pytest.mark.slow
def test_a_library_that_obeys_the_turkish_locale_changes_no_byte(first, tmp_path):
    """The C library's own locale is set, as a program around ours may do: comma for a point, and
    a capital i with a dot."""
    source = Path("/usr/share/i18n/locales/tr_TR")
    if not source.exists() or shutil.which("localedef") is None:
        pytest.skip("no Turkish locale to be made here: install Debian's `locales`")
    made = tmp_path / "tr_TR.UTF-8"
    subprocess.run(["localedef", "-i", "tr_TR", "-f", "UTF-8", made], check=True)
    folder, expected, _ = first
    program = (
        "import locale, sys; from plybook.cli import main;"
        "locale.setlocale(locale.LC_ALL, 'tr_TR.UTF-8');"
        "assert locale.localeconv()['decimal_point'] == ',';"
        "sys.exit(main(sys.argv[1:]))"
    )
    spec = folder / "specs" / "hatch.yaml"
    subprocess.run(
        [sys.executable, "-c", program, "build", spec, "--out", tmp_path / "out", "--effort",
         "quick"],
        env={**os.environ, "PYTHONPATH": str(ROOT), "LOCPATH": str(tmp_path)}, cwd=tmp_path,
        check=True, capture_output=True,
    )  # fmt: skip
    assert contents(tmp_path / "out" / PART) == expected


def test_what_the_reader_warned_of_stands_in_the_plan_by_the_name_of_its_file(first):
    """Warnings of the spec itself are kept too, and no path of this machine is."""
    folder, files, told = first
    plan = json.loads(files["plan.json"])
    said = {f["code"] for f in plan["findings"]}
    assert "unlikely-weight" in said or any("weight" in code for code in said), said
    places = {p["file"] for f in plan["findings"] for p in f["places"]}
    assert places and places <= {"hatch.yaml", "shared/materials.yaml", "shared/stock.yaml"}
    for name, data in files.items():
        assert str(folder).encode() not in data, name
