"""DXF files as programs write them, read by tags and held against what ezdxf reads in them."""

import io
import math
import random

import ezdxf
import numpy as np
import pytest
from ezdxf import path

from plybook.geometry.rings import signed_area_mm2
from plybook.spec.dxf_entities import DxfFile
from tests.spec.goods import faults, read
from tests.spec.test_drawings import DRAWN, ON, PLATE, drawing, loose, ring

VERSIONS = ["R12", "R2000", "R2004", "R2007", "R2010", "R2018"]
MIRRORED = {"extrusion": (0, 0, -1)}
IN_MM = DRAWN.replace("layer: PLATE", "layer: PLATE, dxf_units: mm")  # R12 has no unit
ENDS = {"LF": "\n", "CRLF": "\r\n", "CR": "\r"}


def written(draw, version="R2010", **header):
    made = ezdxf.new(version, units=4)
    for name, value in header.items():
        made.header[f"${name}"] = value
    draw(made)
    out = io.StringIO()
    made.write(out)
    return out.getvalue(), made


def bulged(rng, turn=1):
    corners = [(turn * x, y) for x, y in PLATE]
    return [(x, y, rng.choice([0, 0.3, -0.2])) for x, y in corners]


# one closed shape each; `on` are the attributes of every entity
SHAPES = {
    "lightweight": lambda s, rng: s.add_lwpolyline(
        bulged(rng), format="xyb", close=True, dxfattribs=ON),
    "lightweight with widths": lambda s, rng: s.add_lwpolyline(
        [(x, y, 2, 3, b) for x, y, b in bulged(rng)], format="xyseb", close=True, dxfattribs=ON),
    "lightweight, mirrored": lambda s, rng: s.add_lwpolyline(
        bulged(rng, -1), format="xyb", close=True, dxfattribs=ON | MIRRORED),
    "polyline": lambda s, rng: s.add_polyline2d(
        bulged(rng), format="xyb", close=True, dxfattribs=ON),
    "polyline, mirrored": lambda s, rng: s.add_polyline2d(
        bulged(rng, -1), format="xyb", close=True, dxfattribs=ON | MIRRORED),
    "polyline in space": lambda s, rng: s.add_polyline3d(
        [(*p, 5) for p in PLATE], close=True, dxfattribs=ON),
    "circle": lambda s, rng: s.add_circle((70, 60), 40, dxfattribs=ON),
    "circle, mirrored": lambda s, rng: s.add_circle((-70, 60), 40, dxfattribs=ON | MIRRORED),
    "arcs and lines": lambda s, rng: (
        s.add_arc((100, 25), 25, -90, 90, dxfattribs=ON),
        s.add_arc((100, 25), 25, 90, 270, dxfattribs=ON)),
    "arcs, mirrored": lambda s, rng: (
        s.add_arc((-100, 25), 25, 90, 270, dxfattribs=ON | MIRRORED),
        s.add_line((100, 50), (20, 50), dxfattribs=ON),
        s.add_line((20, 0), (100, 0), dxfattribs=ON),
        s.add_line((20, 50), (20, 0), dxfattribs=ON | MIRRORED)),
}  # fmt: skip


def by_ezdxf(made):
    """The area that the entities of the model enclose, as ezdxf follows them, mm2."""
    lines = [np.array([(v.x, v.y) for v in path.make_path(entity).flattening(0.001)])
             for entity in made.modelspace()]  # fmt: skip
    whole = lines.pop(0)
    while lines:
        at = [min(math.dist(whole[-1], line[0]), math.dist(whole[-1], line[-1])) for line in lines]
        line = lines.pop(int(np.argmin(at)))
        turned = math.dist(whole[-1], line[0]) > math.dist(whole[-1], line[-1])
        whole = np.vstack([whole, (line[::-1] if turned else line)[1:]])
    return abs(signed_area_mm2(whole[:-1])), whole.min(axis=0), whole.max(axis=0)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("version", VERSIONS)
