"""What the lives taught, kept by a pass of the whole for the passes of some systems that follow it."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import sqlalchemy as sa

from scheduler.planning.elements import fitted_elements
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.statistics.condition_forecast import ElementPrior
from scheduler.statistics.life_model import LifePrior
from scheduler.statistics.load_grid import SHAPE_CODES
from service.due.tables import life_priors

_NEGLIGIBLE = 1e-4
_NUMBERS = ("clean_deviation", "clean_log_var", "noise", "bin_variance", "pit_a", "pit_b")


def keep_priors(connection: sa.Connection, columns: PlantColumns, prior: ElementPrior) -> None:
    """Keep the prior of every position in place of those that were kept."""
    connection.execute(sa.delete(life_priors))
    rows: list[dict[str, Any]] = [
        {
            "position": code,
            "part_number": columns.types.part_number[kind],
            "log_median_h": float(prior.life.log_median[row]),
            "log_sd": float(prior.life.log_sd[row]),
            "lives_seen": int(prior.life.lives_seen[row]),
            "lives_to_limit": int(prior.life.at_limit_seen[row]),
            "own_lives_seen": int(prior.life.own_lives_seen[row]),
            "shape_weights": _told_shapes(prior.shape_weights[row]),
        }
        | {name: float(getattr(prior, name)[row]) for name in _NUMBERS}
        for row, (code, kind) in enumerate(zip(columns.positions.code, fitted_elements(columns).type, strict=True))
    ]
    if rows:
        connection.execute(sa.insert(life_priors), rows)


def kept_priors(connection: sa.Connection, columns: PlantColumns) -> ElementPrior | None:
    """The last full pass's priors; None where a position is new, carries another type since, or knew other shapes."""
    kept = {row["position"]: row for row in connection.execute(sa.select(life_priors)).mappings()}
    rows = [kept.get(code) for code in columns.positions.code]
    known = [row for row in rows if row is not None]
    parts = [columns.types.part_number[kind] for kind in fitted_elements(columns).type]
    if len(known) < len(rows) or [row["part_number"] for row in known] != parts:
        return None
    if not all(row["shape_weights"].keys() <= SHAPE_CODES.keys() for row in known):
        return None
    return ElementPrior(
        life=LifePrior(
            log_median=np.array([row["log_median_h"] for row in known]),
            log_sd=np.array([row["log_sd"] for row in known]),
            lives_seen=np.array([row["lives_seen"] for row in known], dtype=np.int64),
            at_limit_seen=np.array([row["lives_to_limit"] for row in known], dtype=np.int64),
            own_lives_seen=np.array([row["own_lives_seen"] for row in known], dtype=np.int64),
        ),
        shape_weights=_shapes(known),
        **{name: np.array([row[name] for row in known], dtype=np.float64) for name in _NUMBERS},
    )


def _told_shapes(weights: Floats) -> dict[str, float]:
    return {code: round(float(weights[row]), 6) for code, row in SHAPE_CODES.items() if weights[row] > _NEGLIGIBLE}


def _shapes(rows: Sequence[sa.RowMapping]) -> Floats:
    weights = np.zeros((len(rows), len(SHAPE_CODES)))
    for at, row in enumerate(rows):
        for code, weight in row["shape_weights"].items():
            weights[at, SHAPE_CODES[code]] = weight
    return np.asarray(weights / np.maximum(weights.sum(axis=1, keepdims=True), 1e-12))
