"""What the database already holds, as far as reading a folder needs it: its codes and where they are."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
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

    def of_plants(self, plants: Collection[str] | None) -> "Known":
        """What of it is in these plants, and what all plants share; with None all of it."""
        if plants is None:
            return self
        systems = {system: plant for system, plant in self.plant_of_system.items() if plant in plants}
        return replace(
            self,
            plants={code: terms for code, terms in self.plants.items() if code in plants},
            plant_of_system=systems,
            system_of_position={
                position: system for position, system in self.system_of_position.items() if system in systems
            },
        )


EMPTY = Known()
