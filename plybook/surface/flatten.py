"""Laying a curved surface flat: Gauss-Newton on the membrane strain of its elements.

An element knows how its position derivatives follow from its nodes, in lengths measured on the
face: j1 and j2 are the images in the plane of two unit vectors square to each other on the face.
Green strain e11 = (j1.j1 - 1)/2, e22 = (j2.j2 - 1)/2, e12 = j1.j2/2; the energy is the integral of
e11^2 + e22^2 + 2 e12^2 over the face. Edge lengths alone would hide shear; this does not.

A factored matrix costs as much as thirty steps with it, so it is used again as long as it serves,
corrected by the last steps (limited-memory BFGS: Nocedal and Wright, Numerical Optimization,
algorithm 7.4, from memory). The result keeps the handedness of its start: a flipped element is a
refusal, never a mirror image.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from plybook.diagnostics import GeometryError, error
from plybook.surface.strips import strip_factor

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix

_ROUNDS = 200
_GAIN = 1e-9  # share of the energy; below it no node of a wing skin moves by 0.0001 mm
PATIENCE = 12  # steps in a row that leave a layout folded after which another way is sought
_AT_ONCE = 1000  # cells whose share of the matrix is made together, some 40 MB
_PRESSED = 0.5  # share of its area below which a stiff element resists
_PAST = 12  # steps that correct an old matrix
_TRIED, _SERVES = 4, 0.2  # so many steps must shrink the step to this share, or a new matrix


class Folds(GeometryError):
    """No flat layout of least energy keeps every cell the right way up.

    `cells` are the indices of those that are turned over, for who knows where they lie; `rounds`
    the steps that were taken, and `nodes` where they led.
    """

    cells: np.ndarray = np.zeros(0, dtype=int)
    rounds: int = 0
    nodes: np.ndarray | None = None


def folds(
    where: str = "", help: str = "", cells: np.ndarray = Folds.cells, rounds: int = 0
) -> Folds:
    """The refusal of what no flat piece can cover.

    Args:
        where: the place and the cause, in the builder's words.
        help: the edit.
        cells: that are turned over.
        rounds: steps that were taken.
    """
    refusal = Folds(
        error(
            "pattern-folds",
            "the face cannot be laid flat without folding on itself" + where,
            help or "split the part, or add a station where it turns so sharply",
        )
    )
    refusal.cells, refusal.rounds = cells, rounds
    return refusal


class Factor(Protocol):
    """A factored matrix."""

    def solve(self, right: np.ndarray) -> np.ndarray:
        """Right-hand side (n,) -> unknowns (n,)."""


class Membrane:
    """Elements of a membrane and the energy of their images in the plane.

    Attributes:
        d1, d2: (cells, points, nodes per cell) derivatives of the shape functions along two
            square directions on the face, 1/mm.
        area: (cells, points) area that each integration point stands for, mm2.
        nodes: (cells, nodes per cell) indices; count: number of nodes.
        strips: (strips, cells) where they lie in strips each of which shares nodes with its
            neighbours alone; `place` (count,) of each node along the strips.
    """

    def __init__(self, d1, d2, area, nodes: np.ndarray, count: int):
        self.d1, self.d2, self.area = d1, d2, area
        self.nodes, self.count = nodes, count
        pairs = np.stack([2 * nodes, 2 * nodes + 1], axis=-1).astype(np.int32)
        self.dof = pairs.reshape(len(nodes), -1)
        self.factor: Factor | None = None
        self.order: np.ndarray | None = None  # of the unknowns in it
        self.stiff = False  # what is pressed together resists the more
        self.strips: np.ndarray | None = None
        self.place: np.ndarray = np.zeros(count, dtype=int)

    def with_nodes(self, nodes: np.ndarray, count: int) -> Membrane:
        """The same elements between other nodes."""
        return Membrane(self.d1, self.d2, self.area, nodes, count)

    def images(self, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Images (cells, points, 2) of the two unit vectors for node positions (count, 2)."""
        local = at[self.nodes]
        return np.matmul(self.d1, local), np.matmul(self.d2, local)

    def strain(self, at: np.ndarray) -> np.ndarray:
        """(cells, points, 3) Green strain e11, e22, e12 of the pattern against the face."""
        j1, j2 = self.images(at)
        return _green(j1, j2)

    def relax(
        self,
        start: np.ndarray,
        exact_mm: float = 1e-7,
        stiff: bool = False,
        patience: int = _ROUNDS,
    ) -> tuple[np.ndarray, int]:
        """Node positions of least energy.

        Args:
            start: (count, 2), not folded; the result keeps its handedness.
            exact_mm: one more step, as much smaller as the last, would move no node by more.
            stiff: elements that are pressed to less than half of their area resist the more, and
                cannot fold; elsewhere nothing changes.
            patience: steps in a row with cells turned over after which it is given up.

        Returns:
            positions (count, 2) and the number of steps.

        Raises:
            GeometryError: the least-energy layout folds on itself, or a stiff start does.
        """
        at = np.array(start, dtype=float)
        self.stiff = stiff
        root = np.sqrt(self.area)[..., None]
        j1, j2 = self.images(at)
        residual = self._residual(j1, j2, root)
        energy = float(np.sum(residual**2))
        if not np.isfinite(energy):
            raise folds(cells=self._turned_over(j1, j2))
        slope = self._gradient(j1, j2, root, residual)
        folded = 0
        past, sizes = [], []  # changes of place and slope, sizes of the steps, since the matrix
        for rounds in range(1, _ROUNDS + 1):  # noqa: B007
            new = self.factor is None
            if new:
                self._factorise(j1, j2, root)
                past, sizes = [], []
            step = -_with_past(self.factor, past, slope).reshape(-1, 2)
            length, trial = self._search(at, step, energy, root)
            if trial is None:
                if new:
                    break  # no lower place in reach: the least energy to rounding
                self.factor = None
                continue
            at = at + length * step
            gain, before = energy - trial[0], slope
            energy, residual, j1, j2 = trial
            sizes.append(length * float(np.abs(step).max()))
            shrinks = sizes[-1] / sizes[-2] if len(sizes) > 1 else 1.0
            if sizes[-1] * min(shrinks, 1.0) < exact_mm or gain <= _GAIN * energy:
                break
            folded = folded + 1 if len(self._turned_over(j1, j2)) else 0
            if folded > patience:
                break
            slope = self._gradient(j1, j2, root, residual)
            past = [*past[1 - _PAST :], (length * step.ravel(), slope - before)]
            if len(sizes) > _TRIED and sizes[-1] > _SERVES * sizes[-1 - _TRIED]:
                self.factor = None
        over = self._turned_over(j1, j2)
        if len(over):
            refusal = folds(cells=over, rounds=rounds)
            refusal.nodes = at
            raise refusal
        return at, rounds

    def _turned_over(self, j1: np.ndarray, j2: np.ndarray) -> np.ndarray:
        """Indices of the cells that are turned over."""
        return np.flatnonzero(np.any(~(_turning(j1, j2) > 0), axis=1))

    def _search(self, at: np.ndarray, step: np.ndarray, energy: float, root: np.ndarray):
        """The step, halved until the energy falls; None when it does not."""
        length = 1.0
        while length > 1e-3:
            j1, j2 = self.images(at + length * step)
            residual = self._residual(j1, j2, root)
            trial = float(np.sum(residual**2))
            if trial <= energy * (1 + 1e-12) + 1e-18:
                return length, (trial, residual, j1, j2)
            length /= 2
        return length, None

    def _residual(self, j1, j2, root) -> np.ndarray:
        """(cells, points, 3 or 4) square roots of the energy."""
        strain = _green(j1, j2) * np.array([1.0, 1.0, np.sqrt(2.0)]) * root
        if not self.stiff:
            return strain
        turning = _turning(j1, j2)
        if (turning >= _PRESSED).all():
            return strain
        with np.errstate(divide="ignore"):
            press = np.where(turning > 0, np.maximum(_PRESSED / turning - 1, 0.0), np.inf)
        return np.concatenate([strain, press[..., None] * root], axis=-1)

    def _gradient(self, j1, j2, root, residual) -> np.ndarray:
        r1, r2, r3 = (residual[..., i : i + 1] * root for i in range(3))
        r3 = r3 * np.sqrt(0.5)
        by_1, by_2 = r1 * j1 + r3 * j2, r2 * j2 + r3 * j1  # (cells, points, 2)
        if residual.shape[-1] > 3:
            press = residual[..., 3:] * root
            by_1, by_2 = (by + press * more for by, more in
                          zip((by_1, by_2), _press_slopes(j1, j2), strict=True))  # fmt: skip
        local = np.matmul(self.d1.transpose(0, 2, 1), by_1)
        local += np.matmul(self.d2.transpose(0, 2, 1), by_2)
        return np.bincount(self.dof.ravel(), local.ravel(), 2 * self.count)

    def _normal(self, some: slice | np.ndarray, j1, j2, root) -> np.ndarray:
        """(cells, dof, dof) products of the derivatives of the residuals of some cells."""
        d1, d2 = (root * d[some] for d in (self.d1, self.d2))
        k1, k2 = j1[:, :, None, :], j2[:, :, None, :]
        shear = np.sqrt(0.5) * (d1[..., None] * k2 + d2[..., None] * k1)
        rows = [d1[..., None] * k1, d2[..., None] * k2, shear]
        if self.stiff and (_turning(j1, j2) < _PRESSED).any():
            p1, p2 = (p[:, :, None, :] for p in _press_slopes(j1, j2))
            rows.append(d1[..., None] * p1 + d2[..., None] * p2)
        jac = np.stack(rows, axis=2)
        jac = jac.reshape(len(d1), -1, self.dof.shape[1])
        return np.matmul(jac.transpose(0, 2, 1), jac)

    def _factorise(self, j1, j2, root) -> None:
        if self.strips is None:
            self._factorise_any(j1, j2, root)
            return
        strips = self.strips

        def products(number: int) -> np.ndarray:
            some = strips[number]
            return self._normal(some, j1[some], j2[some], root[some])

        self.factor = strip_factor(self.dof[strips], np.repeat(self.place, 2), products)

    def _factorise_any(self, j1, j2, root) -> None:
        matrix = self._matrix(j1, j2, root)
        stiff = matrix.diagonal()
        matrix.setdiag(stiff + 1e-9 * stiff.mean())  # holds the three rigid motions
        if self.order is None:
            self.order = _order(self.nodes, self.count)
        self.factor = _Reordered(matrix, self.order)

    def _matrix(self, j1, j2, root):
        """The sum of all cells' products, made of so many at once that they cost little memory."""
        from scipy.sparse import coo_matrix

        n, width = 2 * self.count, self.dof.shape[1]
        whole = None
        for begin in range(0, len(self.nodes), _AT_ONCE):
            some = slice(begin, begin + _AT_ONCE)
            normal = self._normal(some, j1[some], j2[some], root[some])
            row = np.repeat(self.dof[some], width, axis=1).ravel()
            column = np.tile(self.dof[some], (1, width)).ravel()
            part = coo_matrix((normal.ravel(), (row, column)), shape=(n, n)).tocsc()
            whole = part if whole is None else whole + part
        return whole


