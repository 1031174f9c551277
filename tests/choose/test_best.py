"""The best ladder against every subset of the rack; the costs it goes by, by hand."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from icecam.choose.best import Question, best_ladder
from icecam.choose.bits import question_of
from icecam.choose.cost import Costs, Drafts, finish_cost, plain_minutes, rough_volume, squares_of
from icecam.choose.reach import Reach, by_size
from icecam.geometry.field import cells
from icecam.job.bits import tip_size
from icecam.job.records import Bit, Job
from icecam.paths.stages import ladder
from icecam.plan import scene_of
from tests.choose.scenes import ball, job_of, named, placed
from tests.geometry.bits import make_bit

FLAT = named("flat 12", make_bit("flat", 12.0))
SMALL_FLAT = named("flat 5", make_bit("flat", 5.0))
ROUND = named("round 8", make_bit("rounded corner", 8.0, corner=2.0))
FINE = named("fine", make_bit("tapered ball", 1.6, taper=5.0))
BALLS = (ball(12.0), ball(8.0), ball(4.0), ball(2.0))
RACKS = {
    "one blunt bit": (FLAT, *BALLS),
    "no blunt bit": (*BALLS, FINE),
    "three blunt bits": (ROUND, SMALL_FLAT, FLAT, ball(6.0), FINE),
    "twins": (ball(4.0), named("spare", ball(4.0)), FLAT, FINE),
    "two bits": (ball(6.0), FLAT),
    "one bit": (ball(6.0),),
}


def random_reach(rack: tuple[Bit, ...], seed: int, *, nested: bool) -> Reach:
    """Return blobs that each bit reaches; nested: the smaller the more, or just as it falls."""
    rng = np.random.default_rng(seed)
    bits = by_size(rack)
    grid = cells((60.0, 40.0), 0.5)
    masks = np.zeros((grid.ny, grid.nx), dtype=np.uint16)
    common = ndimage.gaussian_filter(rng.normal(size=masks.shape), 4.0)
    for k in range(len(bits)):
        own = ndimage.gaussian_filter(rng.normal(size=masks.shape), 3.0)
        field = common if nested else common + 0.7 * own
        share = 0.5 + 0.45 * (k + 1) / len(bits)
        masks[field < np.quantile(field, share)] |= np.uint16(1 << k)
    area = rng.uniform(0.25, 0.5, masks.shape)
    area[:, :10] = 0.0
    return Reach(bits=bits, grid=grid, area=area, masks=masks)


def random_costs(job: Job, reach: Reach, seed: int) -> Costs:
    """Return minutes that drafts might have given."""
    rng = np.random.default_rng(seed)
    number = {bit.name: k for k, bit in enumerate(reach.bits)}
    finish = [number[stage.bit.name] for stage in ladder(job)[1:]]
    alone = {k: float(rng.uniform(20.0, 60.0) * (k + 1)) for k in number.values()}
    after_larger = {
        k: (tuple(finish[:place]), alone[k] * (float(rng.uniform(0.2, 0.9)) if place else 1.0))
        for place, k in enumerate(finish)
    }
    rough = {k: float(rng.uniform(20.0, 40.0) * (k + 1)) for k in number.values()}
    return Costs(rough=rough, drafts=Drafts(alone=alone, after_larger=after_larger))


@cache
def area_of_squares(reach: Reach, k: int, used: tuple[int, ...]) -> float:
    """Area of squares as wide as a bit's tip that hold places left, counted one by one."""
    left = left_by(reach, used)
    side = max(1, round(tip_size(reach.bits[k]) / reach.grid.pitch))
    area = 0.0
    for j in range(0, reach.grid.ny, side):
        for i in range(0, reach.grid.nx, side):
            if left[j : j + side, i : i + side].any():
                area += float(reach.area[j : j + side, i : i + side].sum())
    return area


