"""A part spec and the files it includes, read and held against the written models."""

from __future__ import annotations

import posixpath
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from plybook.diagnostics import Finding, Place, SpecError, error
from plybook.outside import Outside, sha256
from plybook.spec.limits import Limits
from plybook.spec.model import SourceFile
from plybook.spec.reader import VERSION, Fields, Items, Scalar, Spent, read_tree

if TYPE_CHECKING:  # the models cost 0.15 s to load
    from plybook.spec.written.files import PartFile, SharedFile


@dataclass
class Folder:
    """The folder of the spec: the only place files are read from."""

    root: Path
    outside: Outside
    limits: Limits
    spec: str = ""  # how places name the part spec
    files: list[SourceFile] = field(default_factory=list)
    read_already: dict[str, bytes] = field(default_factory=dict)

    def read(self, name: str, place: Place, limit: str = "data-bytes") -> bytes:
        """Read a file named in the spec, once.

        Raises:
            SpecError: the name leads out of the folder, or the file cannot be read.
        """
        if name in self.read_already:
            return self.read_already[name]
        path = self.resolve(name, place)
        try:
            content = self.outside.read(path, int(self.limits[limit]))
        except SpecError as problem:
            raise SpecError(
                Finding(
                    f.code, f.severity, f.message.replace(str(path), f"`{name}`"), f.help, (place,)
                )
                for f in problem.findings
            ) from None
        self.read_already[name] = content
        self.files.append(SourceFile(name, sha256(content)))
        if len(self.files) > self.limits["files"]:
            raise SpecError(
                error(
                    "too-many-files",
                    f"more than {self.limits['files']:.0f} files are read",
                    self.limits.why("files"),
                    place,
                )
            )
        return content

    def shown(self, name: str) -> str:
        """How places name a file of the folder."""
        return posixpath.join(posixpath.dirname(self.spec), name)

    def resolve(self, name: str, place: Place) -> Path:
        """The real path of a name, refused when it leads out of the spec's folder."""
        help = "write a path from the spec's folder, with `/` between folders"
        said = ""
        if re.match(r"[a-zA-Z][a-zA-Z0-9+.-]*:", name):
            said = "an address" if "//" in name else "a drive or an address"
        elif name.startswith("~"):
            said = "a home folder"
        elif name.startswith("\\\\") or name.startswith("//"):
            said = "a network path"
        elif name.startswith(("/", "\\")):
            said = "an absolute path"
        elif "\\" in name:
            said = "a backslash"
        if said:
            raise SpecError(error("outside-folder", f"`{name}` is or holds {said}", help, place))
        path = self.root / name
        real, root = self.outside.real(path), self.outside.real(self.root)
        if real != root and root not in real.parents:
            raise SpecError(
                error("outside-folder", f"`{name}` leads out of the spec's folder", help, place)
            )
        return path


@dataclass
class Gathered:
    """All files of one spec, as written. `shared` is in the order of inclusion, deepest first."""

    part: PartFile
    shared: tuple[SharedFile, ...]
    folder: Folder


def gather(path: Path, outside: Outside, limits: Limits) -> Gathered:
    """Read a part spec with its includes.

    Raises:
        SpecError: with every finding of every file.
    """
    shown = path.as_posix()
    folder = Folder(path.parent, outside, limits, spec=shown)
    content = outside.read(path, int(limits["spec-bytes"]))
    folder.files.append(SourceFile(path.name, sha256(content)))
    spent = Spent()
    tree = read_tree(content, shown, limits, spent)
    findings = _version(tree)
    if findings:
        raise SpecError(findings)

    from plybook.spec.check_written import check_written
    from plybook.spec.written.files import PartFile, SharedFile

    if "part" not in tree:
        raise SpecError(
            error(
                "no-part",
                "this file has no `part:`, so it is meant to be included",
                "name a file that has one, or add `part:`",
                Place(shown, 1, 1, 2),
            )
        )
    part_tree = tree["part"]
    units = part_tree.get("units") if isinstance(part_tree, Fields) else None
    units = str(units) if units in ("mm", "in") else None
    part, findings = check_written(PartFile, tree, units, limits)
    if units is None:  # said once, at part.units
        findings = [f for f in findings if f.code != "no-units"]

    shared: list[SharedFile] = []
    done: set[str] = {path.name}

    def include(names: list[Scalar], inside: str, trail: tuple[str, ...]) -> None:
        for raw in names:
            name = posixpath.normpath(posixpath.join(inside, str(raw))) if "\\" not in raw else raw
            if str(raw).startswith(("/", "~", "\\")) or ":" in raw:
                name = str(raw)
            if name in trail or name == path.name:
                findings.append(
                    error(
                        "include-loop",
                        f"`{raw}` includes itself in the end",
                        "take it out of one of the files",
                        raw.place,
                    )
                )
                continue
            if name in done:
                continue
            done.add(name)
            try:
                content = folder.read(str(name), raw.place, "spec-bytes")
                at = folder.shown(str(name))
                tree = read_tree(content, at, limits, spent)
            except SpecError as problem:
                findings.extend(problem.findings)
                continue
            if wrong := _version(tree):
                findings.extend(wrong)
                continue
            if "part" in tree:
                findings.append(
                    error(
                        "included-part",
                        f"`{raw}` is a part spec itself",
                        "include files without `part:` only",
                        raw.place,
                        tree.key_places["part"],
                    )
                )
                continue
            include(_names(tree), posixpath.dirname(str(name)), (*trail, str(name)))
            units = tree.get("units")
            written, found = check_written(
                SharedFile, tree, str(units) if units in ("mm", "in") else None, limits
            )
            findings.extend(found)
            if written is not None:
                shared.append(written)

    include(_names(tree), "", ())
    if findings or part is None:
        raise SpecError(findings)
    return Gathered(part, tuple(shared), folder)


def _names(tree: Fields) -> list[Scalar]:
    raw = tree.get("include")
    if isinstance(raw, Scalar) and not raw.empty:
        return [raw]
    return [one for one in raw if isinstance(one, Scalar)] if isinstance(raw, Items) else []


def _version(tree: Fields) -> list[Finding]:
    start = Place(tree.place.file, 1, 1, 2)
    version = tree.get("plybook")
    if version is None:
        return [
            error(
                "no-version",
                "the file does not say which version of the language it is in",
                f"add this as the first line: plybook: {VERSION}",
                start,
            )
        ]
    if isinstance(version, Scalar) and version != VERSION:
        place = version.place
        newer = re.fullmatch(r"[1-9][0-9]{0,8}", version) and int(version) > int(VERSION)
        help = "upgrade plybook to read this file" if newer else f"write plybook: {VERSION}"
        return [
            error(
                "wrong-version",
                f"the file is written for version `{version[:40]}`; this tool reads {VERSION}",
                help,
                place,
            )
        ]
    return []
