"""How the forecasts of each element type fared; a pass of the whole writes it anew."""

import sqlalchemy as sa

from service.database import UtcTime, metadata

calibration = sa.Table(
    "calibration",
    metadata,
    sa.Column("part_number", sa.Text, primary_key=True),
    sa.Column("as_of", UtcTime, nullable=False),
    sa.Column("lives_at_limit", sa.Integer, nullable=False),
    sa.Column("lives_early", sa.Integer, nullable=False),
    sa.Column("forecasts", sa.Integer, nullable=False),
    sa.Column("mean_pit", sa.Double),
    sa.Column("band_share", sa.Double),
    sa.Column("a", sa.Double, nullable=False),
    sa.Column("b", sa.Double, nullable=False),
)