class _Reordered:
    """A symmetric matrix (n, n) factored with its unknowns in an order that fills in little."""

    def __init__(self, matrix: csc_matrix, order: np.ndarray):
        self.order = order
        self.factor = _factored(matrix[order][:, order].tocsc(), "NATURAL")

    def solve(self, right: np.ndarray) -> np.ndarray:
        found = np.empty_like(right)
        found[self.order] = self.factor.solve(right[self.order])
        return found


def _order(cells: np.ndarray, count: int) -> np.ndarray:
    """(2 count,) unknowns in the order of least degree of their nodes, which hold two each."""
    from scipy.sparse import coo_matrix, identity

    width = cells.shape[1]
    row, column = np.repeat(cells, width, axis=1).ravel(), np.tile(cells, (1, width)).ravel()
    beside = coo_matrix((np.ones(len(row)), (row, column)), shape=(count, count)).tocsc()
    heavy = float(beside.sum(axis=0).max()) * identity(count, format="csc")
    nodes = np.argsort(_factored(beside + heavy, "MMD_AT_PLUS_A").perm_c)
    return np.stack([2 * nodes, 2 * nodes + 1], axis=1).ravel()


def _factored(matrix: csc_matrix, order: str) -> Any:
    """A symmetric matrix by SuperLU; small panels are the quickest for so few entries a row."""
    from scipy.sparse.linalg import splu

    return splu(
        matrix,
        permc_spec=order,
        diag_pivot_thresh=0.0,
        relax=2,
        panel_size=1,
        options={"SymmetricMode": True},
    )


