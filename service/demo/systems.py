"""The systems of the demo plant, Quillmarsh Metal Forming Works (invented)."""

from service.demo.catalogue import LOOKALIKE_ESTER, LOOKALIKE_WATER_GLYCOL, MINERAL_OIL
from service.demo.records import Costs, DemoSystem, MainMeter, OilTemperature, Row, Sampling, Shift

PLANT = "QUILLMARSH"
PLANT_NAME = "Quillmarsh Metal Forming Works"
TIME_ZONE = "Europe/Vienna"

OFFLINE_METER = "OFFLINE"
"""The off-line circuit of PRESS1 has a pump, and so a meter, of its own."""

STOPPED_METER_SYSTEM = "SAW1"
REPLACED_METER_SYSTEM = "BALER1"

_PRESS1 = DemoSystem(
    code="PRESS1",
    name="Deep-drawing press 1, 800 t",
    walking_order=10,
    fluid=MINERAL_OIL,
    reservoir_L=2500,
    pump_flow_lpm=480,
    working_pressure_bar=250,
    cleanliness_target="18/16/13",
    most_sensitive="proportional_valve",
    hours_per_week=82,
    hazards="accumulator,suspended_load",
    isolation_procedure="QM-ISOL-101",
    permits="hot work permit for grinding near the tank",
    level_position="ram at the bottom on its blocks, cushion down",
    oil=OilTemperature(working_degC=50, coldest_start_degC=16),
    costs=Costs(stop=900, labour=62, late=14000),
    main_meter=MainMeter(start_h=21340, digits=6, read_daily=True),
)
_PRESS2 = DemoSystem(
    code="PRESS2",
    name="Trimming press 2, 250 t",
    walking_order=20,
    fluid=MINERAL_OIL,
    reservoir_L=800,
    pump_flow_lpm=210,
    working_pressure_bar=210,
    cleanliness_target="18/16/13",
    most_sensitive="variable_piston_pump",
    hours_per_week=78,
    hazards="suspended_load",
    isolation_procedure="QM-ISOL-102",
    permits=None,
    oil=OilTemperature(working_degC=49, coldest_start_degC=16),
    costs=Costs(stop=450, labour=62, late=6500),
    main_meter=MainMeter(start_h=9120, digits=6, read_daily=True),
)
_FORGE1 = DemoSystem(
    code="FORGE1",
    name="Hot forging press 1",
    walking_order=60,
    fluid=LOOKALIKE_WATER_GLYCOL,
    reservoir_L=1800,
    pump_flow_lpm=300,
    working_pressure_bar=180,
    cleanliness_target="18/16/13",
    most_sensitive="directional_valve",
    hours_per_week=118,
    hazards="accumulator,suspended_load,hot surfaces beside the furnace",
    isolation_procedure="QM-ISOL-110",
    permits="work beside the furnace",
    level_position="ram at the bottom, ejector retracted, accumulators empty",
    shift=Shift.SIX_DAYS,
    oil=OilTemperature(working_degC=44, coldest_start_degC=14),
    costs=Costs(stop=1200, labour=62, late=18000),
    main_meter=MainMeter(start_h=33810, digits=6, read_daily=True),
    sampling=Sampling(every_d=35),
)
_SHEAR1 = DemoSystem(
    code="SHEAR1",
    name="Plate shear 1",
    walking_order=30,
    fluid=MINERAL_OIL,
    reservoir_L=380,
    pump_flow_lpm=90,
    working_pressure_bar=160,
    cleanliness_target="20/18/15",
    most_sensitive="fixed_pump",
    hours_per_week=42,
    hazards="suspended_load",
    isolation_procedure="QM-ISOL-121",
    permits=None,
    oil=OilTemperature(working_degC=46, coldest_start_degC=12),
    costs=Costs(stop=180, labour=58, late=1900),
    main_meter=MainMeter(start_h=12870, digits=5, read_daily=False),
    sampling=Sampling(codes=(19, 17, 14), every_d=90),
)
_BENDER1 = DemoSystem(
    code="BENDER1",
    name="Tube bender 1",
    walking_order=50,
    fluid="OST-M32",
    reservoir_L=300,
    pump_flow_lpm=110,
    working_pressure_bar=190,
    cleanliness_target="17/15/12",
    most_sensitive="proportional_valve",
    hours_per_week=56,
    hazards="accumulator",
    isolation_procedure="QM-ISOL-124",
    permits=None,
    oil=OilTemperature(working_degC=45, coldest_start_degC=17),
    costs=Costs(stop=260, labour=62, late=3600),
    main_meter=MainMeter(start_h=7715, digits=6, read_daily=False),
    sampling=Sampling(codes=(16, 14, 11)),
)
_BALER1 = DemoSystem(
    code="BALER1",
    name="Scrap baler 1, yard",
    walking_order=90,
    fluid="OST-V46",
    reservoir_L=900,
    pump_flow_lpm=260,
    working_pressure_bar=280,
    cleanliness_target="19/17/14",
    most_sensitive="directional_valve",
    hours_per_week=62,
    hazards="suspended_load,tank_heater",
    isolation_procedure="QM-ISOL-130",
    permits=None,
    flow_spread=0.12,
    oil=OilTemperature(working_degC=52, coldest_start_degC=-4),
    costs=Costs(stop=300, labour=58, late=4200),
    main_meter=MainMeter(start_h=9210, digits=4, read_daily=False),
    sampling=Sampling(codes=(18, 16, 13)),
)
_FEED1 = DemoSystem(
    code="FEED1",
    name="Coil feed and straightener 1",
    fluid=MINERAL_OIL,
    reservoir_L=350,
    pump_flow_lpm=100,
    working_pressure_bar=140,
    cleanliness_target="19/17/14",
    most_sensitive="directional_valve",
    hours_per_week=74,
    hazards="suspended_load",
    isolation_procedure="QM-ISOL-126",
    permits=None,
    oil=OilTemperature(working_degC=47, coldest_start_degC=16),
    costs=Costs(stop=350, labour=58, late=5200),
    main_meter=MainMeter(start_h=15400, digits=6, read_daily=False),
    sampling=Sampling(codes=(18, 16, 13)),
)
_RING1 = DemoSystem(
    code="RING1",
    name="Ring rolling mill 1",
    walking_order=70,
    fluid="OST-M68",
    reservoir_L=3000,
    pump_flow_lpm=560,
    working_pressure_bar=230,
    cleanliness_target="18/16/13",
    most_sensitive="proportional_valve",
    hours_per_week=112,
    hazards="accumulator,confined_space,work_at_height",
    isolation_procedure="QM-ISOL-140",
    permits="confined space entry for the pit",
    level_position="mandrel withdrawn, rolls open, accumulators empty",
    shift=Shift.SIX_DAYS,
    oil=OilTemperature(working_degC=56, coldest_start_degC=18),
    costs=Costs(stop=1500, labour=62, late=22000),
    main_meter=MainMeter(start_h=48260, digits=6, read_daily=True),
    sampling=Sampling(every_d=28, as_counts=True),
)
_RIG1 = DemoSystem(
    code="RIG1",
    name="Die and cylinder test rig 1",
    walking_order=80,
    fluid=MINERAL_OIL,
    reservoir_L=600,
    pump_flow_lpm=150,
    working_pressure_bar=280,
    cleanliness_target="16/14/11",
    most_sensitive="servo_valve",
    hours_per_week=48,
    hazards="accumulator",
    isolation_procedure="QM-ISOL-150",
    permits=None,
    oil=OilTemperature(working_degC=45, coldest_start_degC=19),
    costs=Costs(stop=120, labour=62, late=3000),
    main_meter=MainMeter(start_h=4380, digits=6, read_daily=True),
    sampling=Sampling(codes=(15, 13, 10), every_d=21, as_counts=True),
)
_LOADER1 = DemoSystem(
    code="LOADER1",
    name="Yard loader 1, mobile",
    fluid=LOOKALIKE_ESTER,
    reservoir_L=140,
    pump_flow_lpm=130,
    working_pressure_bar=320,
    cleanliness_target="19/17/14",
    most_sensitive="variable_piston_pump",
    hours_per_week=34,
    hazards="suspended_load",
    isolation_procedure="QM-ISOL-160",
    permits=None,
    level_position="bucket on the ground, on level ground",
    flow_spread=0.10,
    oil=OilTemperature(working_degC=58, coldest_start_degC=-8),
    costs=Costs(stop=80, labour=58, late=2400),
    main_meter=MainMeter(start_h=3105, digits=5, read_daily=False),
    sampling=Sampling(codes=(18, 16, 13), every_d=90),
)
_SAW1 = DemoSystem(
    code="SAW1",
    name="Billet saw 1",
    walking_order=40,
    fluid=MINERAL_OIL,
    reservoir_L=260,
    pump_flow_lpm=75,
    working_pressure_bar=120,
    cleanliness_target="20/18/15",
    most_sensitive="fixed_pump",
    hours_per_week=66,
    hazards="suspended_load",
    isolation_procedure="QM-ISOL-122",
    permits=None,
    oil=OilTemperature(working_degC=43, coldest_start_degC=14),
    costs=Costs(stop=150, labour=58, late=1600),
    main_meter=MainMeter(start_h=18240, digits=5, read_daily=True),
    sampling=Sampling(codes=(19, 17, 14), every_d=90),
)

