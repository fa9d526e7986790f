"""Which positions are planned at all."""

import pytest

from scheduler.vocabulary import Status
from tests.planning.small_plant import Position, System, plant


@pytest.mark.parametrize("status", [Status.IN_SERVICE, Status.STANDBY])
def test_a_position_is_planned_while_its_system_runs_or_stands_ready(status: Status) -> None:
    assert plant(Position(), systems=[System(status=status)]).in_service().tolist() == [True]


@pytest.mark.parametrize("status", [Status.LAID_UP, Status.RETIRED])
def test_nothing_is_planned_in_a_system_that_is_laid_up_or_gone(status: Status) -> None:
    assert plant(Position(), systems=[System(status=status)]).in_service().tolist() == [False]


def test_a_retired_position_leaves_its_neighbours_alone() -> None:
    columns = plant(Position("P1", status=Status.RETIRED), Position("P2"))
    assert columns.in_service().tolist() == [False, True]
