"""Progress on stderr while a folder is read and merged; silent where nobody watches."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from service.plant_folder.merging import Progress as Report


@contextmanager
def shown_progress() -> Iterator[Report]:
    """A reporter of (table, rows done, rows in all)."""
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, disable=not sys.stderr.isatty(), transient=True) as bars:
        bar = bars.add_task("", total=None)

        def report(table: str, done: int, total: int) -> None:
            bars.update(bar, description=table, completed=done, total=total)

        yield report
