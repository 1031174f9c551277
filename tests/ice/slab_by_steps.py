"""Conduction in half a slab by small steps in time, from the law of conduction alone."""

import numpy as np

CELLS = 40


def middle_share_by_steps(fourier: float, biot: float) -> float:
    """Share of the first difference left in the middle; air at 0, ice at 1, lengths in halves."""
    width = 1 / CELLS
    ice = np.ones(CELLS)
    steps = int(np.ceil(fourier / (0.4 * width**2)))
    # From the last cell's centre heat passes half a cell of ice, then the surface.
    outward = 1 / (width / 2 + 1 / biot)
    for _ in range(steps):
        flow = np.empty(CELLS + 1)
        flow[0] = 0
        flow[1:-1] = (ice[:-1] - ice[1:]) / width
        flow[-1] = outward * ice[-1]
        ice = ice - (flow[1:] - flow[:-1]) / width * (fourier / steps)
    # The first cell's centre stands a quarter of a cell's square of curvature below the middle.
    return float(ice[0] + (ice[0] - ice[1]) / 8)
