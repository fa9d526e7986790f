"""What the database already holds, as far as reading a folder needs it: its codes and where they are."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple


class PlantTerms(NamedTuple):
    """What a plant decides about the cells of its rows; None where it is not recorded."""

    time_zone: str
    altitude_m: float | None = None
    currency: str | None = None


@dataclass(frozen=True, slots=True)
class Known:
    """Codes of the installation before the folder is read.

    `plant_of_system` and `system_of_position` hold every system and position, retired ones too: their past
    readings may still arrive. `kind_of_part` says of each seal kit, gasket and consumable which it is.
    """

    plants: Mapping[str, PlantTerms] = field(default_factory=dict)
    plant_of_system: Mapping[str, str] = field(default_factory=dict)
    system_of_position: Mapping[str, str] = field(default_factory=dict)
    fluids: frozenset[str] = frozenset()
    element_types: frozenset[str] = frozenset()
    kind_of_part: Mapping[str, str] = field(default_factory=dict)


EMPTY = Known()
