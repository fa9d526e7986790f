"""How clean the oil of a system is on the wire: samples and their trend, the balance, and what the cause may be."""

from datetime import datetime

from pydantic import BaseModel, ConfigDict, Field

from api_schemas.quantities import Flow, Mass, ParticleCount, Percentage, Volume

_OUT = ConfigDict(extra="forbid", frozen=True)


class TargetTold(BaseModel):
    """`source` is `plant`, or `typical`: of published handbooks by the most sensitive component and the pressure."""

    model_config = _OUT

    code: str
    source: str


class SampleTold(BaseModel):
    """`classes` are those of SAE AS4059 by the counts, none where only a code is known."""

    model_config = _OUT

    at: datetime
    point: str
    position: str | None
    code: str | None
    classes: list[str]


class CountTrend(BaseModel):
    """At one size in µm(c): the level of the newest five samples with its 80 % band, and by how many times it changes
    a year, as a line through all of them.

    `rising` is the probability that it rises at all; None with fewer than three samples.
    """

    model_config = _OUT

    size_um_c: int
    samples: int
    level: ParticleCount
    level_p10: ParticleCount
    level_p90: ParticleCount
    times_a_year: float | None
    rising: float | None


class PerMinute(BaseModel):
    """Particles a minute that come into the whole system: 10, 50 and 90 % points."""

    model_config = _OUT

    p10: float
    p50: float
    p90: float


class CameInBetween(BaseModel):
    model_config = _OUT

    since: datetime
    until: datetime
    per_minute: PerMinute


class CollectedDirt(BaseModel):
    """By the balance since the element was fitted; counts tell mass within a factor of two, so no date hangs on
    it.
    """

    model_config = _OUT

    p10: Mass
    p50: Mass
    p90: Mass


class FilterShare(BaseModel):
    """What one filter does for the cleaning. `cleaned` and `share` are None where its flow or β is not known.

    `more_than_it_holds`: even the lower end of `collected` is above the capacity, so that the flow, the β in service
    or the counts cannot be as they are told; ratios of counts hold all the same.
    """

    model_config = _OUT

    position: str
    place: str
    flow: Flow | None
    beta: float | None
    cleaned: Flow | None
    share: float | None
    collected: CollectedDirt | None
    capacity: Mass | None
    more_than_it_holds: bool


class OilBalance(BaseModel):
    """Of particles of `size_um_c` and larger, well mixed. `time_constant_hours` is V/E, `steady` what the count
    tends to.

    `cleaned` is E: the flow from which all particles are taken, of all filters together.
    """

    model_config = _OUT

    size_um_c: int
    reservoir: Volume | None
    cleaned: Flow
    time_constant_hours: float | None
    steady: ParticleCount | None
    ingression: PerMinute | None
    ingression_over_time: list[CameInBetween]
    filters: list[FilterShare]


class CountChange(BaseModel):
    """The newest `samples` against those before: how many times the count, with its 80 % band, since about when."""

    model_config = _OUT

    since: datetime
    samples: int
    times: float
    times_p10: float
    times_p90: float
    risen: float


class CauseTold(BaseModel):
    """The chance of each cause, by what was seen of `position`; None is what was not seen, and `missing` names it.

    `load_rate` and `passed` are ratios: the rate at which it loads now over before, and the count behind it over that
    before it.
    """

    model_config = _OUT

    position: str
    likeliest: str
    probability: dict[str, float]
    load_rate: float | None
    passed: float | None
    oil_goes_round: bool
    missing: list[str]


class CleanUpTold(BaseModel):
    """Hours until the target is met with the filters as they run, once no more comes in than before the counts rose:
    by the balance, and in real tanks from and to. None where it never is."""

    model_config = _OUT

    ideal_hours: float | None
    low_hours: float | None
    high_hours: float | None
    says: str


class WaterTold(BaseModel):
    """As a share of saturation; `limit_from` is `sample`, `fluid` or `typical` (250 ppm of mineral oil at 20 °C)."""

    model_config = _OUT

    at: datetime
    level: Percentage
    last: Percentage
    samples: int
    high: float
    times_a_year: float | None
    rising: float | None
    limit_from: str


class SystemContamination(BaseModel):
    """`verdict` is `met`, `missed`, `one_bad`, `too_few` or `no_target`; `probability` that the limit is passed."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        json_schema_extra={
            "examples": [
                {
                    "system": "PRESS",
                    "as_of": "2026-03-05T09:00:00+01:00",
                    "target": {"code": "18/16/13", "source": "plant"},
                    "verdict": "met",
                    "probability": 0.02,
                    "samples": [],
                    "trends": [],
                    "balance": None,
                    "change": None,
                    "causes": None,
                    "clean_up": None,
                    "water": None,
                }
            ]
        },
    )

    system: str
    as_of: datetime
    target: TargetTold | None
    verdict: str
    probability: float | None = Field(ge=0.0, le=1.0)
    samples: list[SampleTold]
    trends: list[CountTrend]
    balance: OilBalance | None
    change: CountChange | None
    causes: CauseTold | None
    clean_up: CleanUpTold | None
    water: WaterTold | None
