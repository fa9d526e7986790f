"""What is worth knowing of a job as it was told, though nothing of it is refused."""

from collections.abc import Iterator

from api_schemas.close_outs import CloseOutIn, LevelSeen
from scheduler.engineering.oil_level import level_check


def remarks_on(told: CloseOutIn) -> list[str]:
    """One sentence each."""
    return list(_on_level(told.level)) if told.level is not None else []


def _on_level(seen: LevelSeen) -> Iterator[str]:
    looked = level_check(at_rest=seen.at_rest, defined_position=seen.defined_position, reservoir_volume_L=1.0)
    if not looked.valid:
        yield f"The level is kept but does not count: {looked.why_not}. Look again."
