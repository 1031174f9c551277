"""Picture and table of the bits: what stands in them, that it fits, that colours can be told."""

import json
from dataclasses import replace
from functools import cache
from io import BytesIO
from xml.etree import ElementTree as ET

import matplotlib.image
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.legend import Legend

from icecam.choose.bits import Choice, choose
from icecam.job.records import Bit
from icecam.plan import scene_of
from icecam.report.bits_picture import (
    NONE_DARK,
    bits_pictures,
    colours,
    entries,
    figure_of,
)
from icecam.report.bits_table import bits_files, bits_record, bits_text
from tests.choose.scenes import ball, job_of, named, placed
from tests.geometry import solids
from tests.geometry.bits import make_bit

FLAT = named("flat [bold] $1$ :snake:", make_bit("flat", 12.0, shank=12.0))
RACK = (ball(3.0), FLAT, named("_hidden", ball(8.0)), ball(16.0))


@cache
def bowl_choice() -> Choice:
    """Return a bowl of radius 5 with a pit in it, a narrow one in that, for a rack of four."""
    bowl = solids.bowl(5.0, 5.0, 14.0)
    r, z = np.array([0, 0.8, 0.8, 2, 2, 3]), np.array([-9.0, -9, -7, -7, -5, -4])
    pit = solids.revolved(r, z, 24)
    inner = bowl[np.linalg.norm(bowl[:, :, :2].mean(axis=1), axis=1) > 3.0]
    return choose(
        scene_of(placed(np.concatenate([inner, pit]), (15.0, 15.0, 12.0)), job_of(RACK, cell=0.2))
    )


def long_names(count: int) -> tuple[Bit, ...]:
    """Return a rack of balls with the longest names there may be."""
    return tuple(named(f"{n:02d} " + "W" * 37, ball(1.0 + n)) for n in range(count))


@cache
def full_choice() -> Choice:
    """Return a dome for a rack of twelve."""
    dome = placed(solids.hemisphere(12.0, 10.0), (15.0, 15.0, 12.0))
    return choose(scene_of(dome, job_of(long_names(12), cell=0.5)))


def legend_of(figure: Figure) -> Legend:
    (legend,) = figure.legends
    return legend


def test_the_legend_names_every_finishing_bit_with_its_share() -> None:
    choice = bowl_choice()
    names = [text.get_text() for text in legend_of(figure_of(choice)).get_texts()]
    assert len(names) == 4
    for name, start in zip(names, ("ball 16", "_hidden", "ball 3", "no bit"), strict=True):
        assert name.strip().startswith(start)
    shares = [float(name.rsplit(": ")[1].removesuffix(" %")) for name in names]
    assert sum(shares) == pytest.approx(100.0, abs=0.21)
    assert min(shares) > 0.0
    assert len(entries(full_choice())) == 12


@pytest.mark.parametrize("width", [5.0, 9.0])
@pytest.mark.parametrize("which", [bowl_choice, full_choice])
def test_all_text_fits(which: object, width: float) -> None:
    """No text sticks out of the picture, none lies on another."""
    choice = bowl_choice() if which is bowl_choice else full_choice()
    figure = figure_of(choice, width)
    figure.canvas.draw()
    (axes,) = figure.axes
    texts = [axes.title, axes.xaxis.label, axes.yaxis.label, *legend_of(figure).get_texts()]
    boxes = [text.get_window_extent() for text in texts]
    for n, box in enumerate(boxes):
        assert figure.bbox.x0 <= box.x0 < box.x1 <= figure.bbox.x1
        assert figure.bbox.y0 <= box.y0 < box.y1 <= figure.bbox.y1
        assert not any(box.overlaps(other) for other in boxes[n + 1 :])


@pytest.mark.parametrize("count", [1, 2, 5, 12])
def test_colours_go_from_pale_to_dark(count: int) -> None:
    """Relative luminance by WCAG 2.2 (from memory): each step at least a tenth darker."""
    shades = colours(count)
    assert len(shades) == count
    light = []
    for shade in [*shades, NONE_DARK]:
        part = np.array([int(shade[n : n + 2], 16) / 255 for n in (1, 3, 5)])
        linear = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
        light.append(float(linear @ np.array([0.2126, 0.7152, 0.0722])))
    steps = np.array(light[: count - 1]) / np.array(light[1:count])
    assert (steps > 1.1).all()


