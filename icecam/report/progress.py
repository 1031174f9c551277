"""What is being done, on a terminal only: the stage, a bar and the time left."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import (
    BarColumn,
    Progress,
    TextColumn,
    TimeRemainingColumn,
)

SPEED_OVER_S = 600.0


@contextmanager
def working(console: Console) -> Iterator[Callable[[str, float], None]]:
    """Give a function to tell what is being done and the share (0 to 1) that lies behind.

    The line goes when the work is over; nothing is shown where no one looks on.
    """
    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(bar_width=16),
        TextColumn("left"),
        TimeRemainingColumn(compact=True),
    )
    with Progress(
        *columns,
        console=console,
        transient=True,
        speed_estimate_period=SPEED_OVER_S,
        disable=not console.is_terminal,
    ) as progress:
        task = progress.add_task("", total=1.0)
        yield lambda doing, share: progress.update(task, description=doing, completed=share)
