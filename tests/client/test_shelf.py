"""What a carried sheet says of a scan, against what the service says of the same scan at the same moment."""

import random
from collections import Counter
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from api_schemas.checks import CheckIn
from api_schemas.client.shelf import LITRES_IN, Verdict, compare, verdict_of
from api_schemas.packs import CheckSheet, Pack
from scheduler.units import to_canonical
from scheduler.vocabulary import UNIT_SYMBOLS, QuantityKind
from service.schema import metadata
from tests.client.technician import Technician
from tests.flow.running_plant import RunningPlant, make_planned, running
from tests.flow.small_folder import BREATHER, NOW, RETURN, STRAINER, SmallPlant, moment, small_plant
from tests.how_often import scans

SCANS = scans(24)


def many_things() -> SmallPlant:
    """The small plant with a store in which much is old, fluids that share names, and a level that was seen."""
    counted = {"store": "MAIN", "counted_at": moment(NOW, 5)}
    beside = {"store": "YARD", "counted_at": moment(NOW, 5)}
    old, later = moment(NOW, 3), moment(NOW, -3)
    return (
        small_plant()
        .changed("fluids", "fluid", "OIL-46", name="Ostrel M 46")
        .with_rows(
            "fluids",
            {"fluid": "OIL-46B", "family": "HM", "grade": 46, "name": "ostrel  m 46"},
            {"fluid": "OIL-46C", "family": "HM", "grade": 46, "name": "Other 46"},
            {"fluid": "WATER-46", "family": "HFC", "grade": 46, "name": "Glycol"},
            {"fluid": "UNSAID", "grade": 46},
        )
        .with_rows(
            "stock",
            {"part_number": "EL-10", "lot": "L-3", "on_hand": 1, "expires_at": old, **counted},
            {"part_number": "EL-10", "lot": "L-4", "on_hand": 1, "expires_at": later, **counted},
            {"part_number": "EL-10", "lot": "L-5", "on_hand": 1, "expires_at": old, **counted},
            {"part_number": "EL-10", "lot": "L-5", "on_hand": 1, "expires_at": later, **beside},
            {"part_number": "EL-10-FKM", "lot": "F-1", "on_hand": 1, **counted},
        )
        .with_rows(
            "oil_stock",
            {"fluid": "OIL-46", "lot": "D-3", "container [L]": 20, "on_hand": 1, "expires_at": old, **counted},
            {"fluid": "OIL-46", "lot": "D-4", "container [L]": 20, "on_hand": 1, "expires_at": old, **counted},
            {"fluid": "OIL-46", "lot": "D-4", "container [L]": 208, "on_hand": 1, "expires_at": later, **counted},
        )
        .with_rows("level_checks", seen(3.0, below_full=12.0))
    )


def seen(days_ago: float, *, below_full: float) -> dict[str, Any]:
    return {
        "system": "PRESS",
        "at": moment(NOW, days_ago),
        "volume_below_full [L]": below_full,
        "at_rest": "yes",
        "defined_position": "yes",
    }


@pytest.fixture(scope="module")
def full_store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningPlant]:
    with running(make_planned(tmp_path_factory.mktemp("store") / "plant.sqlite", many_things())) as service:
        yield service


LEVELS: dict[str, dict[str, datetime | None]] = {
    "seen lately": {"at": NOW - timedelta(days=3), "superseded_at": None},
    "seen long ago": {"at": NOW - timedelta(days=30), "superseded_at": None},
    "never seen": {"superseded_at": NOW - timedelta(days=1)},
}


def packs_with_level(plant: RunningPlant, folder: Path, level: str) -> list[Pack]:
    with plant.database.writing() as connection:
        connection.execute(sa.update(metadata.tables["level_checks"]).values(**LEVELS[level]))
    with Technician.at(plant, folder, f"storeman, {level}") as technician:
        return [technician.client.pack(order["id"]) for order in plant.orders()]


PARTS = ("EL-10", "EL-10-FKM", "EL-10-EPDM", "SK-1", "TRAY", "EL-25", "STR-1", "BR-1", "GK-1", "UNKNOWN-1")
LOTS = ("L-1", "L-2", "L-3", "L-4", "L-5", "F-1", "K-1", "NO-LOT", None, None)
FLUIDS = ("OIL-46", "OIL-46", "OIL-46B", "OIL-46C", "OIL-68", "WATER-46", "UNSAID", "UNKNOWN-2")
LABELS = ("Ostrel M 46", "OSTREL m  46", "other 46", "Glycol", "oil-46", "Nobody's 32")
FLUID_LOTS = ("D-1", "D-2", "D-3", "D-4", "NO-LOT", None)
SIZES = ((20, "L"), (208, "L"), (55, "gal"), (20_000, "mL"), (0.2, "m3"), (20.2, "L"), (4.4, "gal_imp"), None)
POURS = (0.5, 4, 11.99, 12, 12.001, 12.005, 12.02, 13, 16, 25, 399, 400, 400.02, 412, 500, 1000)


