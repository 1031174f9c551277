"""The order of cuts by definition: nothing lost, place by place, from the top down."""

from collections import Counter
from math import floor

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from icecam.paths.cut_order import Layer, Uncut, in_order, uncut_of
from icecam.paths.pieces import Pieces, pieces_of
from icecam.paths.thick import THIN
from tests.paths.scenes import GOING

Floats = NDArray[np.float64]
Step = frozenset[tuple[float, ...]]
steady = settings(deadline=None, derandomize=True, max_examples=60)
BAND_MM = 4.0
START = np.zeros(3)

_cuts = st.fixed_dictionaries(
    {
        "z": st.lists(st.integers(0, 12), min_size=2, max_size=7),
        "lift": st.sampled_from([0.0, 3.0, 6.0]),
        "places": st.sets(st.integers(1, 4), max_size=2),
        "deepest": st.sampled_from([1.0, 2.5, 7.0]),
    }
)


def _line(n: int, z: list[int]) -> Floats:
    """A zigzag of its own, which straightening leaves as it is."""
    k = np.arange(len(z))
    return np.column_stack([k, 5 * n + k % 2, z]).astype(np.float64)


def _uncut(cuts: list[dict[str, object]], lines: list[Floats]) -> Uncut:
    place, deepest = [], []
    for cut, line in zip(cuts, lines, strict=True):
        # at one point of the line after the other, at the first the thinnest wall
        here = np.full(len(line), THIN)
        names = sorted(cut["places"])  # type: ignore[call-overload]
        here[: len(names)] = names
        place.append(here)
        most = np.full(len(line), 8.0)
        most[0] = cut["deepest"]
        deepest.append(most)
    return Uncut(
        pieces=pieces_of(lines),
        lift=np.array([cut["lift"] for cut in cuts], dtype=np.float64),
        place=np.concatenate(place).astype(np.int64),
        deepest=np.concatenate(deepest),
    )


def _steps(pieces: Pieces) -> list[Step]:
    """Moves of all pieces, either way round."""
    return [
        frozenset(map(tuple, pieces[n][k : k + 2].tolist()))
        for n in range(len(pieces))
        for k in range(len(pieces[n]) - 1)
    ]


def _merged(places: list[set[int]]) -> list[frozenset[int]]:
    """Sets of places that hang together, for each cut; merged by hand."""
    sets = [set(one) for one in places]
    for _ in sets:
        for one in sets:
            for other in sets:
                if one & other:
                    one.update(other)
    return [frozenset(one) for one in sets]


@steady
@given(st.lists(_cuts, min_size=1, max_size=8))
def test_cuts_come_place_by_place_in_bands_from_the_top_and_upper_lifts_first(
    cuts: list[dict[str, object]],
) -> None:
    """By definition, step by step. A step belongs to the band of its lower end.

    Bands are as high as the least that one cut of the place may take, where it has no place 4 mm.
    """
    lines = [_line(n, cut["z"]) for n, cut in enumerate(cuts)]  # type: ignore[arg-type]
    uncut = _uncut(cuts, lines)
    found = in_order(uncut, BAND_MM, START, GOING.hop)
    assert Counter(step for layer in found for step in _steps(layer.pieces)) == Counter(
        _steps(uncut.pieces)
    )
    place = _merged([cut["places"] for cut in cuts])  # type: ignore[misc]
    top: dict[frozenset[int], float] = {}
    high: dict[frozenset[int], float] = {}
    for cut, line, one in zip(cuts, lines, place, strict=True):
        top[one] = max(top.get(one, 0.0), line[:, 2].max())
        high[one] = min(high.get(one, 8.0), cut["deepest"]) if one else BAND_MM  # type: ignore[call-overload]
    origin = {step: n for n, line in enumerate(lines) for step in _steps(pieces_of([line]))}
    visited: list[frozenset[int]] = []
    keys = []
    for layer in found:
        for step in _steps(layer.pieces):
            n = origin[step]
            one = place[n]
            if not visited or visited[-1] != one:
                visited.append(one)
            band = floor((top[one] - min(z for _, _, z in step)) / high[one])
            keys.append((len(visited), band, -layer.lift))
            assert layer.lift == cuts[n]["lift"]
    assert keys == sorted(keys)
    assert len(visited) == len(set(visited))
    assert frozenset() not in visited[:-1]


def test_nothing_to_cut_is_no_layer() -> None:
    empty = Uncut(
        pieces=pieces_of([]), lift=np.zeros(0), place=np.zeros(0, dtype=np.int64),
        deepest=np.zeros(0),
    )  # fmt: skip
    assert in_order(empty, BAND_MM, START, GOING.hop) == ()


def test_layers_are_lifted_and_keep_what_is_known_of_their_points() -> None:
    """By hand: two layers of one cut each, 2 and 3 points, the first 5 mm up."""
    upper, lower = _line(0, [1, 2]), _line(1, [3, 1, 2])
    layers = [
        Layer(pieces=pieces_of([upper]), lift=5.0),
        Layer(pieces=pieces_of([lower]), lift=0.0),
    ]
    place = [np.array([1, 0]), np.array([0, 2, 2])]
    deepest = [np.array([4.0, 3.0]), np.array([2.0, 1.0, 6.0])]
    found = uncut_of(layers, place, deepest)
    np.testing.assert_array_equal(found.pieces[0], upper + np.array([0.0, 0.0, 5.0]))
    np.testing.assert_array_equal(found.pieces[1], lower)
    np.testing.assert_array_equal(found.lift, [5.0, 0.0])
    np.testing.assert_array_equal(found.place, [1, 0, 0, 2, 2])
    np.testing.assert_array_equal(found.deepest, [4.0, 3.0, 2.0, 1.0, 6.0])
