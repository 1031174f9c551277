"""How fast the best ladder is found, against trying every subset of the rack."""

import time

from icecam.choose.best import best_ladder
from icecam.choose.bits import question_of
from tests.bench.figures import Figure, Note
from tests.choose.scenes import job_of
from tests.choose.test_best import RACKS, brute_force, random_costs, random_reach


def test_ladder_against_all_subsets(figure: Note) -> None:
    job = job_of(RACKS["one blunt bit"])
    reach = random_reach(job.rack, 3, nested=False)
    costs = random_costs(job, reach, 5)
    question = question_of(job, reach, costs, reach.share(range(len(reach.bits))) - 0.01)
    began = time.perf_counter()
    found = best_ladder(question)
    took = time.perf_counter() - began
    began = time.perf_counter()
    every = brute_force(job, reach, question, costs)
    all_took = time.perf_counter() - began
    figure(Figure("best ladder, share of the time to try all subsets", took / all_took, 0.5, ""))
    assert found is not None
    least = min(minutes for minutes, _, share in every if share >= question.need)
    assert found.total <= 1.01 * least
