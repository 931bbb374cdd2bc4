"""Bad inputs from the command line: one clear finding, the right exit code, nothing written.

The reader's own tests hold every mistake to its place and words; here the same kinds of mistake go
through the whole command, `check` and `build`, with the files on the disk.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from plybook.cli import main
from tests.conftest import ROOT, SPECS

# without stages, so that one mistake is one finding
HATCH = (SPECS / "hatch.yaml").read_text().partition("\nstages:")[0] + "\n"
SHARED = "include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]"


def edit(old, new, text=HATCH):
    assert old in text
    return text.replace(old, new, 1)


def with_layers(lines):
    return HATCH[: HATCH.index("layers:")] + "layers:\n" + lines


RING = (
    "    - [0, 0]\n    - {to: [12, 0], edge: hinge}\n    - [12, 8]\n    - {to: [0, 8], edge: latch}"
)
BOMB = "a0: &a0 [x,x,x,x,x,x,x,x,x,x]\n" + "".join(
    f"a{n}: &a{n} [{','.join([f'*a{n - 1}'] * 10)}]\n" for n in range(1, 9)
)
MANY = "".join(f"    - [{k * 0.0005}, {(k % 2) * 0.001}]\n" for k in range(25_000))

# what is wrong, the spec, exit code, words of the one finding
BAD = [
    # bytes and encoding
    ("empty", "", 1, "the file is empty"),
    ("only comments", "# nothing\n---\n", 1, "the file is empty"),
    ("UTF-16", HATCH.encode("utf-16"), 1, "UTF-16"),
    ("Latin-1", HATCH.replace("Inspection", "Größe").encode("latin-1"), 1, "UTF-8"),
    ("NUL", edit("revision: A", "revision: A\0"), 1, "NUL"),
    ("escaped bell", edit("revision: A", r'revision: "A\x07"'), 1, "U+0007"),
    ("tab", edit("  revision: A", "\trevision: A"), 1, "spaces"),
    # YAML
    ("duplicate key", edit("revision: A", "revision: A\n  revision: B"), 1, "twice"),
    ("leading zero", edit('"[45/0]"', "045"), 1, "leading zero"),
    ("comma", edit("inset: 1}", "inset: 1,5}"), 1, "decimal comma"),
    ("nan", edit("corners: 1", "corners: .nan"), 1, "finite"),
    ("inf", edit("corners: 1", "corners: -.inf"), 1, "finite"),
    ("quoted number", edit("corners: 1", 'corners: "1"'), 1, "quotes"),
    ("unclosed quote", edit("revision: A", "revision: 'A"), 1, "closed"),
    ("list on top", "- 1\n- 2\n", 1, "mapping"),
    ("empty value", HATCH[: HATCH.index("layers:")] + "layers:\n", 1, "`layers` is empty"),
    ("unknown key", edit("corners: 1", "cornres: 1"), 1, "did you mean `corners`"),
    ("python tag", edit("revision: A", "revision: !!python/object/apply:os.system [x]"), 1, "tag"),
    ("custom tag", edit("corners: 1", "corners: !mm 1"), 1, "tag"),
    ("alias bomb", BOMB, 1, "copied"),
    ("3000 lists", "a: " + "[" * 3000 + "]" * 3000, 1, "levels"),
    ("merge key", edit("{inset: 1}", "{<<: {inset: 1}}"), 1, "<<"),
    ("no such alias", edit("corners: 1", "corners: *x"), 1, "another place"),
    ("newer version", edit("plybook: 1", "plybook: 2"), 1, "upgrade"),
    ("no version", edit("plybook: 1\n", ""), 1, "plybook: 1"),
    # quantities
    ("furlongs", edit("corners: 1", "corners: 1 furlong"), 1, "length"),
    ("no units", edit("  units: in\n", ""), 1, "`units` is missing"),
    ("negative", edit("trim: 3/8 in", "trim: -3"), 1, "0 or more"),
    ("zero denominator", edit("trim: 3/8 in", "trim: 3/0 in"), 1, "expected a length"),
    ("1e308", edit("corners: 1", "corners: 1e308"), 1, "at most"),
    # references and meaning
    ("unknown cloth", edit("cloth: carbon-twill-200", "cloth: karbon"), 1, "no cloth"),
    ("same id", edit("as: B", "as: A"), 1, "`A` is the id of two"),
    ("bad code", edit('"[0/45]"', '"[0/45"'), 1, "`]` is missing"),
    ("centre ply", edit('"[0/45]"', '"[0/45~/0]s"'), 1, "centre"),
    ("deep code", edit('"[0/45]"', '"[((((((0)2)2)2)2)2)2]"'), 1, "deep"),
    ("5000 plies", with_layers("".join(f"  - {{ply: P{n}, cloth: carbon-twill-200, angle: 0}}\n"
                                       for n in range(5000))), 1, "--limit layers"),
    ("nothing to cut from", with_layers(
        "  - {ply: A, cloth: carbon-twill-200, angle: 0}\n"
    ).replace(SHARED, "include: [shared/materials.yaml]"), 1, "no-stock"),
    # geometry
    ("two points", edit(RING, "    - [0, 0]\n    - [12, 0]"), 1, "3 or more"),
    ("crossing itself", edit(RING, "    - [0, 0]\n    - [12, 8]\n    - [12, 0]\n    - [0, 9]"), 1,
     "crosses"),
    ("bow-tie", edit(RING, "    - [0, 0]\n    - [12, 8]\n    - [12, 0]\n    - [0, 8]"), 1,
     "crosses"),
    ("all in a line", edit(RING, "    - [0, 0]\n    - [6, 0]\n    - [12, 0]"), 1, "no area"),
    ("nan vertex", edit("[12, 8]", "[12, .nan]"), 1, "finite"),
    ("1e9", edit("[12, 8]", "[12, 1e9]"), 1, "--limit part-mm"),
    ("25 000 points", edit(RING, MANY.rstrip()), 1, "--limit outline-points"),
    ("hole outside", edit("corners: 1", "corners: 1\n  holes: [{circle: [40, 4], diameter: 1}]"), 1,
     "outside"),
    ("hole touching", edit("corners: 1", "corners: 0\n  holes: [{circle: [6, 1], diameter: 2}]"), 1,
     "meets"),
    ("inset takes all", edit("{inset: 1}", "{inset: 5}"), 1, "no area"),
    ("a crumb of core", with_layers("  - {core: C, sheet: foam-6, edges: {all: bevel 45}, "
                                    "region: {patch: {at: [6, 4], size: [0.05, 0.05]}}}\n"), 1,
     "covers nothing"),
    ("radius too large", edit("corners: 1", "corners: 5"), 1, "does not fit"),
    # paths
    ("parent folder", edit("shared/shop.yaml", "../../etc/passwd"), 1, "leads out"),
    ("absolute path", edit("shared/shop.yaml", "/etc/passwd"), 1, "absolute"),
    ("address", edit("shared/shop.yaml", "'http://a.test/x.yaml'"), 1, "address"),
    ("home", edit("shared/shop.yaml", "~/x.yaml"), 1, "home"),
    ("network share", edit("shared/shop.yaml", r"'\\host\x'"), 1, "network"),
    ("not there", edit("shared/shop.yaml", "shared/none.yaml"), 1, "no file"),
    ("itself", edit("shared/shop.yaml", "hatch.yaml"), 1, "itself"),
    ("dot number", edit("number: TN-420", "number: .."), 1, "no id"),
    ("slash number", edit("number: TN-420", "number: ../../x"), 1, "no id"),
]  # fmt: skip


@pytest.fixture
def folder(tmp_path, monkeypatch):
    shutil.copytree(SPECS, tmp_path / "specs", ignore=shutil.ignore_patterns("*.layouts.json"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def snapshot(folder):
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.mark.parametrize(("spec", "code", "words"), [x[1:] for x in BAD], ids=[x[0] for x in BAD])
def test_a_bad_spec_is_refused_with_one_finding_and_nothing_written(
    folder, capsys, spec, code, words
):
    path = folder / "specs" / "hatch.yaml"
    path.write_bytes(spec if isinstance(spec, bytes) else spec.encode())
    before = snapshot(folder)
    ended = main(["build", "specs/hatch.yaml", "--effort", "quick", "--format", "line"])
    said = capsys.readouterr()
    assert ended == code, said.err
    errors = [line for line in said.err.splitlines() if ": error[" in line or line[:6] == "error["]
    assert len(errors) == 1, said.err
    assert words in errors[0], errors[0]
    assert "Traceback" not in said.err and not said.out
    assert snapshot(folder) == before
    assert main(["check", "specs/hatch.yaml"]) in (ended, 0)


@pytest.mark.parametrize("spec", ["", BOMB, "a: " + "[" * 3000, edit("corners: 1", "corners: x")])
def test_a_refusal_is_quick_to_start_and_small(folder, spec):
    """Measured loosely from outside: a refusal loads no geometry, so it stays far below."""
    (folder / "specs" / "hatch.yaml").write_text(spec)
    code = (
        "import sys; from plybook.cli import main; code = main(sys.argv[1:]);"
        # not getrusage: its peak is the parent's where the child was forked from a larger one
        "peak = open('/proc/self/status').read().split('VmHWM:')[1].split()[0]; print(code, peak)"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code, "check", "specs/hatch.yaml"],
        env={**os.environ, "PYTHONPATH": str(ROOT)}, cwd=folder, capture_output=True, text=True,
    )  # fmt: skip
    status, peak_kb = ended.stdout.split()
    assert (status, ended.returncode) == ("1", 0)
    assert int(peak_kb) < 500_000


@pytest.mark.parametrize("odd", ["folder", "pipe", "/dev/zero", "missing", "socket-like name\n"])
def test_what_is_no_file_is_refused_without_waiting(folder, capsys, odd):
    path = folder / "odd.yaml"
    if odd == "folder":
        path.mkdir()
    elif odd == "pipe":
        os.mkfifo(path)
    elif odd.startswith("/"):
        path = Path(odd)
    elif odd != "missing":
        path = folder / odd
    assert main(["check", str(path)]) == 1
    assert "error[" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["pieces", "template-sheets"])
def test_more_than_a_build_is_meant_for_is_refused_by_the_limits_name(folder, capsys, name):
    """The limit is lowered by its own flag; the refusal names it and writes nothing."""
    before = snapshot(folder)
    said = ["--effort", "quick", "--format", "line", "--limit", f"{name}=2"]
    assert main(["build", "specs/hatch.yaml", *said]) == 1
    words = capsys.readouterr().err
    assert "error[too-many]" in words and f"--limit {name}=N" in words
    assert snapshot(folder) == before


def test_line_ends_marks_and_key_order_do_not_matter(folder, capsys):
    for spec in (b"\xef\xbb\xbf" + HATCH.encode(), HATCH.replace("\n", "\r\n").encode()):
        (folder / "specs" / "hatch.yaml").write_bytes(spec)
        assert main(["check", "specs/hatch.yaml"]) == 0
        capsys.readouterr()


def test_a_link_out_of_the_folder_is_not_followed(folder, capsys):
    (folder / "secret.yaml").write_text("plybook: 1\n")
    (folder / "specs" / "shared" / "shop.yaml").unlink()
    (folder / "specs" / "shared" / "shop.yaml").symlink_to(folder / "secret.yaml")
    assert main(["check", "specs/hatch.yaml"]) == 1
    assert "leads out" in capsys.readouterr().err


def test_no_command_opens_a_network_connection(folder, monkeypatch):
    import socket

    def refuse(*_args, **_more):
        raise AssertionError("the tool looked for a network")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    assert main(["check", "specs/hatch.yaml"]) == 0
