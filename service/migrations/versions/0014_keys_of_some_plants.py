"""Keys that see some plants only.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("api_keys", sa.Column("plants", sa.JSON(none_as_null=True), nullable=True))
