"""After a merge: a plant that has facts keeps its time zone.

Local times of the past were read in it. In another zone the same file would name other moments, and importing it
again would double every fact.
"""

import sqlalchemy as sa

from service.plant_folder.merging import MergeOutcome
from service.plant_folder.refusals import Findings
from service.plant_folder.tables import TABLE, positions, systems


def check_zones(connection: sa.Connection, merged: MergeOutcome) -> None:
    """Raise FolderRefused where a plant with readings, installations or events was given another time zone."""
    findings = Findings()
    for change in merged.changes:
        if change.table == "plants" and change.column == "time_zone" and _has_facts(connection, change.key):
            says = f"plant '{change.key}' has facts that were read in {change.earlier}; its time zone cannot change"
            findings.refuse("plants.csv", None, "time_zone", change.new, says)
    findings.raise_if_refused()


def _has_facts(connection: sa.Connection, plant: str) -> bool:
    own_systems = sa.select(systems.c.system).where(systems.c.plant == plant)
    own_positions = sa.select(positions.c.position).where(positions.c.system.in_(own_systems))
    asked = [
        sa.select(TABLE[name].c.id).where(TABLE[name].c[by].in_(own)).limit(1)
        for name, by, own in (
            ("installations", "position", own_positions),
            ("dp_readings", "position", own_positions),
            ("meter_readings", "system", own_systems),
            ("oil_samples", "system", own_systems),
            ("events", "system", own_systems),
            ("findings", "system", own_systems),
            ("level_checks", "system", own_systems),
            ("top_ups", "system", own_systems),
        )
    ]
    return any(connection.scalar(query) is not None for query in asked)
