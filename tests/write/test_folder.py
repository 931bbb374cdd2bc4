"""Folders are written all or nothing, and what others put there stays."""

import errno
import json
import os
import subprocess
import sys
import textwrap

import pytest

from plybook.diagnostics import OutputError
from plybook.write import folder as room
from plybook.write.folder import commit, replace_file, with_manifest


def bundle(name, **files):
    return with_manifest({k: v.encode() for k, v in files.items()}, {"folder": name})


def content(path):
    return {p.relative_to(path).as_posix(): p.read_bytes() for p in path.rglob("*") if p.is_file()}


def leftovers(out):
    return [p.name for p in out.iterdir() if p.name.startswith(".plybook")]


def test_a_new_folder_holds_just_the_files(tmp_path):
    files = bundle("A", **{"a.txt": "1", "sub/b.txt": "2"})
    commit(tmp_path / "out", {"A": files})
    assert content(tmp_path / "out" / "A") == files
    assert not leftovers(tmp_path / "out")


def test_files_of_the_former_build_that_are_no_longer_made_go(tmp_path):
    commit(tmp_path, {"A": bundle("A", **{"old.txt": "1", "kept.txt": "1"})})
    commit(tmp_path, {"A": bundle("A", **{"kept.txt": "2"})})
    assert set(content(tmp_path / "A")) == {"kept.txt", "manifest.json"}
    assert (tmp_path / "A" / "kept.txt").read_text() == "2"


def test_a_strangers_file_stays_with_its_folder(tmp_path):
    commit(tmp_path, {"A": bundle("A", **{"a.txt": "1"})})
    (tmp_path / "A" / "notes").mkdir()
    (tmp_path / "A" / "notes" / "mine.txt").write_text("keep me")
    commit(tmp_path, {"A": bundle("A", **{"b.txt": "2"})})
    assert (tmp_path / "A" / "notes" / "mine.txt").read_text() == "keep me"
    assert not (tmp_path / "A" / "a.txt").exists()


@pytest.mark.parametrize(
    ("strange", "wanted"),
    [("a.txt", "a.txt"), ("templates", "templates/P1.dxf"), ("a.txt/x", "a.txt")],
)
def test_a_strangers_file_in_the_way_is_not_overwritten(tmp_path, strange, wanted):
    path = tmp_path / "A" / strange
    path.parent.mkdir(parents=True)
    path.write_text("a stranger's")
    with pytest.raises(OutputError) as refusal:
        commit(tmp_path, {"A": bundle("A", **{wanted: "ours"})})
    assert "was not written by plybook" in refusal.value.findings[0].message
    assert path.read_text() == "a stranger's"
    assert not leftovers(tmp_path)


def test_a_file_where_the_output_should_be_is_named(tmp_path):
    (tmp_path / "out").write_text("a file")
    with pytest.raises(OutputError) as refusal:
        commit(tmp_path / "out", {"A": bundle("A", **{"a.txt": "1"})})
    assert "a file stands where a folder is needed" in refusal.value.findings[0].message
    assert (tmp_path / "out").read_text() == "a file"


def test_a_full_disk_leaves_the_former_build(tmp_path, monkeypatch):
    former = bundle("A", **{"a.txt": "1"})
    commit(tmp_path, {"A": former})
    real = room.Path.write_bytes

    def full(path, data):
        if path.name == "c.txt":
            raise OSError(errno.ENOSPC, "No space left on device", str(path))
        return real(path, data)

    monkeypatch.setattr(room.Path, "write_bytes", full)
    with pytest.raises(OutputError) as refusal:
        commit(tmp_path, {"A": bundle("A", **{"a.txt": "2", "c.txt": "3"})})
    assert "the disk is full" in refusal.value.findings[0].message
    assert content(tmp_path / "A") == former
    assert not leftovers(tmp_path)


def test_the_second_folder_failing_leaves_the_first_as_it_was(tmp_path):
    former = bundle("A", **{"a.txt": "1"})
    commit(tmp_path, {"A": former})
    (tmp_path / "B").write_text("not a folder")
    with pytest.raises(OutputError):
        commit(tmp_path, {"A": bundle("A", **{"a.txt": "2"}), "B": bundle("B", **{"b.txt": "1"})})
    assert content(tmp_path / "A") == former


