"""Scenes as DXF: what a cutter, plotter or CAD program reads at 1:1.

Profiles:
    modern: R2010 (AC1024), closed LWPOLYLINE, $INSUNITS 4 (millimetres), $MEASUREMENT 1.
    legacy: R12 (AC1009), closed POLYLINE, ASCII text only; R12 has no unit, so the words and the
        reference line carry it.

Each role has its own layer, its words lie on the layer of the same name with `_TEXT`, fills are
left out. A cut that is open, touches itself, repeats a point or holds nan is refused: the file
must be right or not be.
"""

from __future__ import annotations

import io
import logging
import unicodedata

import numpy as np
import shapely

from plybook.drawing.letters import baseline_start_mm, clean_text, safe_text
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.style import STROKES, dxf_layer, stroke_of, text_layer
from plybook.write.numbers import NotDrawable

MILLIMETRES = 4  # $INSUNITS, Autodesk DXF reference
METRIC = 1  # $MEASUREMENT
REFERENCE_MM = 100.0
DECIMALS = 4
CUTS = (Role.CUT_INNER, Role.CUT)
_ASCII = str.maketrans({"\u2212": "-", "\u2013": "-", "\u2014": "-", "\u00b7": "-", "\u00d7": "x",
                        "\u00b0": "\x00d", "\u00b1": "\x00p", "\u2264": "<=", "\u2265": ">=",
                        "\u2192": "->", "\u2026": "...", "\u00b2": "2", "\u00b3": "3",
                        "\u00d8": "\x00c"})  # fmt: skip


def dxf_bytes(scene: Scene, legacy: bool = False) -> bytes:
    """A scene as a DXF file at 1:1 in millimetres.

    Args:
        scene: drawn 1:1; its coordinates are written as they are.
        legacy: write R12 for old controllers.

    Raises:
        NotDrawable: a coordinate is not finite, or a cut is not one simple closed ring.
    """
    from plybook.write.dxf_library import ezdxf, options

    refuse_bad_cuts(scene)
    logging.getLogger("ezdxf").addHandler(logging.NullHandler())  # it talks of R12 having no unit
    former = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no times, no random ids
    try:
        doc = ezdxf.new("R12" if legacy else "R2010", setup=["linetypes"], units=MILLIMETRES)
        doc.header["$MEASUREMENT"] = METRIC
        doc.header["$LTSCALE"] = 1.0
        if not legacy:
            for name, value in scene.facts:
                doc.header.custom_vars.append(name, _coded(safe_text(value)))
        _set_layers(doc, scene)
        space = doc.modelspace()
        order = {role: k for k, role in enumerate(CUTS)}  # inner cuts before the outline
        for item in sorted(scene.items, key=lambda item: order.get(item.role, -1)):
            _add(space, item, legacy)
        _add_reference(space, scene, legacy)
        x0, y0, x1, y1 = scene.window_mm
        space.reset_extents((x0, y0, 0.0), (x1, y1, 0.0))
        faults = doc.audit().errors
        if faults:
            raise NotDrawable(f"the DXF library found fault: {faults[0].message}")
        for kind in sorted(doc.entitydb.dxf_types_in_use()):  # else in the order of hashes
            doc.classes.add_class(kind)
        text = io.StringIO()
        doc.write(text)
    finally:
        options.write_fixed_meta_data_for_testing = former
    return text.getvalue().encode("ascii" if legacy else "utf-8", errors="strict")


def refuse_bad_cuts(scene: Scene) -> None:
    """Check every coordinate, and that each cut is one simple closed ring drawn once.

    Raises:
        NotDrawable: with the role, tag and place of the fault.
    """
    seen: set[tuple[Role, bytes]] = set()
    for item in scene.items:
        if isinstance(item, Path):
            points = np.asarray(item.points_mm, dtype=float)
        elif isinstance(item, Circle):
            points = np.array([(*item.centre_mm, item.radius_mm)])
            if not item.radius_mm > 0:
                raise NotDrawable(f"a circle of radius {item.radius_mm} on {item.role}")
        else:
            points = np.array([(*item.at_mm, item.height_mm, item.turn_deg)])
        if not np.isfinite(points).all():
            raise NotDrawable(
                f"a coordinate on {item.role} {getattr(item, 'tag', '')} is not finite"
            )
        if item.role in CUTS and isinstance(item, Path):
            _refuse_bad_ring(item, points)
            key = (item.role, np.round(points, DECIMALS).tobytes())
            if key in seen:
                raise NotDrawable(f"the cut of {item.tag} is drawn twice")
            seen.add(key)


