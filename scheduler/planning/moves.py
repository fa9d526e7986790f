"""Why a due date moved: what was known when it was last told against what is known now, in codes and numbers.

A date is compared with the one that was last told, not with the last pass: what creeps by an hour at every pass is
told once it adds up, and each line of a history begins where the one before it ended.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from scheduler.planning.limit_dates import AHEAD_D, SHORTENED_INTERVAL_H
from scheduler.vocabulary import EventKind, Movement, Trigger

Facts = Mapping[str, Any]

LEAST_SHIFT_D = 1.0
"""A date that moves by no more than this is the same date to whoever plans by days (ours)."""

LEAST_SHIFT_SHARE = 0.05
"""Nor is it another date where it moves by no more than a twentieth of the time that is left (ours): a date two years
away shifts by days at every reading of the meter, and nobody plans otherwise for it."""

LEAST_RATE_CHANGE = 0.01
"""Relative change of run hours a week that is told (ours)."""
LEAST_LIFE_CHANGE = 0.02
"""Of the expected life: less is no cause to be told where no life ended (ours)."""

_SAME_DAY_D = 0.5
_ONE_SECOND_D = 1.0 / 86_400.0

_BY_HOURS = frozenset({Trigger.HOURS, Trigger.EVENT, Trigger.PRESSURE, Trigger.LIFE})
_DECIDES: dict[str, frozenset[Trigger]] = {
    "dp_readings": frozenset({Trigger.PRESSURE, Trigger.INDICATOR}),
    "meter_readings": _BY_HOURS,
    "events": _BY_HOURS | {Trigger.CLEANLINESS},
    "oil_samples": frozenset({Trigger.CLEANLINESS}),
    "installations": frozenset(Trigger),
}
"""The triggers whose date a fact of the table can move."""

_MOVES_HOURS = frozenset({*SHORTENED_INTERVAL_H, EventKind.CHANGEOVER})
"""Events that shorten an interval or say which side of a duplex housing gains hours."""

_LIMITS = {
    "max_hours": ("positions", "max_hours"),
    "max_age_d": ("positions", "max_age_d"),
    "stated_terminal_bar": ("positions", "terminal_dp_bar"),
    "vacuum_limit_bar": ("positions", "vacuum_limit_bar"),
    "coldest_start_degC": ("systems", "coldest_start_degC"),
    "risk": ("plants", "risk"),
}
"""Master data that a reason holds, and the table and column that say it."""

COSTS = frozenset(
    {("systems", "stop_cost_minor"), ("systems", "labour_cost_minor"), ("systems", "late_cost_minor")}
    | {("element_types", "price_minor"), ("element_types", "currency"), ("plants", "currency")}
    | {("positions", "access")}
)
"""Master data that move a date only where the risk comes from costs."""


@dataclass(frozen=True, slots=True)
class Told:
    """A position's due date as a pass told it, with the facts of its reason. Days are absolute, None is no date."""

    as_of_day: float
    due_day: float | None
    trigger: Trigger | None
    facts: Facts


@dataclass(frozen=True, slots=True)
class Recorded:
    """Facts of one table that were recorded in between: how many, and the newest one's values (moments as days).

    `earlier` holds what the same fact said before, where it is a correction; then the count is 1.
    """

    table: str
    values: Facts
    count: int = 1
    earlier: Facts | None = None


@dataclass(frozen=True, slots=True)
class MasterChange:
    """A value of master data that was updated in between, as it was written."""

    table: str
    key: str
    column: str
    earlier: str
    new: str


@dataclass(frozen=True, slots=True)
class News:
    """Everything that was recorded in between and may concern a position."""

    recorded: tuple[Recorded, ...] = ()
    master: tuple[MasterChange, ...] = ()
    stops_added: int = 0

    def fresh(self, table: str) -> Recorded | None:
        """The facts of a table that are no corrections."""
        return next((each for each in self.recorded if each.table == table and each.earlier is None), None)

    def ends_a_life(self) -> bool:
        """Whether a life has ended of which no end was known."""
        return any(_ends_a_life(each) and "removed_at_day" not in (each.earlier or {}) for each in self.recorded)