@pytest.mark.parametrize("name", ["", ".", "..", "a/b", "../x", ".hidden"])
def test_a_folder_name_cannot_leave_the_output(tmp_path, name):
    with pytest.raises(OutputError):
        commit(tmp_path, {name: bundle(name, **{"a.txt": "1"})})


def test_without_an_exchange_call_the_renames_do_the_same(tmp_path, monkeypatch):
    monkeypatch.setattr(room.sys, "platform", "elsewhere")
    commit(tmp_path, {"A": bundle("A", **{"a.txt": "1"})})
    (tmp_path / "A" / "mine.txt").write_text("keep me")
    commit(tmp_path, {"A": bundle("A", **{"a.txt": "2"})})
    assert (tmp_path / "A" / "a.txt").read_text() == "2"
    assert (tmp_path / "A" / "mine.txt").read_text() == "keep me"
    assert not leftovers(tmp_path)


def test_a_folder_set_aside_by_an_interrupted_run_comes_back(tmp_path):
    former = bundle("A", **{"a.txt": "1"})
    commit(tmp_path, {"A": former})
    os.rename(tmp_path / "A", tmp_path / ".plybook-old-A")
    commit(tmp_path, {"B": bundle("B", **{"b.txt": "1"})})
    assert content(tmp_path / "A") == former
    assert not leftovers(tmp_path)


KILLED_BUILDER = """
    import sys
    from pathlib import Path
    from plybook.write.folder import commit, with_manifest
    out, turn = Path(sys.argv[1]), 0
    while True:
        turn += 1
        files = {f"f{i}.txt": f"{turn} ".encode() * 2000 for i in range(40)}
        commit(out, {"A": with_manifest(files, {"folder": "A"})})
        print(turn, flush=True)
"""


def test_killed_at_any_moment_the_folder_is_one_whole_build(tmp_path):
    """Kill a process that writes builds without pause; every file must be of one turn."""
    import random

    rng = random.Random(7)
    (tmp_path / "A").mkdir()
    (tmp_path / "A" / "mine.txt").write_text("keep me")
    for _ in range(12):
        child = subprocess.Popen(
            [sys.executable, "-c", textwrap.dedent(KILLED_BUILDER), str(tmp_path)],
            stdout=subprocess.PIPE,
        )
        child.stdout.readline()  # at least one build is whole
        try:
            child.wait(timeout=rng.uniform(0.001, 0.08))
        except subprocess.TimeoutExpired:
            child.kill()
        child.wait()
        child.stdout.close()
        files = content(tmp_path / "A")
        assert files.pop("mine.txt") == b"keep me"
        listing = json.loads(files.pop("manifest.json"))["files"]
        assert {e["name"]: e["sha256"] for e in listing} == {
            name: room.sha256(data) for name, data in files.items()
        }
        assert len({data for data in files.values()}) == 1
    commit(tmp_path, {"A": bundle("A", **{"a.txt": "1"})})
    assert not leftovers(tmp_path)


def test_two_builds_at_once_do_not_mix(tmp_path):
    children = [
        subprocess.Popen(
            [sys.executable, "-c", textwrap.dedent(KILLED_BUILDER), str(tmp_path)],
            stdout=subprocess.PIPE,
        )
        for _ in range(2)
    ]
    for _ in range(15):
        for child in children:
            assert child.stdout.readline().strip().isdigit()
    for child in children:
        child.kill()
        child.wait()
        child.stdout.close()
    files = content(tmp_path / "A")
    files.pop("manifest.json")
    assert len({data for data in files.values()}) == 1


def test_an_output_held_by_another_build_is_told(tmp_path, monkeypatch):
    fcntl = pytest.importorskip("fcntl") if sys.platform == "win32" else __import__("fcntl")
    monkeypatch.setattr(room, "LOCK_WAIT_S", 0.1)
    handle = os.open(tmp_path, os.O_RDONLY)
    fcntl.flock(handle, fcntl.LOCK_EX)
    with pytest.raises(OutputError) as refusal:
        commit(tmp_path, {"A": bundle("A", **{"a.txt": "1"})})
    os.close(handle)
    assert "another build is writing" in refusal.value.findings[0].message


def test_one_file_is_replaced_whole(tmp_path):
    path = tmp_path / "x.json"
    replace_file(path, b"1")
    replace_file(path, b"22")
    assert path.read_bytes() == b"22"
    assert [p.name for p in tmp_path.iterdir()] == ["x.json"]
