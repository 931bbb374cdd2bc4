"""What README.md and specs/ANSWERS.md say to write and to type works as it stands there."""

import re
import shlex
import shutil
from pathlib import Path

import pytest

from plybook import commands
from plybook.cli import main, parser
from tests.spec.test_language_page import load_example

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SPECS_README = (ROOT / "specs" / "README.md").read_text(encoding="utf-8")
ANSWERS = (ROOT / "specs" / "ANSWERS.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PAGES = ["README", "specs/README", "ANSWERS", "DEVELOPERS"]
SNIPPETS = re.findall(r"```yaml\n(.*?)```", ANSWERS, re.DOTALL)
SHELL = re.compile(r"(?:<!-- ([^>]*) -->\n)?```sh\n(.*?)```", re.DOTALL)
# built once by everything that runs the commands, at the effort that tests can afford
QUICK = ["--effort", "quick"]


def lines(page: str) -> list[tuple[str, list[str]]]:
    """(mark of the block, words) of every plybook command on a page."""
    found = []
    for mark, block in SHELL.findall(page):
        for line in block.strip().splitlines():
            if line.startswith("plybook "):
                found.append((mark, shlex.split(line)[1:]))
    return found


@pytest.mark.parametrize("n", range(len(SNIPPETS)))
def test_every_snippet_of_the_answers_is_read(n):
    assert load_example(SNIPPETS[n]).specs


@pytest.mark.parametrize("page", [README, SPECS_README, ANSWERS, DEVELOPERS], ids=PAGES)
def test_every_block_on_a_page_is_of_a_kind_that_is_tried(page):
    """YAML is read, commands are run; what is shown bare is what a command printed."""
    kinds = re.findall(r"(?m)^```(.*)$", page)[::2]
    assert set(kinds) <= {"yaml", "sh", ""}
    bare = re.findall(r"(?ms)^```\n(.*?)^```$", re.sub(r"(?ms)^```\w+\n.*?^```$", "", page))
    assert all(text.startswith(("PANEL-1", "YAML -> spec")) for text in bare)


def test_every_answer_is_in_the_list_at_the_top_and_has_lines_to_write():
    head, *answers = re.split(r"(?m)^## ", ANSWERS)
    links = re.findall(r"\]\(#([^)]*)\)", head)
    titles = [re.sub(r"[^a-z0-9 -]", "", a.splitlines()[0].lower()) for a in answers]
    assert [title.replace(" ", "-") for title in titles] == links
    assert all("```" in answer for answer in answers)


@pytest.mark.parametrize("page", [README, ANSWERS], ids=["README", "ANSWERS"])
def test_every_command_on_the_page_is_one_that_can_be_typed(page):
    found = lines(page)
    assert found
    for _, words in found:
        parser().parse_args(words)


@pytest.fixture(scope="module")
def shop(hatch_out, tmp_path_factory):
    """A folder as it lies before a new user: the shipped specs, and the hatch built."""
    folder = tmp_path_factory.mktemp("shop")
    shutil.copytree(ROOT / "specs", folder / "specs")
    shutil.copytree(hatch_out, folder / "out")
    return folder


def run(words, folder, monkeypatch) -> int:
    monkeypatch.chdir(folder)
    return main(words + (QUICK if words[0] == "build" else []))


def test_the_first_part_of_the_readme_is_made_as_it_says(tmp_path, monkeypatch, capsys):
    first = [words for mark, words in lines(README) if mark == "first part"]
    assert [words[0] for words in first] == ["new", "check", "build", "verify"]
    for words in first:
        assert run(words, tmp_path, monkeypatch) == 0, words
    told = capsys.readouterr().out
    picture = re.search(r"```\n(PANEL-1 .*?)```", README, re.DOTALL).group(1)
    assert picture in told
    listed = re.findall(
        r"(?m)^\| (`[^|]*`) \| ", README.split("then lie:")[1].split("Print one")[0]
    )
    for name in re.findall(r"`([^`]*)`", " ".join(listed)):
        assert (tmp_path / "out" / "PANEL-1" / name).exists(), name


ANSWERED = [words for _, words in lines(ANSWERS)]
ALONE = [w for w in ANSWERED if w[0] in ("recut", "compare") or "--show" in w]


@pytest.mark.parametrize("words", ALONE, ids=" ".join)
def test_a_command_of_the_answers_runs(words, shop, monkeypatch):
    assert run(words, shop, monkeypatch) == 0


def test_keeping_left_overs_runs_and_says_where_the_recut_lies(hatch_out, tmp_path, monkeypatch):
    shutil.copytree(ROOT / "specs", tmp_path / "specs")
    shutil.copytree(hatch_out, tmp_path / "out")
    (keep,) = [w for w in ANSWERED if w[0] == "keep" and "--show" not in w]
    (recut,) = [w for w in ANSWERED if w[0] == "recut"]
    assert run(recut, tmp_path, monkeypatch) == 0
    named = re.search(r"`(out/[^`]*recut[^`]*)`", ANSWERS).group(1)
    assert (tmp_path / named).exists()
    assert run(keep, tmp_path, monkeypatch) == 0


@pytest.mark.slow
def test_several_parts_are_built_together_as_the_answers_say(tmp_path, monkeypatch):
    shutil.copytree(ROOT / "specs", tmp_path / "specs")
    (words,) = [w for w in ANSWERED if w[0] == "build" and "--set-name" in w]
    assert run(words, tmp_path, monkeypatch) == 0
    assert (tmp_path / "out" / "day-one" / "cutplan.pdf").exists()


def test_every_command_stands_in_the_table_of_the_readme():
    table = README.split("## Commands")[1]
    assert re.findall(r"(?m)^\| `plybook (\w+)", table) == [
        "new", "check", "build", "verify", "watch", "compare", "record", "keep", "recut",
        "explain", "schema", "completion",
    ]  # fmt: skip
    assert set(re.findall(r"(?m)^\| `plybook (\w+)", table)) == set(commands.NAMES)


def test_links_of_the_pages_lead_somewhere():
    for page, home in ((README, ROOT), (ANSWERS, ROOT / "specs")):
        for link in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page):
            if not link.startswith("out/gallery/"):  # made by `python -m tests.gallery`
                assert (home / link).exists(), link


def test_pictures_of_the_readme_are_those_that_are_remade():
    from tests.gallery import PICTURES

    assert set(re.findall(r"out/gallery/([\w-]+\.png)", README)) <= set(PICTURES)
