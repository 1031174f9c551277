"""Pictures of the block seen from above: the ice as carved, and where ice is left."""

from io import BytesIO

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LightSource, ListedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from icecam.geometry.field import Grid, Heights
from icecam.plan import Result
from icecam.prove.proof import thickness

WIDEST = 1400
"""Nodes across, at most; finer grids are thinned for the picture."""
_LEFT = ("#eef5fa", "#9cc3de", "#3f7fb0", "#12395c")
_NAMES = ("within {0:g} mm", "up to {1:g} mm", "up to {2:g} mm", "more than {2:g} mm")


def _thinned(heights: Heights, grid: Grid) -> tuple[Heights, float]:
    step = max(1, -(-grid.nx // WIDEST))
    return heights[::step, ::step], grid.pitch * step


def _extent(grid: Grid) -> tuple[float, float, float, float]:
    half = grid.pitch / 2
    return (
        grid.x0 - half,
        grid.x0 + (grid.nx - 0.5) * grid.pitch,
        grid.y0 - half,
        grid.y0 + (grid.ny - 0.5) * grid.pitch,
    )


def _shade(heights: Heights, pitch: float) -> Heights:
    light = LightSource(azdeg=315, altdeg=40)
    shade: Heights = light.hillshade(heights, dx=pitch, dy=pitch, vert_exag=1.0)
    return shade


def pictures(result: Result) -> bytes:
    """Return a PNG: the carved block above, a map of the ice left below, with scale and legend."""
    ice, grid = result.ice.heights, result.ice.grid
    tolerance = result.scene.job.quality.detail
    size = result.scene.job.block.size
    width = 10.0
    figure = Figure(figsize=(width, 2 * width * size[1] / size[0] + 1.9), layout="constrained")
    FigureCanvasAgg(figure)
    top, below = figure.subplots(2, 1)
    small, pitch = _thinned(ice, grid)
    shade = _shade(small, pitch)
    top.imshow(
        0.55 * shade + 0.45 * small / size[2], cmap="bone", vmin=0, vmax=1.0, origin="lower",
        extent=_extent(grid),
    )  # fmt: skip
    top.set_title(f"{result.scene.placed.mesh.file} as carved, seen from above")
    left, _ = _thinned(thickness(ice, result.scene.wanted), grid)
    steps = (tolerance, 2 * tolerance, 1.0 if tolerance < 0.5 else 4 * tolerance)
    level = np.digitize(left, steps).astype(np.float64)
    level[np.isnan(left)] = np.nan
    below.imshow(
        level, cmap=ListedColormap(_LEFT), vmin=-0.5, vmax=3.5, origin="lower",
        extent=_extent(grid), interpolation="nearest",
    )  # fmt: skip
    below.set_title("ice left over the sculpture")
    names = [name.format(*steps) for name in _NAMES]
    below.legend(
        handles=[
            Patch(facecolor=colour, edgecolor="#555", label=name)
            for colour, name in zip(_LEFT, names, strict=True)
        ],
        loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=4, frameon=False,
    )  # fmt: skip
    for axes in (top, below):
        axes.set_xlabel("X, mm")
        axes.set_ylabel("Y, mm")
    stream = BytesIO()
    figure.savefig(stream, format="png", dpi=110, metadata={"Software": None})
    return stream.getvalue()
