"""What is worth knowing of a job as it was told, though nothing of it is refused."""

from collections.abc import Iterator

from api_schemas.close_outs import CloseOutIn, LevelSeen


def remarks_on(told: CloseOutIn) -> list[str]:
    """One sentence each."""
    return list(_on_level(told.level)) if told.level is not None else []


def _on_level(seen: LevelSeen) -> Iterator[str]:
    """A level is judged with the system at rest and in its defined position (common practice, no source)."""
    lacking = [
        words
        for is_so, words in ((seen.at_rest, "at rest"), (seen.defined_position, "in its defined position"))
        if not is_so
    ]
    if lacking:
        yield f"The level is kept but does not count: the system was not {' and not '.join(lacking)}. Look again."