def scan(draw: random.Random, sheet: CheckSheet) -> dict[str, Any]:
    """Mostly what belongs to the job: a wrong thing among right ones would hide what they come to."""
    told: dict[str, Any] = {"task": sheet.task}
    kinds = draw.choice(["part", "part", "fluid", "fluid", "volume", "part fluid", "part fluid volume"])
    if "part" in kinds and sheet.position:
        listed = draw.choice(sheet.parts) if draw.random() < 0.8 else None
        lots = [lot.lot or None for lot in listed.lots] if listed is not None and draw.random() < 0.7 else LOTS
        part = draw.choice(PARTS) if listed is None else listed.part_number
        told |= {"part_number": part, "lot": draw.choice(lots or LOTS)}
    if "fluid" in kinds:
        right = draw.random() < 0.7
        by_label = {"label": draw.choice(LABELS[:2] if right else LABELS)}
        told |= by_label if draw.random() < 0.4 else {"fluid": "OIL-46" if right else draw.choice(FLUIDS)}
        size = draw.choice(SIZES)
        told["fluid_lot"] = draw.choice(FLUID_LOTS)
        told["container"] = None if size is None else {"value": size[0], "unit": size[1]}
    if "volume" in kinds or len(told) == 1:
        told["volume"] = {"value": draw.choice(POURS), "unit": "L"}
    return {name: value for name, value in told.items() if value is not None}


@pytest.mark.parametrize("level", LEVELS)
def test_right_away_is_never_refused_and_wrong_away_is_never_accepted(
    full_store: RunningPlant, tmp_path: Path, level: str
) -> None:
    packs = packs_with_level(full_store, tmp_path / "phone", level)
    draw = random.Random(f"20260305 {level}")  # noqa: S311
    sheets = [(pack, sheet) for pack in packs for sheet in pack.sheets]
    assert {sheet.position for _, sheet in sheets} >= {RETURN, STRAINER, BREATHER}
    found: Counter[tuple[str, str]] = Counter()
    for _ in range(SCANS):
        pack, sheet = draw.choice(sheets)
        told = scan(draw, sheet)
        at = full_store.now + timedelta(days=draw.choice([0.0, 0.0, 2.9, 3.0, 3.1, 6.0, 13.0]))
        away = verdict_of(compare(pack, CheckIn.model_validate(told), at))
        answer = full_store.client.post("/v1/checks", json=told | {"at": at.isoformat()})
        verdict = answer.json().get("verdict", f"{answer.status_code}")
        found[away, verdict] += 1
        if away is Verdict.RIGHT:
            assert verdict == "as_specified", (told, answer.text)
        if away is Verdict.WRONG:
            assert verdict == "refused", (told, answer.text)
    # the comparison is of use only if it can tell, and the test only if all three come about
    assert all(sum(n for (away, _), n in found.items() if away is each) >= SCANS / 8 for each in Verdict), found


@pytest.fixture
def pack(technician: Technician) -> Pack:
    return technician.client.pack(technician.plant.order_of(RETURN)["id"])


def verdict(pack: Pack, days: float = 0.0, *, level_changed: bool = False, **told: Any) -> Verdict:
    task = next(sheet.task for sheet in pack.sheets if sheet.position == RETURN)
    at = NOW + timedelta(days=days)
    return verdict_of(compare(pack, CheckIn.model_validate({"task": task, **told}), at, level_changed=level_changed))


def test_after_two_weeks_a_sheet_calls_nothing_right_but_still_knows_what_is_wrong(pack: Pack) -> None:
    assert verdict(pack, 13.9, part_number="EL-10", lot="L-1") is Verdict.RIGHT
    assert verdict(pack, 14.1, part_number="EL-10", lot="L-1") is Verdict.CANNOT_TELL
    assert verdict(pack, 14.1, part_number="EL-25") is Verdict.WRONG


def test_a_lot_that_came_in_since_is_for_somebody_to_read(pack: Pack) -> None:
    assert verdict(pack, part_number="EL-10", lot="L-NEW") is Verdict.CANNOT_TELL


def test_after_oil_was_poured_away_the_sheet_knows_no_room(pack: Pack) -> None:
    litres = {"value": 0.5, "unit": "L"}
    assert verdict(pack, volume=litres, level_changed=True) is Verdict.CANNOT_TELL
    assert verdict(pack, volume={"value": 5000, "unit": "L"}, level_changed=True) is Verdict.WRONG


@pytest.mark.parametrize("member", ["volume", "container"])
def test_no_litres_are_no_amount(pack: Pack, member: str) -> None:
    with pytest.raises(ValueError, match="0 L must be above 0 L"):
        verdict(pack, fluid="OIL-46", **{member: {"value": 0, "unit": "L"}})


def test_litres_are_those_of_the_service() -> None:
    assert set(LITRES_IN) == set(UNIT_SYMBOLS[QuantityKind.VOLUME])
    for unit, litres in LITRES_IN.items():
        assert to_canonical(3.0, unit, QuantityKind.VOLUME) == pytest.approx(3.0 * litres, rel=1e-9)
