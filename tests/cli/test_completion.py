"""`plybook completion`, help and version: what a shell and a new user are told."""

import re
import subprocess
import sys

import pytest

from plybook import __version__, commands
from plybook.cli import main, parser
from plybook.explain import pages
from plybook.starters import KINDS


def script(shell, capsys) -> str:
    assert main(["completion", shell]) == 0
    return capsys.readouterr().out


def complete(capsys, tmp_path, *words: str) -> set[str]:
    """What bash offers for the last word."""
    file = tmp_path / "plybook.bash"
    file.write_text(script("bash", capsys))
    typed = " ".join(f"'{w}'" for w in ("plybook", *words))
    code = f"source {file}; COMP_WORDS=({typed}); COMP_CWORD={len(words)}; _plybook; "
    code += 'printf "%s\\n" "${COMPREPLY[@]}"'
    told = subprocess.run(
        ["bash", "--norc", "-c", code], capture_output=True, text=True, check=True, cwd=tmp_path
    )
    assert told.stderr == ""
    return set(told.stdout.split())


def test_bash_completes_commands(capsys, tmp_path):
    assert complete(capsys, tmp_path, "ch") == {"check"}
    assert set(commands.NAMES) <= complete(capsys, tmp_path, "")


def test_bash_completes_options_and_their_words(capsys, tmp_path):
    assert complete(capsys, tmp_path, "build", "--eff") == {"--effort"}
    assert complete(capsys, tmp_path, "build", "--effort", "l") == {"long"}


def test_bash_completes_kinds_codes_and_files(capsys, tmp_path):
    assert complete(capsys, tmp_path, "new", "") == set(KINDS)
    assert complete(capsys, tmp_path, "explain", "unknown-k") == {"unknown-key"}
    (tmp_path / "wing.yaml").write_text("")
    assert complete(capsys, tmp_path, "check", "wi") == {"wing.yaml"}


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_every_command_option_and_code_is_in_every_script(shell, capsys):
    text = script(shell, capsys)
    assert all(re.search(rf"\b{name}\b", text) for name in commands.NAMES)
    assert "effort" in text and all(code in text for code in pages())


def test_bash_itself_accepts_its_script(capsys, tmp_path):
    file = tmp_path / "script"
    file.write_text(script("bash", capsys))
    subprocess.run(["bash", "-n", str(file)], check=True)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("plybook ch", {"check"}),
        ("plybook new ", set(KINDS)),
        ("plybook build --effort ", {"quick", "normal", "long"}),
        ("plybook explain unknown-k", {"unknown-key"}),
    ],
)
def test_fish_completes(typed, offered, capsys, tmp_path):
    file = tmp_path / "plybook.fish"
    file.write_text(script("fish", capsys))
    asked = f"source {file}; complete -C '{typed}'"
    told = subprocess.run(["fish", "-c", asked], capture_output=True, text=True, check=True)
    assert {line.split("\t")[0] for line in told.stdout.splitlines()} >= offered


@pytest.mark.slow
def test_zsh_takes_its_script_from_a_file_and_from_its_function_path(capsys, tmp_path):
    (tmp_path / "_plybook").write_text(script("zsh", capsys))
    for how in (f"source {tmp_path}/_plybook", f"fpath+=({tmp_path}); compinit -D -u"):
        asked = f"autoload -Uz compinit; compinit -D -u; {how}; print $_comps[plybook]"
        told = subprocess.run(["zsh", "-fc", asked], capture_output=True, text=True, check=True)
        assert told.stdout == "_plybook\n" and told.stderr == ""


# ---------------------------------------------------------------- help, version, pipe


@pytest.mark.parametrize("name", commands.NAMES)
def test_every_command_has_help_with_an_example_that_is_a_command_line(name, capsys):
    with pytest.raises(SystemExit) as end:
        main([name, "--help"])
    assert end.value.code == 0
    text = capsys.readouterr().out
    example = text.split("example:\n")[1].split("\n")[0].strip()
    words = example.split(">")[0].split()
    assert words[:2] == ["plybook", name]
    parser().parse_args(words[1:])


def test_the_help_names_every_command_and_the_first_steps(capsys):
    with pytest.raises(SystemExit):
        main(["--help"])
    text = capsys.readouterr().out
    assert all(re.search(rf"\n    {name}\s", text) for name in commands.NAMES)
    assert "plybook new panel my-panel.yaml" in text


def test_the_version_is_told_on_stdout(capsys):
    with pytest.raises(SystemExit) as end:
        main(["--version"])
    assert end.value.code == 0 and capsys.readouterr().out == f"plybook {__version__}\n"


@pytest.mark.parametrize("words", [[], ["bild"], ["build"], ["check", "--nonsense", "x"]])
def test_a_wrong_command_line_ends_with_2(words, capsys):
    with pytest.raises(SystemExit) as end:
        main(words)
    assert end.value.code == 2
    assert capsys.readouterr().out == ""


def test_help_loads_nothing_heavy():
    code = (
        "import sys, plybook.cli\n"
        "try: plybook.cli.main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'shapely', 'scipy', 'pydantic', 'ezdxf', 'reportlab', 'yaml'}\n"
        "sys.exit(','.join(sorted(heavy & set(sys.modules))) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_a_reader_that_leaves_early_is_no_fault():
    run = subprocess.Popen(
        [sys.executable, "-m", "plybook", "schema"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    run.stdout.read(10)
    run.stdout.close()
    assert run.stderr.read() == b""
    assert run.wait() == 0
