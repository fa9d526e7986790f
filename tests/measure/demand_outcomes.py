"""Do forecasts of demand hold, and does ordering by them reach the service that is promised?

Simulated plants of laws that the model does not assume are run by their plan (`planned_weekly`). At the start of
each quarter the use of each element type in it is forecast, as a distribution, and held against what was changed.
Beside it, of the same quarter: a Poisson planner, whose mean is last year's use, and a planner who takes the mean and
the spread of the last four quarters for a normal.

Then a store for each type is run through the same use, reviewed every week (`stores`): an order is placed when
`plan_buying` says "by a day of the coming week". What `stock_cover` promises is P(never short from now until an order
placed now has come); so each review is looked at from its day to the arrival of the order that was, or would have
been, placed on it. Of all reviews the level is what must be kept. The reviews that order are those in which something
has just become worse, so that they alone do less well: beside them stands what they promised. Next to it the same
store, order-up-to a level: that of Poisson demand over lead time and review at last year's rate, and that of the
moving average with its normal spread.

Run: python tests/measure/demand_outcomes.py [seeds, e.g. 401-403] [systems a plant] [types a plant]
"""

import sys
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri
from scipy.stats import poisson

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.planning.buying import OrderingHabit, Stock, plan_buying
from scheduler.planning.change_dates import change_dates
from scheduler.planning.demand import ItemDemand, forecast_demand
from scheduler.planning.kits import KitSpec
from scheduler.statistics.arrival import learn_lateness
from tests.measure.simulated_plants.laws import LAWS
from tests.measure.simulated_plants.machine import simulate
from tests.measure.simulated_plants.planned_weekly import RISK, WEEK_D, Look, PlannedPlant, run_by_plan
from tests.measure.simulated_plants.settings import Settings
from tests.measure.simulated_plants.stores import LEAD_D, LEAD_SD_D, REVIEW_D, Planner, Review, Run, Shop, run_store

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

QUARTER_D = 91
WEEKS = QUARTER_D // WEEK_D
TEST_D = 8 * QUARTER_D
EDGE_D: Floats = np.arange(0.0, 2.0 * QUARTER_D + 1.0, WEEK_D)
LEVELS = (0.90, 0.95)
POINTS = (0.1, 0.5, 0.9, 0.99)
PLANNERS = ("elementdue", "Poisson", "moving average")


@dataclass(frozen=True, slots=True)
class Quarter:
    """One part in one quarter: what was used, P(exactly k) as forecast, and what the two plain planners see."""

    law: str
    number: int
    used: int
    expected: Floats
    last_year: float  # pieces a quarter
    last_quarters: tuple[float, float]  # mean and spread of the last four

    def points(self, planner: str) -> Floats:
        """Its 10, 50, 90 and 99 % points."""
        if planner == "elementdue":
            return np.searchsorted(np.cumsum(self.expected), np.array(POINTS) - 1e-12).astype(np.float64)
        if planner == "Poisson":
            return np.asarray(poisson.ppf(POINTS, self.last_year), dtype=np.float64)
        mean, spread = self.last_quarters
        return np.maximum(mean + spread * ndtri(POINTS), 0.0)

    def mean(self, planner: str) -> float:
        if planner == "elementdue":
            return float(self.expected @ np.arange(len(self.expected)))
        return self.last_year if planner == "Poisson" else self.last_quarters[0]

    def rank(self, planner: str, at: float) -> float:
        """Where the use lies in the distribution, 0 to 1; at ∈ (0, 1) chooses within the probability of the count."""
        if planner == "moving average":
            return float("nan")
        if planner == "Poisson":
            upto, here = poisson.cdf(self.used, self.last_year), poisson.pmf(self.used, self.last_year)
        else:
            upto = self.expected[: self.used + 1].sum()
            here = self.expected[self.used] if self.used < len(self.expected) else 0.0
        return float(upto - here * (1.0 - at))


@dataclass(frozen=True, slots=True)
class StoreRun:
    law: str
    level: float
    planner: str
    run: Run


