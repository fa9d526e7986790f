"""How much water a fluid dissolves at 20 °C, so that water in ppm can be told as a share of that.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("fluids") as fluids:
        fluids.add_column(sa.Column("water_saturation_20_ppm", sa.Double(), nullable=True))
