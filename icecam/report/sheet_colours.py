"""Shades of the stages: dark for the largest bit to pale for the smallest."""

from typing import Final

SHADES: Final = 6


def stage_class(nth: int, count: int) -> str:
    """Return the class of a stage's shade; `nth` from 0, in the order they run.

    >>> [stage_class(nth, 4) for nth in range(4)], stage_class(11, 12)
    (['stage-1', 'stage-2', 'stage-3', 'stage-4'], 'stage-6')
    """
    shade = nth if count <= SHADES else round(nth * (SHADES - 1) / (count - 1))
    return f"stage-{shade + 1}"