def left_by(reach: Reach, numbers: Sequence[int]) -> NDArray[np.bool_]:
    """Return the cells with area that none of the bits reaches."""
    left: NDArray[np.bool_] = reach.area > 0
    for k in numbers:
        left = left & (reach.masks >> np.uint16(k) & 1 == 0)
    return left


def minutes_of(bits: Sequence[Bit], reach: Reach, costs: Costs, change: float) -> float:
    """Minutes of finishing bits: on a straight line between their drafts, by area left."""
    total, used = 0.0, list[int]()
    for bit in bits:
        k = reach.bits.index(bit)
        area = area_of_squares(reach, k, tuple(used))
        most = (area_of_squares(reach, k, ()), costs.drafts.alone[k])
        larger, minutes = costs.drafts.after_larger.get(k, ((), most[1]))
        least = (area_of_squares(reach, k, larger), minutes)
        if area <= least[0]:
            total += least[1] * area / least[0] if least[0] else 0.0
        else:
            share = (area - least[0]) / (most[0] - least[0])
            total += least[1] + share * (most[1] - least[1])
        total += change
        used.append(k)
    return total


def brute_force(
    job: Job, reach: Reach, question: Question, costs: Costs
) -> list[tuple[float, tuple[str, ...], float]]:
    """Return minutes, bits in order and share reached of every subset, ordered as carving does."""
    found = []
    for count in range(1, len(job.rack) + 1):
        for rack in combinations(job.rack, count):
            stages = ladder(replace(job, rack=rack))
            finish = [stage.bit for stage in stages[1:]]
            reached = np.zeros(reach.masks.shape, dtype=bool)
            for bit in finish:
                reached |= reach.masks >> np.uint16(reach.bits.index(bit)) & 1 == 1
            minutes = question.rough[reach.bits.index(stages[0].bit)]
            minutes += minutes_of(finish, reach, costs, job.machine.bit_change / 60.0)
            names = tuple(stage.bit.name for stage in stages)
            found.append((minutes, names, float(reach.area[reached].sum() / reach.area.sum())))
    return found


@pytest.mark.parametrize("nested", [True, False])
@pytest.mark.parametrize("rack", RACKS)
@pytest.mark.parametrize("change", [2.0, 300.0])
def test_the_best_ladder_is_the_best_of_all_subsets(rack: str, nested: bool, change: float) -> None:
    job = job_of(RACKS[rack])
    job = replace(job, machine=replace(job.machine, bit_change=change))
    reach = random_reach(job.rack, 7 + len(rack), nested=nested)
    whole = reach.share(range(len(reach.bits)))
    costs = random_costs(job, reach, 11 + len(rack))
    for need in (0.4, whole - 0.05, whole - 1e-9):
        question = question_of(job, reach, costs, need)
        slow = [one for one in brute_force(job, reach, question, costs) if one[2] >= need]
        found = best_ladder(question)
        if not slow:
            assert found is None
            continue
        assert found is not None
        minutes, names, _ = min(slow)
        assert found.total == pytest.approx(minutes, rel=1e-9)
        order = (found.rough, *found.finish)
        alike = [one[1] for one in slow if one[0] == pytest.approx(minutes, rel=1e-9)]
        assert tuple(reach.bits[k].name for k in order) in alike
        assert names in alike


def test_none_if_nothing_reaches_enough() -> None:
    job = job_of(RACKS["one blunt bit"])
    reach = random_reach(job.rack, 3, nested=True)
    assert best_ladder(question_of(job, reach, random_costs(job, reach, 5), 1.01)) is None


def test_squares_by_hand() -> None:
    """By hand: 4 x 4 cells of 1 mm2 in squares of 2; one holds a cell that only bit 1 reaches."""
    masks = np.full((4, 4), 3, dtype=np.uint16)
    masks[0, 1], masks[3, 3] = 2, 0
    reach = Reach(
        bits=by_size((ball(4.0), ball(2.0))),
        grid=cells((4.0, 4.0), 1.0),
        area=np.ones((4, 4)),
        masks=masks,
    )
    squares = squares_of(reach, np.array([0, 2, 3], dtype=np.uint16), 2.0)
    left_by_none = np.array([True, True, True])
    assert squares.sent_to(left_by_none) == 16.0
    assert squares.sent_to(np.array([True, True, False])) == 8.0
    assert squares.sent_to(np.array([True, False, False])) == 4.0
    assert squares.sent_to(np.array([False, False, False])) == 0.0


