"""What the command ends with, and what it leaves on the disk, whatever goes wrong."""

import json
import os
import pty
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from plybook import build as house
from plybook.cli import main
from plybook.verify import verify_folder
from tests.conftest import ROOT

PART = "TN-420"
COMMAND = [sys.executable, "-m", "plybook"]
ENV = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}


@pytest.fixture
def hatch(specs, tmp_path):
    """The shipped specs in a folder of their own."""
    shutil.copytree(specs, tmp_path / "specs")
    return tmp_path / "specs" / "hatch.yaml"


def names(folder):
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*"))


# ---------------------------------------------------------------- exit codes


def test_0_when_done(hatch, tmp_path, capsys):
    assert main(["check", str(hatch)]) == 0
    assert main(["build", str(hatch), "--out", str(tmp_path / "o"), "--effort", "quick"]) == 0
    assert PART in capsys.readouterr().out
    assert main(["verify", str(tmp_path / "o")]) == 0


@pytest.mark.parametrize("command", ["check", "build"])
def test_1_when_the_spec_is_wrong(hatch, tmp_path, capsys, command, monkeypatch):
    monkeypatch.chdir(tmp_path)
    hatch.write_text(hatch.read_text().replace("cloth: carbon", "cloth: karbon", 1))
    assert main([command, str(hatch)]) == 1
    said = capsys.readouterr()
    assert "error[unknown-cloth]" in said.err and "hatch.yaml:" in said.err and not said.out
    assert not (tmp_path / "out").exists()


def test_1_when_a_folder_does_not_verify(hatch_copy, capsys):
    (hatch_copy / PART / "plan.json").write_text("{}")
    assert main(["verify", str(hatch_copy)]) == 1
    assert "NOT SOUND" in capsys.readouterr().out


@pytest.mark.parametrize(
    "arguments",
    [[], ["bake"], ["build"], ["build", "x.yaml", "--effort", "none"],
     ["check", "x", "--limit", "a=1"], ["check", "x", "--limit", "layers=-1"],
     ["check", "x", "--limit", "layers=nan"]],
)  # fmt: skip
def test_2_when_the_command_line_is_wrong(arguments, capsys):
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    assert "usage: plybook" in capsys.readouterr().err


def test_3_when_the_stock_does_not_suffice(hatch, tmp_path, capsys):
    stock = hatch.parent / "shared" / "stock.yaml"
    text = stock.read_text().replace("length: 42 m", "length: 200")
    stock.write_text("".join(x for x in text.splitlines(True) if "TW-BUY" not in x))
    out = tmp_path / "o"
    assert main(["build", str(hatch), "--out", str(out), "--effort", "quick"]) == 3
    said = capsys.readouterr().err
    assert "error[" in said and "Traceback" not in said
    assert not out.exists()


def test_70_when_it_is_our_own_fault(hatch, tmp_path, capsys, monkeypatch):
    def broken(*_, **__):
        raise RuntimeError("a screw loose")

    monkeypatch.setattr(house, "shape", broken)
    out = tmp_path / "o"
    assert main(["build", str(hatch), "--out", str(out)]) == 70
    said = capsys.readouterr().err
    assert "our fault" in said and "a screw loose" in said and "Traceback" not in said
    assert not out.exists()
    assert main(["build", str(hatch), "--out", str(out), "--debug"]) == 70
    assert "Traceback" in capsys.readouterr().err


def test_a_fault_of_our_own_leaves_a_report_without_the_users_words(
    hatch, tmp_path, capsys, monkeypatch
):
    def broken(*_, **__):
        raise RuntimeError(f"a screw loose in {tmp_path}")

    monkeypatch.setattr(house, "shape", broken)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    assert main(["build", str(hatch), "--out", str(tmp_path / "o")]) == 70
    said = capsys.readouterr().err
    (kept,) = tmp_path.glob("plybook-fault-*.txt")
    assert str(kept) in said and str(hatch) in said  # the report's place, and what to send with it
    report = kept.read_text()
    assert "RuntimeError" in report and "plybook/build.py:" in report and "command: build" in report
    assert str(tmp_path) not in report and str(ROOT) not in report and hatch.name not in report


@pytest.mark.parametrize("moment", [b"mould face", b"booklet", b"templates"])
def test_130_when_interrupted_and_nothing_is_written(hatch, tmp_path, moment):
    """Progress is shown on a terminal, so the moment of the Ctrl-C is known."""
    ours, theirs = pty.openpty()
    child = subprocess.Popen(
        [*COMMAND, "build", str(hatch), "--out", str(tmp_path / "o"), "--effort", "quick"],
        stderr=theirs, stdout=subprocess.PIPE, env=ENV, cwd=tmp_path,
    )  # fmt: skip
    os.close(theirs)
    shown = b""
    while moment not in shown:
        shown += os.read(ours, 4096)
    child.send_signal(signal.SIGINT)
    try:
        while more := os.read(ours, 4096):
            shown += more
    except OSError:  # the terminal is closed when the child has ended
        pass
    os.close(ours)
    said, _ = child.communicate()
    assert child.returncode == 130, shown
    assert b"interrupted" in shown and b"Traceback" not in shown and not said
    assert not (tmp_path / "o").exists() or names(tmp_path / "o") == []