@dataclass(frozen=True, slots=True)
class _Between:
    """Two tellings and what was recorded between them."""

    before: Told
    after: Told
    news: News


Cause = dict[str, Any]
_Found = tuple[str, Facts, frozenset[Trigger]]


def movement(before: Told | None, after: Told | None) -> Movement | None:
    """What became of the date, None where it is still what was told. None: not told before, not in service now."""
    if before is None or after is None:
        return Movement.NEW if after is not None else Movement.LEFT if before is not None else None
    if "fitted_day" not in after.facts:
        return Movement.UNDATED if "fitted_day" in before.facts else None
    if "fitted_day" not in before.facts:
        return Movement.NEW
    return Movement.DONE if _is_another_element(before, after) else _by_date(before, after)


def settled(before: Told | None, after: Told | None, became: Movement, news: News) -> Movement | None:
    """The movement in the light of the news: what was fitted at another time than was told is no other element.

    Another element sits there once a life has ended since. Else the time of a change was corrected, or the change
    taken back, and only the date counts.
    """
    if became is Movement.DONE and before is not None and after is not None and not news.ends_a_life():
        return _by_date(before, after)
    return became


def _by_date(before: Told, after: Told) -> Movement | None:
    shift_d = _shift_d(before, after)
    left_d = _reckoned_day(before) - after.as_of_day
    if abs(shift_d) > max(LEAST_SHIFT_D, LEAST_SHIFT_SHARE * left_d):
        return Movement.EARLIER if shift_d < 0.0 else Movement.LATER
    return None if before.trigger is after.trigger else Movement.OTHER_TRIGGER


def causes_of(before: Told | None, after: Told | None, news: News) -> list[Cause]:
    """Why it moved, as codes with their numbers, the most telling first.

    What can move a date by the trigger that held or holds comes before what cannot. Where nothing of that kind is
    new, time alone has moved it, and that is said first.
    """
    if before is None or after is None:
        return [{"code": "first_told" if before is None else "out_of_service", "facts": {}}]
    seen = _Between(before, after, news)
    found = [each for rule in _RULES for each in rule(seen)]
    triggers = {trigger for trigger in (before.trigger, after.trigger) if trigger is not None}
    deciding = [each for each in found if not triggers or each[2] & triggers]
    beside = [each for each in found if each not in deciding]
    if not deciding:
        deciding = [("time", _time_passed(before, after, beside), frozenset(Trigger))]
    return [{"code": code, "facts": dict(facts)} for code, facts, _ in (*deciding, *beside)]


def _reckoned_day(told: Told) -> float:
    """The date, and for none the end of what a date may be: one just beyond it has not moved far."""
    return told.as_of_day + AHEAD_D if told.due_day is None else told.due_day


def _shift_d(before: Told, after: Told) -> float:
    if before.due_day is None and after.due_day is None:
        return 0.0
    was, is_now = _reckoned_day(before), _reckoned_day(after)
    # a passed forecast is due now, and was told so: that now goes on moves nothing
    if abs(is_now - after.as_of_day) <= _ONE_SECOND_D and was <= after.as_of_day:
        return 0.0
    return is_now - was


def _is_another_element(before: Told, after: Told) -> bool:
    was, is_now = float(before.facts["fitted_day"]), float(after.facts["fitted_day"])
    # a bare date is noon, and before that noon it counts as now: later the same day the same fitting reads otherwise
    clipped = abs(was - before.as_of_day) <= _ONE_SECOND_D
    return abs(is_now - was) > (_SAME_DAY_D if clipped else _ONE_SECOND_D)