def _refuse_bad_ring(item: Path, points: np.ndarray) -> None:
    if not item.closed:
        raise NotDrawable(f"the cut of {item.tag} is open")
    rounded = np.round(points, DECIMALS)
    if len(rounded) < 3 or (rounded == np.roll(rounded, 1, axis=0)).all(axis=1).any():
        raise NotDrawable(f"the cut of {item.tag} repeats a point or has fewer than three")
    ring = shapely.Polygon(rounded)
    if not ring.is_valid:
        raise NotDrawable(f"the cut of {item.tag}: {shapely.is_valid_reason(ring)}")


def dxf_text(words: str, legacy: bool = False) -> str:
    """Words that a DXF reader shows as they were meant.

    Legacy files are plain ASCII with codes for degree, plus-minus, diameter.
    """
    return _coded(clean_text(words), legacy)


def _coded(shown: str, legacy: bool = False) -> str:
    """Text without what DXF takes for a code: %% starts one, ^ a control character and \\U+ or
    \\M+ a coded character; each is broken up or escaped."""
    while "%%" in shown:
        shown = shown.replace("%%", "% %")
    shown = shown.replace("^", "^ ").replace("\\", "/")
    if not legacy:
        return shown
    shown = unicodedata.normalize("NFKD", shown.translate(_ASCII))
    plain = "".join(c if c < "\x7f" else "?" for c in shown if not unicodedata.combining(c))
    return plain.replace("\x00", "%%")


def _set_layers(doc, scene: Scene) -> None:
    doc.styles.add("PLYBOOK", font="SourceSansPro-Regular.ttf")
    roles = list(dict.fromkeys(item.role for item in scene.items if _is_written(item)))
    for role in [*roles, Role.REGISTRATION]:
        stroke = STROKES[role]
        for name in (dxf_layer(role), text_layer(role)):
            if name in doc.layers:
                continue
            line = stroke.linetype if stroke.linetype in doc.linetypes else "CONTINUOUS"
            layer = doc.layers.add(name, color=stroke.aci, linetype=line)
            if doc.dxfversion > "AC1009":
                layer.dxf.lineweight = round(stroke.width_mm * 100)


def _is_written(item: Primitive) -> bool:
    return isinstance(item, Text) or stroke_of(item.role).width_mm > 0


def _add(space, item: Primitive, legacy: bool) -> None:
    if not _is_written(item):
        return
    layer = dxf_layer(item.role)
    if isinstance(item, Path):
        points = [(round(x, DECIMALS), round(y, DECIMALS)) for x, y in item.points_mm.tolist()]
        if len(points) < 2:
            return
        if legacy:
            space.add_polyline2d(points, close=item.closed, dxfattribs={"layer": layer})
        elif len(points) == 2 and not item.closed:
            space.add_line(*points, dxfattribs={"layer": layer})
        else:
            space.add_lwpolyline(points, close=item.closed, dxfattribs={"layer": layer})
    elif isinstance(item, Circle):
        x, y = item.centre_mm
        space.add_circle((round(x, DECIMALS), round(y, DECIMALS)),
                         round(item.radius_mm, DECIMALS), dxfattribs={"layer": layer})  # fmt: skip
    else:
        _add_text(space, item, legacy)


def _add_text(space, item: Text, legacy: bool) -> None:
    from plybook.write.dxf_library import TextEntityAlignment as Align

    words = dxf_text(item.text, legacy)
    if not words.strip():
        return
    turn = np.radians(item.turn_deg)
    _, rise = baseline_start_mm(item)
    x = round(item.at_mm[0] - rise * np.sin(turn), DECIMALS)
    y = round(item.at_mm[1] + rise * np.cos(turn), DECIMALS)
    text = space.add_text(
        words,
        height=item.height_mm,
        rotation=item.turn_deg,
        dxfattribs={"layer": text_layer(item.role), "style": "PLYBOOK"},
    )
    align = {"start": Align.LEFT, "middle": Align.CENTER, "end": Align.RIGHT}[item.anchor]
    text.set_placement((x, y), align=align)


def _add_reference(space, scene: Scene, legacy: bool) -> None:
    """A line exactly 100 mm long under the drawing, to prove the size after import."""
    x, y = round(scene.window_mm[0] + 2.0, 1), round(scene.window_mm[1] - 6.0, 1)
    strokes = (((0, 0), (REFERENCE_MM, 0)), ((0, -1.5), (0, 1.5)),
               ((REFERENCE_MM, -1.5), (REFERENCE_MM, 1.5)))  # fmt: skip
    items: list[Primitive] = [Path(Role.REGISTRATION, np.array(s) + (x, y)) for s in strokes]
    words = "100 mm when the size is right"
    items.append(Text(Role.REGISTRATION, (x + 2.0, y + 1.2), words, 2.5))
    for item in items:
        _add(space, item, legacy)