@dataclass(frozen=True, slots=True)
class Found:
    quarters: list[Quarter]
    stores: list[StoreRun]


def try_plant(law: str, seed: int, settings: Settings) -> Found:
    return outcomes(run_by_plan(simulate(law, seed, settings), seed), law, seed)


def outcomes(found: PlannedPlant, law: str, seed: int) -> Found:
    """Quarters and stores of a plant that was run."""
    demands = [_demand(look) for look in found.looks]
    parts = range(len(found.plant.types))
    used = [_Used(found, part) for part in parts]
    quarters = [
        Quarter(
            law=law,
            number=week // WEEKS,
            used=used[part].in_weeks(week, week + WEEKS),
            expected=demands[week][f"E{part}"].demand.by_end.probability[WEEKS - 1],
            last_year=used[part].before(look.day, 365.0) * QUARTER_D / 365.0,
            last_quarters=used[part].last_quarters(look.day),
        )
        for week, look in list(enumerate(found.looks))[::WEEKS]
        for part in parts
        if f"E{part}" in demands[week]
    ]
    stores = [
        run
        for part in parts
        if f"E{part}" in demands[0]
        for level in LEVELS
        for run in _stores(found, [each[f"E{part}"] for each in demands], used[part], law, level, [seed, part])
    ]
    return Found(quarters, stores)


def _demand(look: Look) -> dict[str, ItemDemand]:
    columns = look.columns
    risk = np.full(len(columns.positions.code), RISK)
    changes = change_dates(columns, look.duty, look.condition, look.dates, risk, {}, EDGE_D)
    kits = {
        code: KitSpec(columns.types.part_number[kind], 1)
        for code, kind in zip(columns.positions.code, columns.positions.specified_type, strict=True)
    }
    return {item.code: item for item in forecast_demand(columns, changes, kits)}


class _Used:
    """What was used of one part."""

    def __init__(self, found: PlannedPlant, part: int) -> None:
        mine = [use for use in found.uses if found.plant.places[use.place].type == part]
        self.week = np.array([use.week for use in mine], dtype=np.int64)
        self.first_d = found.looks[0].day
        self.test_day = np.array([use.day for use in mine], dtype=np.float64)
        history = [day for place, day in found.before if found.plant.places[place].type == part]
        self.day = np.concatenate([np.array(history), self.test_day])
        self.days = len(found.looks) * WEEK_D

    def in_weeks(self, first: int, end: int) -> int:
        return int(((self.week >= first) & (self.week < end)).sum())

    def before(self, day: float, span_d: float, *, until_d: float = 0.0) -> float:
        """Pieces from `span_d` before a day to `until_d` before it."""
        return float(((self.day >= day - span_d) & (self.day < day - until_d)).sum())

    def last_quarters(self, day: float) -> tuple[float, float]:
        each = [self.before(day, (back + 1.0) * QUARTER_D, until_d=float(back * QUARTER_D)) for back in range(4)]
        return float(np.mean(each)), float(np.std(each, ddof=1))

    def by_day(self) -> Ints:
        """(D,) of the test."""
        since = (self.test_day - self.first_d).astype(np.int64)
        return np.bincount(since[since >= 0], minlength=self.days)[: self.days].astype(np.int64)


def _stores(
    found: PlannedPlant, demands: list[ItemDemand], used: _Used, law: str, level: float, seed: list[int]
) -> list[StoreRun]:
    planners: dict[str, tuple[Planner, int]] = {
        "elementdue": _by_plan(found, demands, level),
        "Poisson": _up_to(lambda week: _poisson_level(used, found.looks[week].day, level)),
        "moving average": _up_to(lambda week: _normal_level(used, found.looks[week].day, level)),
    }
    return [
        StoreRun(law, level, name, run_store(used.by_day(), first, planner, np.random.default_rng(seed)))
        for name, (planner, first) in planners.items()
    ]


