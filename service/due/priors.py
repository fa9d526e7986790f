"""What the lives taught, kept by a pass of the whole for the passes of some systems that follow it."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import sqlalchemy as sa

from scheduler.planning.elements import fitted_elements
from scheduler.planning.makers_curves import curve_of
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.statistics.condition_forecast import ElementPrior
from scheduler.statistics.life_model import LifePrior
from scheduler.statistics.load_grid import ShapeTable, shape_table
from scheduler.statistics.makers_curve import is_makers, makers_code
from service.due.tables import learned_curves, life_priors

_NUMBERS = ("clean_deviation", "clean_log_var", "noise", "bin_variance", "pit_a", "pit_b")


def keep_priors(connection: sa.Connection, columns: PlantColumns, prior: ElementPrior) -> None:
    """Keep the prior of every position in place of those that were kept."""
    connection.execute(sa.delete(life_priors))
    connection.execute(sa.delete(learned_curves))
    codes, analytic = prior.shapes.codes, len(shape_table())
    curves = [
        {"code": code, "place": place, "rise": row.tolist()}
        for place, (code, row) in enumerate(zip(codes, prior.shapes.rise, strict=True))
    ][analytic:]
    if curves:
        connection.execute(sa.insert(learned_curves), curves)
    rows: list[dict[str, Any]] = [
        {
            "position": code,
            "part_number": columns.types.part_number[kind],
            "log_median_h": float(prior.life.log_median[row]),
            "log_sd": float(prior.life.log_sd[row]),
            "lives_seen": int(prior.life.lives_seen[row]),
            "lives_to_limit": int(prior.life.at_limit_seen[row]),
            "own_lives_seen": int(prior.life.own_lives_seen[row]),
            "shape_weights": {
                code: float(weight) for code, weight in zip(codes, prior.shape_weights[row], strict=True) if weight
            },
        }
        | {name: float(getattr(prior, name)[row]) for name in _NUMBERS}
        for row, (code, kind) in enumerate(zip(columns.positions.code, fitted_elements(columns).type, strict=True))
    ]
    if rows:
        connection.execute(sa.insert(life_priors), rows)


def kept_priors(connection: sa.Connection, columns: PlantColumns) -> ElementPrior | None:
    """The last full pass's priors; None where a position is new, carries another type since, or knew other shapes.

    Other shapes: also where the catalogue's points of a curve have changed since.
    """
    kept = {row["position"]: row for row in connection.execute(sa.select(life_priors)).mappings()}
    rows = [kept.get(code) for code in columns.positions.code]
    known = [row for row in rows if row is not None]
    parts = [columns.types.part_number[kind] for kind in fitted_elements(columns).type]
    if len(known) < len(rows) or [row["part_number"] for row in known] != parts:
        return None
    shapes = _kept_shapes(connection)
    weights = _weights(known, shapes)
    if weights is None or _makers_say_otherwise(columns, shapes):
        return None
    return ElementPrior(
        life=LifePrior(
            log_median=np.array([row["log_median_h"] for row in known]),
            log_sd=np.array([row["log_sd"] for row in known]),
            lives_seen=np.array([row["lives_seen"] for row in known], dtype=np.int64),
            at_limit_seen=np.array([row["lives_to_limit"] for row in known], dtype=np.int64),
            own_lives_seen=np.array([row["own_lives_seen"] for row in known], dtype=np.int64),
        ),
        shapes=shapes,
        shape_weights=weights,
        **{name: np.array([row[name] for row in known], dtype=np.float64) for name in _NUMBERS},
    )


def _kept_shapes(connection: sa.Connection) -> ShapeTable:
    rows = connection.execute(sa.select(learned_curves).order_by(learned_curves.c.place)).mappings().all()
    if not rows:
        return shape_table()
    return shape_table().and_also(np.array([row["rise"] for row in rows]), tuple(row["code"] for row in rows))


def _makers_say_otherwise(columns: PlantColumns, kept: ShapeTable) -> bool:
    """Whether a maker's curve was kept that is not the catalogue's now, or one that a position holds was not kept."""
    kept_rise = {code: row for code, row in zip(kept.codes, kept.rise, strict=True) if is_makers(code)}
    held = set(fitted_elements(columns).type.tolist())
    for kind, part_number in enumerate(columns.types.part_number):
        row = kept_rise.pop(makers_code(part_number), None)
        if row is not None or kind in held:
            curve = curve_of(columns, kind)
            if (curve is None) != (row is None) or (curve is not None and not np.array_equal(curve.rise, row)):
                return True
    return bool(kept_rise)


def _weights(rows: Sequence[sa.RowMapping], shapes: ShapeTable) -> Floats | None:
    """The weights of shapes (P, J); None where one was kept of a shape that is none any more."""
    place = {code: at for at, code in enumerate(shapes.codes)}
    weights = np.zeros((len(rows), len(shapes)))
    for row, kept in enumerate(rows):
        for code, weight in kept["shape_weights"].items():
            if code not in place:
                return None
            weights[row, place[code]] = weight
    return weights
