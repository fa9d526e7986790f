"""What is told by files: counts, readings, deliveries, changes that nobody had planned; and corrections of these."""

from collections.abc import Callable, Sequence
from datetime import timedelta

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from service.plant_folder.refusals import FolderRefused
from tests.flow.any_order.books import Row
from tests.flow.any_order.tiny_plant import AS_USUAL, LOTS, RETURN, SPECIFIED, SUPPLY, shown_hours
from tests.flow.any_order.walking import Walking, any_of, dp_bar, hours_ago, moment, one, positions, systems
from tests.flow.running_plant import iso
from tests.flow.small_folder import NOW

SHELVES = sorted((part, lot) for part, lots in LOTS.items() for lot in lots)
AS_TOLD: dict[str, Callable[[float], float]] = {
    "read": lambda hours: hours,
    "ten times": lambda hours: round(hours * 10.0, 1),
    "a tenth": lambda hours: round(hours / 10.0, 1),
    "some too few": lambda hours: round(hours - 300.0, 1),
}


class TellingByFiles(Walking):
    """Imports of a few rows."""

    @rule(shelf=st.sampled_from(SHELVES), pieces=st.integers(0, 3), ago=hours_ago)
    def count_a_shelf(self, shelf: tuple[str, str], pieces: int, ago: int) -> None:
        part_number, lot = shelf
        told = {"part_number": part_number, "store": "MAIN", "lot": lot, "on_hand": pieces}
        self._take_in("count_a_shelf", stock=[told | {"counted_at": self._told_at(ago)}])

    @rule(dp=dp_bar, ago=hours_ago, degC=st.sampled_from([50, 50, 12]))
    def read_a_gauge(self, dp: float, ago: int, degC: int) -> None:
        told = {"position": RETURN, "at": self._told_at(ago), "dp [bar]": dp} | AS_USUAL
        self._take_in("read_a_gauge", dp_readings=[told | {"oil_temperature [degC]": degC}])

    @rule(which=any_of, dp=dp_bar)
    def correct_a_gauge_reading(self, which: int, dp: float) -> None:
        row = one(self.books.holding("dp_readings", position=RETURN), which)
        told = {"position": RETURN, "at": iso(moment(row["at"])), "stage": row["stage"], "dp [bar]": dp}
        self._take_in("correct_a_gauge_reading", dp_readings=[told])

    @rule(system=systems, ago=hours_ago, how=st.sampled_from(["read", "read", *AS_TOLD]))
    def read_a_meter(self, system: str, ago: int, how: str) -> None:
        hours = AS_TOLD[how](shown_hours(system, NOW, self.now - timedelta(hours=ago)))
        self._take_in("read_a_meter", meter_readings=[_meter_row(system, self._told_at(ago), hours)])

    @rule(which=any_of, how=st.sampled_from(["read", *AS_TOLD]))
    def correct_a_meter_reading(self, which: int, how: str) -> None:
        row = one(self.books.holding("meter_readings"), which)
        at = moment(row["at"])
        hours = AS_TOLD[how](shown_hours(row["system"], NOW, at))
        self._take_in("correct_a_meter_reading", meter_readings=[_meter_row(row["system"], iso(at), hours)])

    @rule(ago=hours_ago)
    def supply_comes_in(self, ago: int) -> None:
        told = {"expected_at": iso(NOW), "received_at": self._told_at(ago)}
        self._take_in("supply_comes_in", supply=[SUPPLY | told])

    @rule(position=positions, ago=hours_ago)
    def a_change_is_told_by_a_file(self, position: str, ago: int) -> None:
        at = self._told_at(ago)
        stays = [{"fitted_at": at, "part_number": SPECIFIED[position]}]
        for sits in self.books.holding("installations", position=position, removed_at=None):
            was = {"fitted_at": iso(moment(sits["fitted_at"])), "part_number": sits["part_number"], "removed_at": at}
            stays.append(was)
        self._take_in("a_change_is_told_by_a_file", installations=[{"position": position} | row for row in stays])

    @precondition(lambda self: self.last_file_holds)
    @rule()
    def the_last_file_comes_again(self) -> None:
        self.now += timedelta(seconds=1)
        self.plant.take_in_again(self.now)
        self._changes_only("the_last_file_comes_again", "imports")

    def _take_in(self, name: str, **tables: Sequence[Row]) -> None:
        self.now += timedelta(seconds=1)
        try:
            self.plant.take_in(self.now, {table: list(rows) for table, rows in tables.items()})
        except FolderRefused:
            self._refused(name)
            self.last_file_holds = False
        else:
            self._happened(name)
            self.last_file_holds = True


def _meter_row(system: str, at: str, hours: float) -> Row:
    return {"system": system, "at": at, "hours [h]": hours}
