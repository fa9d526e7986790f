"""The positions of the workshop machines, the test rig and the yard."""

from dataclasses import replace

from scheduler.vocabulary import IndicatorKind
from service.demo import cases
from service.demo.places import (
    age,
    breather,
    case_drain,
    charge,
    filler,
    last_chance,
    load,
    off_line,
    pilot,
    pressure,
    returning,
    suction,
    wear,
)
from service.demo.records import DemoPosition, HowRead, Now, Readout

_SHEAR1 = (
    suction("SHEAR1-SUC", "QS-100-125W", "tank floor", 88, wear(4200, 2100, load(0.45)), head_m=0.25),
    replace(
        returning(cases.INDICATOR_UNCONFIRMED, "QR-130-10G", "tank lid", 92, wear(1700, 1000, load(0.95))),
        indicator_kind=IndicatorKind.POPUP_LATCHING,
        readout=Readout(
            how=HowRead.INDICATOR_ONLY,
            per_week=1.0,
            flow_known=False,
            temperature_known=False,
            last_is_cold=True,
        ),
    ),
    breather(cases.DUE_BY_AGE, "QB-100-A", "tank lid", 340, age(379)),
    filler("SHEAR1-FIL", "tank lid, filler neck", age(130)),
)
_BENDER1 = (
    last_chance("BENDER1-PRS", "QP-160-03G", "before the servo block", 105, wear(2200, 1300, load(0.45))),
    replace(
        returning(cases.DUE_BY_INDICATOR, "QR-130-10G", "tank lid", 110, wear(2100, 1300, load(1.03))),
        indicator_kind=IndicatorKind.SWITCH,
        readout=Readout(how=HowRead.INDICATOR_ONLY, per_week=1.4, flow_known=False, watched=True),
    ),
    pilot("BENDER1-PIL", "QL-030-03G", "servo block, side", 20, wear(2600, 1500, load(0.5))),
    breather("BENDER1-BRE", "QB-100-D", "tank lid", 300, age(60)),
)
_BALER1 = (
    suction("BALER1-SUC", "QS-250-125W", "tank outlet, yard side", 250, wear(4400, 2000, load(0.6)), head_m=0.4),
    returning(
        cases.SHORT_LIVES,
        "QR-330-10G",
        "tank lid, under the cover",
        300,
        wear(1500, 1000, load(0.3), limit_share=0.3, short_lives=2),
    ),
    replace(
        case_drain("BALER1-CDR", "QC-040-20G", "pump case drain", 24, wear(2600, 1500, load(0.3))),
        indicator_kind=IndicatorKind.POPUP_LATCHING,
        readout=Readout(),
    ),
    breather("BALER1-BRE", "QB-300-D", "tank lid, yard side", 200, age(110)),
    filler("BALER1-FIL", "tank lid, filler neck", age(90)),
)
_FEED1 = (
    pressure(cases.DUE_BY_EVENT, "QP-060-06G", "after the pump, left frame", 52, wear(3000, 1900, load(0.25))),
    returning("FEED1-RET", "QR-130-10G", "tank lid", 104, wear(3400, 2100, load(0.4))),
    breather(cases.NOTHING_FITTED, "QB-100-A", "tank lid", 340, Now(nothing_known=True)),
)
_RIG1 = (
    last_chance("RIG1-PRS", "QP-160-03G", "before the servo valves", 118, wear(2700, 1600, load(0.4))),
    returning("RIG1-RET", "QR-130-10G", "tank lid", 120, wear(2500, 1500, load(0.5))),
    off_line(cases.CLEANLINESS_MISSED, "QO-040-03G", "trolley loop", 38, wear(3900, 2600, load(0.3))),
    breather("RIG1-BRE", "QB-100-D", "tank lid", 345, age(190)),
)
_LOADER1 = (
    suction("LOADER1-SUC", "QS-100-125W", "tank, right side", 95, wear(2600, 1300, load(0.5)), head_m=0.15),
    charge("LOADER1-CHG", "QH-120-10F", "beside the drive pump", 62, wear(1500, 900, load(0.6))),
    replace(
        returning(cases.DUE_BY_LIFE, "QR-130-10F", "tank top", 125, wear(680, 560, load(0.88), limit_share=0.7)),
        indicator_kind=IndicatorKind.POPUP_LATCHING,
        readout=Readout(),
    ),
    case_drain("LOADER1-CDR", "QC-040-20F", "drive pump case drain", 21, wear(2300, 1300, load(0.35))),
    breather("LOADER1-BRE", "QB-100-A", "tank top", 170, age(75)),
)
_SAW1 = (
    suction("SAW1-SUC", "QS-100-125W", "tank floor", 74, wear(6200, 3100, load(0.4)), head_m=0.3),
    replace(
        returning(cases.METER_STANDS_STILL, "QR-130-10G", "tank lid", 78, wear(3000, 1900, load(0.45))),
        readout=Readout(how=HowRead.DP, step_bar=0.05, per_week=2.0, watched=True),
    ),
    breather("SAW1-BRE", "QB-100-A", "tank lid", 340, age(140)),
)

WORKSHOP: tuple[DemoPosition, ...] = (*_SHEAR1, *_BENDER1, *_BALER1, *_FEED1, *_RIG1, *_LOADER1, *_SAW1)
