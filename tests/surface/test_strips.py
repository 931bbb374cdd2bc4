"""The factor by strips against numpy's solution of the whole matrix."""

import numpy as np
import pytest

from plybook.surface.strips import strip_factor


def grid(along, across, shared, width=3):
    """Unknowns of elements (strips, across, k): rows of nodes along, of which neighbours share
    `shared`; each element takes `width` nodes across."""
    step = width + 1 - shared
    rows = step * (along - 1) + width + 1
    columns = across + width - 1
    dof = np.array(
        [
            [
                [(step * s + i) * columns + c + j for i in range(width + 1) for j in range(width)]
                for c in range(across)
            ]
            for s in range(along)
        ]
    )
    return dof, np.repeat(np.arange(rows), columns)


@pytest.mark.parametrize("shared", [1, 2, 3])
@pytest.mark.parametrize("along, across", [(2, 1), (3, 4), (7, 5)])
@pytest.mark.parametrize("turned", [False, True])
def test_the_factor_solves_the_sum_of_all_elements(along, across, shared, turned):
    dof, place = grid(along, across, shared)
    rng = np.random.default_rng(along * 10 + shared)
    if turned:  # unknowns numbered at random; places tell where they are
        names = rng.permutation(len(place))
        dof, moved = names[dof], np.empty_like(place)
        moved[names] = place
        place = moved
    roots = rng.normal(size=(*dof.shape, dof.shape[2] + 2))
    products = np.matmul(roots, roots.swapaxes(-1, -2))
    whole = np.zeros((len(place), len(place)))
    for of, product in zip(dof.reshape(-1, dof.shape[2]), products.reshape(-1, *[dof.shape[2]] * 2),
                           strict=True):  # fmt: skip
        whole[np.ix_(of, of)] += product
    factor = strip_factor(dof, place, lambda strip: products[strip])
    right = rng.normal(size=len(place))
    want = np.linalg.solve(whole, right)
    assert factor.solve(right) == pytest.approx(want, rel=1e-6, abs=1e-7 * np.abs(want).max())


def test_what_one_strip_has_alone_is_not_in_the_band():
    dof, place = grid(9, 20, 1)
    products = np.broadcast_to(np.eye(dof.shape[2]), (*dof.shape, dof.shape[2]))
    factor = strip_factor(dof, place, lambda strip: products[strip])
    columns = 22  # a row of nodes
    assert len(factor.outer) == 8 * columns and len(factor.inner) == len(place) - 8 * columns
    assert factor.outer_band.shape[0] <= 2 * columns
