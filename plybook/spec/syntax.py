"""What a YAML parser complains of, in words a builder can act on."""

from __future__ import annotations

import re

from plybook.diagnostics import Finding, Place, error

# what the parser says (start of its sentence) -> our sentence, the edit to make
_WORDS = (
    (
        "mapping values are not allowed",
        "a colon stands where no `key: value` can begin",
        "put a text that holds a colon in quotes, or line this key up with its neighbours",
    ),
    (
        "could not find expected ':'",
        "this line is no `key: value`; the colon is missing",
        "write a colon and a space after the key",
    ),
    (
        "did not find expected key",
        "this line does not line up with the lines above",
        "give keys of one mapping the same indent",
    ),
    (
        "did not find expected '-'",
        "this line does not line up with the list above",
        "start it with `- ` under the other items",
    ),
    (
        "found unexpected end of stream",
        "a quote is opened and never closed",
        "close the quote",
    ),
    ("found unexpected document indicator", "a quote is opened and never closed", "close it"),
    ("did not find expected ',' or ']'", "a `[` is opened and not closed", "close it with `]`"),
    ("did not find expected ',' or '}'", "a `{` is opened and not closed", "close it with `}`"),
    (
        "did not find expected node content",
        "something is missing between brackets or commas here",
        "check the brackets and commas on this line",
    ),
    (
        "block sequence entries are not allowed",
        "a list item (`- `) cannot begin here",
        "put the list on the lines below its key",
    ),
    (
        "found unknown escape",
        "unknown `\\` escape in a quoted text",
        "write `\\\\` for a backslash",
    ),
    ("did not find expected hexdecimal", "unfinished `\\` escape in a quoted text", "finish it"),
    ("found undefined tag handle", "unknown tag", "delete the tag"),
    (
        "did not find expected <document start>",
        "the file goes on after its end",
        "line this up with the lines above",
    ),
    ("did not find expected comment or line break", "text after `|` or `>`", "start a new line"),
)


_CURLED = re.compile(
    "[\u201c\u201d\u201e\u2018\u2019\u201a\u00ab]"
    "([^\u201c\u201d\u2018\u2019\u00bb]*)[\u201c\u201d\u2018\u2019\u00bb]"
)
_CURLED_VALUE = re.compile(rf"(?:[:,\[{{] *|^ *- +)({_CURLED.pattern}) *(?:[,}}\]]|$)")
_TWO_COLONS = re.compile(r"[{,] *([\w-]+): ([\w-]+): (\S[^,}\]]*)")  # inside braces
_ONE_WORDED = {"join"}  # keys whose value is a phrase, never a mapping


def syntax_finding(problem: Exception, text: str, file: str) -> Finding:
    """One finding for a text that is no YAML.

    Args:
        problem: what the parser raised.
        text: the whole text, to look at the line.
        file: name used in places.
    """
    mark = getattr(problem, "problem_mark", None)
    if mark is None:
        return error("not-yaml", "the file cannot be read as YAML", "", Place(file, 1, 1, 2))
    lines = re.split("\r\n|\r|\n", text)
    place = _place(mark, file)
    line = lines[mark.line] if mark.line < len(lines) else ""
    for number in (mark.line, mark.line - 1):
        if 0 <= number < len(lines) and re.match(r" *\t", lines[number]):
            column = lines[number].index("\t") + 1
            return error(
                "tab",
                "a tab stands in the indent",
                "use spaces: two for each level",
                Place(file, number + 1, column, column + 1),
            )
    context = getattr(problem, "context_mark", None)
    places = [place]
    if context is not None and context.line != mark.line:
        places.append(_place(context, file))
    if "nesting depth" in str(getattr(problem, "problem", "")):
        return error("too-deep", "too many levels inside one another", "flatten it", place)
    said = f"{getattr(problem, 'problem', '') or ''}"
    if said.startswith("found character that cannot start"):
        character = line[mark.column : mark.column + 1]
        return error(
            "not-yaml",
            f"a value cannot start with `{character}`",
            "put the text in quotes",
            *places,
        )
    if value := _CURLED_VALUE.search(line.partition(" #")[0]):
        column = value.start(1) + 1
        at = Place(file, mark.line + 1, column, column + len(value[1]))
        if found := curled(value[1], at):
            return found
    if twice := _TWO_COLONS.search(line.partition(" #")[0]):
        key, word, figure = (group.strip() for group in twice.groups())
        nested = f", or `{key}: {{{word}: {figure}}}` where a mapping is meant"
        return error(
            "not-yaml",
            f"two colons follow one another in `{key}: {word}: {figure}`",
            f"write `{key}: {word} {figure}`{'' if key in _ONE_WORDED else nested}",
            *places,
        )
    for start, message, help in _WORDS:
        if said.startswith(start):
            opened = f" (opened on line {places[1].line})" if len(places) > 1 else ""
            return error("not-yaml", message + opened, help, *places)
    return error(
        "not-yaml",
        "this cannot be read as YAML" + (f" ({said})" if said else ""),
        "check quotes, brackets and indent here",
        *places,
    )


def curled(text: str, place: Place) -> Finding | None:
    """The finding for a value in typographic quotes, which are letters to YAML; None for others."""
    whole = _CURLED.fullmatch(text.strip())
    if whole is None:
        return None
    bare = re.fullmatch(r"[\w.+-]+", whole[1])
    return error(
        "typographic-quotes",
        f"`{text.strip()[:40]}` stands in typographic quotes, which would be part of the value",
        f"write it without: `{bare[0]}`" if bare else f'write straight ones: "{whole[1]}"',
        place,
    )


def _place(mark, file: str) -> Place:
    return Place(file, mark.line + 1, mark.column + 1, mark.column + 2)
