"""Pictures of the block seen from above: the ice as carved, and where ice is left."""

from io import BytesIO

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LightSource, ListedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from icecam.geometry.field import Grid, Heights
from icecam.plan import Result
from icecam.prove.proof import thickness
from icecam.report.letters import drawable

WIDEST = 1400
"""Nodes across, at most; finer grids are thinned for the picture."""
ROUND_MM = 8.0
"""Shown round the sculpture in the map of ice left."""
_LEFT = ("#eef5fa", "#9cc3de", "#3f7fb0", "#12395c", "#d9c9a8")
_NAMES = (
    "within {0:g} mm",
    "up to {1:g} mm",
    "up to {2:g} mm",
    "more than {2:g} mm",
    "no bit reaches: for the hand",
)


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
    size = result.scene.job.block.size
    width = 10.0
    figure = Figure(figsize=(width, 2 * width * size[1] / size[0] + 2.4), layout="constrained")
    FigureCanvasAgg(figure)
    top, below = figure.subplots(2, 1)
    _block(top, result)
    _map_of_left(below, result)
    for axes in (top, below):
        axes.set_xlabel("X, mm (the front of the block is below)")
        axes.set_ylabel("Y, mm")
    stream = BytesIO()
    figure.savefig(stream, format="png", dpi=110, metadata={"Software": None})
    return stream.getvalue()


def _block(axes: Axes, result: Result) -> None:
    """Draw the whole block, lit from the upper left, high ice pale."""
    ice, grid = result.ice.heights, result.ice.grid
    top = result.scene.job.block.size[2]
    small, pitch = _thinned(ice, grid)
    axes.imshow(
        0.55 * _shade(small, pitch) + 0.45 * small / top, cmap="bone", vmin=0, vmax=1.0,
        origin="lower", extent=_extent(grid),
    )  # fmt: skip
    depth = float((result.scene.ice.heights - ice).max())
    axes.set_title(
        f"{drawable(result.scene.placed.mesh.file)} as carved, seen from above; "
        f"deepest {depth:.0f} mm",
        parse_math=False,
    )


def _map_of_left(axes: Axes, result: Result) -> None:
    """Draw where ice still stands on the sculpture, and how thick, round the sculpture alone."""
    wanted, grid = result.scene.wanted, result.ice.grid
    tolerance = result.scene.job.quality.detail
    left = thickness(result.ice.heights, wanted)
    steps = (tolerance, 2 * tolerance, 1.0 if tolerance < 0.5 else 4 * tolerance)
    level = np.digitize(left, steps).astype(np.float64)
    level[(level > 0) & (thickness(result.reachable, wanted) > tolerance)] = len(_LEFT) - 1
    level[np.isnan(left)] = np.nan
    axes.imshow(
        _thinned(level, grid)[0], cmap=ListedColormap(_LEFT), vmin=-0.5, vmax=len(_LEFT) - 0.5,
        origin="lower", extent=_extent(grid), interpolation="nearest",
    )  # fmt: skip
    rows, columns = np.nonzero(np.isfinite(wanted.heights))
    axes.set_xlim(grid.x[columns.min()] - ROUND_MM, grid.x[columns.max()] + ROUND_MM)
    axes.set_ylim(grid.y[rows.min()] - ROUND_MM, grid.y[rows.max()] + ROUND_MM)
    x, y, _ = result.left.worst_at
    axes.plot([x], [y], "x", color="#c0392b", markersize=9, markeredgewidth=2)
    axes.set_title(f"how thick ice still stands on the sculpture (x: {result.left.worst:.2f} mm)")
    handles = [
        Patch(facecolor=colour, edgecolor="#555", label=name.format(*steps))
        for colour, name in zip(_LEFT, _NAMES, strict=True)
    ]
    figure = axes.get_figure()
    if figure is not None:
        figure.legend(handles=handles, loc="outside lower center", ncols=3, frameon=False)
