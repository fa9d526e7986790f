"""Python looks for reference cycles each time some hundred objects were made; rows by the million hold none."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager

_OBJECTS_BETWEEN = 100_000


@contextmanager
def rare_cycle_collection() -> Iterator[None]:
    """Look for cycles a hundred times less often: it took a quarter of an import's time.

    Of the whole process, for as long as the block takes; cycles that others make meanwhile are still found.
    """
    before = gc.get_threshold()
    gc.set_threshold(_OBJECTS_BETWEEN, *before[1:])
    try:
        yield
    finally:
        gc.set_threshold(*before)
