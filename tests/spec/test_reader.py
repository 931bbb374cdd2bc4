"""Bytes to a tree: encodings, odd files, YAML that is refused, and how fast."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from plybook.diagnostics import SpecError
from plybook.outside import Outside
from plybook.spec import load
from plybook.spec.limits import DEFAULTS, Limits
from plybook.spec.reader import Scalar, read_tree
from tests.spec.goods import HATCH, SKIN, edit, faults, read, shelf

LIMITS = Limits()


def refused(content: bytes) -> tuple[str, str, int, int]:
    with pytest.raises(SpecError) as caught:
        read_tree(content, "f.yaml", LIMITS)
    one = caught.value.findings[0]
    return one.code, f"{one.message} {one.help}", one.places[0].line, one.places[0].column


@pytest.mark.parametrize(
    "content", [b"", b"# only a comment\n", b"---\n", b"\n\n", b"\xef\xbb\xbf"]
)
def test_an_empty_file_is_told_how_to_start(content):
    assert refused(content)[:2] == ("empty-file", "the file is empty start with `plybook: 1`")


def test_a_byte_order_mark_is_accepted_and_moves_no_column():
    assert read(b"\xef\xbb\xbf" + SKIN.encode()).specs[0].part.number == "KT-210"
    bad = b"\xef\xbb\xbfplybok: 1\n" + SKIN.encode()
    assert faults(bad)[0].places[0].column == 1


@pytest.mark.parametrize("codec", ["utf-16", "utf-16-le", "utf-16-be", "utf-32"])
def test_other_encodings_are_named_not_guessed(codec):
    code, words, *_ = refused(SKIN.encode(codec))
    assert code == "not-utf-8"
    assert "UTF-16" in words or "UTF-32" in words


def test_a_latin_1_file_is_refused_at_the_first_odd_byte():
    assert refused(b"plybook: 1\na: 45\xb0\n") == (
        "not-utf-8",
        "byte 0xb0 is not UTF-8 text save the file as UTF-8",
        2,
        6,
    )


@pytest.mark.parametrize("mark", ["\x00", "\x07", "\x1b", "\x85", "\u2028", "\u202e", "\ufeff"])
def test_control_characters_are_refused_by_name_and_place(mark):
    code, words, line, column = refused(f"plybook: 1\nab{mark}: 2\n".encode())
    assert (code, line, column) == ("control-character", 2, 3)
    assert f"U+{ord(mark):04X}" in words or "NUL" in words


@pytest.mark.parametrize("end", ["\r\n", "\r", "\n"])
def test_line_ends_of_all_machines_give_right_lines(end):
    text = edit(SKIN, "rise: 90", "rize: 90")
    line = text[: text.index("rize")].count("\n") + 1
    assert faults(text.replace("\n", end).encode())[0].places[0].line == line


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"[1, 2]", "not-a-mapping"),
        (b"just words", "not-a-mapping"),
        (b"a: 1\n---\nb: 2\n", "several-documents"),
        (b"? [a, b]\n: 1\n", "odd-key"),
        (b"a: &x [1]\nb: *x\n", "anchor"),
        (b"a: *nowhere\n", "alias"),
        (b"<<: {a: 1}\n", "merge-key"),
        (b"a: !!binary aGk=\n", "unknown-tag"),
        (b"a: " + b"[" * 3000 + b"]" * 3000, "too-deep"),
        (b"a: " + b"{b: " * 40 + b"}" * 40, "too-deep"),
        (b"a: 1\n  b: 2\n", "not-yaml"),
        (b"a: [1, 2\n", "not-yaml"),
        (b"a: {1: 2\n", "not-yaml"),
        (b"a: @x\n", "not-yaml"),
        (b"a\n", "not-a-mapping"),
        (b"a: 1\nb\n", "not-yaml"),
        (b'a: "\\q"\n', "not-yaml"),
        (b"a:\n\t- 1\n", "tab"),
        (b"%YAML 9.9\n---\na: 1\n", "not-yaml"),
    ],
)
def test_what_is_no_plain_mapping_is_refused(content, code):
    assert refused(content)[0] == code


def test_an_alias_bomb_is_refused_before_it_grows():
    rows = ["a0: &a0 [x,x,x,x,x,x,x,x,x,x]"]
    rows += [f"a{n}: &a{n} [{','.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 9)]
    assert refused("\n".join(rows).encode())[0] == "anchor"


def test_too_many_values_are_refused_while_reading():
    with pytest.raises(SpecError) as caught:
        read_tree(b"a: [" + b"1," * 50 + b"]", "f", Limits({"nodes": 20}))
    assert caught.value.findings[0].code == "too-many-values"
    assert "--limit nodes=N" in caught.value.findings[0].help


def test_scalars_stay_their_text():
    tree = read_tree(b"a: no\nb: 1e3\nc: 045\nd: '3'\ne:\nf: 12:30\n", "f", LIMITS)
    assert [str(tree[k]) for k in "abcdf"] == ["no", "1e3", "045", "3", "12:30"]
    assert isinstance(tree["e"], Scalar) and tree["e"].empty
    assert tree["d"].quoted and not tree["a"].quoted


@pytest.mark.parametrize("written", ["1000", "1e3", "1.0e3", "1E+3", "1000.", "1 m", "100 cm"])
def test_a_number_is_the_same_however_it_is_written(written):
    text = edit(SKIN, "chord: 1000", f"chord: {written}")
    assert read(text).specs[0].mould.stations[1].chord_mm == pytest.approx(1000, abs=1e-9)


def test_minus_zero_is_zero():
    import math

    angle = read(edit(SKIN, "angle: 45", "angle: -0.0")).specs[0].layers[0].angle_deg
    assert math.copysign(1, angle) == 1


# ---------------------------------------------------------------- odd files


def test_a_folder_a_pipe_and_a_device_are_not_read(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path in (tmp_path, pipe, Path("/dev/zero")):
        with pytest.raises(SpecError) as caught:
            load(path, Outside())
        assert caught.value.findings[0].code == "not-a-file"
        assert "not a regular file" in caught.value.findings[0].message


def test_a_missing_file_and_a_large_file_are_refused(tmp_path):
    large = tmp_path / "large.yaml"
    large.write_bytes(b"#" * (int(DEFAULTS["spec-bytes"].value) + 1))
    for path, code in ((tmp_path / "none.yaml", "no-such-file"), (large, "file-too-large")):
        with pytest.raises(SpecError) as caught:
            load(path, Outside())
        assert caught.value.findings[0].code == code


def test_a_link_that_leads_out_of_the_folder_is_not_followed(tmp_path):
    secret = tmp_path / "secret.yaml"
    secret.write_text("plybook: 1\n")
    folder = tmp_path / "spec"
    folder.mkdir()
    (folder / "shared.yaml").symlink_to(secret)
    (folder / "part.yaml").write_text(SKIN)
    with pytest.raises(SpecError) as caught:
        load(folder / "part.yaml", Outside())
    assert caught.value.findings[0].code == "outside-folder"


def test_every_file_is_read_once_and_its_hash_kept():
    disk = shelf(SKIN)
    spec = load(Path("part.yaml"), disk).specs[0]
    assert disk.reads == ["part.yaml", "shared.yaml"]
    assert [f.path for f in spec.files] == ["part.yaml", "shared.yaml"]
    assert all(len(f.sha256) == 64 for f in spec.files)


def test_a_refused_spec_loads_no_heavy_library(tmp_path):
    """A rejection must answer at once: no geometry, drawing or plotting library is loaded."""
    (tmp_path / "bad.yaml").write_text("plybook: 1\npart: {number: X}\n")
    code = (
        "import sys; from pathlib import Path\n"
        "from plybook.outside import Outside; from plybook.spec import load\n"
        "from plybook.diagnostics import SpecError\n"
        "try: load(Path(sys.argv[1]), Outside())\n"
        "except SpecError as e: print(len(e.findings))\n"
        "print([m for m in ('ezdxf', 'shapely', 'scipy', 'reportlab', 'svgwrite') "
        "if m in sys.modules])\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "bad.yaml")],
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout.splitlines()[-1] == "[]"
    assert int(run.stdout.splitlines()[0]) >= 1


def test_limits_are_raised_by_name_and_only_by_name():
    assert Limits({"depth": 30})["depth"] == 30
    with pytest.raises(KeyError):
        Limits({"dept": 30})
    assert all(limit.reason for limit in DEFAULTS.values())


@pytest.mark.parametrize("cut", range(0, len(HATCH), 7))
def test_a_spec_cut_short_anywhere_is_read_or_refused_never_worse(cut):
    """A file half written gives findings with a place, or a spec; no other exception."""
    for one in faults(HATCH[:cut]):
        assert one.places and one.places[0].line >= 0


def test_limits_raised_at_the_command_line_reach_the_reader():
    disk = shelf(SKIN)
    disk.limits["layers"] = 8
    with pytest.raises(SpecError) as caught:
        load(Path("part.yaml"), disk)
    assert caught.value.findings[0].code == "too-many"