def test_130_also_where_a_text_was_being_executed(tmp_path):
    """Python ends itself by the signal when an interrupt has once left a text that `exec` runs,
    as libraries do on their way in, even where it was caught after that."""
    (tmp_path / "sitecustomize.py").write_text(
        "import plybook.cli\n"
        "def main():\n"
        "    try:\n"
        "        exec('raise KeyboardInterrupt')\n"
        "    except KeyboardInterrupt:\n"
        "        print('told')\n"
        "        return 130\n"
        "plybook.cli.main = main\n"
    )
    done = subprocess.run(
        [sys.executable, "-m", "plybook"], capture_output=True, text=True, check=False,
        env={**ENV, "PYTHONPATH": str(tmp_path)}, cwd=tmp_path,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (130, "told\n")


# ---------------------------------------------------------------- 4: could not write


def refused(hatch, out, capsys):
    assert main(["build", str(hatch), "--out", str(out), "--effort", "quick"]) == 4
    said = capsys.readouterr().err
    assert "error[" in said and "Traceback" not in said
    return said


def test_4_when_out_is_a_file(hatch, tmp_path, capsys):
    (tmp_path / "o").write_text("mine")
    refused(hatch, tmp_path / "o", capsys)
    assert (tmp_path / "o").read_text() == "mine"


def test_4_when_the_folder_of_the_part_is_a_link(hatch, tmp_path, capsys):
    (tmp_path / "o").mkdir()
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "o" / PART).symlink_to(tmp_path / "elsewhere")
    assert "not a folder" in refused(hatch, tmp_path / "o", capsys)
    assert names(tmp_path / "elsewhere") == []


def test_4_when_a_strangers_file_is_in_the_way(hatch, tmp_path, capsys):
    folder = tmp_path / "o" / PART
    folder.mkdir(parents=True)
    (folder / "plan.json").write_text("mine")
    assert "plan.json" in refused(hatch, tmp_path / "o", capsys)
    assert names(tmp_path / "o") == [PART, f"{PART}/plan.json"]
    assert (folder / "plan.json").read_text() == "mine"


def in_a_process(hatch, out, **how):
    return subprocess.run(
        [*COMMAND, "build", str(hatch), "--out", str(out), "--effort", "quick"],
        capture_output=True, text=True, env=ENV, cwd=ROOT, **how,
    )  # fmt: skip


def test_4_when_no_file_may_grow_and_the_former_build_stays(hatch, hatch_copy):
    """A limit on file size stands for a full disk; the system then refuses the write half way."""
    hatch.write_text(hatch.read_text().replace("revision: A", "revision: B"))
    before = names(hatch_copy)

    def small_files():
        resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000))

    ended = in_a_process(hatch, hatch_copy, preexec_fn=small_files)
    assert ended.returncode == 4, ended.stderr
    assert "error[cannot-write]" in ended.stderr and "Traceback" not in ended.stderr
    assert names(hatch_copy) == before
    assert verify_folder(hatch_copy).sound
    assert revision(hatch_copy) == "A"


def test_4_when_the_folder_may_not_be_written(hatch, tmp_path, capsys):
    """Permissions do not bind root; the kernel's own folders do."""
    (tmp_path / "o").mkdir(mode=0o555)
    out = tmp_path / "o" if os.geteuid() else Path("/sys/kernel/plybook-test")
    said = refused(hatch, out, capsys)
    assert "no permission" in said or "read-only" in said
    assert names(out) == [] and names(tmp_path / "o") == []


# ---------------------------------------------------------------- killed


def revision(out):
    return json.loads((out / PART / "plan.json").read_bytes())["part"]["revision"]


@pytest.mark.slow
def test_killed_at_any_moment_the_former_build_or_the_new_one_stands(hatch, hatch_copy):
    """Builds of alternating revisions, killed at random moments of their time."""
    dice = random.Random(11)
    text = hatch.read_text()
    assert in_a_process(hatch, hatch_copy).returncode == 0  # remembers its layouts
    began = time.monotonic()
    assert in_a_process(hatch, hatch_copy).returncode == 0
    whole_s = time.monotonic() - began
    now, survived = "A", 0
    for turn in range(8):
        letter = "BC"[turn % 2]
        hatch.write_text(text.replace("revision: A", f"revision: {letter}"))
        child = subprocess.Popen(
            [*COMMAND, "build", str(hatch), "--out", str(hatch_copy), "--effort", "quick"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=ENV,
        )  # fmt: skip
        try:
            child.wait(timeout=whole_s * dice.uniform(0.3, 0.95))
        except subprocess.TimeoutExpired:
            child.kill()
            survived += 1
        child.wait()
        assert revision(hatch_copy) in (now, letter)
        now = revision(hatch_copy)
        assert verify_folder(hatch_copy / PART).sound
    assert survived >= 3
    assert in_a_process(hatch, hatch_copy).returncode == 0
    assert [p.name for p in hatch_copy.iterdir()] == [PART], "what was left over is cleared"
