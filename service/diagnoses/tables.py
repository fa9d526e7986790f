"""What a good fitter would see in the data, from when to when, and what persons said to it."""

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
    sa.Column("version", sa.Integer, nullable=False, server_default="1"),
    # of the person who knows of it; null again where it was opened again or became more urgent
    sa.Column("acknowledged_at", UtcTime),
    sa.Column("acknowledged_by", sa.Text),
    sa.Column("acknowledged_note", sa.Text),
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

diagnosis_remarks = sa.Table(
    "diagnosis_remarks",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("diagnosis", sa.ForeignKey("diagnoses.id"), nullable=False, index=True),
    sa.Column("at", UtcTime, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
    sa.Column("acknowledges", sa.Boolean, nullable=False),  # false: opened again
)
