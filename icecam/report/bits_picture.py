"""The sculpture from above, each place in the colour of the largest bit that reaches it."""

from io import BytesIO
from itertools import pairwise
from math import ceil
from textwrap import fill
from typing import Final

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap, to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.textpath import TextPath
from numpy.typing import NDArray

from icecam.choose.bits import Choice
from icecam.report.letters import drawable

RAMP: Final = ("#cfe3f2", "#8fbbdb", "#3f7fb0", "#17497a", "#071b3a")
"""One hue from pale to dark: told apart by lightness alone, whatever the eye makes of colour."""
NONE_LIGHT, NONE_DARK = "#ffffff", "#c2410c"
WIDTH_IN: Final = 9.0
_STRIPE_IN: Final = 0.06
_LINE_IN: Final = 0.2
_LETTERS: Final = 9.0
_KEY_IN, _EDGE_IN = 0.65, 0.2
"""Width of a colour key in the legend with the space beside it; space at the sides."""
_TITLE_LETTER_IN: Final = 0.1
"""Width to reckon with for a letter of the title."""


def colours(count: int) -> list[str]:
    """Return colours for so many bits, pale for the largest to dark for the smallest.

    >>> colours(2)
    ['#cfe3f2', '#071b3a']
    """
    ramp = LinearSegmentedColormap.from_list("ice", RAMP)
    return [mpl.colors.to_hex(ramp(share)) for share in np.linspace(0.0, 1.0, max(count, 2))][
        :count
    ]


def entries(choice: Choice) -> list[str]:
    """Name each bit that finishes with its share of the area, then what none reaches."""
    finish = choice.whole.finish
    reached = [choice.reach.share(finish[:n]) for n in range(len(finish) + 1)]
    lines = [
        f"{choice.bits[k].bit.name}: {100 * (after - before):.1f} %"
        for k, (before, after) in zip(finish, pairwise(reached), strict=True)
    ]
    return [*lines, f"no bit: {100 * (1 - choice.reach.share(finish)):.1f} %"]


def _plain(text: str) -> str:
    """Return a text that is drawn letter by letter: no formulas, and never hidden."""
    return drawable(" " * text.startswith("_") + text).replace("$", r"\$")


def _legend_fit(names: list[str], width: float) -> tuple[float, int]:
    """Size of the letters (points) and number of columns with which the legend fits."""
    texts = [TextPath((0, 0), _plain(name), size=_LETTERS) for name in names]
    entry = max(text.get_extents().width for text in texts) / 72 + _KEY_IN
    room = width - 2 * _EDGE_IN
    return _LETTERS * min(1.0, room / entry), max(1, min(len(names), int(room / entry)))


def figure_of(choice: Choice, width: float = WIDTH_IN) -> Figure:
    """Return the picture, `width` inches wide: axes in mm, a legend below that names the bits."""
    finish, grid = choice.whole.finish, choice.reach.grid
    names = entries(choice)
    lines = ceil(len(names) / _legend_fit(names, width)[1])
    tall = (width - 0.9) * grid.ny / grid.nx
    most = 1.2 * width
    figure = Figure(figsize=(width, min(max(tall, 1.5), most) + 1.3 + _LINE_IN * lines))
    figure.set_layout_engine("constrained", w_pad=0.08, h_pad=0.08)
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    half = grid.pitch / 2
    extent = (
        grid.x0 - half, grid.x0 + (grid.nx - 0.5) * grid.pitch,
        grid.y0 - half, grid.y0 + (grid.ny - 0.5) * grid.pitch,
    )  # fmt: skip
    shades = colours(len(finish))
    axes.imshow(
        _painted(choice, shades, width), origin="lower", extent=extent, interpolation="nearest"
    )
    axes.set_xlabel("X, mm")
    axes.set_ylabel("Y, mm")
    title = (
        f"{choice.file} from above: the largest bit that comes within {choice.tolerance:g} mm, "
        "with its share of the area"
    )
    axes.set_title(_plain(fill(title, int(width / _TITLE_LETTER_IN))), fontsize=10)
    _add_legend(figure, names, shades, width)
    return figure


def _add_legend(figure: Figure, names: list[str], shades: list[str], width: float) -> None:
    """Name the bits, and last what none reaches, below the picture."""
    letters, columns = _legend_fit(names, width)
    patches = [
        Patch(facecolor=shade, edgecolor="#555", label=_plain(name))
        for shade, name in zip(shades, names, strict=False)
    ]
    none = Patch(facecolor=NONE_LIGHT, edgecolor=NONE_DARK, hatch="/////", label=names[-1])
    figure.legend(
        handles=[*patches, none], loc="outside lower center", ncols=columns, frameon=False,
        fontsize=letters,
    )  # fmt: skip


def _painted(choice: Choice, shades: list[str], width: float) -> NDArray[np.float64]:
    """Colours (ny, nx, 4) of the cells, see-through beside the sculpture, striped for no bit."""
    finish = choice.whole.finish
    largest = choice.reach.largest(finish)
    picture = np.zeros((*largest.shape, 4))
    for k, shade in zip(finish, shades, strict=True):
        picture[largest == k] = (*to_rgb(shade), 1.0)
    stripe = max(1, round(_STRIPE_IN / width * max(largest.shape) / 2))
    rows, columns = np.indices(largest.shape)
    dark = (rows - columns) // stripe % 2 == 0
    picture[(largest == -1) & dark] = (*to_rgb(NONE_DARK), 1.0)
    picture[(largest == -1) & ~dark] = (*to_rgb(NONE_LIGHT), 1.0)
    return picture


def bits_pictures(choice: Choice, width: float = WIDTH_IN) -> dict[str, bytes]:
    """Return the picture as bits.png and bits.svg; the same bytes for the same choice."""
    files = {}
    with mpl.rc_context({"svg.hashsalt": "icecam"}):
        figure = figure_of(choice, width)
        for name, kind, extra in (("bits.png", "png", "Software"), ("bits.svg", "svg", "Date")):
            stream = BytesIO()
            figure.savefig(stream, format=kind, dpi=130, metadata={extra: None})
            files[name] = stream.getvalue()
    return files
