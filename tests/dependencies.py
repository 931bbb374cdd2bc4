"""What an installation is made of: a check of floors and licences, and a bill of materials.

Run: python -m tests.dependencies [--bill FILE]

Everything is read from the metadata of what is installed (importlib.metadata); no network. The bill
is CycloneDX 1.6 in JSON. It has no time and no random serial number, so that the same installation
gives the same bytes; `serialNumber` and `metadata.timestamp` are optional there.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement

ROOT = "plybook"
# identifiers of the SPDX licence list; each lets a program that is sold or given away be made of it
ALLOWED = frozenset({
    "0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "HPND", "MIT", "MIT-CMU",
    "OFL-1.1", "PSF-2.0", "Zlib",
})  # fmt: skip
# what packages say in words, where they name no identifier
_WORDS = (
    (r"\bMIT\b", "MIT"),
    (r"apache(-| software license|.*2\.0)", "Apache-2.0"),
    (r"\bBSD\b", "BSD-3-Clause"),
    (r"\bOFL\b|open font", "OFL-1.1"),
)


@dataclass(frozen=True)
class Told:
    """A licence that a package's metadata does not name: read by a person, and where."""

    licence: str
    file: str  # inside the package's dist-info
    words: str  # that the file must hold


TOLD = {"spyrrow": Told("MIT", "licenses/LICENSE.txt", "MIT License")}


def key(name: str) -> str:
    """The one spelling of a package's name (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def needed(package: metadata.Distribution) -> list[Requirement]:
    """What a package cannot run without on this machine."""
    wants = [Requirement(text) for text in package.requires or []]
    return [w for w in wants if w.marker is None or w.marker.evaluate({"extra": ""})]


def installed(root: str = ROOT) -> dict[str, metadata.Distribution]:
    """The package and all it needs, by key, in the order of their keys."""
    found: dict[str, metadata.Distribution] = {}
    waiting = [root]
    while waiting:
        name = waiting.pop()
        if key(name) not in found:
            found[key(name)] = metadata.distribution(name)
            waiting += [want.name for want in needed(found[key(name)])]
    return dict(sorted(found.items()))


def licence(package: metadata.Distribution) -> str:
    """The SPDX expression of a package's licence, "" where it cannot be told."""
    facts = package.metadata
    if expression := facts.get("License-Expression"):
        return expression
    told = TOLD.get(key(facts["Name"]))
    if told is not None:
        text = package.read_text(told.file) or ""
        return told.licence if told.words in text else ""
    for said in (*_classifiers(package), (facts.get("License") or "").partition("\n")[0]):
        for pattern, identifier in _WORDS:
            if re.search(pattern, said, re.IGNORECASE):
                return identifier
    return ""


def _classifiers(package: metadata.Distribution) -> list[str]:
    said = package.metadata.get_all("Classifier") or []
    return [one for one in said if one.startswith("License ::")]


def identifiers(expression: str) -> set[str]:
    """The licences of an SPDX expression."""
    return set(re.findall(r"[A-Za-z0-9.+-]+", expression)) - {"AND", "OR", "WITH"}


def faults(packages: Mapping[str, metadata.Distribution]) -> Iterator[str]:
    """Packages older than what needs them allows, and licences that are not known or allowed."""
    for package in packages.values():
        for want in needed(package):
            have = packages[key(want.name)].version
            if not want.specifier.contains(have, prereleases=True):
                yield f"{want.name} {have} is installed; {package.metadata['Name']} wants {want}"
    for name, package in packages.items():
        if name == ROOT:
            continue
        said = licence(package)
        if not said:
            yield f"{name} does not tell its licence: read it and name it in TOLD"
        elif strange := identifiers(said) - ALLOWED:
            yield f"{name} is under {', '.join(sorted(strange))}, which is not in ALLOWED"


def bill(packages: Mapping[str, metadata.Distribution]) -> dict[str, Any]:
    """The bill of materials as data."""
    root = packages[ROOT]
    return {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {"component": _component(root, "application")},
        "components": [_component(p, "library") for k, p in packages.items() if k != ROOT],
        "dependencies": [
            {"ref": _purl(package),
             "dependsOn": sorted({_purl(packages[key(w.name)]) for w in needed(package)})}
            for package in packages.values()
        ],
    }  # fmt: skip


def _component(package: metadata.Distribution, kind: str) -> dict[str, Any]:
    facts = package.metadata
    made: dict[str, Any] = {
        "type": kind,
        "bom-ref": _purl(package),
        "name": facts["Name"],
        "version": package.version,
        "purl": _purl(package),
    }
    if facts.get("Summary"):
        made["description"] = facts["Summary"]
    if said := licence(package):
        one = len(identifiers(said)) == 1
        made["licenses"] = [{"license": {"id": said}}] if one else [{"expression": said}]
    if inner := _inner(package):
        made["components"] = inner
    return made


def _inner(package: metadata.Distribution) -> list[dict[str, Any]]:
    """What is compiled into a package, by the bills it carries (PEP 770)."""
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for file in package.files or []:
        if file.parent.name == "sboms" and file.name.endswith(".json"):
            for part in json.loads(file.read_text(encoding="utf-8")).get("components", []):
                kept = {k: part[k] for k in ("type", "name", "version", "purl", "licenses")
                        if k in part}  # fmt: skip
                found.setdefault((part["name"], part.get("version", "")), kept)
    return [found[name] for name in sorted(found)]


def _purl(package: metadata.Distribution) -> str:
    return f"pkg:pypi/{key(package.metadata['Name'])}@{package.version}"


def as_bytes(content: Mapping[str, Any]) -> bytes:
    return json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False).encode() + b"\n"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--bill", type=Path, metavar="FILE", help="write the bill of materials")
    arguments = parser.parse_args()
    packages = installed()
    found = list(faults(packages))
    for name, package in packages.items():
        print(f"{name:24s} {package.version:10s} {licence(package) or '-'}")
    for fault in found:
        print("FAULT ", fault)
    if arguments.bill:
        arguments.bill.write_bytes(as_bytes(bill(packages)))
    return bool(found)


if __name__ == "__main__":
    sys.exit(main())
