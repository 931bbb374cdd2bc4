"""The rosette: where 0 degrees runs and which way angles count, on every drawing of a ply.

0 degrees runs along the reference axis from root to tip (to the right), angles count
counter-clockwise as seen looking at the mould face: the counter-clockwise ply-orientation clock
of ASTM D6507 / CMH-17. Angles repeat every half turn.
"""

from __future__ import annotations

import math

import numpy as np

from plybook.drawing.frame import arrow
from plybook.drawing.letters import text_box_mm
from plybook.drawing.scene import Circle, Path, Primitive, Rise, Role, Scene, Text

SIZE_MM = 29.0


def show_angle(angle_deg: float) -> str:
    """An angle as it is said at the bench: '+45°', '-45°', '0°', '90°'; within (-90, 90]."""
    folded = (angle_deg + 90.0) % 180.0 - 90.0
    if folded <= -90.0 + 1e-9:
        folded = 90.0
    text = f"{folded:.1f}".rstrip("0").rstrip(".")
    if text in ("0", "-0"):
        return "0°"
    return f"{text}°" if folded < 0 or text == "90" else f"+{text}°"


def rosette_items(
    centre: tuple[float, float], radius_mm: float, angle_deg: float | None
) -> tuple[Primitive, ...]:
    """The rosette around a point; the ply's own direction is a wide arrow with its angle."""
    cx, cy = centre
    out: list[Primitive] = [Circle(Role.DIMENSION, centre, radius_mm)]

    def at(turn_deg: float, share: float) -> np.ndarray:
        turn = math.radians(turn_deg)
        return np.array(
            [cx + share * radius_mm * math.cos(turn), cy + share * radius_mm * math.sin(turn)]
        )

    own = None if angle_deg is None else (angle_deg + 90.0) % 180.0 - 90.0
    if own is not None and own <= -90.0 + 1e-9:
        own = 90.0
    for turn in (0.0, 45.0, 90.0, -45.0):
        mine = own is not None and abs(own - turn) < 25.0  # no room for two labels
        out.append(Path(Role.DIMENSION, np.array([at(turn + 180, 1.0), at(turn, 1.0)])))
        if not mine:
            side = at(turn, 1.0)
            out.append(_label(side, turn, show_angle(turn), 2.5, False))
    if own is not None:
        out += arrow(at(own + 180, 1.0), at(own, 1.0), Role.HIGHLIGHT, 4.0, both=True)
        out.append(_label(at(own, 1.0), own, show_angle(own), 3.5, True))
    out.append(Circle(Role.DIMENSION, centre, 0.9, "ink"))
    # the turning sense, drawn as a short arc with a head between 0 and 30 degrees
    sweep = np.array([at(t, 0.62) for t in np.linspace(6, 34, 9)])
    out.append(Path(Role.DIMENSION, sweep))
    out += tuple(arrow(sweep[-2], sweep[-1], Role.DIMENSION, 1.6))[1:]
    out.append(
        Text(Role.TEXT, tuple(at(21, 0.36)), "+", 2.5, anchor="middle", rise="centre", halo=True)
    )
    return tuple(sorted(out, key=lambda item: isinstance(item, Text)))  # no line through a word


def _label(at: np.ndarray, turn_deg: float, text: str, height_mm: float, bold: bool) -> Text:
    turn = math.radians(turn_deg)
    x, y = at[0] + 1.4 * math.cos(turn), at[1] + 1.4 * math.sin(turn)
    upright = abs(math.cos(turn)) < 0.2
    rise: Rise = "baseline" if turn_deg > 20 else "top" if turn_deg < -20 else "centre"
    return Text(
        Role.TEXT,
        (float(x), float(y)),
        text,
        height_mm,
        anchor="middle" if upright else "start",
        rise=rise,
        bold=bold,
    )


def rosette(angle_deg: float | None = None, caption: str = "0° along the axis") -> Scene:
    """The rosette alone, `SIZE_MM` high, with the axis named."""
    items = list(rosette_items((12.0, 15.5), 8.0, angle_deg))
    items.append(Text(Role.TEXT, (0.5, 1.0), caption, 2.5))
    words = [text_box_mm(item)[:, 0].max() for item in items if isinstance(item, Text)]
    return Scene(tuple(items), (0.0, 0.0, max(34.0, *words), SIZE_MM), "Rosette")
