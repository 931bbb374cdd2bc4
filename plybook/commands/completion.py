"""`plybook completion`: a script for the shell that completes commands, options and file names.

The script is static: it is written from the command line as it stands, and the shell asks nobody
while you type.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

from plybook.commands.common import DONE, Progress
from plybook.terminal import put

HELP = "print a completion script for bash, zsh or fish"
EXAMPLE = """\
plybook completion bash > ~/.local/share/bash-completion/completions/plybook
  plybook completion fish > ~/.config/fish/completions/plybook.fish
  plybook completion zsh > ~/.zfunc/_plybook     # with fpath+=~/.zfunc before compinit"""
SHELLS = ("bash", "zsh", "fish")


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shell", choices=SHELLS, metavar="SHELL", help="bash, zsh or fish")


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    from plybook.cli import parser

    writers = {"bash": _bash, "zsh": _zsh, "fish": _fish}
    put(writers[arguments.shell](_words(parser())), lines=True)
    return DONE


@dataclass(frozen=True)
class Words:
    """What can follow one command: options, words of each option, words of its first argument."""

    name: str
    help: str
    options: tuple[tuple[str, str, tuple[str, ...] | None], ...]  # flag, help, words (None: a flag)
    first: tuple[str, ...]


def _words(parser: argparse.ArgumentParser) -> list[Words]:
    subs = next(a for a in parser._actions if isinstance(a, argparse._SubParsersAction))
    helps = {a.dest: a.help or "" for a in subs._choices_actions}
    return [_of(name, helps.get(name, ""), sub) for name, sub in subs.choices.items()]


def _of(name: str, help: str, sub: argparse.ArgumentParser) -> Words:
    options: list[tuple[str, str, tuple[str, ...] | None]] = []
    first: tuple[str, ...] = ()
    for action in sub._actions:
        choices = tuple(map(str, action.choices or ()))
        if not action.option_strings:
            first = first or choices
            continue
        takes = None if action.nargs == 0 else choices
        options += [(flag, action.help or "", takes) for flag in action.option_strings]
    if name == "explain":
        first = _codes()
    return Words(name, help, tuple(options), first)


def _codes() -> tuple[str, ...]:
    from plybook.explain import pages

    return tuple(sorted(pages()))


def _bash(commands: list[Words]) -> str:
    cases = []
    for one in commands:
        values = [
            f'      {flag}) COMPREPLY=($(compgen -W "{" ".join(words)}" -- "$word")); return ;;'
            for flag, _, words in one.options
            if words
        ]
        files = [flag for flag, _, words in one.options if words == ()]
        if files:
            values.append(
                f'      {"|".join(files)}) COMPREPLY=($(compgen -f -- "$word")); return ;;'
            )
        flags = " ".join(flag for flag, _, _ in one.options)
        first = " ".join(one.first)
        cases.append(
            f"    {one.name})\n"
            f'      options="{flags}" first="{first}"\n'
            f'      case "$before" in\n' + "".join(f"  {row}\n" for row in values) + "      esac ;;"
        )
    names = " ".join(one.name for one in commands)
    body = "\n".join(cases)
    return f"""\
# bash completion for plybook
_plybook() {{
  local word="${{COMP_WORDS[COMP_CWORD]}}" before="${{COMP_WORDS[COMP_CWORD-1]}}"
  local options="" first=""
  COMPREPLY=()
  if [ "$COMP_CWORD" -eq 1 ]; then
    COMPREPLY=($(compgen -W "{names} --help --version" -- "$word"))
    return
  fi
  case "${{COMP_WORDS[1]}}" in
{body}
  esac
  if [[ "$word" == -* ]]; then
    COMPREPLY=($(compgen -W "$options" -- "$word"))
  elif [ "$COMP_CWORD" -eq 2 ] && [ -n "$first" ]; then
    COMPREPLY=($(compgen -W "$first" -- "$word"))
  else
    COMPREPLY=($(compgen -f -- "$word"))
  fi
}}
complete -o filenames -F _plybook plybook
"""


def _zsh(commands: list[Words]) -> str:
    names = "\n".join(f"    {_quoted(one.name + ':' + one.help)}" for one in commands)
    cases = []
    for one in commands:
        rows = [f"        {_zsh_option(*option)}" for option in one.options]
        if one.first:
            rows.append(f"        {_quoted('1:word:(' + ' '.join(one.first) + ')')}")
        rows.append("        '*:file:_files'")
        cases.append(f"    {one.name})\n      _arguments \\\n" + " \\\n".join(rows) + " ;;")
    body = "\n".join(cases)
    return f"""\
#compdef plybook
_plybook() {{
  local -a commands
  commands=(
{names}
  )
  if (( CURRENT == 2 )); then
    _describe command commands
    return
  fi
  local name=$words[2]
  shift words
  (( CURRENT-- ))
  case $name in
{body}
  esac
}}
if [[ $funcstack[1] == _plybook ]]; then  # read from a folder of $fpath, and asked already
  _plybook "$@"
else
  compdef _plybook plybook
fi
"""


def _zsh_option(flag: str, help: str, words: tuple[str, ...] | None) -> str:
    help = help.replace("[", "(").replace("]", ")").replace(":", ",")
    if words is None:
        return _quoted(f"{flag}[{help}]")
    action = f"({' '.join(words)})" if words else "_files"
    return _quoted(f"{flag}=[{help}]:value:{action}")


def _fish(commands: list[Words]) -> str:
    rows = ["# fish completion for plybook", "complete -c plybook -n __fish_use_subcommand -f"]
    for one in commands:
        rows.append(
            f"complete -c plybook -n __fish_use_subcommand -a {one.name} -d {_quoted(one.help)}"
        )
    for one in commands:
        when = f"-n '__fish_seen_subcommand_from {one.name}'"
        if one.first:
            rows.append(f"complete -c plybook {when} -f -a {_quoted(' '.join(one.first))}")
        for flag, help, words in one.options:
            mark = f"-l {flag[2:]}" if flag.startswith("--") else f"-s {flag[1:]}"
            value = (
                "" if words is None else f" -x -a {_quoted(' '.join(words))}" if words else " -r"
            )
            rows.append(f"complete -c plybook {when} {mark}{value} -d {_quoted(help)}")
    return "\n".join(rows) + "\n"


def _quoted(text: str) -> str:
    """One word in single quotes, for any of the three shells."""
    return "'" + text.replace("%%", "%").replace("'", "’") + "'"