def test_shapes_of_every_version_are_read_as_ezdxf_reads_them(version, shape):
    if version == "R12" and shape.startswith("lightweight"):
        version = "R2000"  # R12 has none
    rng = random.Random(shape)
    text, made = written(lambda d: SHAPES[shape](d.modelspace(), rng), version)
    outline = read(IN_MM, plate_dxf=text).specs[0].mould.ring_mm
    area, low, high = by_ezdxf(made)
    around = 2 * np.ptp(outline, axis=0).sum()
    assert abs(signed_area_mm2(outline) - area) < 0.01 * around  # chords are within 0.01 mm
    assert np.abs(outline.min(axis=0) - low).max() < 0.02
    assert np.abs(outline.max(axis=0) - high).max() < 0.02


@pytest.mark.parametrize("ends", ENDS)
@pytest.mark.parametrize("remarks", [False, True])
def test_line_ends_and_remarks_do_not_matter(ends, remarks):
    text = drawing(lambda s: ring(s))
    lines = text.rstrip("\n").split("\n")
    if remarks:
        lines = [row for code, value in zip(lines[::2], lines[1::2], strict=True)
                 for row in ("999", "  0", code, value)]  # fmt: skip
    data = ENDS[ends].join([*lines, ""]).encode()
    for content in (data, b"\xef\xbb\xbf" + data, data + b"\n\n"):
        outline = read(DRAWN, plate_dxf=content).specs[0].mould.ring_mm
        assert np.array_equal(outline, np.array(PLATE, float))


def test_what_lies_in_blocks_and_on_paper_is_not_the_outline():
    def draw(made):
        space = made.modelspace()
        ring(space)
        block = made.blocks.new("PART")
        ring(block, [(0, 0), (900, 0), (900, 900)])
        made.layout("Layout1").add_circle((0, 0), 5000, dxfattribs=ON)

    for version in ("R2000", "R2018"):
        text, _ = written(draw, version)
        assert np.ptp(read(DRAWN, plate_dxf=text).specs[0].mould.ring_mm) == 300
    text, _ = written(lambda made: (draw(made), made.modelspace().add_blockref(
        "PART", (0, 0), dxfattribs=ON)))  # fmt: skip
    (told,) = (f for f in read(DRAWN, plate_dxf=text).findings if f.code == "left-out")
    assert "INSERT" in told.message


def test_meshes_and_frames_of_splines_are_not_outlines():
    def draw(made):
        space = made.modelspace()
        curve = space.add_polyline2d(PLATE, close=True, dxfattribs=ON | {"flags": 5})
        curve.append_vertices([(900, 900)], dxfattribs={"flags": 16})
        space.add_polymesh((3, 3), dxfattribs=ON)

    made = read(DRAWN, plate_dxf=written(draw)[0])
    assert np.array_equal(made.specs[0].mould.ring_mm, np.array(PLATE, float))
    assert any("mesh" in f.message for f in made.findings)


@pytest.mark.parametrize(
    ("version", "page", "name"),
    [("R2000", "ANSI_1252", "Größe"), ("R2000", "ANSI_1251", "Деталь"), ("R12", "ANSI_1252", "é"),
     ("R2000", "ANSI_1252", "Деталь"), ("R2018", "ANSI_1252", "部品 °"),
     ("R2000", "ANSI_932", "部品")],
)  # fmt: skip
def test_names_of_layers_are_read_in_the_encoding_of_the_file(version, page, name):
    made = ezdxf.new(version, units=4)
    made.encoding = {"ANSI_1252": "cp1252", "ANSI_1251": "cp1251", "ANSI_932": "cp932"}[page]
    made.modelspace().add_polyline2d(PLATE, close=True, dxfattribs={"layer": name})
    out = io.BytesIO()
    stream = io.TextIOWrapper(out, encoding=made.output_encoding, errors="dxfreplace", newline="\n")
    made.write(stream)
    stream.flush()
    spec = IN_MM.replace("layer: PLATE", f"layer: {name}")
    assert len(read(spec, plate_dxf=out.getvalue()).specs[0].mould.ring_mm) == 4


