"""Kept answers with their headers, and found by age when they are forgotten.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("kept_answers", sa.Column("headers", sa.JSON(none_as_null=True), nullable=True))
    op.create_index("ix_kept_answers_kept_at", "kept_answers", ["kept_at"])