def _by_plan(found: PlannedPlant, demands: list[ItemDemand], level: float) -> tuple[Planner, int]:
    habit = OrderingHabit(level, float(REVIEW_D))

    def plan(week: int, shop: Shop) -> tuple[int, float]:
        stock, owed = _stock(shop, week * REVIEW_D)
        columns = found.looks[week].columns
        lateness = learn_lateness(np.array(shop.late_d))
        cover = plan_buying(columns, demands[week], EDGE_D, stock, lateness, habit).cover
        promised = 0.0 if shop.on_hand < 0 else cover.cycle_service
        if cover.order is None or cover.order_by_d is None or cover.order_by_d >= REVIEW_D:
            return owed, promised
        return cover.order.quantity + owed, promised

    nothing = _stock(Shop(0), 0)[0]
    at_first = plan_buying(found.looks[0].columns, demands[0], EDGE_D, nothing, learn_lateness(np.zeros(0)), habit)
    return plan, at_first.cover.reorder_level


def _stock(shop: Shop, day: int) -> tuple[Stock, int]:
    """What lies there and comes; what is owed is taken from what comes first, and what is left of it is told."""
    owed, ordered = max(-shop.on_hand, 0), list[int]()
    for line in shop.open:
        ordered.append(max(line.quantity - owed, 0))
        owed = max(owed - line.quantity, 0)
    stock = Stock(
        lot=np.array([max(shop.on_hand, 0)], dtype=np.float64),
        lot_expires_d=np.array([np.inf]),
        ordered=np.array(ordered, dtype=np.float64),
        ordered_for_d=np.array([line.expected_d - day for line in shop.open]),
        pack=1.0,
        lead_time_d=LEAD_D,
        shelf_life_d=None,
        price=None,
    )
    return stock, owed


def _up_to(level_of: Callable[[int], int]) -> tuple[Planner, int]:
    return lambda week, shop: (level_of(week) - shop.position, float("nan")), level_of(0)


def _poisson_level(used: _Used, day: int, level: float) -> int:
    return int(poisson.ppf(level, used.before(day, 365.0) / 365.0 * (LEAD_D + REVIEW_D)))


def _normal_level(used: _Used, day: int, level: float) -> int:
    mean, spread = used.last_quarters(day)
    span = (LEAD_D + REVIEW_D) / QUARTER_D
    variance = span * spread**2 + (mean / QUARTER_D * LEAD_SD_D) ** 2
    return int(np.ceil(span * mean + float(ndtri(level)) * np.sqrt(variance) - 1e-9))


def band_table(quarters: list[Quarter]) -> str:
    heads = ("part-quarters", "planner", "used / expected", "in the 80 % band", "≤ p50", "≤ p90", "≤ p99")
    heads += ("rank in 10–90 %", "rank ≤ 50 %", "rank ≤ 90 %", "pinball 10 %", "50 %", "90 %")
    lines = [f"| {' | '.join(heads)} |", "|" + "---|" * len(heads)]
    groups = {law: [each for each in quarters if each.law == law] for law in LAWS}
    groups |= {
        "first year": [each for each in quarters if each.number < 4],
        "second year": [each for each in quarters if each.number >= 4],
        "all": quarters,
    }
    for name, some in groups.items():
        ours = _pinball(some, "elementdue") if some else None
        for planner in PLANNERS if some else ():
            lines.append(_band_row(f"{name}: {len(some)}", some, planner, ours))
    return "\n".join(lines)


def _band_row(name: str, some: list[Quarter], planner: str, ours: Floats | None) -> str:
    used = np.array([each.used for each in some])
    point = np.array([each.points(planner) for each in some])
    at = np.random.default_rng(7).random(len(some))
    rank = np.array([each.rank(planner, a) for each, a in zip(some, at, strict=True)])
    inside = (used >= point[:, 0]) & (used <= point[:, 2])
    shares = [inside.mean(), *((used <= point[:, which]).mean() for which in (1, 2, 3))]
    ranks = [((rank >= 0.1) & (rank <= 0.9)).mean(), (rank <= 0.5).mean(), (rank <= 0.9).mean()]
    told = np.isfinite(rank).all()
    bias = used.sum() / sum(each.mean(planner) for each in some)
    loss = _pinball(some, planner) / (ours if ours is not None else 1.0)
    cells = [name, planner, f"{bias:.2f}", *(f"{100 * share:.0f} %" for share in shares)]
    cells += [f"{100 * share:.0f} %" if told else "–" for share in ranks]
    return f"| {' | '.join([*cells, *(f'{each:.2f}' for each in loss)])} |"


