"""One large drawing on many small sheets: which tiles, their joints, and what stands around them.

Terms (see also `plybook.write.paper`):
    joint: the strip two neighbouring tiles share; it has a letter, the same on both sheets, and
        crosses at a quarter and three quarters of its length.
    blank tile: one that no line reaches; it is not printed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from plybook.drawing.letters import fitted, text_width_mm
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.write.paper import OVERLAP_MM, TILE_MM, Grid, Window, grid_for, letters
from plybook.write.pdf import bounds_mm, touching

CROSS_MM = 4.0
QUARTERS = (0.25, 0.75)  # one cross in the middle of an edge would hide a rotation
LETTER_BOX_MM = 9.0
NAME_MM = 16.0  # how far the neighbour's name runs on from the letter
HEADER_MM = 9.4  # above the tile, on the smaller paper


@dataclass(frozen=True)
class Joint:
    """Two neighbours and the letter of the strip they share, scene mm."""

    letter: str
    first: tuple[int, int]  # left or upper tile
    second: tuple[int, int]  # right or lower tile
    letter_at_mm: tuple[float, float]
    crosses_mm: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Tiling:
    """A drawing cut into tiles; `printed` are (row, column) in reading order."""

    scene: Scene
    grid: Grid
    printed: tuple[tuple[int, int], ...]
    joints: tuple[Joint, ...]
    bounds: np.ndarray

    def joints_of(self, tile: tuple[int, int]) -> list[tuple[Joint, tuple[int, int]]]:
        """A tile's joints, each with the neighbour beyond."""
        found = [(j, j.second) for j in self.joints if j.first == tile]
        return found + [(j, j.first) for j in self.joints if j.second == tile]


def tile(scene: Scene) -> Tiling:
    """Cut a 1:1 drawing into the fewest tiles, leave out blank ones, letter the joints."""
    grid = grid_for(scene.window_mm)
    bounds = bounds_mm(scene)
    lined = np.array([item.role is not Role.FILL for item in scene.items])
    printed = tuple(
        (row, column)
        for row in range(grid.rows)
        for column in range(grid.columns)
        if _reached(scene, bounds, lined, grid.own(row, column))
    )

    def clear(window: Window) -> bool:
        return not _reached(scene, bounds, lined, window)

    return Tiling(scene, grid, printed, _joints(grid, printed, clear), bounds)


def _reached(scene: Scene, bounds: np.ndarray, lined: np.ndarray, window: Window) -> bool:
    """Whether a line or a word reaches into a window; the box of a long line is not enough."""
    for k in np.flatnonzero(touching(bounds, window) & lined):
        item = scene.items[k]
        if not isinstance(item, Path) or _crosses(item, window):
            return True
    return False


def _crosses(item: Path, window: Window) -> bool:
    from plybook.write.pdf import _clipped_runs

    points = np.asarray(item.points_mm, dtype=float)
    if item.closed:
        points = np.vstack([points, points[:1]])
    return next(_clipped_runs(points, window, 0.35), None) is not None


def _joints(
    grid: Grid, printed: tuple[tuple[int, int], ...], clear: Callable[[Window], bool]
) -> tuple[Joint, ...]:
    joints: list[Joint] = []
    there = set(printed)
    for row, column in printed:
        x0, y0, x1, y1 = grid.window(row, column)
        if (row, column + 1) in there:
            x = x1 - OVERLAP_MM / 2
            line = [(x, y0 + share * TILE_MM[1]) for share in np.linspace(0, 1, 101)]
            joints.append(_joint(len(joints), (row, column), (row, column + 1), line, clear))
        if (row + 1, column) in there:
            y = y0 + OVERLAP_MM / 2
            line = [(x0 + share * TILE_MM[0], y) for share in np.linspace(0, 1, 101)]
            joints.append(_joint(len(joints), (row, column), (row + 1, column), line, clear))
    return tuple(joints)


def _joint(
    index: int,
    first: tuple[int, int],
    second: tuple[int, int],
    line: list[tuple[float, float]],
    clear: Callable[[Window], bool],
) -> Joint:
    """A joint whose letter stands where the drawing has no line and no word, in its middle if it
    can; it never hides what is drawn."""
    half = LETTER_BOX_MM / 2
    upright = first[0] == second[0]
    for k in (50, 44, 56, 40, 60, 34, 66, 10, 86, 15, 82):
        x, y = line[k]
        far = (half, NAME_MM) if upright else (NAME_MM, half)
        if clear((x - half, y - half, x + far[0], y + far[1])):
            break
    else:
        k = 50
    crosses = tuple(line[round(100 * q)] for q in QUARTERS)
    return Joint(letters(index), first, second, line[k], crosses)