def test_layers_that_are_there_are_named():
    def draw(made):
        for n in range(3000):
            made.modelspace().add_point((0, n), dxfattribs={"layer": f"L{n}"})
        ring(made.modelspace())

    text, _ = written(draw)
    assert len(read(DRAWN, plate_dxf=text).specs[0].mould.ring_mm) == 4
    (found,) = faults(DRAWN.replace("layer: PLATE", "layer: NONE"), plate_dxf=text)
    assert found.code == "unknown-drawing-layer" and "L0" in found.help


def lines_of(*pairs):
    return "".join(f"{code:3d}\n{value}\n" for code, value in pairs)


HEAD = lines_of((0, "SECTION"), (2, "HEADER"), (9, "$INSUNITS"), (70, 4), (0, "ENDSEC"),
                (0, "SECTION"), (2, "ENTITIES"))  # fmt: skip
TAIL = lines_of((0, "ENDSEC"), (0, "EOF"))
AT = ((10, 50), (20, 50))


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (lines_of((0, "CIRCLE"), (8, "PLATE"), *AT, (40, 0)), "without a radius"),
        (lines_of((0, "CIRCLE"), (8, "PLATE"), *AT, (40, -5)), "without a radius"),
        (lines_of((0, "CIRCLE"), (8, "PLATE"), *AT), "without its group 40 near line 15"),
        (lines_of((0, "LINE"), (8, "PLATE"), *AT), "without its group 11"),
        (lines_of((0, "LINE"), (8, "PLATE"), (10, "1_0")), "no number near line 20"),
        (lines_of((0, "ARC"), (8, "PLATE"), (210, "nan")), "no number"),
        (lines_of((0, "LWPOLYLINE"), (8, "PLATE"), (70, "nan")), "no number"),
        (lines_of((0, "LWPOLYLINE"), (8, "PLATE"), (70, 1.5)), "no whole number"),
        (lines_of((0, "LWPOLYLINE"), (8, "PLATE"), (70, 1), (10, 5), (10, 6)), "no number"),
        (lines_of((0, "CIRCLE"), (8, "PLATE"), *AT, (40, 1e14)), "large"),
        (lines_of((0, "CIRCLE"), (8, "PLATE"), *AT, (40, 1e308)), "beyond all measure"),
        (lines_of((0, "ARC"), (8, "PLATE"), *AT, (40, 5), (50, "inf"), (51, 0)), "beyond all"),
        (lines_of((0, "LWPOLYLINE"), (8, "PLATE"), (70, 1), *AT, *AT, *AT), "smaller than"),
        ("once\nmore\n", "no number near line 15"),
        (lines_of((0, "POLYLINE"), (8, "PLATE"), (0, "VERTEX"), (10, 5)), "without its group 20"),
    ],
)
def test_drawings_with_holes_in_them_are_refused_with_the_line(body, words):
    (found,) = faults(DRAWN, plate_dxf=HEAD + body + TAIL)
    assert words in found.message


def test_large_drawings_are_refused_before_their_outlines_are_made():
    (found,) = faults(DRAWN, plate_dxf=drawing(lambda s: loose(s, 20_100)))
    assert found.code == "too-many" and "more than 20000 points" in found.message
    many = HEAD + lines_of((0, "POINT"), (8, "A")) * 500_100 + TAIL
    (found,) = faults(DRAWN, plate_dxf=many)
    assert "--limit drawing-entities" in found.help
    circles = HEAD + lines_of((0, "CIRCLE"), (8, "PLATE"), *AT, (40, 1)) * 402 + TAIL
    (found,) = faults(DRAWN, plate_dxf=circles)
    assert "--limit holes" in found.help
    one = HEAD + lines_of((0, "LWPOLYLINE"), (8, "PLATE")) + lines_of(*AT) * 500_000 + TAIL
    (found,) = faults(DRAWN, plate_dxf=one)
    assert "more than 200000 points" in found.message


def test_what_comes_after_the_end_is_not_read():
    text = HEAD + TAIL + lines_of((0, "SECTION"), (2, "ENTITIES"), (0, "LINE")) + "  0\nEOF\n"
    assert DxfFile(text.encode()).unit == 4
    assert list(DxfFile(text.encode()).on("PLATE", 10, 10)) == []
