"""SAE AS4059 and NAS 1638: both tables in full, the worked examples, and what has no class."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.cleanliness_code import SIZES_um_c
from scheduler.engineering.contamination_classes import (
    ABOVE_12,
    AS4059_CLASSES,
    NAS1638_CLASSES,
    AS4059_SIZES_um_c,
    AS4059_UP_TO_per_100mL,
    NAS1638_UP_TO_per_100mL,
    as4059_class,
    as4059_classes_of_counts,
    nas1638_class,
)

SAE_AS4059 = {
    "000": (195, 76, 14, 3, 1, 0),
    "00": (390, 152, 27, 5, 1, 0),
    "0": (780, 304, 54, 10, 2, 0),
    "1": (1560, 609, 109, 20, 4, 1),
    "2": (3120, 1220, 217, 39, 7, 1),
    "3": (6250, 2430, 432, 76, 13, 2),
    "4": (12500, 4860, 864, 152, 26, 4),
    "5": (25000, 9730, 1730, 306, 53, 8),
    "6": (50000, 19500, 3460, 612, 106, 16),
    "7": (100000, 38900, 6920, 1220, 212, 32),
    "8": (200000, 77900, 13900, 2450, 424, 64),
    "9": (400000, 156000, 27700, 4900, 848, 128),
    "10": (800000, 311000, 55400, 9800, 1700, 256),
    "11": (1600000, 623000, 111000, 19600, 3390, 512),
    "12": (3200000, 1250000, 222000, 39200, 6780, 1020),
}
"""SAE AS4059, cumulative counts per 100 mL, printed by class: >4, >6, >14, >21, >38, >70 µm(c)."""

NAS_1638 = {
    "00": (125, 22, 4, 1, 0),
    "0": (250, 44, 8, 2, 0),
    "1": (500, 89, 16, 3, 1),
    "2": (1000, 178, 32, 6, 1),
    "3": (2000, 356, 63, 11, 2),
    "4": (4000, 712, 126, 22, 4),
    "5": (8000, 1425, 253, 45, 8),
    "6": (16000, 2850, 506, 90, 16),
    "7": (32000, 5700, 1012, 180, 32),
    "8": (64000, 11400, 2025, 360, 64),
    "9": (128000, 22800, 4050, 720, 128),
    "10": (256000, 45600, 8100, 1440, 256),
    "11": (512000, 91200, 16200, 2880, 512),
    "12": (1024000, 182400, 32400, 5760, 1024),
}
"""NAS 1638, counts per 100 mL within 5-15, 15-25, 25-50, 50-100 and over 100 µm, printed by class."""

ORDER = (*AS4059_CLASSES, ABOVE_12)


@pytest.mark.parametrize(("name", "row"), list(SAE_AS4059.items()))
def test_each_as4059_class_ends_where_the_standard_prints(name: str, row: tuple[int, ...]) -> None:
    assert tuple(AS4059_UP_TO_per_100mL[size][AS4059_CLASSES.index(name)] for size in "ABCDEF") == row
    for size, up_to in zip("ABCDEF", row, strict=True):
        # small counts repeat down the column: the cleanest class with the printed count is the class of it
        first = next(each for each, counts in SAE_AS4059.items() if counts["ABCDEF".index(size)] == up_to)
        assert as4059_class(size, up_to) == first + size
        assert ORDER.index(as4059_class(size, up_to + 1).removesuffix(size)) > AS4059_CLASSES.index(name)


@pytest.mark.parametrize(("name", "row"), list(NAS_1638.items()))
def test_each_nas1638_class_ends_where_the_standard_prints(name: str, row: tuple[int, ...]) -> None:
    place = NAS1638_CLASSES.index(name)
    assert tuple(column[place] for column in NAS1638_UP_TO_per_100mL) == row
    assert nas1638_class(row) == name
    for one in range(5):
        more = [count + (1 if place_of == one else 0) for place_of, count in enumerate(row)]
        assert ORDER.index(nas1638_class(more)) > ORDER.index(name)


def test_both_tables_are_whole() -> None:
    assert tuple(SAE_AS4059) == AS4059_CLASSES
    assert tuple(NAS_1638) == NAS1638_CLASSES
    assert {len(column) for column in AS4059_UP_TO_per_100mL.values()} == {15}
    assert {len(column) for column in NAS1638_UP_TO_per_100mL} == {14}


@pytest.mark.parametrize("column", [*AS4059_UP_TO_per_100mL.values(), *NAS1638_UP_TO_per_100mL])
def test_a_class_is_about_twice_the_one_before(column: tuple[int, ...]) -> None:
    """Both standards double from class to class; a misprint of a digit would break it (rounding to 3 figures)."""
    large = [count for count in column if count >= 50]
    assert all(upper / lower == pytest.approx(2.0, rel=0.02) for lower, upper in pairwise(large))


@pytest.mark.parametrize(("count", "expected"), [(9730, "5B"), (9731, "6B"), (19500, "6B"), (19501, "7B")])
def test_class_6b_reaches_from_9731_to_19500(count: int, expected: str) -> None:
    # SAE AS4059 table, worked range of class 6B
    assert as4059_class("B", count) == expected


def test_the_worst_range_gives_the_nas1638_class() -> None:
    # NAS 1638, limits of class 5 in every range; the worst range: usual practice, not a rule of the standard
    assert nas1638_class([8000, 1425, 253, 45, 8]) == "5"
    assert nas1638_class([100, 10, 1, 0, 9]) == "6"


def test_the_first_three_sizes_are_those_of_iso_4406() -> None:
    assert tuple(AS4059_SIZES_um_c.values())[:3] == SIZES_um_c


def test_the_counts_behind_an_iso_code_have_a_class_for_each_size() -> None:
    # 19500 per 100 mL is the end of 6B, 195 per mL; 34.6 per mL the end of 6C (SAE AS4059)
    assert as4059_classes_of_counts(None, 195.0, 34.6) == ("6B", "6C")


def test_what_is_dirtier_than_the_last_class_is_said_to_be_so() -> None:
    assert as4059_class("A", 3_200_001) == ">12A"
    assert nas1638_class([0, 0, 0, 0, 1025]) == ">12"


@given(st.sampled_from("ABCDEF"), st.floats(0.0, 1e9), st.floats(0.0, 1e9))
def test_more_particles_never_have_a_better_class(size: str, one: float, other: float) -> None:
    fewer, more = (as4059_class(size, count).removesuffix(size) for count in sorted((one, other)))
    assert ORDER.index(fewer) <= ORDER.index(more)


@pytest.mark.parametrize("count", [-1.0, math.nan])
def test_a_missing_count_has_no_class(count: float) -> None:
    with pytest.raises(ValueError, match="negative or missing"):
        as4059_class("A", count)
    with pytest.raises(ValueError, match="negative or missing"):
        nas1638_class([10, 10, count, 1, 0])


def test_what_the_standards_do_not_know_is_refused() -> None:
    with pytest.raises(ValueError, match="'G' is not a size"):
        as4059_class("G", 10)
    with pytest.raises(ValueError, match="five ranges"):
        nas1638_class([8000, 1425, 253])
    with pytest.raises(ValueError, match="rise with size"):
        as4059_classes_of_counts(100.0, 200.0, None)
