"""A plant imports what an element's maker measured: the date of what holds it moves, and that of nothing else."""

from collections.abc import Mapping, Sequence

import sqlalchemy as sa

from service.due.planning_pass import load_known
from service.plant_folder import tables as t
from tests.flow.running_plant import RunningPlant
from tests.flow.small_folder import RETURN, STRAINER, SmallPlant

KNEE = ((0, 0.4), (15, 0.44), (35, 0.66), (52, 1.02), (65, 1.38), (73, 1.74), (75, 2.6), (77, 3.8), (79, 5.6))
"""Retained g and element ΔP bar of EL-10: as the press's readings have gone, and then a sharp knee. Invented."""


Points = Sequence[tuple[float, float]]


def take_in(plant: RunningPlant, curves: Mapping[str, Points]) -> list[str]:
    """What the import remarks."""
    rows = [
        {"part_number": part_number, "retained [g]": mass_g, "dp [bar]": dp_bar}
        for part_number, points in curves.items()
        for mass_g, dp_bar in points
    ]
    told = plant.take_in(SmallPlant(plant.now, {"element_curves": rows}))
    assert {remark["file"] for remark in told["remarks"]} <= {"element_curves.csv"}
    return [f"row {remark['row']}: {remark['says']}" for remark in told["remarks"]]


def dates(plant: RunningPlant) -> tuple[str, str]:
    plant.later(minutes=1)
    plant.run_pass()
    return plant.due(RETURN)["due_at"][:16], plant.due(STRAINER)["due_at"][:16]


def test_the_due_date_moves_when_the_curve_of_its_type_comes_in(plant: RunningPlant) -> None:
    before = dates(plant)
    assert dates(plant)[0][:10] == before[0][:10]  # a minute by itself moves nothing
    assert take_in(plant, {"EL-10": KNEE}) == []
    after = dates(plant)
    assert after[0][:10] < before[0][:10]
    assert after[1][:10] == before[1][:10]


def test_a_pass_of_one_system_says_the_same_and_a_changed_curve_is_learned_afresh(plant: RunningPlant) -> None:
    take_in(plant, {"EL-10": KNEE})
    whole = dates(plant)
    only = frozenset({"PRESS"})
    with plant.database.reading() as connection:
        kept = load_known(connection, plant.now, only).prior
    assert kept is not None
    assert any(code.startswith("EL-10 ") for code in kept.shapes.codes)
    take_in(plant, {"EL-10": [(79, 6.4)]})
    with plant.database.reading() as connection:
        assert load_known(connection, plant.now, only).prior is None
    take_in(plant, {"EL-10": [(79, 5.6)]})
    with plant.database.reading() as connection:
        again = load_known(connection, plant.now, only).prior
    assert again is not None
    assert again.shape_weights.tolist() == kept.shape_weights.tolist()
    assert dates(plant)[0][:10] == whole[0][:10]


def test_a_curve_that_comes_in_after_a_pass_makes_the_next_one_learn_afresh(plant: RunningPlant) -> None:
    dates(plant)
    take_in(plant, {"EL-10": KNEE})
    with plant.database.reading() as connection:
        assert load_known(connection, plant.now, frozenset({"PRESS"})).prior is None
    plant.run_pass()
    with plant.database.writing() as connection:
        connection.execute(sa.delete(t.element_curves))
    with plant.database.reading() as connection:
        assert load_known(connection, plant.now, frozenset({"PRESS"})).prior is None


def test_points_that_tell_no_curve_are_taken_with_a_remark_and_move_nothing(plant: RunningPlant) -> None:
    """EL-10-EPDM has no point at 0 g either, but its sheet's clean ΔP of 0.4 bar stands for it."""
    before = dates(plant)
    told = take_in(
        plant,
        {
            "EL-10": ((0, 0.4), (20, 0.9), (30, 0.6), (40, 2.0), (45, 2.6)),
            "EL-10-FKM": ((0, 0.4), (20, 0.44), (35, 0.5), (45, 0.7)),
            "EL-10-EPDM": ((20, 0.44), (35, 0.55), (45, 1.2), (50, 2.0)),
            "EL-25": KNEE[:3],
            "STR-1": KNEE[1:],
        },
    )
    assert [says.removesuffix("; planning does without it") for says in told] == [
        "row 2: the curve of 'EL-10' falls by more than 3 % from one point to the next",
        "row 7: the curve of 'EL-10-FKM' ends below 2 times its clean ΔP, before any knee",
        "row 15: the curve of 'EL-25' has fewer than 3 points that rise above the clean ΔP",
        "row 18: the curve of 'STR-1' has no point at 0 g, and its sheet no clean ΔP below the first point",
    ]
    assert dates(plant)[0][:10] == before[0][:10]
