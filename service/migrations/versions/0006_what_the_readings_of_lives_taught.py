"""What the readings of finished lives taught. The next pass of the whole learns it; what was kept before goes.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.execute("DELETE FROM life_priors")
    with op.batch_alter_table("life_priors", schema=None) as batch_op:
        for name in ("clean_deviation", "clean_log_var", "noise", "bin_variance"):
            batch_op.add_column(sa.Column(name, sa.Double(), nullable=False))
        batch_op.add_column(sa.Column("shape_weights", sa.JSON(), nullable=False))
    op.create_table(
        "learned_curves",
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("rise", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("code", name=op.f("pk_learned_curves")),
    )
