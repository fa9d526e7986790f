"""The measurement of tests/measure/import_million.py with 50,000 readings: what it shows must not be lost by the way.

The bounds are generous, since other work slows a machine; tests/measure/RESULTS.md has the real figures.
"""

import pytest

from tests.measure.import_million import Measured, measure

pytestmark = pytest.mark.one_database_is_enough

READINGS = 50_000
MOST_MB = 250.0  # a million readings may take 400 MB
LEAST_SHARE = 0.12  # the aim is 0.35


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    return measure(tmp_path_factory.mktemp("many"), READINGS, rounds=1)


def test_an_import_is_not_far_slower_than_the_bare_driver(measured: Measured) -> None:
    assert measured.first_import.rows == measured.driver.rows == READINGS
    assert measured.share_of_driver > LEAST_SHARE


def test_the_same_folder_again_and_every_export_have_all_readings(measured: Measured) -> None:
    assert measured.export_xlsx is not None
    told = (measured.same_again, measured.export_csv, measured.export_zip, measured.export_xlsx)
    assert [each.rows for each in told] == [READINGS] * 4


def test_memory_stays_small_whatever_is_done(measured: Measured) -> None:
    assert measured.export_xlsx is not None
    told = (
        measured.first_import,
        measured.same_again,
        measured.export_csv,
        measured.export_zip,
        measured.export_xlsx,
    )
    assert all(0.0 < each.peak_MB < MOST_MB for each in told)
