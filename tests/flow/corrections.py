"""Correcting close-outs in the running plant, and what must hold whatever was corrected."""

from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from itertools import pairwise
from typing import Any

from tests.flow.running_plant import Rows, RunningPlant, iso

Told = dict[str, Any]

_NOT_OF_THE_FACT = {"id", "recorded_at", "superseded_at", "source"}
_FACTS = ("installations", "meter_readings", "dp_readings", "top_ups", "stock", "oil_stock", "events")


def correct(plant: RunningPlant, close_out: int, expect: int = 201, key: str | None = None, **body: Any) -> Any:
    """Post a correction with a reason, unless the body gives its own."""
    headers = {} if key is None else {"Idempotency_Key": key}
    told = {"why": "read off the wrong card"} | body
    return plant.post(f"/v1/close-outs/{close_out}/corrections", told, expect=expect, **headers)


def as_of(plant: RunningPlant, at: datetime) -> Any:
    """What was due at `at`, as it was known then."""
    return plant.get("/v1/due", as_of=iso(at))["items"]


def facts_now(plant: RunningPlant) -> dict[str, list[tuple[tuple[str, Any], ...]]]:
    """What holds now, whoever recorded it and when."""
    return {table: sorted(map(_without_history, plant.holds_now(table)), key=repr) for table in _FACTS}


def _without_history(row: dict[str, Any]) -> tuple[tuple[str, Any], ...]:
    # whether a time that is not told is a bare date says nothing
    told = {name: value for name, value in row.items() if name not in _NOT_OF_THE_FACT}
    return tuple(
        sorted((name, value or None if name.endswith("_is_date") else value) for name, value in told.items())
    )


def moved(plant: RunningPlant) -> dict[str, dict[Any, float]]:
    """The movements of each shelf at each time, and what the books did not have, added up."""
    shelf = ("part_number", "store", "lot", "at")
    container = ("fluid", "store", "lot", "container_L", "at")
    missing = ("part_number", "fluid", "lot", "at")
    return {
        "parts": _added_up(plant.rows("stock_movements"), shelf, "quantity"),
        "oil": _added_up(plant.rows("oil_movements"), container, "quantity"),
        "missing": _added_up(plant.rows("stock_discrepancies"), missing, "missing"),
    }


def _added_up(rows: Rows, key: tuple[str, ...], amount: str) -> dict[Any, float]:
    sums: Counter[Any] = Counter()
    for row in rows:
        sums[tuple(row[name] for name in key)] += row[amount]
    return {key: round(value, 9) for key, value in sums.items() if abs(value) > 1e-9}


def assert_sound(plant: RunningPlant) -> None:
    """At every moment of the plant's knowledge no two elements sat in one place; no stock is below nothing."""
    for known_at, stays in _known_stays(plant):
        for earlier, following in pairwise(stays):
            if earlier["position"] == following["position"]:
                assert earlier["removed_at"] is not None, (known_at, earlier)
                assert earlier["removed_at"] <= following["fitted_at"], (known_at, earlier, following)
    for part in {row["part_number"] for row in plant.rows("stock_movements")}:
        assert plant.on_hand(part) >= 0
    for table in ("installations", "meter_readings", "dp_readings", "top_ups"):
        for row in plant.rows(table):
            assert row["superseded_at"] is None or row["superseded_at"] > row["recorded_at"]


def _known_stays(plant: RunningPlant) -> Iterator[tuple[datetime, Rows]]:
    versions = plant.rows("installations")
    for known_at in sorted({row["recorded_at"] for row in versions}):
        held = [
            row
            for row in versions
            if row["recorded_at"] <= known_at and (row["superseded_at"] is None or row["superseded_at"] > known_at)
        ]
        yield known_at, sorted(held, key=lambda row: (row["position"], row["fitted_at"]))
