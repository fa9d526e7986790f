"""Mistakes as plants make them, one kind a folder: each is told with its table, row, column and value, and what was
expected; the database stays as it was. The texts are what a person reads, so they are compared to the letter.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from service.database import Database
from tests.flow.broken_folder import refused_without_a_change, standing_plant
from tests.service.plant_folder.invented_plant import TABLES, write_folder

DP = "position,at,dp [bar]\n"
LIVES = "position,fitted_at,part_number,removed_at\n"
SYSTEM = "system,plant,fluid,reservoir_volume [L]"
POSITION = "position,system,place,part_number\n"
DECIMAL_COMMA = "write numbers like 1234.5, or for a file with semicolons and decimal commas import with"
NEITHER = "it is neither in {} nor in the database; did you mean '{}'?"


@dataclass(frozen=True)
class Mistake:
    """A table's text, and what is told of it: the text in full, and the value beside it."""

    table: str
    text: str
    says: str
    value: str | None
    others: dict[str, str | None] = field(default_factory=dict)


MISTAKES = {
    "a decimal comma in quotation marks": Mistake(
        "dp_readings",
        DP + 'PRESS-R1,2026-03-06,"1,5"\nPRESS-R1,2026-03-07,"1,6"\n',
        "dp_readings.csv, row 2, dp [bar]: '1,5' is written with a decimal comma or thousands separators;"
        f" {DECIMAL_COMMA} --separator ';' --decimal ',' (2 cells of this kind)",
        "1,5",
    ),
    "a decimal comma between commas": Mistake(
        "dp_readings",
        DP + "PRESS-R1,2026-03-06,1,5\n",
        "dp_readings.csv, row 2: the row has more cells than the header: '5' is beyond its 3 columns; if numbers have"
        " decimal commas, write them like 1234.5, or save the file with semicolons and import it with"
        " --separator ';' --decimal ','",
        "5",
    ),
    "the unit in the cell": Mistake(
        "dp_readings",
        DP + "PRESS-R1,2026-03-06,1.5 bar\n",
        "dp_readings.csv, row 2, dp [bar]: '1.5 bar' is not a number",
        "1.5 bar",
    ),
    "a formula that went wrong": Mistake(
        "dp_readings",
        DP + "PRESS-R1,2026-03-06,#REF!\n",
        "dp_readings.csv, row 2, dp [bar]: '#REF!' is not a number",
        "#REF!",
    ),
    "a pressure for a flow": Mistake(
        "dp_readings",
        "position,at,dp [bar],flow [bar]\nPRESS-R1,2026-03-06,1.5,80\n",
        "dp_readings.csv, row 1, flow [bar]: 'bar' measures pressure difference, not flow; expected one of: L/min,"
        " l/min, lpm, L/h, m3/h, gpm, gal/min, gpm_imp, gal_imp/min",
        "bar",
    ),
    "an absolute unit for a difference": Mistake(
        "dp_readings",
        "position,at,dp [bara]\nPRESS-R1,2026-03-06,1.5\n",
        "dp_readings.csv, row 1, dp [bara]: 'bara' is absolute pressure (against vacuum), but this is a pressure"
        " difference; expected one of: bar, mbar, Pa, kPa, MPa, psi, inHg, mmHg",
        "bara",
    ),
    "pascals under bar": Mistake(
        "dp_readings",
        DP + "PRESS-R1,2026-03-06,150000\n",
        "dp_readings.csv, row 2, dp [bar]: 150000 bar is above 1000 bar",
        "150000",
    ),
    "a negative difference": Mistake(
        "dp_readings",
        DP + "PRESS-R1,2026-03-06,-0.3\n",
        "dp_readings.csv, row 2, dp [bar]: -0.3 bar is below 0 bar",
        "-0.3",
    ),
    "degrees Fahrenheit under Celsius": Mistake(
        "dp_readings",
        "position,at,dp [bar],oil_temperature [degC]\nPRESS-R1,2026-03-06,1.5,260\n",
        "dp_readings.csv, row 2, oil_temperature [degC]: 260 degC is above 250 degC",
        "260",
    ),
    "more vacuum than there is air": Mistake(
        "dp_readings",
        "position,at,vacuum [mbar]\nPRESS-R1,2026-03-06,1250\n",
        "dp_readings.csv, row 2, vacuum [mbar]: 1250 mbar is 1.25 bar, which is above 1.01325 bar",
        "1250",
    ),
    "one gauge of two": Mistake(
        "dp_readings",
        "position,at,upstream [bar],downstream [bar]\nPRESS-R1,2026-03-06,6,\n",
        "dp_readings.csv, row 2, upstream [bar], downstream [bar]: upstream, downstream belong together; downstream"
        " is empty",
        "6",
    ),
    "a row in which nothing was read": Mistake(
        "dp_readings",
        "position,at,dp [bar],flow [L/min]\nPRESS-R1,2026-03-06,,80\n",
        "dp_readings.csv, row 2, dp [bar], upstream, vacuum, indicator: at least one of dp, upstream, vacuum,"
        " indicator must be given",
        "",
    ),
    "a code in other letters": Mistake(
        "dp_readings",
        DP + "Press-R1,2026-03-06,1.3\n",
        "dp_readings.csv, row 2, position: unknown position 'Press-R1':"
        f" {NEITHER.format('positions.csv', 'PRESS-R1')}",
        "Press-R1",
    ),
    "a reading of nothing": Mistake(
        "dp_readings",
        DP + ",2026-03-06,1.5\n",
        "dp_readings.csv, row 2, position: must not be empty",
        "",
    ),
    "a column twice": Mistake(
        "dp_readings",
        "position,at,dp [bar],dp [psi]\nPRESS-R1,2026-03-06,1.3,19\n",
        "dp_readings.csv, row 1, dp [psi]: the column 'dp' is in the header twice",
        None,
    ),
    "a title above the header": Mistake(
        "meters",
        "Meters of hall 2\nsystem,digits\nPRESS,5\n",
        "meters.csv, row 1: has none of the columns of meters: system, meter, digits, external_ref; the first row"
        " that is not empty must be the header, with nothing above it",
        "Meters of hall 2",
    ),
    "a quotation mark that is never closed": Mistake(
        "dp_readings",
        DP + 'PRESS-R1,2026-03-06,"1.5\n',
        "dp_readings.csv, row 2: its quotation marks do not match (unexpected end of data); save it as CSV again",
        None,
    ),
    "a table that is none": Mistake(
        "dp_reading",
        DP + "PRESS-R1,2026-03-06,1.3\n",
        "dp_reading.csv: is no table of a plant folder; did you mean 'dp_readings.csv'?",
        None,
    ),
    "the number that a spreadsheet has for a day": Mistake(
        "dp_readings",
        DP + "PRESS-R1,46087,1.5\n",
        "dp_readings.csv, row 2, at: '46087' is not a date or time; expected ISO 8601, like 2026-03-05 or"
        " 2026-03-05T14:30 or 2026-03-05T14:30+01:00",
        "46087",
    ),
    "a time that the clocks skip": Mistake(
        "dp_readings",
        DP + "PRESS-R1,2026-03-29T02:30,1.5\n",
        "dp_readings.csv, row 2, at: '2026-03-29T02:30' does not exist in Europe/Oslo: the clocks skipped that hour",
        "2026-03-29T02:30",
    ),
    "a reading of next year": Mistake(
        "dp_readings",
        DP + "PRESS-R1,2027-03-06T10:00,1.5\n",
        "dp_readings.csv, row 2, at: '2027-03-06T10:00' lies in the future: now is 2026-06-01T12:00+0000",
        "2027-03-06T10:00",
    ),
    "a year with its digits exchanged": Mistake(
        "dp_readings",
        DP + "PRESS-R1,0226-03-06,1.5\n",
        "dp_readings.csv, row 2, at: '0226-03-06' is outside the years 1900 to 2200",
        "0226-03-06",
    ),
    "a time zone that does not exist": Mistake(
        "plants",
        "plant,time_zone\nNORTH,Europe/Olso\n",
        "plants.csv, row 2, time_zone: 'Europe/Olso' is not an IANA time zone, like Europe/Oslo; did you mean"
        " 'Europe/Oslo'?",
        "Europe/Olso",
    ),
    "another time zone for a plant that has readings": Mistake(
        "plants",
        "plant,time_zone\nNORTH,Europe/Helsinki\n",
        "plants.csv, time_zone: plant 'NORTH' has facts that were read in Europe/Oslo; its time zone cannot change",
        "Europe/Helsinki",
        {"dp_readings": None},
    ),
    "a risk in per cent": Mistake(
        "plants",
        "plant,time_zone,risk\nNORTH,Europe/Oslo,10\n",
        "plants.csv, row 2, risk: 10 is above 1",
        "10",
    ),
    "a currency by its name": Mistake(
        "plants",
        "plant,time_zone,currency\nNORTH,Europe/Oslo,Euro\n",
        "plants.csv, row 2, currency: 'Euro' is not a currency code of ISO 4217, like EUR",
        "Euro",
    ),
    "more hours than a week has": Mistake(
        "systems",
        f"{SYSTEM},hours_per_week\nPRESS,NORTH,HM46,400,200\n",
        "systems.csv, row 2, hours_per_week: 200 is above 168",
        "200",
    ),
    "a cleanliness target of two numbers": Mistake(
        "systems",
        f"{SYSTEM},cleanliness_target\nPRESS,NORTH,HM46,400,18/15\n",
        "systems.csv, row 2, cleanliness_target: '18/15' is not a cleanliness code like 18/16/13: three numbers,"
        " ≥4/≥6/≥14 µm(c)",
        "18/15",
    ),
    "a cleanliness code the wrong way round": Mistake(
        "oil_samples",
        "system,at,code\nPRESS,2026-03-06,13/16/18\n",
        "oil_samples.csv, row 2, code: cleanliness code '13/16/18' rises from 13 to 16; each count includes all"
        " larger particles",
        "13/16/18",
    ),
    "particle counts that are not cumulative": Mistake(
        "oil_samples",
        "system,at,count_4 [1/mL],count_6 [1/mL],count_14 [1/mL]\nPRESS,2026-03-06,100,900,20\n",
        "oil_samples.csv, row 2, count_4 [1/mL], count_6 [1/mL]: count_6 of 900 per mL is above count_4 of 100; each"
        " count includes all larger particles",
        "100, 900",
    ),
    "viscosities exchanged": Mistake(
        "fluids",
        "fluid,viscosity_40 [mm2/s],viscosity_100 [mm2/s]\nHM46,6.8,46\n",
        "fluids.csv, row 2, viscosity_40 [mm2/s], viscosity_100 [mm2/s]: 6.8 mm²/s at 40 °C and 46.0 mm²/s at 100 °C:"
        " the second must be at least 0.21 and below the first",
        "6.8, 46",
    ),
    "a viscosity that contradicts the recorded one": Mistake(
        "fluids",
        "fluid,grade,viscosity_100 [mm2/s]\nHM46,320,50\n",
        "fluids.csv, row 2, viscosity_40, grade, viscosity_100: with what is recorded of 'HM46', 46.0 mm²/s at 40 °C"
        " and 50.0 mm²/s at 100 °C: the second must be at least 0.21 and below the first",
        "HM46",
    ),
    "a meter of twelve digits": Mistake(
        "meters",
        "system,digits\nPRESS,12\n",
        "meters.csv, row 2, digits: 12 is above 9",
        "12",
    ),
    "a position of an unknown system": Mistake(
        "positions",
        TABLES["positions"] + "PRESS-R3,PRES,return,E-10\n",
        f"positions.csv, row 4, system: unknown system 'PRES': {NEITHER.format('systems.csv', 'PRESS')}",
        "PRES",
    ),
    "a place that is mistyped": Mistake(
        "positions",
        POSITION + "PRESS-R1,PRESS,retrun,E-10\nPRESS-R2,PRESS,return,E-10\n",
        "positions.csv, row 2, place: 'retrun' is not one of: suction, pressure, return, offline, pilot, case_drain,"
        " charge, breather, filler, other; did you mean 'return'?",
        "retrun",
    ),
    "a seal kit as a position's element": Mistake(
        "positions",
        POSITION + "PRESS-R1,PRESS,return,K-1\nPRESS-R2,PRESS,return,E-10\n",
        "positions.csv, row 2, part_number: 'K-1' is a seal kit in parts, not an element type",
        "K-1",
    ),
    "an element that replaces itself": Mistake(
        "alternates",
        "part_number,alternate\nE-10,E-10\n",
        "alternates.csv, row 2, alternate: 'E-10' is given as an alternate of itself",
        "E-10",
    ),
    "an element of unknown type fitted": Mistake(
        "installations",
        LIVES + "PRESS-R1,2025-01-05,E-1O,2025-06-05\n",
        "installations.csv, row 2, part_number: unknown element type 'E-1O':"
        f" {NEITHER.format('element_types.csv', 'E-10')}",
        "E-1O",
    ),
    "a removal before its fitting": Mistake(
        "installations",
        LIVES + "PRESS-R1,2025-03-05,E-10,2025-02-05T07:30\n",
        "installations.csv, row 2, removed_at: removed_at 2025-02-05T07:30:00+01:00 is before fitted_at 2025-03-05",
        "2025-02-05T07:30",
    ),
    "hours of a removal that has no date": Mistake(
        "installations",
        "position,fitted_at,part_number,removed_at,removed_hours [h],reason\nPRESS-R1,2025-02-05,E-10,,400,due\n",
        "installations.csv, row 2, removed_at, removed_hours [h], reason: removed_hours and reason are given, but"
        " removed_at is empty",
        "400, due",
    ),
    "two elements at once": Mistake(
        "installations",
        LIVES + "PRESS-R1,2025-01-05,E-10,2025-03-05\nPRESS-R1,2025-02-05,E-10,2025-04-05\n",
        "installations.csv, row 2, removed_at: this element leaves 'PRESS-R1' after row 3 has fitted the next one",
        "2025-03-05",
    ),
    "an element where the recorded one still is": Mistake(
        "installations",
        LIVES + "PRESS-R1,2026-05-04T08:00,E-10,\n",
        "installations.csv, row 2, fitted_at: 'PRESS-R1' still holds 'E-10' fitted at 2026-02-05T10:00:00+01:00"
        " (recorded earlier), which has no removed_at, yet 'E-10' fitted at 2026-05-04T08:00:00+02:00 (row 2) follows"
        " it; add a row with that fitted_at and its removed_at; if both are one stay, give this row the recorded"
        " fitted_at",
        "2026-05-04T08:00:00+02:00",
    ),
    "half an element on the shelf": Mistake(
        "stock",
        "part_number,store,on_hand,counted_at\nE-10,MAIN,2.5,2026-05-01\n",
        "stock.csv, row 2, on_hand: '2.5' is not a whole number",
        "2.5",
    ),
    "an order for two things in one line": Mistake(
        "supply",
        "order,line,part_number,fluid,quantity,expected_at\nPO-1,1,E-10,HM46,1,2026-07-01\n",
        "supply.csv, row 2, part_number, fluid: exactly one of part_number, fluid must be given; part_number and"
        " fluid are given",
        "E-10, HM46",
    ),
    "a price of half cents": Mistake(
        "parts",
        "part_number,kind,price,currency\nK-1,seal_kit,12.505,EUR\n",
        "parts.csv, row 2, price: '12.505' has more decimals than EUR has (2)",
        "12.505",
    ),
    "a stop that ends before it begins": Mistake(
        "stops",
        "plant,starts_at,ends_at\nNORTH,2026-07-10,2026-07-01\n",
        "stops.csv, row 2, ends_at: ends_at 2026-07-01 is not after starts_at 2026-07-10 (a bare date is 12:00 plant"
        " time)",
        "2026-07-01",
    ),
}


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    with standing_plant(tmp_path_factory.mktemp("standing")) as opened:
        yield opened


@pytest.mark.parametrize("kind", MISTAKES)
def test_a_mistake_is_told_to_the_letter_and_changes_nothing(kind: str, database: Database, tmp_path: Path) -> None:
    mistake = MISTAKES[kind]
    folder = write_folder(tmp_path / "broken", {mistake.table: mistake.text, **mistake.others})
    refused = refused_without_a_change(database, folder)
    assert [(str(refusal), refusal.value) for refusal in refused.refusals] == [(mistake.says, mistake.value)]
    assert str(refused) == f"{mistake.says}\n1 error; nothing was changed"
