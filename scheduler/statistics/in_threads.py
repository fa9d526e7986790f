"""Independent pieces of array work, on as many threads as there are processors.

NumPy lets go of the interpreter within its loops over arrays, so that threads gain where pieces are large enough.
"""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Piece = TypeVar("Piece")


def for_each(pieces: Sequence[Piece], work: Callable[[Piece], None]) -> None:
    """Do `work` on every piece, in any order; it may write only to what is its own. An error of any comes out."""
    if len(pieces) < 2:
        for piece in pieces:
            work(piece)
        return
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as threads:
        for _ in threads.map(work, pieces):  # asked for, so that an error comes out
            pass
