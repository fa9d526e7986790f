"""Reading how the forecasts of each element type fared."""

import sqlalchemy as sa

from api_schemas.calibration import CalibrationList, TypeCalibration
from service.calibration.tables import calibration
from service.calibration.wording import says
from service.cursors import read_cursor, write_cursor
from service.due.listing import LONGEST_PAGE, no_pass_yet
from service.due.planning_pass import last_pass_id


def calibration_of_types(
    connection: sa.Connection, *, limit: int = LONGEST_PAGE, cursor: str | None = None
) -> CalibrationList:
    """A page, in order of part numbers. Raises InTheWay before the first pass."""
    query = sa.select(calibration).order_by(calibration.c.part_number).limit(limit + 1)
    if cursor:
        query = query.where(calibration.c.part_number > read_cursor(cursor, "calibration", str)[0])
    if last_pass_id(connection) is None:
        raise no_pass_yet()
    rows = connection.execute(query).mappings().all()
    return CalibrationList(
        items=[_of_type(row) for row in rows[:limit]],
        next=write_cursor("calibration", rows[limit - 1]["part_number"]) if len(rows) > limit else None,
    )


def _of_type(row: sa.RowMapping) -> TypeCalibration:
    return TypeCalibration(
        part_number=row["part_number"],
        as_of=row["as_of"],
        lives_at_limit=row["lives_at_limit"],
        lives_early=row["lives_early"],
        forecasts=row["forecasts"],
        mean_pit=_rounded(row["mean_pit"]),
        band_share=_rounded(row["band_share"]),
        a=round(row["a"], 4),
        b=round(row["b"], 4),
        says=says(row["lives_at_limit"], row["lives_early"], row["band_share"], row["a"], row["b"]),
    )


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
