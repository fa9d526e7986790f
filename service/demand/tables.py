"""Demand forecasts as they were made, to be held against what was used."""

import sqlalchemy as sa

from service.database import UtcTime, metadata

demand_forecasts = sa.Table(
    "demand_forecasts",
    metadata,
    sa.Column("made_at", UtcTime, primary_key=True),
    sa.Column("is_fluid", sa.Boolean, primary_key=True),
    sa.Column("item", sa.Text, primary_key=True),
    sa.Column("starts_at", UtcTime, primary_key=True),
    sa.Column("ends_at", UtcTime, nullable=False),
    sa.Column("step", sa.Double, nullable=False),  # pieces, or litres, of one count
    sa.Column("first_count", sa.Integer, nullable=False),
    sa.Column("probability", sa.JSON, nullable=False),  # of each count from the first on
)
sa.Index("ix_demand_forecasts_ends", demand_forecasts.c.ends_at)
