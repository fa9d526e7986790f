"""What a good fitter would see in the data, from when to when."""

import sqlalchemy as sa

from service.database import UtcTime, metadata

diagnoses = sa.Table(
    "diagnoses",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("system", sa.Text, nullable=False),
    sa.Column("position", sa.Text, nullable=False),  # '' for one of the whole system
    sa.Column("code", sa.Text, nullable=False),
    sa.Column("severity", sa.Text, nullable=False),
    sa.Column("numbers", sa.JSON, nullable=False),
    sa.Column("raised_at", UtcTime, nullable=False),
    sa.Column("cleared_at", UtcTime),
)
_stands = diagnoses.c.cleared_at.is_(None)
sa.Index(
    "uq_diagnoses_stands",
    diagnoses.c.system,
    diagnoses.c.position,
    diagnoses.c.code,
    unique=True,
    sqlite_where=_stands,
    postgresql_where=_stands,
)
