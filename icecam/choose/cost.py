"""Minutes of every bit of a rack on whatever other bits have left, for choosing among ladders.

Each bit is drafted twice on the sculpture: alone after roughing, and after all larger bits. What
lies between in area is taken to lie between in time. Roughing is drafted with the job's own bit;
others go by volume over step-down, stepover and feed from there.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from icecam.choose.draft import draft_seconds, draft_stages
from icecam.choose.reach import Reach
from icecam.choose.sample import sample_of
from icecam.estimate.runtime import StageSeconds
from icecam.geometry.drop import sculpture_heights
from icecam.geometry.field import Heights, cells
from icecam.job.bits import tip_size
from icecam.paths.rough_stage import moat_width
from icecam.paths.stages import Stage, ladder
from icecam.paths.step_down import levels_within
from icecam.plan import Say, Scene
from icecam.units import S_PER_MIN

COARSE_CELLS: Final = 40_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Squares:
    """The sculpture in squares as wide as a bit's tip; squares that hold the same masks are one.

    holds : (groups, masks) whether a group's squares hold cells with a mask; area : (groups,) mm2
    """

    holds: NDArray[np.bool_]
    area: Heights

    def sent_to(self, left: NDArray[np.bool_]) -> float:
        """Return the area (mm2) of squares that hold any of the masks (masks,) marked as left."""
        return float(self.area[self.holds[:, left].any(axis=1)].sum())


def squares_of(reach: Reach, masks: NDArray[np.uint16], side: float) -> Squares:
    """Group the sculpture into squares of `side` (mm), by the `masks` (sorted) they hold.

    A bit goes over a strip as wide as its tip wherever anything is left, be it as thin as a hair:
    so what it is sent to is counted in such squares.
    """
    count = max(1, round(side / reach.grid.pitch))
    rows, columns = np.nonzero(reach.area > 0)
    square = (rows // count) * (reach.grid.nx // count + 1) + columns // count
    _, square = np.unique(square, return_inverse=True)
    which = np.searchsorted(masks, reach.masks[rows, columns])
    holds = np.zeros((int(square.max()) + 1, len(masks)), dtype=np.bool_)
    holds[square, which] = True
    area = np.bincount(square, weights=reach.area[rows, columns])
    groups, group = np.unique(holds, axis=0, return_inverse=True)
    summed = np.bincount(group.ravel(), weights=area).astype(np.float64)
    return Squares(holds=groups, area=summed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drafts:
    """Minutes of finishing bits as drafted, by number, without the change of bits.

    alone : after roughing; after_larger : after all larger bits that finish, and those bits
    """

    alone: Mapping[int, float]
    after_larger: Mapping[int, tuple[tuple[int, ...], float]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FinishCost:
    """Minutes of each finishing bit on what others left.

    masks : (masks,) that occur; squares : one a bit, in the order of the masks' bits
    areas, times : mm2 and minutes of its drafts, rising from (0, 0), one pair of arrays a bit
    """

    masks: NDArray[np.uint16]
    squares: tuple[Squares, ...]
    areas: tuple[Heights, ...]
    times: tuple[Heights, ...]

    def left(self, used: int) -> NDArray[np.bool_]:
        """Return which masks (masks,) hold none of the bits `used`: those places are left."""
        free: NDArray[np.bool_] = self.masks & np.uint16(used) == 0
        return free

    def minutes(self, k: int, left: NDArray[np.bool_]) -> float:
        """Return minutes of bit k at places left, without the change of bits."""
        return float(np.interp(self.squares[k].sent_to(left), self.areas[k], self.times[k]))


def finish_cost(reach: Reach, drafts: Drafts) -> FinishCost:
    """Prepare the costs of all bits of a rack from their drafts.

    Less area never takes more time: where drafts say so, the longer one counts for both.
    """
    masks = np.unique(reach.masks[reach.area > 0])
    squares = tuple(squares_of(reach, masks, tip_size(bit)) for bit in reach.bits)
    areas, times = [], []
    for k, own in enumerate(squares):
        points = [(0.0, 0.0), (own.sent_to(np.ones(len(masks), dtype=np.bool_)), drafts.alone[k])]
        if k in drafts.after_larger:
            larger, minutes = drafts.after_larger[k]
            used = np.uint16(sum(1 << other for other in larger))
            points.append((own.sent_to(masks & used == 0), minutes))
        rising = np.array(sorted(points))
        areas.append(rising[:, 0])
        times.append(np.maximum.accumulate(rising[:, 1]))
    return FinishCost(masks=masks, squares=squares, areas=tuple(areas), times=tuple(times))


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """Minutes of roughing with each bit, and drafts of finishing; bits by number."""

    rough: Mapping[int, float]
    drafts: Drafts


def drafted_costs(scene: Scene, reach: Reach, alone: Sequence[Sequence[Stage]], say: Say) -> Costs:
    """Draft the bits of a rack on a sculpture.

    alone : the two stages of a rack of each bit alone, in the order of `reach.bits`
    say : is told what is being done and which share lies behind
    """
    own = ladder(scene.job)
    roughed = draft_stages(scene, own[:1], lambda doing, share: say(doing, share / 2))
    part, scale = sample_of(scene)
    if roughed:
        part = replace(part, ice=roughed[0].ice)
    chain = draft_stages(part, own[1:], lambda doing, share: say(doing, 0.2 + 0.3 * share))
    minutes = {done.stage.bit.name: _minutes(done.seconds, scale) for done in chain}
    after_larger: dict[int, tuple[tuple[int, ...], float]] = {}
    names = [bit.name for bit in reach.bits]
    for stage in own[1:]:
        time = minutes.get(stage.bit.name, 0.0)
        after_larger[names.index(stage.bit.name)] = (tuple(after_larger), time)
    by_itself = {}
    for k, (_, stage) in enumerate(alone):
        say(f"a draft of {stage.bit.name} alone", 0.5 + 0.5 * k / len(alone))
        if after_larger.get(k, ((k,), 0.0))[0] == ():
            by_itself[k] = after_larger[k][1]
            continue
        seconds = draft_seconds(part, stage, part.ice)
        by_itself[k] = _minutes(seconds, scale) if seconds else 0.0
    plain = [plain_minutes(rough_volume(scene, rough), rough) for rough, _ in alone]
    first = plain[names.index(own[0].bit.name)]
    factor = _minutes(roughed[0].seconds, 1.0) / first if roughed and first else 1.0
    return Costs(
        rough={k: factor * time for k, time in enumerate(plain)},
        drafts=Drafts(alone=by_itself, after_larger=after_larger),
    )


def rough_volume(scene: Scene, stage: Stage) -> float:
    """Return the ice (mm3) that roughing takes: the moat or the block, less the sculpture.

    Level by level on a coarse grid; the moat is as wide as roughing makes it. Skin and what the bit
    cannot enter are not counted.
    """
    job, low = scene.job, float(scene.placed.mesh.low[2])
    x, y, top = job.block.size
    grid = cells((x, y), max((x * y / COARSE_CELLS) ** 0.5, 0.5))
    wanted = sculpture_heights(scene.surface, grid).heights
    ice = scene.ice.heights[scene.ice.grid.nearest(*np.meshgrid(grid.x, grid.y))]
    apart = ndimage.distance_transform_edt(~np.isfinite(wanted)) * grid.pitch
    bottom = max(job.block.floor, low)
    at = levels_within(top, bottom, np.array([top]), np.array([stage.step_down]))
    count = 0
    for z in at:
        width = np.inf
        if job.roughing.clear == "moat":
            width = moat_width(float(z) + stage.step_down - bottom, job, stage)
        count += int(((apart <= width) & (wanted < z) & (ice > z)).sum())
    return count * grid.pitch**2 * (top - bottom) / len(at)


def plain_minutes(volume: float, stage: Stage) -> float:
    """Return minutes of a volume (mm3) at full step-down, stepover and feed, without a pause."""
    return volume / (stage.step_down * stage.stepover * stage.feed) / S_PER_MIN


def _minutes(seconds: StageSeconds, scale: float) -> float:
    """Minutes without the change of bits, what goes by area scaled up."""
    return (seconds.dwells + scale * (seconds.cutting + seconds.rapids)) / S_PER_MIN
