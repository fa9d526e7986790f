"""Where zero pressure is shown at a position, and in which position a system's level is judged.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("positions") as positions:
        positions.add_column(sa.Column("test_point", sa.Text(), nullable=True))
    with op.batch_alter_table("systems") as systems:
        systems.add_column(sa.Column("level_position", sa.Text(), nullable=True))
