"""The place of each system on the walking round.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("systems") as systems:
        systems.add_column(sa.Column("walking_order", sa.Integer(), nullable=True))
