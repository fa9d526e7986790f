"""Diagnoses that a person acknowledges.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0023"
down_revision = "0022"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("diagnoses", sa.Column("version", sa.Integer(), server_default="1", nullable=False))
    op.add_column("diagnoses", sa.Column("acknowledged_at", service.database.UtcTime(timezone=True), nullable=True))
    op.add_column("diagnoses", sa.Column("acknowledged_by", sa.Text(), nullable=True))
    op.add_column("diagnoses", sa.Column("acknowledged_note", sa.Text(), nullable=True))
    op.create_table(
        "diagnosis_remarks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("diagnosis", sa.Integer(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("acknowledges", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["diagnosis"], ["diagnoses.id"], name=op.f("fk_diagnosis_remarks_diagnosis")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_diagnosis_remarks")),
    )
    op.create_index(op.f("ix_diagnosis_remarks_diagnosis"), "diagnosis_remarks", ["diagnosis"])