def _element(seen: _Between) -> Iterator[_Found]:
    was, is_now = seen.before.facts.get("fitted_day"), seen.after.facts.get("fitted_day")
    ended = [each.values for each in seen.news.recorded if _ends_a_life(each)]
    last = max(ended, key=lambda values: float(values["removed_at_day"]), default={})
    removal = {name: last[name] for name in ("removed_at_day", "reason", "condition") if name in last}
    if is_now is None:
        if was is not None:
            yield "element_removed", removal, frozenset(Trigger)
    elif was is None or _is_another_element(seen.before, seen.after):
        fitted = seen.news.fresh("installations")
        names = ("part_number", "lot", "serial", "source")
        facts = {"fitted_day": is_now} | {n: fitted.values[n] for n in names if fitted and n in fitted.values}
        if was is None:
            yield "element_fitted", facts, frozenset(Trigger)
        elif not seen.news.ends_a_life():
            yield "fitting_corrected", {"fitted_day": is_now, "was_fitted_day": was}, frozenset(Trigger)
        else:
            yield "element_changed", facts | removal | {"was_fitted_day": was}, frozenset(Trigger)


def _ends_a_life(fact: Recorded) -> bool:
    return fact.table == "installations" and "removed_at_day" in fact.values


def _corrections(seen: _Between) -> Iterator[_Found]:
    for fact in seen.news.recorded:
        if fact.earlier is None or (_ends_a_life(fact) and "removed_at_day" not in fact.earlier):
            continue
        names = [name for name in {**fact.earlier, **fact.values} if name not in _NOT_OF_THE_FACT]
        changed = [
            {"column": name, "earlier": fact.earlier.get(name), "new": fact.values.get(name)}
            for name in names
            if fact.earlier.get(name) != fact.values.get(name)
        ]
        if changed:
            at_day = fact.values.get("at_day", fact.values.get("fitted_at_day"))
            yield "corrected", {"table": fact.table, "at_day": at_day, "changes": changed}, _DECIDES[fact.table]


_NOT_OF_THE_FACT = frozenset({"source", "notes", "external_ref", "at_is_date", "fitted_at_is_date"})


def _indicator(seen: _Between) -> Iterator[_Found]:
    trip = ("trip_day", "trips", "trip_oil_temperature_degC")
    if "trip_day" in seen.after.facts and any(seen.before.facts.get(n) != seen.after.facts.get(n) for n in trip[:2]):
        facts = {name: seen.after.facts[name] for name in trip if name in seen.after.facts}
        yield "tripped", facts, frozenset({Trigger.INDICATOR})


def _dp(seen: _Between) -> Iterator[_Found]:
    fresh = seen.news.fresh("dp_readings")
    if fresh is None:
        return
    counted = [told.facts.get("readings", 0) for told in (seen.before, seen.after)]
    one_life = seen.before.facts.get("fitted_day") == seen.after.facts.get("fitted_day")
    added = max(counted[1] - (counted[0] if one_life else 0), 0)
    facts = {"count": fresh.count, "counted": min(added, fresh.count)} | _newest(fresh)
    yield "dp_readings", facts, _DECIDES["dp_readings"] if added else frozenset()


def _events(seen: _Between) -> Iterator[_Found]:
    for fresh in seen.news.recorded:
        if fresh.table == "events" and fresh.earlier is None:
            moves_hours = fresh.values["kind"] in _MOVES_HOURS
            decides = _DECIDES["events"] if moves_hours else frozenset({Trigger.CLEANLINESS})
            yield "events", {"count": fresh.count} | _newest(fresh), decides


def _samples(seen: _Between) -> Iterator[_Found]:
    fresh = seen.news.fresh("oil_samples")
    if fresh is not None:
        yield "oil_samples", {"count": fresh.count} | _newest(fresh), _DECIDES["oil_samples"]


