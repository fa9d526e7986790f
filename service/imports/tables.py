"""Every import that changed something or was sent through the API."""

import sqlalchemy as sa

from service.database import UtcTime, metadata

imports = sa.Table(
    "imports",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("recorded_at", UtcTime, nullable=False),
    sa.Column("outcome", sa.JSON, nullable=False),
)
