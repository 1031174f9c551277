"""The ladder of bits that takes the least time, as a shortest path.

A place on the way is the last bit used and what is left; a step is the next smaller bit, its length
the minutes it takes on what is left. Ladders that leave the same go on as one.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush

from icecam.choose.cost import FinishCost
from icecam.choose.reach import Reach


@dataclass(frozen=True, slots=True, kw_only=True)
class Ladder:
    """Bits in the order they work, by number, with their minutes, changes of bits included.

    rough : does the bulk; finish : may be the same bit if it is the only one
    """

    rough: int
    finish: tuple[int, ...]
    minutes: tuple[float, ...]

    @property
    def total(self) -> float:
        """Minutes of all stages."""
        return sum(self.minutes)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Question:
    """What the search must know.

    rough : minutes of roughing by the number of the bit
    followers : which bits may finish after each roughing bit, largest first
    change : minutes to change a bit; need : share of the area to be reached
    """

    reach: Reach
    cost: FinishCost
    rough: Mapping[int, float]
    followers: Mapping[int, Sequence[int]]
    change: float
    need: float


def ladder_of(question: Question, rough: int, finish: Sequence[int]) -> Ladder:
    """Return a given ladder with its minutes."""
    minutes, used = [question.rough[rough]], 0
    for k in finish:
        left = question.cost.left(used)
        minutes.append(question.cost.minutes(k, left) + question.change)
        used |= 1 << k
    return Ladder(rough=rough, finish=tuple(finish), minutes=tuple(minutes))


def best_ladder(question: Question) -> Ladder | None:
    """Return the ladder that takes the least time of all that reach what is needed.

    None if none does. Of equals the one with fewer bits, then with larger bits.

    Notes
    -----
    Shortest path by ever greater length [Dijkstra, E. W. 1959, A note on two problems in connexion
    with graphs]: exact, for minutes are never negative and what lies ahead depends only on what is
    left and the last bit.
    """
    queue: list[tuple[float, int, tuple[int, ...], int]] = []
    for rough, minutes in question.rough.items():
        heappush(queue, (minutes, 0, (), rough))
    settled: set[tuple[int, int, bytes]] = set()
    while queue:
        minutes, count, finish, rough = heappop(queue)
        left = question.cost.left(sum(1 << k for k in finish))
        place = (rough, finish[-1] if finish else -1, left.tobytes())
        if place in settled:
            continue
        settled.add(place)
        if finish and question.reach.share(finish) >= question.need:
            return ladder_of(question, rough, finish)
        for k in _next(question, rough, finish):
            step = question.cost.minutes(k, left) + question.change
            heappush(queue, (minutes + step, count + 1, (*finish, k), rough))
    return None


def _next(question: Question, rough: int, finish: tuple[int, ...]) -> list[int]:
    """Bits that may come next: smaller than the last; a bit that roughed only if it is alone."""
    if not finish:
        return [*question.followers[rough], rough]
    if finish[-1] == rough:
        return []
    return [k for k in question.followers[rough] if k > finish[-1]]
