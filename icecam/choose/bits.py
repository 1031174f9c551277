"""Which bits to use: reach, smallest features, and the best ladder of a rack on a sculpture."""

from dataclasses import dataclass, replace
from typing import Final

from icecam.choose.best import Ladder, Question, best_ladder, ladder_of
from icecam.choose.cost import Costs, drafted_costs, finish_cost
from icecam.choose.features import left_in_valley, smallest_groove
from icecam.choose.reach import Reach, reach_of
from icecam.geometry.profile import cutting_end, thicken
from icecam.job.records import Bit, Job
from icecam.paths.resting import ALLOWANCE_MM
from icecam.paths.stages import ladder
from icecam.plan import Say, Scene
from icecam.units import S_PER_MIN

FORGONE: Final = 0.001
"""Share of the area that a ladder may leave of what the whole rack reaches: judgement, so that no
bit is sent out for a speck."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BitReach:
    """One bit: shares of the area seen from above, mm.

    alone : share it reaches within the tolerance by itself
    adds : share it adds to the larger ones that finish; None for a bit that only roughs
    groove : narrowest groove, as deep as wide, cut to its bottom
    valley : ice left where two slopes of 45 degrees meet
    """

    bit: Bit
    alone: float
    adds: float | None
    groove: float
    valley: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """All that is known of a rack on a sculpture; numbers are places in `bits`, largest first."""

    file: str
    tolerance: float
    scallop: float
    reach: Reach
    bits: tuple[BitReach, ...]
    whole: Ladder
    best: Ladder

    @property
    def saved(self) -> float:
        """Minutes that the best ladder saves against the whole rack."""
        return self.whole.total - self.best.total


def choose(scene: Scene, say: Say = lambda _doing, _share: None) -> Choice:
    """Ask which bits of a scene's rack reach what, and which of them to use.

    say : is told what is being done and which share lies behind
    """
    job = scene.job
    reach = reach_of(scene, lambda doing, share: say(doing, 0.3 * share))
    alone = [ladder(replace(job, rack=(bit,))) for bit in reach.bits]
    costs = drafted_costs(scene, reach, alone, lambda doing, share: say(doing, 0.3 + 0.7 * share))
    number = {bit.name: k for k, bit in enumerate(reach.bits)}
    steps = [number[stage.bit.name] for stage in ladder(job)]
    rough, finish = steps[0], tuple(steps[1:])
    question = question_of(job, reach, costs, reach.share(finish) - FORGONE)
    whole = ladder_of(question, rough, finish)
    return Choice(
        file=scene.placed.mesh.file,
        tolerance=job.quality.detail,
        scallop=job.quality.scallop,
        reach=reach,
        bits=tuple(_bit_reach(reach, k, finish, job.quality.detail) for k in number.values()),
        whole=whole,
        best=best_ladder(question) or whole,
    )


def with_best_bits(scene: Scene, choice: Choice) -> Scene:
    """Return the scene with a rack of the bits of the best ladder alone."""
    wanted = {choice.bits[k].bit.name for k in (choice.best.rough, *choice.best.finish)}
    rack = tuple(bit for bit in scene.job.rack if bit.name in wanted)
    spared = tuple(bit.name for bit in scene.job.rack if bit.name not in wanted)
    return replace(scene, job=replace(scene.job, rack=rack), spared=spared)


def _bit_reach(reach: Reach, k: int, finish: tuple[int, ...], tolerance: float) -> BitReach:
    larger = [other for other in finish if other < k]
    adds = reach.share([*larger, k]) - reach.share(larger) if k in finish else None
    # the bit keeps its allowance: it cuts like a thicker one that must come closer
    profile = thicken(cutting_end(reach.bits[k]), ALLOWANCE_MM)
    return BitReach(
        bit=reach.bits[k],
        alone=reach.share([k]),
        adds=adds,
        groove=smallest_groove(profile, max(tolerance - ALLOWANCE_MM, 0.0)),
        valley=left_in_valley(profile) + ALLOWANCE_MM,
    )


def question_of(job: Job, reach: Reach, costs: Costs, need: float) -> Question:
    """Return what the search for the best ladder must know; `need` is a share of the area."""
    blunt = [k for k, bit in enumerate(reach.bits) if bit.shape in ("flat", "rounded corner")]
    followers = {}
    for k in range(len(reach.bits)):
        # the largest blunt bit of a ladder roughs; without a blunt one its largest bit does
        others = [other for other in range(len(reach.bits)) if other != k]
        if k in blunt:
            followers[k] = [n for n in others if n not in blunt or n > k]
        else:
            followers[k] = [n for n in others if n not in blunt and n > k]
    return Question(
        reach=reach,
        cost=finish_cost(reach, costs.drafts),
        rough=costs.rough,
        followers=followers,
        change=job.machine.bit_change / S_PER_MIN,
        need=need,
    )
