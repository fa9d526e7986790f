"""One cycle: load, plan, save the differences. The two callables own the database and the transaction."""

from collections.abc import Callable

from scheduler.planning.pipeline import Known, Planned, plan


def run_cycle(load: Callable[[], Known], save: Callable[[Known, Planned], None]) -> Planned:
    """Load what is known, decide, and hand both to `save`, which writes what differs."""
    known = load()
    planned = plan(known)
    save(known, planned)
    return planned
