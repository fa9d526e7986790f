"""Files attached to close-outs.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "evidence_files",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("close_out", sa.Integer(), nullable=False),
        sa.Column("sent_sha256", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("shows", sa.Text(), nullable=True),
        sa.Column("recorded_by", sa.Text(), nullable=False),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("kept_sha256", sa.Text(), nullable=False),
        sa.Column("kept_bytes", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["close_out"], ["close_outs.id"], name=op.f("fk_evidence_files_close_out")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_evidence_files")),
        sa.UniqueConstraint("close_out", "sent_sha256", name=op.f("uq_evidence_files_close_out_sent_sha256")),
    )
