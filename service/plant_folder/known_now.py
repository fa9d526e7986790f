"""What the database holds at this moment, as far as reading a folder needs it."""

import sqlalchemy as sa

from service.plant_folder import tables as t
from service.plant_folder.known import Known, PlantTerms


def known_now(connection: sa.Connection) -> Known:
    """Every code of the installation, retired ones too, and where it is."""
    return Known(
        plants=terms_now(connection),
        plant_of_system=_pairs(connection, t.systems.c.system, t.systems.c.plant),
        system_of_position=_pairs(connection, t.positions.c.position, t.positions.c.system),
        fluids=frozenset(connection.scalars(sa.select(t.fluids.c.fluid))),
        element_types=frozenset(connection.scalars(sa.select(t.element_types.c.part_number))),
        kind_of_part=_pairs(connection, t.parts.c.part_number, t.parts.c.kind),
    )


def terms_now(connection: sa.Connection) -> dict[str, PlantTerms]:
    """What each plant decides about its rows."""
    plants = connection.execute(sa.select(t.plants)).mappings()
    return {row["plant"]: PlantTerms(row["time_zone"], row["altitude_m"], row["currency"]) for row in plants}


def _pairs(connection: sa.Connection, code: sa.Column[str], said: sa.Column[str]) -> dict[str, str]:
    return {row[0]: row[1] for row in connection.execute(sa.select(code, said))}
