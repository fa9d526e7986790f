"""What the simulated plants are like. Settled before the forecaster was tuned: change it only with a reason here."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Settings:
    """One plant of one law. Spreads are standard deviations of logarithms; days are of the calendar.

    Lives: types differ by `type_life_log_sd` about `typical_life_h`, places of one type by `place_log_sd`, elements
    of one place by `capacity_log_sd`. The ingression of a system wanders (`walk_log_sd`, forgetting itself over
    `walk_d`), has a yearly season and bursts: `bursts_per_year` of them, each up to `largest_burst` of an element's
    capacity. During `history_d` each place is changed by an interval that is early for most of its lives; after it,
    during `test_d`, elements stay in until up to `overrun` more dirt than at their terminal.
    """

    systems: int = 26
    places_per_system: tuple[int, int] = (2, 6)
    types: int = 8
    typical_life_h: float = 3500.0
    type_life_log_sd: float = 0.35
    place_log_sd: float = 0.40
    capacity_log_sd: float = 0.12
    form_log_sd: float = 0.06
    walk_log_sd: float = 0.14
    walk_d: float = 120.0
    season: float = 0.08
    bursts_per_year: float = 0.5
    largest_burst: float = 0.10
    history_d: int = 1600
    test_d: int = 600
    truth_d: int = 4200
    interval_share: tuple[float, float] = (0.50, 1.00)
    interval_log_sd: float = 0.12
    trip_seen: float = 0.85
    trip_delay_d: float = 30.0
    overrun: float = 0.15
    hours_per_week: tuple[float, ...] = (45.0, 80.0, 120.0, 160.0)
    week_log_sd: float = 0.20
    reading_every_d: tuple[float, ...] = (7.0, 7.0, 14.0, 14.0, 30.0, 90.0)
    gap_share: float = 0.10
    dial_steps_bar: tuple[float, ...] = (0.1, 0.1, 0.05, 0.05, 0.01)
    gauge_noise: float = 0.02
    gauge_bias: float = 0.03
    cold_share: float = 0.12
    no_temperature_share: float = 0.15
    flow_measured_share: float = 0.5
    flow_spread: tuple[float, float] = (0.75, 1.05)
    gross_error_share: float = 0.012
    meter_replaced_share: float = 0.20
    meter_mistyped_share: float = 0.01
    sheet_log_sd: float = 0.12
    clean_log_sd: float = 0.06