def _with_past(factor, past, slope: np.ndarray) -> np.ndarray:
    """The step down the slope by a factored matrix and what the steps since then have shown."""
    found, shares = slope.copy(), []
    past = [(moved, turned, _dot(moved, turned)) for moved, turned in past]
    past = [entry for entry in past if entry[2] > 0]
    for moved, turned, product in reversed(past):
        shares.append(_dot(moved, found) / product)
        found -= shares[-1] * turned
    found = factor.solve(found)
    for (moved, turned, product), share in zip(past, reversed(shares), strict=True):
        found += (share - _dot(turned, found) / product) * moved
    return found


def _dot(a: np.ndarray, b: np.ndarray) -> float:
    """Without the threads of a linear algebra library, which cost more than they bring here."""
    return float(np.einsum("i,i", a, b))


def _green(j1: np.ndarray, j2: np.ndarray) -> np.ndarray:
    e11 = (np.sum(j1 * j1, axis=-1) - 1) / 2
    e22 = (np.sum(j2 * j2, axis=-1) - 1) / 2
    return np.stack([e11, e22, np.sum(j1 * j2, axis=-1) / 2], axis=-1)


def _press_slopes(j1: np.ndarray, j2: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(cells, points, 2) each: how the resistance to being pressed together changes with images."""
    turning = _turning(j1, j2)[..., None]
    change = np.where(turning < _PRESSED, -_PRESSED / turning**2, 0.0)
    return (
        change * np.stack([j2[..., 1], -j2[..., 0]], axis=-1),
        change * np.stack([-j1[..., 1], j1[..., 0]], axis=-1),
    )


def _turning(j1: np.ndarray, j2: np.ndarray) -> np.ndarray:
    return j1[..., 0] * j2[..., 1] - j1[..., 1] * j2[..., 0]


def face_strain(membrane: Membrane, nodes: np.ndarray) -> np.ndarray:
    """(cells, points, 2, 2) Green strain of the face against the pattern, in pattern axes."""
    j1, j2 = membrane.images(nodes)
    back = np.linalg.inv(np.stack([j1, j2], axis=-1))  # pattern -> face
    return (np.matmul(back.swapaxes(-1, -2), back) - np.eye(2)) / 2
