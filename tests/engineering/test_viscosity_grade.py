"""ISO viscosity grades: the whole table of ISO 3448."""

import pytest

from scheduler.engineering.viscosity_grade import MIDPOINT_40_MM2_S, limits_40_mm2_s, midpoint_40_mm2_s

ISO_3448 = """
2 2.2 1.98 2.42
3 3.2 2.88 3.52
5 4.6 4.14 5.06
7 6.8 6.12 7.48
10 10 9.0 11.0
15 15 13.5 16.5
22 22 19.8 24.2
32 32 28.8 35.2
46 46 41.4 50.6
68 68 61.2 74.8
100 100 90.0 110.0
150 150 135.0 165.0
220 220 198.0 242.0
320 320 288.0 352.0
460 460 414.0 506.0
680 680 612.0 748.0
1000 1000 900.0 1100.0
1500 1500 1350.0 1650.0
2200 2200 1980.0 2420.0
3200 3200 2880.0 3520.0
"""
"""ISO 3448, seen in a reproduction (VG 2200 and 3200 from memory): grade, midpoint, minimum, maximum, mm²/s."""

ROWS = [tuple(float(cell) for cell in line.split()) for line in ISO_3448.split("\n") if line]


@pytest.mark.parametrize(("grade", "midpoint", "lowest", "highest"), ROWS)
def test_a_grade_means_its_midpoint_within_ten_per_cent(
    grade: float, midpoint: float, lowest: float, highest: float
) -> None:
    assert midpoint_40_mm2_s(int(grade)) == midpoint
    assert limits_40_mm2_s(int(grade)) == pytest.approx((lowest, highest))


def test_the_table_has_every_grade_of_the_standard_and_no_other() -> None:
    assert list(MIDPOINT_40_MM2_S) == [row[0] for row in ROWS]


def test_a_grade_that_is_not_sold_is_refused_with_those_that_are() -> None:
    with pytest.raises(ValueError, match=r"no ISO viscosity grade VG 45; .* 32, 46, 68"):
        midpoint_40_mm2_s(45)
