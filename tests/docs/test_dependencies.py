"""Floors and licences of what is installed, and the bill of materials by its published schema."""

import json
import re

import pytest

from tests import dependencies
from tests.dependencies import ALLOWED, as_bytes, bill, faults, identifiers, installed, licence


def test_what_is_installed_satisfies_every_floor_and_is_under_an_allowed_licence():
    assert list(faults(installed())) == []


def test_each_exception_is_still_needed_and_its_file_says_what_was_read():
    for name, told in dependencies.TOLD.items():
        package = installed()[name]
        assert not package.metadata.get("License-Expression") and told.licence in ALLOWED
        assert licence(package) == told.licence


class Made:
    """A package as its metadata would have it."""

    def __init__(self, name, version="1.0", requires=(), files=None, **facts):
        self.version, self.requires = version, list(requires)
        self.metadata, self.files = Facts({"Name": name, **facts}), files

    def read_text(self, name):
        return None


class Facts(dict):
    def get_all(self, name):
        return [self[name]] if name in self else None


@pytest.mark.parametrize(
    ("needs", "have", "facts", "words"),
    [
        ("lib>=2.1", "2.0", {"License-Expression": "MIT"}, "wants lib>=2.1"),
        ("lib", "2.0", {"License-Expression": "AGPL-3.0-only"}, "AGPL-3.0-only"),
        ("lib", "2.0", {"License-Expression": "MIT AND GPL-2.0-only"}, "GPL-2.0-only"),
        ("lib", "2.0", {}, "does not tell its licence"),
        ("lib", "2.0", {"License": "proprietary"}, "does not tell its licence"),
    ],
)
def test_an_old_library_or_a_licence_that_binds_is_found(needs, have, facts, words):
    packages = {"plybook": Made("plybook", requires=[needs]), "lib": Made("lib", have, **facts)}
    (fault,) = faults(packages)
    assert words in fault


def test_the_bill_has_what_the_schema_requires():
    """Required fields and patterns of the CycloneDX 1.6 JSON schema, `schema/bom-1.6.schema.json`
    of github.com/CycloneDX/specification (ECMA-424, Apache 2.0)."""
    content = json.loads(as_bytes(bill(installed())))
    assert (content["bomFormat"], content["specVersion"]) == ("CycloneDX", "1.6")
    assert type(content["version"]) is int and content["version"] >= 1
    kinds = {"application", "framework", "library"}
    parts = [content["metadata"]["component"], *content["components"]]
    refs = [part["bom-ref"] for part in parts]
    assert len(refs) == len(set(refs)) and all(refs)
    for part in parts:
        assert part["type"] in kinds and part["name"] and part["version"]
        assert re.fullmatch(r"pkg:pypi/[a-z0-9-]+@[0-9][^ ]*", part["purl"])
        for choice in part.get("licenses", []):
            ((name, value),) = choice.items()  # a licence or an expression, never both
            assert identifiers(value["id"] if name == "license" else value) <= ALLOWED
        for inner in part.get("components", []):
            assert inner["type"] in kinds and inner["name"]
    for row in content["dependencies"]:
        assert row["ref"] in refs and set(row["dependsOn"]) <= set(refs)
        assert len(row["dependsOn"]) == len(set(row["dependsOn"]))
    assert {row["ref"] for row in content["dependencies"]} == set(refs)


def test_the_same_installation_gives_the_same_bill():
    assert as_bytes(bill(installed())) == as_bytes(bill(installed()))
