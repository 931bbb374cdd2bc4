"""What may stand in a DXF drawing; anything else is a fault.

Group codes after the DXF reference. Geometry stands in the section of entities alone; each entity
has the codes below and no others, so that nothing lifts, turns, hides, widens or colours it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from functools import cache

import numpy as np

from plybook.verify.allowed_svg import look_of
from plybook.verify.dxf_tags import Tags, groups, read_dxf, sections

_ANY, _HANDLE, _NUMBER = ".*", "[0-9A-F]+", r"-?\d+(?:\.\d+)?(?:e-\d+)?"
_ZERO, _LAYER, _FLAG = r"0\.0", "[A-Z0-9_]+", "[01]"
_OWNER = {5: _HANDLE, 330: _HANDLE, 8: _LAYER}

# entity -> group code -> what it may be; VERTICES may stand more than once, LEFT_OUT not at all
ENTITIES: dict[str, dict[int, str]] = {
    "LINE": {**_OWNER, 100: "AcDbEntity|AcDbLine", 10: _NUMBER, 20: _NUMBER, 30: _ZERO,
             11: _NUMBER, 21: _NUMBER, 31: _ZERO},
    "LWPOLYLINE": {**_OWNER, 100: "AcDbEntity|AcDbPolyline", 90: r"\d+", 70: _FLAG,
                   10: _NUMBER, 20: _NUMBER},
    "CIRCLE": {**_OWNER, 100: "AcDbEntity|AcDbCircle", 10: _NUMBER, 20: _NUMBER, 30: _ZERO,
               40: _NUMBER},
    "TEXT": {**_OWNER, 100: "AcDbEntity|AcDbText", 10: _NUMBER, 20: _NUMBER, 30: _ZERO,
             40: _NUMBER, 1: _ANY, 50: _NUMBER, 7: "PLYBOOK", 72: "[12]", 11: _NUMBER,
             21: _NUMBER, 31: _ZERO},
    "POLYLINE": {**_OWNER, 66: "1", 70: _FLAG, 10: _ZERO, 20: _ZERO, 30: _ZERO},
    "VERTEX": {**_OWNER, 70: "0", 10: _NUMBER, 20: _NUMBER, 30: _ZERO},
    "SEQEND": _OWNER,
}  # fmt: skip
VERTICES = {"LWPOLYLINE": (10, 20)}
LEFT_OUT = {"TEXT": (50, 72, 11, 21, 31, 330, 100)}  # a legacy file has no owners
_LEGACY = (330, 100)
LAYER: dict[int, str] = {
    5: _HANDLE, 330: _HANDLE, 100: "AcDbSymbolTableRecord|AcDbLayerTableRecord", 2: _LAYER,
    70: "0", 62: r"\d+", 6: "[A-Z]+", 370: r"\d+", 390: _HANDLE, 347: _HANDLE,
}  # fmt: skip
UNBROKEN = "CONTINUOUS"  # also where a file has no line type of a name
OF_THE_PROGRAM = ("0", "Defpoints")  # layers that every file has, with nothing on them
# header variables that say how large things are and what is drawn in what manner
HEADER: dict[str, str] = {
    "$ACADVER": "AC1024|AC1009", "$INSUNITS": "4", "$MEASUREMENT": "1", "$LTSCALE": r"1\.0",
    "$CELTSCALE": r"1\.0", "$CLAYER": "0", "$CECOLOR": "256", "$CELTYPE": "ByLayer",
    "$FILLMODE": "1", "$QTEXTMODE": "0", "$ANGBASE": r"0\.0", "$ANGDIR": "0", "$TILEMODE": "1",
}  # fmt: skip
STYLES = {"Standard": ("txt", "1.0"), "PLYBOOK": ("SourceSansPro-Regular.ttf", "1.0")}
SECTIONS = ("HEADER", "CLASSES", "TABLES", "BLOCKS", "ENTITIES", "OBJECTS")
_BLOCKS = re.compile(r"[*$](?:Model|Paper)_Space", re.IGNORECASE)
_COMPILED = {
    kind: {code: re.compile(value) for code, value in known.items()}
    for kind, known in {**ENTITIES, "LAYER": LAYER}.items()
}
_HANDLES = (5, 105, 320, 330, 340, 342, 347, 350, 360, 390)  # numbers that each file counts anew
# what the drawing's own content decides: its extent, layers, kinds of entities
_OWN_HEADER = re.compile(r"\$(EXT(MIN|MAX)|HANDSEED|CUSTOMPROPERTY(TAG)?)")
_OWN_GROUPS = ("LAYER", "APPID", "TABLE", "LAYOUT")


def strange_in_dxf(data: bytes) -> Iterator[str]:
    """What stands in a drawing that may not, or looks otherwise than its kind.

    Raises:
        ValueError: it cannot be read.
    """
    found = sections(data)
    for name in found:
        if name not in SECTIONS:
            yield f"a section {name}"
    header = read_dxf(data).header
    for name, value in HEADER.items():
        if name in header and not re.fullmatch(value, header[name]):
            yield f"{name} is {header[name]!r}"
    yield from _tables(found.get("TABLES", []))
    for group in groups(found.get("BLOCKS", [])):
        names = [value for code, value in group if code in (2, 3)]
        if group[0][1] not in ("BLOCK", "ENDBLK") or any(not _BLOCKS.fullmatch(n) for n in names):
            yield f"a block with {group[0][1]} {names[:1]}"
    yield from _entities(found.get("ENTITIES", []))


@cache
def furniture(data: bytes) -> dict[str, tuple]:
    """What the program that wrote a drawing says alike in each: everything but the drawing's own
    content and the numbers of its objects."""
    found = sections(data)
    said: dict[str, tuple] = {}
    header, name = [], ""
    for code, value in found.get("HEADER", []):
        name = value if code == 9 else name
        if not _OWN_HEADER.fullmatch(name):
            header.append((code, value))
    said["HEADER"] = tuple(header)
    for part in ("TABLES", "BLOCKS", "OBJECTS"):
        said[part] = tuple(
            tuple(tag for tag in group if tag[0] not in _HANDLES)
            for group in groups(found.get(part, []))
            if group[0][1] not in _OWN_GROUPS
        )
    return said


def _tables(tags: Tags) -> Iterator[str]:
    for group in groups(tags):
        kind, name = group[0][1], dict(group).get(2, "")
        if kind == "STYLE" and name not in STYLES:
            yield f"a style {name!r}"
        elif kind == "STYLE":
            say = dict(group)
            if (
                (say.get(3), say.get(41)) != STYLES[name]
                or say.get(71) != "0"
                or (say.get(50) != "0.0" or say.get(70) != "0" or say.get(4) != "")
            ):
                yield f"the style {name} of words changed"
        elif kind == "LAYER" and name in OF_THE_PROGRAM:
            pass
        elif kind == "LAYER":
            yield from _codes("LAYER", group)
            say, look = dict(group), look_of(name)
            if name.endswith("_TEXT") and look is None:
                look = look_of(name.removesuffix("_TEXT"))
            if look is None:
                yield f"a layer {name}"
            elif (
                say.get(62) != str(look.colour)
                or say.get(6) not in (look.linetype, UNBROKEN)
                or int(say.get(370, 100 * look.width_mm)) != round(100 * look.width_mm)
            ):
                yield f"layer {name} with another colour or line"


def _entities(tags: Tags) -> Iterator[str]:
    owners, handles, last = set(), Counter[str](), ""
    for group in groups(tags):
        kind = group[0][1]
        if kind not in ENTITIES:
            yield f"an entity {kind}"
            continue
        yield from _codes(kind, group)
        say = dict(group)
        owners.add(say.get(330, ""))
        handles[say.get(5, "")] += 1
        if kind in ("VERTEX", "SEQEND") and last not in ("POLYLINE", "VERTEX"):
            yield f"a {kind} that belongs to nothing"
        if kind == "TEXT" and 72 in say and (say.get(10), say.get(20)) != (
            say.get(11), say.get(21)
        ):  # fmt: skip
            yield "words with two places"
        last = kind
    if len(owners) > 1:
        yield "entities of several owners"
    if handles and max(handles.values()) > 1:
        yield "two entities with one handle"


def _codes(kind: str, group: Tags) -> Iterator[str]:
    """The codes of one group against its table."""
    known, often = _COMPILED[kind], VERTICES.get(kind, ())
    count: Counter[int] = Counter()
    for code, value in group[1:]:
        if code not in known or not known[code].fullmatch(value):
            yield f"{kind} with group code {code} {value[:40]!r}"
        count[code] += 1
    for code, times in count.items():
        if times > 1 and code not in often and code != 100:
            yield f"{kind} with group code {code} twice"
    left = LEFT_OUT.get(kind, _LEGACY)
    if kind != "LAYER" and any(code not in count and code not in left for code in known):
        yield f"{kind} without one of its group codes"


def outside_extent(data: bytes) -> bool:
    """Whether a point of the drawing lies outside the extent its header tells."""
    found = sections(data).get("HEADER", [])
    extent: dict[str, list[float]] = {}
    name = ""
    for code, value in found:
        name = value if code == 9 else name
        if code in (10, 20) and name in ("$EXTMIN", "$EXTMAX"):
            extent.setdefault(name, []).append(float(value))
    lines = [p.points for p in read_dxf(data).polylines if p.layer in ("CUT", "CUT_INNER")]
    if len(extent) != 2 or not lines:
        return len(extent) != 2
    points = np.concatenate(lines)
    low, high = np.array(extent["$EXTMIN"]), np.array(extent["$EXTMAX"])
    return bool((points < low - 1e-3).any() or (points > high + 1e-3).any())
