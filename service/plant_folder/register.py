"""Which codes exist so far, in the database and the folder's earlier tables; what a row's plant decides."""

from typing import NamedTuple
from zoneinfo import ZoneInfo

from service.plant_folder.known import Known, PlantTerms
from service.plant_folder.moments import time_zone_names

FEEDING_TABLES = frozenset({"plants", "systems", "positions", "fluids", "element_types", "parts"})
"""The tables whose rows change what later rows may refer to, and in which terms."""

_UTC = ZoneInfo("UTC")
_PART_TABLES = ("element_types", "parts")
_LOCATED_BY = ("position", "system", "plant")


class RowTerms(NamedTuple):
    """What the plant of a row decides about its cells.

    `zone` is None where a time must bring its own offset, `altitude_m` where no absolute pressure can be
    converted; `currency` is '' where none is known.
    """

    zone: ZoneInfo | None
    altitude_m: float | None
    currency: str
    plant: str = ""


UNSETTLED = RowTerms(_UTC, 0.0, "")
"""Of a row whose plant cannot be found for a reason already told: its cells are checked all the same."""


class Register:
    """Grows row by row while the tables are read in the order of the layout."""

    def __init__(self, known: Known, *, reads_files: bool = True) -> None:
        """`reads_files` is false where rows come without files, so that no file is named to look into."""
        self.reads_files = reads_files
        self._plants = {code: PlantTerms(*terms) for code, terms in known.plants.items()}
        self._plant_of_system = dict(known.plant_of_system)
        self._system_of_position = dict(known.system_of_position)
        self._codes: dict[str, set[str]] = {
            "plants": set(self._plants),
            "systems": set(self._plant_of_system),
            "positions": set(self._system_of_position),
            "fluids": set(known.fluids),
            "element_types": set(known.element_types),
            "parts": set(known.kind_of_part),
            "any_part": set(known.element_types) | set(known.kind_of_part),
        }
        self._kind_of_part = dict(known.kind_of_part)
        self._unreadable: set[str] = set()
        self._terms: dict[tuple[str, str], RowTerms] = {}

    def give_up(self, table: str) -> None:
        """The table's file could not be read: do not blame other tables for codes that may stand in it."""
        self._unreadable |= {table, "any_part"} if table in _PART_TABLES else {table}

    def codes(self, table: str) -> set[str] | None:
        """The codes that a reference to `table` may be, growing; None where they cannot be known."""
        return None if table in self._unreadable else self._codes[table]

    def kind_of_part(self, part_number: str) -> str | None:
        return self._kind_of_part.get(part_number)

    def system_of_position(self, position: str) -> str | None:
        return self._system_of_position.get(position)

    def add(self, table: str, code: str, values: dict[str, object]) -> None:
        """A row of a table that others refer to; cells that were refused are missing from `values`."""
        if table not in FEEDING_TABLES:
            return
        self._codes[table].add(code)
        self._terms.clear()
        match table:
            case "plants":
                self._plants[code] = self._merged_terms(code, values)
            case "systems":
                self._plant_of_system[code] = str(values.get("plant", ""))
            case "positions":
                self._system_of_position[code] = str(values.get("system", ""))
            case "element_types":
                self._codes["any_part"].add(code)
            case "parts":
                self._codes["any_part"].add(code)
                self._kind_of_part[code] = str(values.get("kind", "part"))

    def _merged_terms(self, code: str, values: dict[str, object]) -> PlantTerms:
        earlier = self._plants.get(code, PlantTerms(""))
        altitude_m, currency = values.get("altitude_m"), values.get("currency")
        return PlantTerms(
            str(values.get("time_zone", "")),
            altitude_m if isinstance(altitude_m, float) else earlier.altitude_m,
            currency if isinstance(currency, str) else earlier.currency,
        )

    def terms(self, where: dict[str, str]) -> RowTerms:
        """Terms for a row whose `position`, `system` or `plant` cells are `where`, the nearest first.

        Without any of them the row belongs to no plant, and only what all plants share holds for it.
        """
        for kind in _LOCATED_BY:
            code = where.get(kind)
            if code:
                found = self._terms.get((kind, code))
                if found is None:
                    found = self._terms[kind, code] = self._terms_at(kind, code)
                return found
        if ("", "") not in self._terms:
            self._terms["", ""] = self._shared_terms()
        return self._terms["", ""]

    def _terms_at(self, kind: str, code: str) -> RowTerms:
        plant = code
        if kind == "position":
            plant = self._plant_of_system.get(self._system_of_position.get(code, ""), "")
        elif kind == "system":
            plant = self._plant_of_system.get(code, "")
        terms = self._plants.get(plant)
        if terms is None or terms.time_zone not in time_zone_names():
            return UNSETTLED
        currency = terms.currency or self._shared_currency()
        return RowTerms(ZoneInfo(terms.time_zone), terms.altitude_m, currency, plant)

    def _shared_terms(self) -> RowTerms:
        if "plants" in self._unreadable:
            return UNSETTLED
        zones = {terms.time_zone for terms in self._plants.values()}
        if zones - time_zone_names():
            return UNSETTLED
        zone = ZoneInfo(next(iter(zones))) if len(zones) == 1 else None
        return RowTerms(zone, None, self._shared_currency())

    def _shared_currency(self) -> str:
        currencies = {terms.currency for terms in self._plants.values() if terms.currency}
        return next(iter(currencies)) if len(currencies) == 1 else ""
