"""Close-outs with their code in another system.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("close_outs", sa.Column("external_ref", sa.Text(), nullable=True))
