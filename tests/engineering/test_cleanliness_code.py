"""ISO 4406 codes: the whole table, and codes as laboratories and plants write them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.cleanliness_code import (
    ABOVE_28,
    Code,
    ScaleNumber,
    UP_TO_AND_INCLUDING_PER_mL,
    count_limits_per_mL,
    numbers_above,
    scale_number,
    scale_numbers,
)

ISO_4406_PER_100_ML = [
    *[1, 2, 4, 8, 16, 32, 64, 130, 250, 500, 1_000, 2_000, 4_000, 8_000, 16_000, 32_000, 64_000, 130_000],
    *[250_000, 500_000, 1_000_000, 2_000_000, 4_000_000, 8_000_000, 16_000_000, 32_000_000, 64_000_000],
    *[130_000_000, 250_000_000],
]
"""ISO 4406:2021, table 1, per 100 mL: up to and including which count each number from 0 to 28 goes."""


@pytest.mark.parametrize(("number", "per_100_ml"), list(enumerate(ISO_4406_PER_100_ML)))
def test_each_scale_number_ends_where_the_standard_says(number: int, per_100_ml: int) -> None:
    upper_per_mL = per_100_ml / 100.0
    assert scale_number(upper_per_mL) == number
    assert scale_number(upper_per_mL * 1.0001) == number + 1
    assert count_limits_per_mL(number)[1] == pytest.approx(upper_per_mL, rel=1e-15)


def test_the_table_has_29_numbers_and_each_begins_where_the_one_before_ends() -> None:
    assert len(UP_TO_AND_INCLUDING_PER_mL) == len(ISO_4406_PER_100_ML) == 29
    lower_limits = [count_limits_per_mL(number)[0] for number in range(1, ABOVE_28 + 1)]
    assert lower_limits == list(UP_TO_AND_INCLUDING_PER_mL)
    assert count_limits_per_mL(0)[0] == 0.0
    assert count_limits_per_mL(ABOVE_28)[1] == float("inf")


def test_the_steps_are_the_printed_ones_and_not_powers_of_two() -> None:
    # ISO 4406:2021: 640 to 1300 is 17; a doubling formula would end 17 at 1280 and call 1290 an 18
    assert scale_number(1290.0) == 17


@pytest.mark.parametrize(
    ("per_mL", "expected"),
    [
        (50.0, 13),  # published article on ISO 4406
        (0.01, 0),
        (0.0100001, 1),
        (1.3, 7),
        (1.31, 8),
        (2500.0, 18),
        (2_500_001.0, ABOVE_28),  # ISO 4406:2021, limits of the table
    ],
)
def test_single_counts_have_the_numbers_of_the_worked_examples(per_mL: float, expected: int) -> None:
    assert scale_number(per_mL) == expected


@pytest.mark.parametrize(
    ("lowest", "highest", "expected"),
    [
        ((2500, 320, 40), (5000, 640, 80), "19/16/13"),  # The Handbook of Hydraulic Filtration
        ((5000, 640, 80), (10000, 1300, 160), "20/17/14"),  # published page on ISO 4406 classes, per 100 mL / 100
        ((20000, 1300, 40), (40000, 2500, 80), "22/18/13"),  # lubricant handbook reproducing ISO 4406:1999
    ],
)
def test_counts_within_the_printed_ranges_have_the_printed_code(
    lowest: tuple[float, ...], highest: tuple[float, ...], expected: str
) -> None:
    assert str(Code.of_counts(*highest)) == expected
    assert str(Code.of_counts(*(count + 1.0 for count in lowest))) == expected


@given(st.floats(0.0, 1e8), st.floats(0.0, 1e8))
def test_more_particles_never_have_a_lower_number(one: float, other: float) -> None:
    fewer, more = sorted((one, other))
    assert scale_number(fewer) <= scale_number(more)


@given(st.floats(1e-6, 1e8))
def test_a_count_lies_within_the_limits_of_its_number(per_mL: float) -> None:
    more_than, up_to_and_including = count_limits_per_mL(scale_number(per_mL))
    assert more_than < per_mL <= up_to_and_including


def test_whole_histories_are_coded_at_once() -> None:
    assert scale_numbers(np.array([[1300.0, 160.0], [0.0, 81.0]])).tolist() == [[17, 14], [0, 14]]


@pytest.mark.parametrize("per_mL", [-1.0, float("nan")])
def test_a_missing_count_is_not_a_clean_oil(per_mL: float) -> None:
    with pytest.raises(ValueError, match="negative or missing"):
        scale_number(per_mL)


@pytest.mark.parametrize("text", ["18/16/13", "0/0/0", "28/28/28", "-/16/13", "≥18/16/13", "18/16/≥13", ">28/25/20"])
def test_a_samples_code_is_written_as_it_was_read(text: str) -> None:
    assert str(Code.parse(text, sample=True)) == text


def test_typewriter_marks_and_blanks_are_understood() -> None:
    assert Code.parse(" >=18 / 16 / 13 ", sample=True) == Code.parse("≥18/16/13", sample=True)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("16/18/13", "rises from 16 to 18"),
        ("18/-/19", "rises from 18 to 19"),
        ("16/13", "three numbers"),
        ("18-16-13", "three numbers"),
        ("18/16/29", "above 28"),
        ("18/16/x", "not a scale number"),
        ("18/16/", "not a scale number"),
        ("18/16/1.3", "not a scale number"),
        (">25/16/13", "only >28 is open"),
        ("-/-/-", "at least one number"),
        ("", "three numbers"),
    ],
)
def test_a_code_that_cannot_be_is_refused_with_the_reason(text: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        Code.parse(text, sample=True)


@pytest.mark.parametrize(("text", "why"), [("-/16/13", "not a scale number"), ("≥18/16/13", "belong to samples")])
def test_a_target_is_three_plain_numbers(text: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        Code.parse(text)


def test_a_number_known_only_from_below_may_precede_a_higher_one() -> None:
    # "≥13" says 13 or more, so 14 after it does not contradict the counts
    assert Code.parse("18/≥13/14", sample=True).numbers[1] == ScaleNumber(13, at_least=True)


def test_where_fewer_than_20_particles_were_counted_the_number_is_a_lower_bound() -> None:
    """ISO 4406:2021: the scale number of a size with fewer than 20 raw counts is labelled "≥".

    The standard's example 14/12/≥7 (from memory): more than 80 up to 160, more than 20 up to 40, and more than 0.64
    per mL, which could in truth be more than the 1.3 at which 7 ends.
    """
    code = Code.parse("14/12/≥7", sample=True)
    assert [number.at_least for number in code.numbers if number] == [False, False, True]
    assert [count_limits_per_mL(number.value) for number in code.numbers if number] == [
        *((80.0, 160.0), (20.0, 40.0), (0.64, 1.3)),
    ]
    assert str(code) == "14/12/≥7"
    assert code != Code.parse("14/12/7", sample=True)


def test_a_number_beyond_the_scale_is_refused() -> None:
    with pytest.raises(ValueError, match="outside 0 to 28"):
        ScaleNumber(30)


def test_a_size_that_was_not_counted_stays_uncounted() -> None:
    assert str(Code.of_counts(None, 500.0, 61.0)) == "-/16/13"


@pytest.mark.parametrize(
    ("sample", "above"), [("18/16/13", 0), ("17/15/12", 0), ("20/17/13", 2), ("-/16/14", 1), ("17/15/15", 2)]
)
def test_a_miss_is_told_by_its_worst_size(sample: str, above: int) -> None:
    assert numbers_above(Code.parse(sample, sample=True), Code.parse("18/16/13")) == above


def test_a_sample_without_a_size_in_common_neither_meets_nor_misses_its_target() -> None:
    only_small = Code((ScaleNumber(18), None, None))
    only_large = Code((None, None, ScaleNumber(13)))
    assert numbers_above(only_small, only_large) is None