def test_picture_files_are_whole_and_always_the_same() -> None:
    files = bits_pictures(bowl_choice(), 5.0)
    assert set(files) == {"bits.png", "bits.svg"}
    assert files == bits_pictures(bowl_choice(), 5.0)
    pixels = matplotlib.image.imread(BytesIO(files["bits.png"]))
    assert pixels.shape[1] == 650
    root = ET.fromstring(files["bits.svg"].decode())
    assert root.tag.endswith("svg")
    dark = np.array([int(NONE_DARK[n : n + 2], 16) / 255 for n in (1, 3, 5)])
    assert (np.abs(pixels[:, :, :3] - dark).max(axis=2) < 0.02).sum() > 20


def test_numbers_hang_together() -> None:
    choice = bowl_choice()
    told = bits_record(choice)
    adds = [bit["adds_share"] for bit in told["bits"] if bit["adds_share"] is not None]
    assert sum(adds) == pytest.approx(told["whole_rack"]["reached_share"], abs=3e-4)
    assert told["unreachable_share"] == pytest.approx(1 - sum(adds), abs=3e-4)
    assert all(bit["alone_share"] >= (bit["adds_share"] or 0.0) for bit in told["bits"])
    assert [bit["name"] for bit in told["bits"]] == ["ball 16", FLAT.name, "_hidden", "ball 3"]
    saved = told["whole_rack"]["minutes"] - told["best_ladder"]["minutes"]
    assert told["saved_minutes"] == pytest.approx(saved, abs=1e-3)
    assert saved >= 0.0
    for part in ("whole_rack", "best_ladder"):
        spent = [bit[f"{part}_minutes"] or 0.0 for bit in told["bits"]]
        assert told[part]["minutes"] == pytest.approx(sum(spent), abs=1e-3)
    least = told["whole_rack"]["reached_share"] - told["assumed"]["forgone_share"]
    assert told["best_ladder"]["reached_share"] >= least - 1e-4
    assert json.loads(bits_files(choice)["bits.json"]) == told


def test_the_table_fits_and_names_bits_letter_by_letter() -> None:
    text = bits_text(bits_record(bowl_choice()))
    assert FLAT.name in text
    assert text.count(" to rough, ") == 1
    for choice in (bowl_choice(), full_choice()):
        lines = bits_text(bits_record(choice)).splitlines()
        assert max(len(line) for line in lines) <= 100
        for bit in choice.bits:
            assert any(line.strip().startswith(bit.bit.name) for line in lines)


def test_a_rack_of_one_bit_roughs_and_finishes() -> None:
    dome = placed(solids.hemisphere(12.0, 10.0), (15.0, 15.0, 12.0))
    choice = choose(scene_of(dome, job_of((ball(6.0),), cell=0.5)))
    told = bits_record(choice)
    assert told["best_ladder"] == told["whole_rack"]
    assert told["best_ladder"]["rough"] == "ball 6"
    assert told["best_ladder"]["finish"] == ["ball 6"]
    assert told["bits"][0]["adds_share"] == told["bits"][0]["alone_share"]
    assert "use ball 6 to rough, ball 6 to finish" in bits_text(told)


def test_tolerance_makes_bits_reach_more() -> None:
    dome = placed(solids.bowl(5.0, 5.0, 14.0), (15.0, 15.0, 12.0))
    fine = choose(scene_of(dome, job_of((ball(12.0),), cell=0.3, detail=0.1))).bits[0]
    job = job_of((ball(12.0),), cell=0.3, detail=0.1)
    loose = choose(scene_of(dome, replace(job, quality=replace(job.quality, detail=1.0)))).bits[0]
    assert loose.alone > fine.alone
    assert loose.groove <= fine.groove