def around_tile(tiling: Tiling, at: tuple[int, int], corner_mm: tuple[float, float]) -> Scene:
    """Frame, crosses and letters of one tile, in page mm.

    Args:
        tiling: the whole.
        at: row and column.
        corner_mm: where the tile's lower left corner lies on the page.
    """
    x0, y0 = corner_mm
    window = tiling.grid.window(*at)
    shift = np.array([x0 - window[0], y0 - window[1]])
    items: list[Primitive] = [_frame(x0, y0)]
    for joint, beyond in tiling.joints_of(at):
        for cross in joint.crosses_mm:
            items += cross_at(np.array(cross) + shift)
        x, y = np.array(joint.letter_at_mm) + shift
        upright = beyond[1] != at[1]
        words = f"joins {tiling.grid.name(*beyond)}"
        turn = 90.0 if upright else 0.0
        items.append(Circle(Role.REGISTRATION, (float(x), float(y)), 3.6))
        items.append(_text((x, y), joint.letter, 3.5 if len(joint.letter) < 3 else 2.5, True))
        gap = 5.4 + text_width_mm(words, 1.8) / 2
        aside = np.array([0.0, gap]) if upright else np.array([gap, 0.0])
        items.append(_text(np.array([x, y]) + aside, words, 1.8, False, turn))
    return Scene(tuple(items), (0, 0, 1, 1))


def _frame(x0: float, y0: float) -> Path:
    w, h = TILE_MM
    return Path(
        Role.REGISTRATION, np.array([(x0, y0), (x0 + w, y0), (x0 + w, y0 + h), (x0, y0 + h)]), True
    )


def cross_at(at_mm: np.ndarray) -> list[Primitive]:
    """A registration cross: two lines and a ring."""
    x, y = (float(v) for v in at_mm)
    return [
        Path(Role.REGISTRATION, np.array([(x - CROSS_MM, y), (x + CROSS_MM, y)])),
        Path(Role.REGISTRATION, np.array([(x, y - CROSS_MM), (x, y + CROSS_MM)])),
        Circle(Role.REGISTRATION, (x, y), CROSS_MM / 2),
    ]


def _text(
    at: Sequence[float] | np.ndarray, words: str, height: float, bold: bool, turn: float = 0.0
) -> Text:
    return Text(Role.REGISTRATION, (float(at[0]), float(at[1])), words, height, turn, "middle",
                "centre", bold)  # fmt: skip


def header(
    corner_mm: tuple[float, float], big: str, name: str, lines: tuple[str, str]
) -> list[Primitive]:
    """The strip above a tile: what it belongs to, which tile it is, two lines of facts."""
    x, y = corner_mm[0], corner_mm[1] + TILE_MM[1]
    big = fitted(big, 62.0, 5.0, True)
    after = x + text_width_mm(big, 5.0, True) + 5.0
    items: list[Primitive] = [Text(Role.TEXT, (x, y + 2.6), big, 5.0, bold=True)]
    if name:
        wide = text_width_mm(name, 5.0, True)
        box = np.array([(after - 1.5, y + 1.2), (after + wide + 1.5, y + 1.2),
                        (after + wide + 1.5, y + 9.0), (after - 1.5, y + 9.0)])  # fmt: skip
        items.append(Path(Role.FRAME, box, True))
        items.append(Text(Role.TEXT, (after, y + 2.6), name, 5.0, bold=True))
        after += wide + 6.0
    room = x + TILE_MM[0] - 36.0 - after
    for k, words in enumerate(lines):
        height = 2.5 if text_width_mm(words, 2.5) <= room else 1.8
        items.append(
            Text(Role.TEXT, (after, y + 6.2 - 4.2 * k), fitted(words, room, height), height)
        )
    return items


@dataclass(frozen=True)
class SmallMap:
    """Where the tiles lie in the whole, at the right end of the header.

    `lines` are the same on every sheet of a piece; `cell` marks the sheet's own tile.
    """

    tiling: Tiling
    corner_mm: tuple[float, float]

    def _square(self, at: tuple[int, int]) -> np.ndarray:
        grid = self.tiling.grid
        size = min(33.0 / grid.columns, HEADER_MM * 0.92 / grid.rows, 4.0)
        x = self.corner_mm[0] + TILE_MM[0] - size * (grid.columns - at[1])
        y = self.corner_mm[1] + TILE_MM[1] + 0.4 + HEADER_MM * 0.92 - size * (at[0] + 1)
        return np.array([(x, y), (x + size, y), (x + size, y + size), (x, y + size)])

    def lines(self) -> Scene:
        """The edges of every printed tile, in lines as long as they run."""
        grid = self.tiling.grid
        printed = np.zeros((grid.rows + 2, grid.columns + 2), dtype=bool)
        for row, column in self.tiling.printed:
            printed[row + 1, column + 1] = True
        level, upright = printed[1:] | printed[:-1], (printed[:, 1:] | printed[:, :-1]).T
        ends = [((k, a), (k, b)) for k, edge in enumerate(level) for a, b in _runs(edge)]
        ends += [((a, k), (b, k)) for k, edge in enumerate(upright) for a, b in _runs(edge)]
        lines = [Path(Role.DIMENSION, np.array([*map(self._knot, two)]), False) for two in ends]
        return Scene(tuple(lines), (0, 0, 1, 1))

    def _knot(self, at: tuple[int, int]) -> np.ndarray:
        """The upper left corner of a tile."""
        return self._square(at)[3]

    def cell(self, at: tuple[int, int]) -> Path:
        """The black square of one tile."""
        return Path(Role.DIMENSION, self._square(at), True, "ink")


def _runs(edge: np.ndarray) -> list[tuple[int, int]]:
    """First and last knot of each stretch of a line on which tiles lie; (n,) from a tile before
    the first to one after the last."""
    at = np.flatnonzero(np.diff(edge.astype(int)))
    return [(int(a), int(b)) for a, b in at.reshape(-1, 2)]
