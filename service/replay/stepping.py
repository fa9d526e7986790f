"""Going through the steps of a replay, in this process or in several beside it, each step as it is kept."""

import multiprocessing
import os
import threading
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import datetime, timedelta
from itertools import islice
from typing import Any

import numpy as np

from scheduler.planning.plant_columns import Floats
from scheduler.planning.replay import LEARNED_EVERY_D, Seen, Standing, replay_block
from scheduler.statistics.forecast_outcomes import LEVELS
from service.plant_store.history import PlantHistory

KeptStep = dict[str, Any]
"""A step as JSON: days to the ten-thousandth, hours to the tenth; null where nothing is known, −1 for beyond."""

Block = tuple[datetime, ...]

_DAYS = ("due_day", "early_day", "median_day", "late_day", "fitted_day")
_BEYOND = -1.0
_LOOKS_FOR_PARENT_EVERY_S = 2.0


def moments_of_steps(first: datetime, last: datetime, step_d: float) -> list[datetime]:
    """From the first moment on, as far as the last."""
    step = timedelta(days=step_d)
    return [first + number * step for number in range((last - first) // step + 1)]


def blocks_of(moments: Sequence[datetime], step_d: float) -> list[Block]:
    """Steps that share what is learned at the first of them."""
    left, size = iter(moments), max(int(LEARNED_EVERY_D / step_d), 1)
    return list(iter(lambda: tuple(islice(left, size)), ()))


def go_through(history: PlantHistory, blocks: Sequence[Block], processes: int = 1) -> Iterator[list[KeptStep]]:
    """Block by block in order, each as soon as it and those before it are done."""
    if processes == 1:
        for block in blocks:
            yield _through(history, block)
        return
    # two processes with as many threads each as there are cores would only get into each other's way
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, context, initializer=_begin, initargs=(history,)) as pool:
        yield from pool.map(_through_in_worker, blocks)


def kept_step(seen: Seen) -> KeptStep:
    """As it is kept."""
    hours_left = np.where(np.isinf(seen.hours_left), _BEYOND, np.round(seen.hours_left, 1))
    return {
        "as_of_day": seen.as_of_day,
        **{name: _nulled(np.round(getattr(seen, name), 4)) for name in _DAYS},
        "run_h": _nulled(np.round(seen.run_h, 1)),
        "is_read": seen.is_read.tolist(),
        "hours_left": [_nulled(row) for row in hours_left],
        "standing": [[each.code, each.system, each.position, each.severity] for each in seen.standing],
    }


def seen_of(kept: KeptStep) -> Seen:
    """As it was seen."""
    hours_left = np.array([_floats(row) for row in kept["hours_left"]]).reshape(-1, len(LEVELS))
    return Seen(
        as_of_day=kept["as_of_day"],
        **{name: _floats(kept[name]) for name in _DAYS},
        run_h=_floats(kept["run_h"]),
        is_read=np.array(kept["is_read"], dtype=bool),
        hours_left=np.where(hours_left == _BEYOND, np.inf, hours_left),
        standing=tuple(Standing(*each) for each in kept["standing"]),
    )


def _through(history: PlantHistory, block: Block) -> list[KeptStep]:
    return [kept_step(seen) for seen in replay_block(history.cut(moment) for moment in block)]


_history: PlantHistory | None = None


def _begin(history: PlantHistory) -> None:
    """In a worker: take the history once, and end with the process that asked, however that ends."""
    global _history  # noqa: PLW0603 - a worker has one task for its whole life
    _history = history
    threading.Thread(target=_end_with, args=(os.getppid(),), daemon=True).start()


def _end_with(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(_LOOKS_FOR_PARENT_EVERY_S)
    os._exit(1)


def _through_in_worker(block: Block) -> list[KeptStep]:
    assert _history is not None  # noqa: S101 - `_begin` comes first
    return _through(_history, block)


def _nulled(values: Floats) -> list[float | None]:
    return [None if value != value else value for value in values.tolist()]


def _floats(values: Sequence[float | None]) -> Floats:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