def _pinball(some: list[Quarter], planner: str) -> Floats:
    """Mean loss of the 10, 50 and 90 % points (Koenker & Bassett 1978, Econometrica 46:33), (3,)."""
    off = np.array([each.used - each.points(planner)[:3] for each in some])
    level = np.array(POINTS[:3])
    return np.asarray(np.maximum(level * off, (level - 1.0) * off).mean(axis=0))


def store_table(stores: list[StoreRun]) -> str:
    heads = ("level", "planner", "stores", "reviews promised", "reviews served", "orders", "orders promised")
    heads += ("orders served", "fill rate", "days short", "mean stock", "used a year")
    lines = [f"| {' | '.join(heads)} |", "|" + "---|" * len(heads)]
    for name, begins, ends in (("all", 0, TEST_D), ("second year", TEST_D // 2, TEST_D)):
        for level in LEVELS:
            for planner in PLANNERS:
                runs = [each.run for each in stores if each.level == level and each.planner == planner]
                lines.append(_store_row(f"{level:.2f}, {name}", planner, runs, begins, ends))
    return "\n".join(lines)


def _store_row(level: str, planner: str, runs: list[Run], begins: int, ends: int) -> str:
    """A row of Markdown; the shares of reviews are of those between two days, everything else of the whole run."""
    reviews = [each for run in runs for each in run.reviews if begins <= each.day < ends]
    orders = [each for each in reviews if each.is_order]
    used, days = sum(run.used for run in runs), sum(run.days for run in runs)
    cells = (
        *(level, planner, str(len(runs)), *_promised(reviews), str(len(orders)), *_promised(orders)),
        f"{1 - sum(run.waited for run in runs) / max(used, 1):.3f}",
        f"{100.0 * sum(run.days_short for run in runs) / max(days, 1):.1f} %",
        *(f"{sum(run.piece_days for run in runs) / max(days, 1):.2f}", f"{used / max(days, 1) * 365.0:.1f}"),
    )
    return f"| {' | '.join(cells)} |"


def _promised(reviews: list[Review]) -> tuple[str, str]:
    """What they promised on average, and the share that was served."""
    if not reviews:
        return "–", "–"
    promised = float(np.mean([each.promised for each in reviews]))
    return "–" if np.isnan(promised) else f"{promised:.3f}", f"{np.mean([each.served for each in reviews]):.3f}"


def trials(seeds: Iterable[int], settings: Settings) -> Found:
    """Every law and seed, each in a process of its own."""
    asked = [(law, seed, settings) for law in LAWS for seed in seeds]
    with ProcessPoolExecutor(max_workers=2) as pool:
        found = list(pool.map(try_plant, *zip(*asked, strict=True)))
    return Found([each for one in found for each in one.quarters], [each for one in found for each in one.stores])


def main() -> None:
    first, _, last = (sys.argv[1] if len(sys.argv) > 1 else "401-403").partition("-")
    seeds = range(int(first), int(last or first) + 1)
    systems = int(sys.argv[2]) if len(sys.argv) > 2 else 16
    types = int(sys.argv[3]) if len(sys.argv) > 3 else 8
    began = time.perf_counter()
    found = trials(seeds, Settings(systems=systems, types=types, test_d=TEST_D))
    sys.stdout.write(f"{band_table(found.quarters)}\n\n{store_table(found.stores)}\n")
    sys.stdout.write(
        f"\nseeds {seeds[0]} to {seeds[-1]}, {systems} systems and {types} types a plant, {TEST_D} days, "
        f"{time.perf_counter() - began:.0f} s\n"
    )


if __name__ == "__main__":
    main()
