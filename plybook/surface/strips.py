"""Equations of elements that lie in strips, one strip holding on to the next, solved by Cholesky.

What belongs to one strip alone is eliminated strip by strip (static condensation: Guyan, AIAA
Journal 3, 1965, from memory), the rest is a band as wide as what neighbouring strips share. On a
long face that takes a third of the memory of a general sparse factor.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

_HOLD = 1e-9  # of the mean stiffness; holds the three rigid motions


@dataclass(frozen=True)
class StripFactor:
    """A factored matrix.

    Attributes:
        inner: (p,) unknowns that one strip alone has, strip by strip.
        outer: (q,) the others, in their order along the strips.
        inner_band, outer_band: Cholesky factors (half width + 1, p or q), lower form of LAPACK.
        between: (p, q) the part of the matrix between them.
    """

    inner: np.ndarray
    outer: np.ndarray
    inner_band: np.ndarray
    outer_band: np.ndarray
    between: csr_matrix

    def solve(self, right: np.ndarray) -> np.ndarray:
        """Right-hand side (p + q,) -> unknowns."""
        found = np.empty_like(right)
        first = _solved(self.inner_band, right[self.inner])
        found[self.outer] = _solved(self.outer_band, right[self.outer] - self.between.T @ first)
        rest = right[self.inner] - self.between @ found[self.outer]
        found[self.inner] = _solved(self.inner_band, rest)
        return found


def strip_factor(
    dof: np.ndarray, place: np.ndarray, products: Callable[[int], np.ndarray]
) -> StripFactor:
    """Factor the sum of all elements' matrices.

    Args:
        dof: (strips, elements, k) unknowns of each element, strip by strip.
        place: (n,) of each unknown along the strips: the unknowns of a strip have places that
            follow each other.
        products: number of a strip -> (elements, k, k) symmetric matrices of its elements.

    Raises:
        LinAlgError: the sum is not positive definite.
    """
    from scipy.linalg import cholesky_banded
    from scipy.sparse import coo_matrix, csc_matrix

    inner, shared = _divided(dof, place)
    every = np.concatenate(inner)
    others = np.setdiff1d(np.arange(len(place)), every)
    others = others[np.argsort(place[others], kind="stable")]
    number = np.empty(len(place), dtype=int)
    number[every], number[others] = np.arange(len(every)), np.arange(len(others))
    width = max(map(len, shared))
    band = np.zeros((len(others), width)).T  # LAPACK's own order: it is factored in place
    inner_band = np.zeros((len(every), _width(dof, inner, number))).T
    links = []
    for strip, (mine, theirs) in enumerate(zip(inner, shared, strict=True)):
        at = _places(dof[strip], np.concatenate([mine, theirs]))
        mine_whole, window = _summed(at, products(strip), len(mine), len(theirs), width)
        first = int(number[theirs[0]])
        band[:, first : first + len(theirs)] += window.T
        if not len(mine):
            continue
        own, link = inner_band[:, number[mine]], mine_whole[:, len(mine) :]
        _add(own, 0, mine_whole[:, : len(mine)])
        own[0] += _HOLD * own[0].mean()
        own = cholesky_banded(own, lower=True, check_finite=False)
        inner_band[:, number[mine]] = own
        _add(band, first, -(csc_matrix(link).T @ _solved(own, link)))
        row, column = np.nonzero(link)
        links.append((number[mine[row]], number[theirs[column]], link[row, column]))
    band[0] += _HOLD * band[0].mean()
    rows, columns, values = map(np.concatenate, zip(*links, strict=True)) if links else ([],) * 3
    between = coo_matrix((values, (rows, columns)), shape=(len(every), len(others))).tocsr()
    band = cholesky_banded(band, overwrite_ab=True, lower=True, check_finite=False)
    return StripFactor(every, others, inner_band, band, between)


def _divided(dof: np.ndarray, place: np.ndarray) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Of each strip the unknowns that it alone has, as its elements take them up, and the others
    in their order along the strips."""
    strips = len(dof)
    names = [np.unique(strip, return_index=True) for strip in dof]
    uses = np.bincount(np.concatenate([name for name, _ in names]), minlength=len(place))
    inner, shared = [], []
    for strip in range(strips):
        name, first = names[strip]
        alone = uses[name] == 1
        element = first // dof.shape[2]
        inner.append(name[alone][np.argsort(element[alone], kind="stable")])
        rest = name[~alone]
        shared.append(rest[np.argsort(place[rest], kind="stable")])
    return inner, shared


def _width(dof: np.ndarray, inner: list[np.ndarray], number: np.ndarray) -> int:
    """Rows of the band of what strips have alone."""
    widest = 1
    for strip, mine in zip(dof, inner, strict=True):
        own = np.where(np.isin(strip, mine), number[strip], -1)
        least = np.where(own >= 0, own, len(number)).min(axis=1)
        widest = max(widest, int((own.max(axis=1) - least).max()) + 1)
    return widest


def _places(dof: np.ndarray, names: np.ndarray) -> np.ndarray:
    """Where the unknowns of a strip's elements stand among names."""
    order = np.argsort(names)
    return order[np.searchsorted(names, dof, sorter=order)]


def _summed(at: np.ndarray, products: np.ndarray, mine: int, theirs: int, width: int):
    """The elements of a strip put together: (mine, mine + theirs) rows of what it has alone, and
    (theirs, width) of what it shares from the diagonal on."""
    row, column = (np.broadcast_to(x, products.shape) for x in (at[:, :, None], at[:, None, :]))
    above = (row >= mine) & (column >= row)
    spots = (row[above] - mine) * width + column[above] - row[above]
    window = np.bincount(spots, products[above], theirs * width).reshape(theirs, width)
    if not mine:
        return np.zeros((0, theirs)), window
    own, size = row < mine, mine + theirs
    whole = np.bincount(row[own] * size + column[own], products[own], mine * size)
    return whole.reshape(mine, size), window


def _add(band: np.ndarray, first: int, block: np.ndarray) -> None:
    """Add a symmetric block to a band, from its column `first` on."""
    size = len(block)
    flat = np.zeros(size * (size + 1))
    flat[: size * size] = np.triu(block).ravel()
    # rows that are longer by one begin on the diagonal
    below = flat.reshape(size, size + 1)[:, : len(band)].T
    band[: len(below), first : first + size] += below


def _solved(band: np.ndarray, right: np.ndarray) -> np.ndarray:
    from scipy.linalg import cho_solve_banded

    return cho_solve_banded((band, True), right, check_finite=False) if len(right) else right
