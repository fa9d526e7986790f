"""Typical figures for each place, so that a position of the demo plant is written in one line.

Indicator set points are about 70 % of the bypass cracking pressure (common practice, no source); clean
assemblies stay below half of it. All figures are ours and plausible, none is a maker's.
"""

from dataclasses import replace

from scheduler.vocabulary import Access, Answer, IndicatorKind, Place
from service.demo.records import DemoPosition, HowRead, Now, Readout, Wear


def wear(
    life_h: float,
    habit_h: float,
    now: Now,
    *,
    limit_share: float = 0.2,
    short_lives: int = 0,
    torn_d: int | None = None,
) -> Wear:
    return Wear(
        life_h=life_h,
        habit_h=habit_h,
        now=now,
        limit_share=limit_share,
        short_lives=short_lives,
        torn_d=torn_d,
    )


def load(share: float) -> Now:
    return Now(load=share)


def age(days: int) -> Now:
    return Now(age_d=days)


def suction(
    code: str, part_number: str, housing: str, flow_lpm: float, wears: Wear, *, head_m: float
) -> DemoPosition:
    return DemoPosition(
        code=code,
        system=_system_of(code),
        place=Place.SUCTION,
        part_number=part_number,
        housing=housing,
        flow_lpm=flow_lpm,
        bypass=Answer.NO,
        vacuum_limit_bar=0.20,
        inlet_head_m=head_m,
        access=Access.DRAINED,
        wear=wears,
        readout=Readout(how=HowRead.VACUUM, step_bar=0.01, per_week=0.8),
    )


def returning(
    code: str,
    part_number: str,
    housing: str,
    flow_lpm: float,
    wears: Wear,
    *,
    side: str | None = None,
) -> DemoPosition:
    return DemoPosition(
        code=code,
        system=_system_of(code),
        place=Place.RETURN,
        part_number=part_number,
        housing=housing,
        side=side,
        flow_lpm=flow_lpm,
        indicator_dp_bar=2.2,
        indicator_kind=IndicatorKind.GAUGE,
        bypass=Answer.YES,
        bypass_dp_bar=3.0,
        housing_dp_bar=0.15,
        housing_volume_L=6.5,
        torque_Nm=25,
        wear=wears,
        readout=Readout(how=HowRead.DP, step_bar=0.05, per_week=1.6),
    )


def pressure(
    code: str,
    part_number: str,
    housing: str,
    flow_lpm: float,
    wears: Wear,
    *,
    place: Place = Place.PRESSURE,
) -> DemoPosition:
    return DemoPosition(
        code=code,
        system=_system_of(code),
        place=place,
        part_number=part_number,
        housing=housing,
        flow_lpm=flow_lpm,
        terminal_dp_bar=5.0,
        indicator_dp_bar=5.0,
        indicator_kind=IndicatorKind.SWITCH,
        bypass=Answer.YES,
        bypass_dp_bar=7.0,
        housing_dp_bar=0.5,
        housing_volume_L=3.2,
        torque_Nm=60,
        wear=wears,
        readout=Readout(how=HowRead.DP, step_bar=0.1, per_week=1.4),
    )


def last_chance(code: str, part_number: str, housing: str, flow_lpm: float, wears: Wear) -> DemoPosition:
    """A high-collapse pressure element before servo valves, without a bypass."""
    return replace(
        pressure(code, part_number, housing, flow_lpm, wears),
        terminal_dp_bar=8.0,
        indicator_dp_bar=8.0,
        bypass=Answer.NO,
        bypass_dp_bar=None,
        housing_dp_bar=0.6,
        shut_at_start=None,
    )


def pilot(code: str, part_number: str, housing: str, flow_lpm: float, wears: Wear) -> DemoPosition:
    return replace(
        pressure(code, part_number, housing, flow_lpm, wears, place=Place.PILOT),
        terminal_dp_bar=None,
        indicator_dp_bar=5.0,
        shut_at_start=Answer.YES,
        housing_dp_bar=0.3,
        housing_volume_L=0.8,
        torque_Nm=40,
        readout=Readout(how=HowRead.DP, step_bar=0.1, per_week=1.0),
    )


def case_drain(code: str, part_number: str, housing: str, flow_lpm: float, wears: Wear) -> DemoPosition:
    return DemoPosition(
        code=code,
        system=_system_of(code),
        place=Place.CASE_DRAIN,
        part_number=part_number,
        housing=housing,
        flow_lpm=flow_lpm,
        indicator_dp_bar=1.4,
        indicator_kind=IndicatorKind.GAUGE,
        bypass=Answer.YES,
        bypass_dp_bar=2.0,
        housing_dp_bar=0.05,
        housing_volume_L=0.9,
        torque_Nm=20,
        wear=wears,
        readout=Readout(how=HowRead.DP, step_bar=0.05, per_week=0.9),
    )


def off_line(
    code: str, part_number: str, housing: str, flow_lpm: float, wears: Wear, *, meter: str = ""
) -> DemoPosition:
    return DemoPosition(
        code=code,
        system=_system_of(code),
        place=Place.OFFLINE,
        part_number=part_number,
        housing=housing,
        meter=meter,
        flow_lpm=flow_lpm,
        terminal_dp_bar=1.8,
        bypass=Answer.YES,
        bypass_dp_bar=2.5,
        housing_dp_bar=0.05,
        access=Access.RUNNING,
        housing_volume_L=9.0,
        torque_Nm=15,
        wear=wears,
        readout=Readout(how=HowRead.DP, step_bar=0.05, per_week=1.2),
    )


def charge(code: str, part_number: str, housing: str, flow_lpm: float, wears: Wear) -> DemoPosition:
    return DemoPosition(
        code=code,
        system=_system_of(code),
        place=Place.CHARGE,
        part_number=part_number,
        housing=housing,
        flow_lpm=flow_lpm,
        indicator_dp_bar=2.5,
        indicator_kind=IndicatorKind.SWITCH,
        bypass=Answer.YES,
        bypass_dp_bar=3.5,
        housing_dp_bar=0.2,
        housing_volume_L=1.6,
        torque_Nm=35,
        wear=wears,
        readout=Readout(how=HowRead.DP, step_bar=0.1, per_week=1.0, flow_known=False),
    )


def breather(code: str, part_number: str, housing: str, habit_d: int, now: Now) -> DemoPosition:
    return DemoPosition(
        code=code,
        system=_system_of(code),
        place=Place.BREATHER,
        part_number=part_number,
        housing=housing,
        max_age_d=365,
        access=Access.RUNNING,
        wear=Wear(life_h=6000, habit_d=habit_d, limit_share=0.0, now=now),
    )


def filler(code: str, housing: str, now: Now) -> DemoPosition:
    return DemoPosition(
        code=code,
        system=_system_of(code),
        place=Place.FILLER,
        part_number="QF-080-200W",
        housing=housing,
        max_age_d=730,
        access=Access.STOPPED,
        wear=Wear(life_h=20000, habit_d=540, limit_share=0.0, now=now),
    )


def _system_of(code: str) -> str:
    return code.split("-", 1)[0]
