"""Which row each code has in the columns."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Codes:
    """Which row each code has in the columns."""

    plants: dict[str, int]
    systems: dict[str, int]
    types: dict[str, int]
    positions: dict[str, int]
    meters: dict[tuple[str, str], int]