def test_volume_of_roughing_by_hand() -> None:
    """By hand: a block 60 x 60 x 40 round a box 20 x 20 x 15 that stands at 20 to 35.

    Down to 20, in two levels of 10: 60 x 60 x 20 less the box where it stands above a level. It
    stands above both, 30 and 20: 2 x 20 x 20 x 10 (the upper 5 of the higher level count as box).
    The moat of 12 mm is wide enough: shank and nut begin higher over the tip than the moat is deep.
    """
    corners = np.array([[0, 0, 15], [20, 0, 15], [20, 20, 15], [0, 20, 15]])
    top = np.stack([corners[[0, 1, 2]], corners[[0, 2, 3]]])
    foot = top * np.array([1, 1, 0])
    box = placed(np.concatenate([top, foot]).astype(np.float64), (20.0, 20.0, 20.0))
    job = job_of((named("flat", make_bit("flat", 10.0)),))
    job = replace(job, roughing=replace(job.roughing, step_down=1.0))
    stage = replace(ladder(job)[0], step_down=10.0)
    assert rough_volume(scene_of(box, job), stage) == pytest.approx(
        60 * 60 * 20 - 2 * 400 * 10, rel=0.01
    )
    moat = replace(job, roughing=replace(job.roughing, clear="moat", moat=12.0))
    outline = 20 * 20 + 4 * 20 * 12 + np.pi * 12**2
    assert rough_volume(scene_of(box, moat), stage) == pytest.approx(
        outline * 20 - 2 * 400 * 10, rel=0.03
    )
    rate = 10.0 * 5.0 * stage.feed * 60.0
    assert plain_minutes(8000.0, stage) == pytest.approx(8000.0 / rate)


def test_time_between_drafts_by_hand() -> None:
    """By hand: 16 mm2 take 8 min, 4 of them 5, so 12 take 5 + 8/12 of the other 3; none take 0."""
    masks = np.full((4, 4), 3, dtype=np.uint16)
    masks[0, :] = 2
    reach = Reach(
        bits=by_size((ball(4.0), ball(1.0))),
        grid=cells((4.0, 4.0), 1.0),
        area=np.ones((4, 4)),
        masks=masks,
    )
    drafts = Drafts(alone={0: 6.0, 1: 8.0}, after_larger={0: ((), 6.0), 1: ((0,), 5.0)})
    cost = finish_cost(reach, drafts)
    assert cost.masks.tolist() == [2, 3]
    assert cost.minutes(1, cost.left(0)) == 8.0
    assert cost.minutes(1, cost.left(0b01)) == 5.0
    assert cost.minutes(1, cost.left(0b11)) == 0.0
    assert cost.minutes(1, np.array([False, True])) == pytest.approx(5.0 + 8 / 12 * 3.0)
    assert cost.minutes(0, cost.left(0)) == 6.0


def test_more_ice_never_takes_less_time() -> None:
    """By hand: a draft of less area that takes longer counts for the larger area as well."""
    masks = np.array([[2, 3], [3, 3]], dtype=np.uint16)
    reach = Reach(
        bits=by_size((ball(2.0), ball(1.0))),
        grid=cells((2.0, 2.0), 1.0),
        area=np.ones((2, 2)),
        masks=masks,
    )
    drafts = Drafts(alone={0: 1.0, 1: 4.0}, after_larger={0: ((), 1.0), 1: ((0,), 7.0)})
    cost = finish_cost(reach, drafts)
    assert cost.minutes(1, cost.left(0)) == 7.0
