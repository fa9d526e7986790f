"""How many of each part and how many litres of each oil will be used in the periods ahead, as distributions.

Every change of a position takes what its kit says: elements, seal kit, kit lines, and the oil that its housing
holds. Beside that a system takes oil by top-ups, at the rate and in the volumes of those it had, and at its oil
changes, where enough of them are known to tell the next. The plant's load, which all positions share, is mixed in;
that all lives of a type may be longer or shorter than they are thought to be is part of each position's own spread,
and not shared.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from scheduler.planning.change_dates import ChangeDates
from scheduler.planning.kits import RENEWAL_OF, KitSpec, needs_of
from scheduler.planning.oil_use import OilUse, other_oil_use
from scheduler.planning.plant_columns import PlantColumns
from scheduler.statistics.renewal_demand import PartDemand, Users, demand_by_part
from scheduler.vocabulary import ElementKind

_STEPS_L = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
_FINEST_SHARE = 1.0 / 400.0
"""Of the litres that all users of an oil take in one change each, with what else the horizon takes of it: the step in
which the oil is counted is no finer. Ours."""


@dataclass(frozen=True, slots=True)
class ItemDemand:
    """Use of one part or fluid. Counts are pieces, or steps of `step` litres. `users` are rows of positions."""

    code: str
    is_fluid: bool
    step: float
    users: tuple[int, ...]
    demand: PartDemand


@dataclass(frozen=True, slots=True)
class _Taken:
    """What one change of a position takes of one item."""

    position: int
    amount: float


def forecast_demand(
    columns: PlantColumns, changes: ChangeDates, kits: Mapping[str, KitSpec]
) -> tuple[ItemDemand, ...]:
    """Demand for everything that a position in service or a system takes, parts first, by code."""
    parts, fluids = _what_is_taken(columns, kits)
    oil_use = other_oil_use(columns, changes.edge_d)
    steps = {code: _step_L(fluids.get(code, ()), oil_use.get(code, ())) for code in {*fluids, *oil_use}}
    asked = [(code, False, 1.0, parts[code]) for code in sorted(parts)]
    asked += [(code, True, steps[code], fluids.get(code, [])) for code in sorted(steps)]
    demands = demand_by_part(changes.cases, changes.later_class, _users(asked), len(asked))
    found = []
    for (code, is_fluid, step, taken), demand in zip(asked, demands, strict=True):
        for use in oil_use.get(code, ()) if is_fluid else ():
            demand = demand.and_also(use.demand(step))  # noqa: PLW2901 - the sum grows
        found.append(ItemDemand(code, is_fluid, step, tuple(sorted({each.position for each in taken})), demand))
    return tuple(found)


def _what_is_taken(
    columns: PlantColumns, kits: Mapping[str, KitSpec]
) -> tuple[dict[str, list[_Taken]], dict[str, list[_Taken]]]:
    """By part number and by fluid. The element is the specified one, whatever sits there now."""
    parts: dict[str, dict[int, float]] = defaultdict(lambda: defaultdict(float))
    fluids: dict[str, dict[int, float]] = defaultdict(lambda: defaultdict(float))
    for position in np.flatnonzero(columns.in_service()).tolist():
        spec = kits.get(columns.positions.code[position])
        if spec is None:
            continue
        kind = columns.types.kind[columns.positions.specified_type[position]]
        # a part may be the element and on a kit line, too
        for need in needs_of(RENEWAL_OF[kind], replace(spec, worn_out=False), columns.alternates):
            parts[need.part_number][position] += float(need.quantity)
        if spec.cleaned and spec.max_cleanings is not None:  # each of so many services and one more takes a new one
            parts[spec.part_number][position] += spec.quantity / (spec.max_cleanings + 1)
        if spec.oil_lost_L and kind is not ElementKind.BREATHER:
            fluid = columns.systems.fluid[columns.positions.system[position]].code
            fluids[fluid][position] += spec.oil_lost_L
    return _each(parts), _each(fluids)


def _each(taken: Mapping[str, Mapping[int, float]]) -> dict[str, list[_Taken]]:
    return {code: [_Taken(*one) for one in by_position.items()] for code, by_position in taken.items()}


def _users(asked: Iterable[tuple[str, bool, float, list[_Taken]]]) -> Users:
    rows = [
        (part, taken.position, taken.amount / step)
        for part, (_, _, step, every) in enumerate(asked)
        for taken in every
    ]
    part, position, amount = zip(*rows, strict=True) if rows else ((), (), ())
    return Users(
        np.array(part, dtype=np.int64), np.array(position, dtype=np.int64), np.array(amount, dtype=np.float64)
    )


def _step_L(taken: Iterable[_Taken], uses: Iterable[OilUse]) -> float:
    litres = sum(each.amount for each in taken) + sum(use.expected_L for use in uses)
    return next((step for step in _STEPS_L if step >= litres * _FINEST_SHARE), _STEPS_L[-1])