def _master(seen: _Between) -> Iterator[_Found]:
    told = {(change.table, change.column) for change in seen.news.master}
    by_costs = {told.facts.get("risk_from") for told in (seen.before, seen.after)} & {"costs"}
    for change in seen.news.master:
        if (change.table, change.column) in COSTS and not by_costs:
            continue
        facts = {"table": change.table, "key": change.key, "column": change.column}
        yield "master_data", facts | {"earlier": change.earlier, "new": change.new}, frozenset(Trigger)
    if "fitted_day" not in seen.before.facts or "fitted_day" not in seen.after.facts:
        return
    for name, (table, column) in _LIMITS.items():
        was, is_now = seen.before.facts.get(name), seen.after.facts.get(name)
        # a reason without a ΔP says nothing of ΔP limits, which is no change of theirs
        silent = name not in {"max_hours", "max_age_d"} and None in (was, is_now)
        # what the costs make of the forecast is nothing that anybody has entered
        silent |= name == "risk" and bool(by_costs)
        if was != is_now and not silent and (table, column) not in told:
            limit = {"table": table, "column": column, "earlier": was, "new": is_now}
            yield "master_data", limit, frozenset(Trigger)


def _risk(seen: _Between) -> Iterator[_Found]:
    before, after = seen.before.facts, seen.after.facts
    was, is_now = before.get("risk_from", "set"), after.get("risk_from", "set")
    if was != is_now and "costs" in (was, is_now) and "risk" in before and "risk" in after:
        facts = {"from_risk": before["risk"], "to_risk": after["risk"], "from_source": was, "to_source": is_now}
        yield "risk", facts, frozenset(Trigger)


def _stops(seen: _Between) -> Iterator[_Found]:
    if seen.news.stops_added:
        yield "stops", {"count": seen.news.stops_added}, _BY_HOURS


def _hours(seen: _Between) -> Iterator[_Found]:
    fresh = seen.news.fresh("meter_readings")
    was, is_now = seen.before.facts.get("hours_per_week"), seen.after.facts.get("hours_per_week")
    rate: dict[str, Any] = {}
    if was is not None and is_now is not None and abs(is_now - was) > LEAST_RATE_CHANGE * was:
        rate = {"from_hours_per_week": was, "to_hours_per_week": is_now}
    if fresh is not None:
        yield "meter_readings", {"count": fresh.count} | _newest(fresh) | rate, _DECIDES["meter_readings"]
    elif rate:
        yield "use_rate", rate, _BY_HOURS
    if seen.before.facts.get("resting", False) != seen.after.facts.get("resting", False):
        yield "changeover", {"resting": seen.after.facts.get("resting", False)}, _BY_HOURS


def _lives(seen: _Between) -> Iterator[_Found]:
    names = ("lives_seen", "lives_to_limit", "life_median_h")
    was: list[Any]
    is_now: list[Any]
    was, is_now = ([told.facts.get(name) for name in names] for told in (seen.before, seen.after))
    if None in was or None in is_now or was == is_now:
        return
    if was[:2] == is_now[:2] and abs(is_now[2] - was[2]) <= LEAST_LIFE_CHANGE * was[2]:
        return  # what still runs grows older, and is a little better known for it
    # without a life on record the expectation is a multiple of the stated limit, and moves with that
    if is_now[0] or was[0] or seen.before.facts.get("max_hours") == seen.after.facts.get("max_hours"):
        facts = {f"from_{name}": value for name, value in zip(names, was, strict=True)}
        facts |= {f"to_{name}": value for name, value in zip(names, is_now, strict=True)}
        yield "lives", facts, frozenset({Trigger.LIFE, Trigger.PRESSURE})


def _newest(fact: Recorded) -> dict[str, Any]:
    return {name: value for name, value in fact.values.items() if name not in _NOT_OF_THE_FACT}


def _time_passed(before: Told, after: Told, beside: list[_Found]) -> Facts:
    return {
        "from_day": before.as_of_day,
        "to_day": after.as_of_day,
        "days": round(after.as_of_day - before.as_of_day, 2),
        "beside": len(beside),
    }


_RULES = (_element, _corrections, _indicator, _dp, _events, _samples, _master, _risk, _stops, _hours, _lives)
"""From what says most about a move to what says least."""
