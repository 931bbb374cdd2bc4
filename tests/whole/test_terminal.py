"""What is printed does nothing to a terminal, whoever chose the names in it."""

import io
import json

import pytest

from plybook.cli import main
from plybook.starters import starter_text
from plybook.terminal import Ticker, put

# clear the line, write into the clipboard (OSC 52), turn the direction of text, begin a new line
NASTY = "\x1b[2K\x1b[31m\x1b]52;c;eA==\x07\u202e\u009b2J\r\nsound: "
RAW = set("\x1b\x07\r\u202e\u009b")


def said(capsys):
    both = capsys.readouterr()
    return both.out + both.err


def harmless(text):
    return not RAW & set(text) and not any(line.startswith("sound:") for line in text.split("\n"))


@pytest.mark.parametrize(
    "words",
    [
        ["check", f"no{NASTY}"],
        ["verify", f"no{NASTY}"],
        ["verify", f"no{NASTY}", "--format", "line"],
        ["recut", "part.yaml", f"A{NASTY}"],
        ["record", f"no{NASTY}", "--plan", f"no{NASTY}"],
        ["compare", f"a{NASTY}", f"b{NASTY}"],
        ["explain", f"x{NASTY}"],
        ["keep", "part.yaml", "--received", f"x{NASTY}"],
        ["new", "panel", f"no{NASTY}/\0x"],
    ],
    ids=lambda words: words[0],
)
def test_names_on_the_command_line_are_shown_harmlessly(tmp_path, monkeypatch, capsys, words):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "part.yaml").write_text(starter_text("panel"))
    assert main(words) != 0
    assert harmless(text := said(capsys)) and text


@pytest.mark.parametrize(
    "words", [["check", "x", "--format", NASTY], [NASTY], ["check", "x", "--limit", NASTY]]
)
def test_a_wrong_argument_is_shown_harmlessly(capsys, words):
    with pytest.raises(SystemExit) as ended:
        main(words)
    assert ended.value.code == 2
    assert harmless(said(capsys))


def test_a_sound_spec_and_a_new_one_name_their_files_harmlessly(tmp_path, capsys):
    path = tmp_path / "a\x1b[2Kb\nsound: c.yaml"
    assert main(["new", "panel", str(path)]) == 0
    assert main(["check", "--quick", str(path)]) == 0
    text = said(capsys)
    assert not RAW & set(text) and text.count("\nsound: ") == 1 and "<U+000A>sound: c" in text


def test_what_verify_reads_is_shown_harmlessly(hatch_copy, capsys):
    folder = hatch_copy / "TN-420"
    manifest = json.loads((folder / "manifest.json").read_text())
    manifest["files"].append({"name": NASTY + "x", "bytes": 1, "sha256": NASTY})
    (folder / "manifest.json").write_text(json.dumps(manifest))
    (folder / "z\x1b[1A\nq: sound").write_text("x")
    assert main(["verify", str(folder)]) == 1
    assert harmless(said(capsys))


def test_verify_gives_its_report_as_json(hatch_copy, capsys):
    assert main(["verify", str(hatch_copy / "TN-420"), "--format", "json"]) in (0, 1)
    report = json.loads(capsys.readouterr().out)
    assert report["folders"][0]["proved"] and report["sound"] in (True, False)


def test_the_progress_line_is_harmless():
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    stream = Terminal()
    Ticker(stream, quiet=False)(f"building {NASTY}")
    assert not RAW & (set(stream.getvalue()) - {"\r"})


def test_every_control_character_is_written_out(capsys):
    controls = "".join(map(chr, [*range(32), *range(127, 160), 0x2028, 0x202E, 0x2066, 0xFEFF]))
    put(controls.replace("\t", ""), lines=False)
    shown = capsys.readouterr().out
    assert shown.endswith("\n") and all(" " <= mark <= "~" for mark in shown[:-1])
