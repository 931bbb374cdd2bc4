"""The stacks of a part's zones: in plain words, and side by side as a picture.

Terms:
    run: layers of one zone that lie on one another and are of one material at one angle; they are
        told together with their number.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

import numpy as np

from plybook.drawing.letters import clean_text, fitted
from plybook.drawing.rosette import show_angle
from plybook.drawing.scene import Path, Primitive, Role, Scene, Text
from plybook.drawing.sectionview import TINT
from plybook.drawing.style import NOTE_MM
from plybook.laminate.model import LaidLayer, Zone

WIDTH_MM = 180.0
MOST_ZONES, MOST_LAYERS = 12, 48  # in one picture, so that names of zones stand apart
_WORDS_MM, _ROW_MM, _FOOT_MM = 84.0, 4.2, 7.0
_WIDEST_MM = 12.0  # a column


def stack_words(zone: Zone, layers: Mapping[str, LaidLayer]) -> str:
    """A stack from the mould face up: "A1 +45°, U1 to U4 4 × 0°, C core, B1 -45°"."""
    said = []
    for _, same in groupby((layers[id] for id in zone.layers), key=_alike):
        run = list(same)
        ids = f"{' and ' if len(run) == 2 else ' to '}".join(dict.fromkeys([run[0].id, run[-1].id]))
        many = f"{len(run)} × " if len(run) > 1 else ""
        said.append(f"{ids} {many}{_what(run[0])}")
    return ", ".join(said)


def _alike(layer: LaidLayer) -> tuple[str, str, float]:
    return layer.kind, layer.material, layer.angle_deg


def _what(layer: LaidLayer) -> str:
    return show_angle(layer.angle_deg) if layer.kind == "ply" else layer.kind


def stack_pictures(
    zones: Sequence[Zone], layers: Sequence[LaidLayer], names: Mapping[str, str]
) -> Iterator[Scene]:
    """All layers one over another, first laid at the bottom, and which of them each zone has.

    Args:
        zones: of the laminate; at most `MOST_ZONES` stand in one picture.
        layers: as laid; layers that no zone has are left out. None is drawn of more than
            `MOST_LAYERS`.
        names: of the materials.

    Returns:
        Scenes of 180 mm in paper millimetres.
    """
    held = {id for zone in zones for id in zone.layers}
    rows = [layer for layer in layers if layer.id in held]
    if not rows or len(rows) > MOST_LAYERS:
        return
    for start in range(0, len(zones), MOST_ZONES):
        yield _picture(zones[start : start + MOST_ZONES], rows, names)


def _picture(
    zones: Sequence[Zone], rows: Sequence[LaidLayer], names: Mapping[str, str]
) -> Scene:
    wide = min(_WIDEST_MM, (WIDTH_MM - _WORDS_MM) / len(zones))
    high = _FOOT_MM + _ROW_MM * len(rows)
    right = _WORDS_MM + wide * len(zones)
    items: list[Primitive] = [Path(Role.FACE, np.array([(_WORDS_MM, _FOOT_MM), (right, _FOOT_MM)]))]
    for k, layer in enumerate(rows):
        y = _FOOT_MM + _ROW_MM * k
        said = f"{layer.id}  {_what(layer)}  {names.get(layer.material, layer.material)}"
        text = fitted(clean_text(said), _WORDS_MM - 2.0, NOTE_MM)
        items.append(Text(Role.TEXT, (0.0, y + _ROW_MM / 2), text, NOTE_MM, rise="centre"))
        for column, zone in enumerate(zones):
            if layer.id in zone.layers:
                x = _WORDS_MM + wide * column
                ring = [(x + 0.6, y), (x + wide - 0.6, y), (x + wide - 0.6, y + _ROW_MM),
                        (x + 0.6, y + _ROW_MM)]  # fmt: skip
                fill = TINT.get(layer.kind, "ply")
                items.append(Path(Role.DIMENSION, np.array(ring), True, fill))
    items += [
        Text(Role.TEXT, (_WORDS_MM + wide * (k + 0.5), 2.0), zone.label, NOTE_MM, anchor="middle",
             bold=True)
        for k, zone in enumerate(zones)
    ]  # fmt: skip
    items.append(Text(Role.TEXT, (0.0, 2.0), "mould face", NOTE_MM))
    return Scene(tuple(items), (0.0, 0.0, WIDTH_MM, high), "The stacks of the zones")
