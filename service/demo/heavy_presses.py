"""The positions of the heavy machines: both presses, the forging press and the ring mill."""

from dataclasses import replace

from scheduler.vocabulary import Place
from service.demo import cases
from service.demo.places import (
    age,
    breather,
    case_drain,
    filler,
    load,
    off_line,
    pilot,
    pressure,
    returning,
    suction,
    wear,
)
from service.demo.records import DemoPosition, HowRead, Now, Readout
from service.demo.systems import OFFLINE_METER

_PRESS1 = (
    replace(
        suction(
            cases.VACUUM_NEAR_LIMIT,
            "QS-250-125W",
            "tank floor, main pump 1",
            240,
            wear(4600, 2600, load(0.996)),
            head_m=0.35,
        ),
        readout=Readout(how=HowRead.VACUUM, step_bar=0.01, per_week=0.8, watched=True),
    ),
    suction(
        "PRESS1-SUC2",
        "QS-250-125W",
        "tank floor, main pump 2",
        240,
        wear(5200, 2600, load(0.42)),
        head_m=0.35,
    ),
    pressure("PRESS1-PRS", "QP-240-06G", "after main pump 1, column left", 210, wear(2400, 1500, load(0.55))),
    returning("PRESS1-RET", "QR-600-10G", "tank lid, left", 480, wear(3100, 1900, load(0.66))),
    off_line(
        "PRESS1-OFF",
        "QO-080-03G",
        "cooler loop, tank side",
        75,
        wear(7800, 5200, load(0.5), limit_share=0.4),
        meter=OFFLINE_METER,
    ),
    pilot("PRESS1-PIL", "QL-030-03G", "valve block, platform", 18, wear(3600, 2200, load(0.35))),
    case_drain("PRESS1-CDR", "QC-040-20G", "pump 1 case drain", 22, wear(5200, 3000, load(0.7))),
    breather("PRESS1-BRE", "QB-300-D", "tank lid, right", 330, age(160)),
    filler("PRESS1-FIL", "tank lid, filler neck", age(210)),
    pressure(
        "PRESS1-CUS",
        "QP-060-06G",
        "die cushion loop, pit",
        48,
        wear(2900, 1800, load(0.3)),
        place=Place.OTHER,
    ),
)
_PRESS2 = (
    suction("PRESS2-SUC", "QS-250-125W", "tank floor", 205, wear(5600, 2800, load(0.3)), head_m=0.30),
    replace(
        pressure("PRESS2-PRS", "QP-240-06G", "after main pump, rear", 195, wear(2400, 1500, load(0.25))),
        readout=Readout(how=HowRead.PAIR, step_bar=0.1, per_week=1.0),
    ),
    replace(
        returning(cases.WARM_BYPASS, "QR-330-10G", "tank lid, rear", 285, wear(2700, 1600, load(1.06))),
        readout=Readout(how=HowRead.DP, step_bar=0.05, per_week=1.6, watched=True),
    ),
    replace(
        pilot(
            cases.DUE_BY_HOURS,
            "QL-030-03G",
            "valve block, right column",
            16,
            wear(5200, 2000, Now(run_h=1850), limit_share=0.0),
        ),
        max_hours=2000,
        readout=Readout(),
        indicator_dp_bar=None,
        indicator_kind=None,
    ),
    breather("PRESS2-BRE", "QB-100-D", "tank lid, front", 340, age(95)),
    filler("PRESS2-FIL", "tank lid, filler neck", age(420)),
)
_FORGE1 = (
    suction("FORGE1-SUC", "QS-250-125W", "tank outlet, pump room", 230, wear(7000, 3600, load(0.38)), head_m=0.5),
    pressure("FORGE1-PRS", "QP-240-06G", "pump room wall", 220, wear(3300, 2000, load(0.48))),
    returning(
        cases.DUPLEX_SIDES[0],
        "QR-330-10G",
        "duplex housing, side A",
        290,
        wear(2600, 1600, load(0.58)),
        side="A",
    ),
    returning(
        cases.DUPLEX_SIDES[1],
        "QR-330-10G",
        "duplex housing, side B",
        290,
        wear(2600, 1600, load(0.58)),
        side="B",
    ),
    off_line("FORGE1-OFF", "QO-080-03G", "pump room, cooler loop", 78, wear(6500, 4400, load(0.62))),
    breather("FORGE1-BRE", "QB-100-A", "tank lid", 180, age(120)),
    filler("FORGE1-FIL", "tank lid, filler neck", age(300)),
)
_RING1 = (
    suction("RING1-SUC", "QS-250-125W", "pit, tank outlet", 245, wear(8200, 4200, load(0.5)), head_m=0.6),
    replace(
        pressure(
            cases.DROP_WITHOUT_CHANGE,
            "QP-240-06G",
            "pit wall, pump side",
            215,
            wear(3100, 1900, load(1.02), torn_d=13),
        ),
        readout=Readout(how=HowRead.DP, step_bar=0.1, per_week=2.5, watched=True),
    ),
    replace(
        returning(cases.DUE_BY_PRESSURE, "QR-600-10G", "tank top, pit", 540, wear(3200, 2000, load(0.98))),
        readout=Readout(how=HowRead.DP, step_bar=0.05, per_week=3.0, watched=True),
    ),
    off_line("RING1-OFF", "QO-080-03G", "cooler loop", 76, wear(6400, 4300, load(0.35))),
    pilot("RING1-PIL", "QL-030-03G", "valve stand, gallery", 19, wear(4400, 2600, load(0.6))),
    case_drain("RING1-CDR", "QC-040-20G", "main pump case drain", 26, wear(6000, 3600, load(0.45))),
    breather("RING1-BRE", "QB-300-D", "tank top, pit", 340, age(225)),
    filler("RING1-FIL", "tank top, filler neck", age(500)),
)

HEAVY_PRESSES: tuple[DemoPosition, ...] = (*_PRESS1, *_PRESS2, *_FORGE1, *_RING1)
