"""Sparse elimination against LAPACK on dense matrices, with nodes that come and go and ends that move from setting to setting."""

from __future__ import annotations

import numpy as np
import pytest

from cabinwright.physics.elimination import Elimination


@pytest.mark.parametrize("seed", range(20))
def test_voltages_and_resistances_are_those_of_lapack(seed: int) -> None:
    rng = np.random.default_rng(seed)
    settings, nodes = 5, int(rng.integers(2, 14))
    keep = rng.random((settings, nodes)) < 0.8
    ends = rng.integers(0, nodes, (3 * nodes, 2, settings))
    siemens = np.where(rng.random((3 * nodes, settings)) < 0.7, 10.0 ** rng.uniform(-2, 3, (3 * nodes, settings)), 0.0)
    ground = [(np.full(settings, node), 1.0) for node in range(nodes)]
    made = Elimination(keep, [(a, b, y) for (a, b), y in zip(ends, siemens, strict=True)], ground)
    into = rng.normal(size=(settings, nodes, 2))
    found, seen = made.solve(into), made.inverse_diagonal()
    for setting in range(settings):
        matrix = np.eye(nodes)
        for (a, b), y in zip(ends[:, :, setting], siemens[:, setting], strict=True):
            if a != b:
                matrix[a, a] += y
                matrix[b, b] += y
                matrix[a, b] -= y
                matrix[b, a] -= y
        mine = np.flatnonzero(keep[setting])
        inverse = np.linalg.inv(matrix[np.ix_(mine, mine)])
        assert found[setting, mine] == pytest.approx(inverse @ into[setting, mine], rel=1e-9, abs=1e-10)
        assert seen[setting, mine] == pytest.approx(np.diagonal(inverse), rel=1e-9)
        assert not found[setting, np.flatnonzero(~keep[setting])].any()
        if len(mine):
            assert found[setting, mine] != pytest.approx(1.001 * inverse @ into[setting, mine], rel=1e-9, abs=1e-12)
