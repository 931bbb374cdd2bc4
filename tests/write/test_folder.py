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
from plybook.write.files import replace_file
from plybook.write.folder import commit, with_manifest


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
    """Both build again and again, with a pause in which the other finds the folder free."""
    builder = f"import time\n{textwrap.dedent(KILLED_BUILDER)}    time.sleep(0.06)\n"
    children = [
        subprocess.Popen(
            [sys.executable, "-c", builder, str(tmp_path)],
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


# ---------------------------------------------------------------- an output from someone else


def everything(folder):
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() if p.is_file() else None
        for p in folder.rglob("*")
    }


@pytest.mark.parametrize("name", ["..", ".", "", "../up", ".hidden", "a\\b"])
def test_a_folder_set_aside_under_a_name_that_leads_out_is_left_alone(tmp_path, name):
    out = tmp_path / "deep" / "out"
    planted = out / f".plybook-old-{name.replace('/', '-')}"
    planted.mkdir(parents=True)
    (planted / "evil.txt").write_text("x")
    before = everything(tmp_path)
    commit(out, {"A": bundle("A", **{"a.txt": "1"})})
    after = everything(tmp_path)
    assert {name: after[name] for name in before} == before
    assert {n for n in set(after) - set(before) if not n.startswith("deep/out/A")} == set()


@pytest.mark.parametrize("kind", ["new", "journal"])
@pytest.mark.parametrize("folder", ["..", "../x", "/tmp/x", "", ".x", 5, None, ["A"]])
def test_a_planted_leftover_reaches_nothing_outside(tmp_path, kind, folder):
    out = tmp_path / "deep" / "out"
    planted = out / ".plybook-new-1"
    planted.mkdir(parents=True)
    content = json.dumps({"folder": folder, "files": []})
    (planted / "manifest.json").write_text(content)
    (planted / "evil.txt").write_text("x")
    if kind == "journal":
        mark = room.sha256(content.encode())
        row = {"fresh": ".plybook-new-1", "folder": folder, "manifest": mark}
        (out / ".plybook-commit.json").write_text(json.dumps([row, 5, {"fresh": folder}]))
    commit(out, {"A": bundle("A", **{"a.txt": "1"})})
    assert [p.name for p in tmp_path.iterdir()] == ["deep"]
    assert [p.name for p in (tmp_path / "deep").iterdir()] == ["out"]
    assert sorted(p.name for p in out.iterdir()) == ["A"]


def test_a_journal_that_is_a_link_or_a_pipe_is_neither_followed_nor_waited_for(tmp_path):
    mine = tmp_path / "mine.txt"
    mine.write_text("keep me")
    out = tmp_path / "out"
    out.mkdir()
    (out / ".plybook-commit.json").symlink_to(mine)
    (out / ".plybook-new-.plybook-commit.json").symlink_to(mine)
    commit(out, {"A": bundle("A", **{"a.txt": "1"})})
    os.mkfifo(out / ".plybook-commit.json")
    commit(out, {"A": bundle("A", **{"a.txt": "2"})})
    assert mine.read_text() == "keep me" and not leftovers(out)


@pytest.mark.parametrize("listed", [{"sha256": "0" * 64}, {}, {"sha256": 5}])
def test_a_manifest_cannot_claim_a_file_that_no_build_has_written(tmp_path, listed):
    (tmp_path / "A").mkdir()
    (tmp_path / "A" / "mine.txt").write_text("keep me")
    claim = {"folder": "A", "files": [{"name": "mine.txt", **listed}, 7, {"name": "../x"}]}
    (tmp_path / "A" / "manifest.json").write_text(json.dumps(claim))
    done = commit(tmp_path, {"A": bundle("A", **{"a.txt": "1"})})
    (kept,) = done.aside
    assert kept.read_text() == "keep me"


def test_a_file_of_ours_that_was_changed_is_kept_beside_the_new_one(tmp_path):
    commit(tmp_path, {"A": bundle("A", **{"list.csv": "1"})})
    (tmp_path / "A" / "list.csv").write_text("1, and prices")
    assert [p.name for p in commit(tmp_path, {"A": bundle("A", **{"list.csv": "2"})}).aside] == [
        "list.csv.changed"
    ]
    assert (tmp_path / "A" / "list.csv").read_text() == "2"
    commit(tmp_path, {"A": bundle("A", **{"list.csv": "3"})})
    assert (tmp_path / "A" / "list.csv.changed").read_text() == "1, and prices"


@pytest.mark.parametrize("spoil", ["pipe", "device", "deep", "digits", "list", "large"])
def test_no_manifest_hangs_or_ends_the_commit(tmp_path, spoil):
    commit(tmp_path, {"A": bundle("A", **{"a.txt": "1"})})
    manifest = tmp_path / "A" / "manifest.json"
    manifest.unlink()
    if spoil == "pipe":
        os.mkfifo(manifest)
    elif spoil == "device":
        manifest.symlink_to("/dev/zero")
    else:
        manifest.write_text(
            {"deep": "[" * 100_000, "digits": "9" * 5_000, "list": "[1]", "large": "{"}[spoil]
        )
    (tmp_path / "A" / "a.txt").unlink()
    if spoil in ("pipe", "device"):
        with pytest.raises(OutputError):
            commit(tmp_path, {"A": bundle("A", **{"a.txt": "2"})})
    else:
        commit(tmp_path, {"A": bundle("A", **{"a.txt": "2"})})
        assert (tmp_path / "A" / "a.txt").read_text() == "2"
    assert not leftovers(tmp_path)


CUT_SHORT = """
    import os, sys
    from pathlib import Path
    from plybook.write import folder as room
    out, at = Path(sys.argv[1]), int(sys.argv[2])
    calls, real = [], getattr(os, sys.argv[3], None) or room._exchange
    def counted(*given, **more):
        calls.append(given)
        if len(calls) > at:
            os._exit(9)
        return real(*given, **more)
    if sys.argv[3] == "_exchange":
        room._exchange = counted
    else:
        setattr(os, sys.argv[3], counted)
    folders = {n: room.with_manifest({"f.txt": b"new"}, {"folder": n, "turn": 2}) for n in "ABC"}
    room.commit(out, folders, {out / "memory.json": b"new"})
    print("whole")
"""


@pytest.mark.parametrize("call", ["_exchange", "replace", "rename", "unlink", "open"])
@pytest.mark.parametrize("at", range(8))
def test_cut_short_at_any_call_the_next_run_finds_all_folders_new_or_all_old(tmp_path, call, at):
    first = {n: with_manifest({"f.txt": b"old"}, {"folder": n}) for n in "AB"}  # C is new
    commit(tmp_path, first)
    (tmp_path / "A" / "mine.txt").write_text("keep me")
    words = [sys.executable, "-c", textwrap.dedent(CUT_SHORT), str(tmp_path), str(at), call]
    subprocess.run(words, check=False, capture_output=True, timeout=120)
    commit(tmp_path, {"D": bundle("D", **{"d.txt": "1"})})
    found = {n: (tmp_path / n / "f.txt").read_text() for n in "ABC" if (tmp_path / n).exists()}
    assert found in ({n: "old" for n in "AB"}, {n: "new" for n in "ABC"})
    assert (tmp_path / "A" / "mine.txt").read_text() == "keep me"
    assert [n for n in leftovers(tmp_path) if "memory" not in n] == []


def test_where_a_folder_cannot_be_exchanged_those_before_it_go_back(tmp_path, monkeypatch):
    commit(tmp_path, {n: bundle(n, **{"f.txt": "old"}) for n in "AC"})
    real = room._exchange

    def refusing(fresh, target):
        if target.name == "C":
            raise OSError(errno.EACCES, "no", str(target))
        return real(fresh, target)

    monkeypatch.setattr(room, "_exchange", refusing)
    with pytest.raises(OutputError):
        commit(tmp_path, {n: bundle(n, **{"f.txt": "new"}) for n in "ABC"})
    monkeypatch.undo()
    commit(tmp_path, {"D": bundle("D", **{"d.txt": "1"})})
    assert [(n, (tmp_path / n / "f.txt").read_text()) for n in "AC"] == [("A", "old"), ("C", "old")]
    assert not (tmp_path / "B").exists() and not leftovers(tmp_path)


def test_a_file_beside_that_cannot_be_written_is_told_and_stops_nothing(tmp_path):
    (tmp_path / "no").write_text("a file")
    beside = {tmp_path / "no" / "memory.json": b"1", tmp_path / "yes" / "memory.json": b"1"}
    done = commit(tmp_path / "out", {"A": bundle("A", **{"a.txt": "1"})}, beside)
    assert [path for path, _ in done.unkept] == [tmp_path / "no" / "memory.json"]
    assert (tmp_path / "yes" / "memory.json").read_bytes() == b"1"
    assert (tmp_path / "out" / "A" / "a.txt").exists()


def test_a_replaced_file_keeps_its_mode_and_a_link_is_followed_only_when_asked(tmp_path):
    real, link = tmp_path / "real.txt", tmp_path / "link.txt"
    real.write_text("1")
    real.chmod(0o600)
    link.symlink_to(real)
    replace_file(link, b"2", follow=True)
    assert real.read_text() == "2" and link.is_symlink() and real.stat().st_mode & 0o777 == 0o600
    replace_file(link, b"3")
    assert real.read_text() == "2" and not link.is_symlink() and link.read_text() == "3"


def test_what_a_run_cut_short_left_of_one_file_is_used_up_by_the_next(tmp_path):
    (tmp_path / ".plybook-new-x.json").write_text("half")
    replace_file(tmp_path / "x.json", b"1")
    assert [p.name for p in tmp_path.iterdir()] == ["x.json"]
