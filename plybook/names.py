"""Names that become files and folders: every one passes here before it is part of a path."""

from __future__ import annotations

import re
import unicodedata

from plybook.diagnostics import OutputError, error

# names of devices on Windows, with any ending (Microsoft, "Naming Files, Paths, and Namespaces")
_DEVICE = re.compile(
    r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³])(\..*)?", re.IGNORECASE | re.DOTALL
)
_LONGEST = 200  # bytes; file systems take 255, and some names get an ending


# letters of other scripts and digits that look like another mark (Unicode Technical Standard 39,
# confusables.txt; from memory), all brought to one of them
_LOOKS = {
    **dict(zip("АВЕЅІЈКМНОРСТХУԚԜѴ", "ABESIJKMHOPCTXYQWV", strict=True)),
    **dict(zip("аеѕіјорсхуԛѵһԁ", "aesijopcxyqvhd", strict=True)),
    **dict(zip("ΑΒΕΖΗΙΚΜΝΟΡΤΥΧοινρκυ", "ABEZHIKMNOPTYXoivpku", strict=True)),
}


def looks_like(id: str) -> str:
    """What an id looks like: the same for two that are taken for one another on a piece.

    Accents and forms of a letter are dropped, Cyrillic and Greek letters stand for the Latin ones
    they look like, O for 0, and I and l for 1; capitals count no more.
    """
    marks = (c for c in unicodedata.normalize("NFKD", id) if not unicodedata.combining(c))
    return "".join({"O": "0", "o": "0", "I": "1", "l": "1"}.get(c, c)
                   for c in (_LOOKS.get(c, c) for c in marks)).casefold()  # fmt: skip


def file_name(id: str) -> str:
    """An id as part of a file name, the same on every system."""
    return "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "_" for c in id)


def trouble(name: str) -> str:
    """What keeps a name from being that of a file or folder on some system; "" for nothing."""
    if not name or name.strip(".") == "":
        return "it names a folder above"
    if name.startswith("."):
        return "it begins with a dot"
    if any(c in '/\\:*?"<>|' for c in name):
        return 'it holds one of / \\ : * ? " < > |'
    if any(unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp") for c in name):
        return "it holds a control character"
    if name[-1] in ". " or name[0] == " ":
        return "it ends in a dot or begins or ends in a space, which Windows drops"
    if _DEVICE.fullmatch(name):
        return "it is the name of a device on Windows"
    if len(name.encode()) > _LONGEST:
        return f"it is longer than {_LONGEST} bytes"
    return ""


def folder_name(name: str) -> str:
    """The name, fit to be that of a folder inside another.

    Raises:
        OutputError: it leads elsewhere, or cannot be the name of a folder on every system.
    """
    if why := trouble(name):
        raise OutputError(
            error(
                "bad-folder-name",
                f"{name[:60]!r} cannot be the name of a folder: {why}",
                "use letters, digits, - . _ and +",
            )
        )
    return name
