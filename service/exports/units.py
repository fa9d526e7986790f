"""Volumes of a file in the units in which its plants are worded."""

from collections.abc import Collection
from dataclasses import dataclass

import sqlalchemy as sa

from scheduler.units import from_canonical
from scheduler.vocabulary import DisplayUnits, QuantityKind
from service.due.listing import display_units


@dataclass(frozen=True, slots=True)
class VolumeUnit:
    """The unit of every volume in a file; it stands in the headers."""

    symbol: str

    def shown(self, volume_L: float | None) -> float | None:
        """The volume in this unit."""
        return None if volume_L is None else round(from_canonical(volume_L, self.symbol, QuantityKind.VOLUME), 3)


def volume_unit(connection: sa.Connection, plants: Collection[str]) -> VolumeUnit:
    """US gallons where each of `plants` is worded in US units, else litres."""
    chosen = display_units(connection)
    in_us_units = bool(plants) and all(chosen[plant] is DisplayUnits.US for plant in plants)
    return VolumeUnit("gal" if in_us_units else "L")