SYSTEMS: dict[str, DemoSystem] = {
    system.code: system
    for system in (
        *(_PRESS1, _PRESS2, _FORGE1, _SHEAR1, _BENDER1, _BALER1, _FEED1, _RING1, _RIG1, _LOADER1),
        _SAW1,
    )
}


def plant_rows() -> list[Row]:
    return [
        {
            "plant": PLANT,
            "name": PLANT_NAME,
            "time_zone": TIME_ZONE,
            "currency": "EUR",
            "display_units": "metric",
            "altitude": 310,
            "risk": 0.1,
            "horizon": 42,
        }
    ]


def system_rows() -> list[Row]:
    return [
        {
            "system": system.code,
            "plant": PLANT,
            "name": system.name,
            "status": "in_service",
            "fluid": system.fluid,
            "reservoir_volume": system.reservoir_L,
            "pump_flow": system.pump_flow_lpm,
            "working_pressure": system.working_pressure_bar,
            "working_temperature": system.oil.working_degC,
            "coldest_start": system.oil.coldest_start_degC,
            "cleanliness_target": system.cleanliness_target,
            "most_sensitive": system.most_sensitive,
            "hours_per_week": system.hours_per_week,
            "stop_cost": system.costs.stop,
            "labour_cost": system.costs.labour,
            "late_cost": system.costs.late,
            "hazards": system.hazards,
            "isolation_procedure": system.isolation_procedure,
            "permits": system.permits,
            "level_position": system.level_position,
            "walking_order": system.walking_order,
        }
        for system in SYSTEMS.values()
    ]


def meter_rows() -> list[Row]:
    main: list[Row] = [
        {"system": system.code, "meter": "", "digits": system.main_meter.digits} for system in SYSTEMS.values()
    ]
    return [*main, {"system": "PRESS1", "meter": OFFLINE_METER, "digits": 6}]
