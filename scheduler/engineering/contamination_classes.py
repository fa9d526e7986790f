"""Contamination classes of SAE AS4059 and NAS 1638, to show beside an ISO 4406 code for those who speak them.

Source: SAE AS4059, cumulative counts per 100 mL of six sizes A to F in µm(c), ISO 11171 calibration; NAS 1638,
counts per 100 mL within five size ranges; both as reproduced in handbooks. A class reaches up to and including its
printed count. The limits class each size or range by itself; one class for a whole sample, the highest over the
ranges, is the usual practice and not a rule of the standard. Nothing is decided by these classes.
"""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from types import MappingProxyType

AS4059_SIZES_um_c: Mapping[str, int] = MappingProxyType({"A": 4, "B": 6, "C": 14, "D": 21, "E": 38, "F": 70})
"""SAE AS4059: the letters of the cumulative sizes. The first three are those of an ISO 4406 code."""

AS4059_CLASSES = ("000", "00", *(str(number) for number in range(13)))

AS4059_UP_TO_per_100mL: Mapping[str, tuple[int, ...]] = MappingProxyType(
    {
        "A": (
            *(195, 390, 780, 1_560, 3_120, 6_250, 12_500, 25_000, 50_000, 100_000, 200_000, 400_000, 800_000),
            *(1_600_000, 3_200_000),
        ),
        "B": (
            *(76, 152, 304, 609, 1_220, 2_430, 4_860, 9_730, 19_500, 38_900, 77_900, 156_000, 311_000),
            *(623_000, 1_250_000),
        ),
        "C": (
            *(14, 27, 54, 109, 217, 432, 864, 1_730, 3_460, 6_920, 13_900, 27_700, 55_400),
            *(111_000, 222_000),
        ),
        "D": (3, 5, 10, 20, 39, 76, 152, 306, 612, 1_220, 2_450, 4_900, 9_800, 19_600, 39_200),
        "E": (1, 1, 2, 4, 7, 13, 26, 53, 106, 212, 424, 848, 1_700, 3_390, 6_780),
        "F": (0, 0, 0, 1, 1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1_020),
    }
)
"""SAE AS4059, cumulative: the highest count per 100 mL of each class, 000 first."""

NAS1638_CLASSES = ("00", *(str(number) for number in range(13)))

NAS1638_RANGES_um = ("5-15", "15-25", "25-50", "50-100", ">100")
"""NAS 1638: size ranges, largest dimension of a particle (the sizes before ISO 11171)."""

NAS1638_UP_TO_per_100mL: tuple[tuple[int, ...], ...] = (
    (125, 250, 500, 1_000, 2_000, 4_000, 8_000, 16_000, 32_000, 64_000, 128_000, 256_000, 512_000, 1_024_000),
    (22, 44, 89, 178, 356, 712, 1_425, 2_850, 5_700, 11_400, 22_800, 45_600, 91_200, 182_400),
    (4, 8, 16, 32, 63, 126, 253, 506, 1_012, 2_025, 4_050, 8_100, 16_200, 32_400),
    (1, 2, 3, 6, 11, 22, 45, 90, 180, 360, 720, 1_440, 2_880, 5_760),
    (0, 0, 1, 1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1_024),
)
"""NAS 1638, within each range: the highest count per 100 mL of each class, 00 first."""

ABOVE_12 = ">12"
"""What is shown for a count beyond the last class; ours, the standards print no word for it."""


def as4059_class(size: str, count_per_100mL: float) -> str:
    """Class of a cumulative count at one size, with the size's letter. ValueError for an unknown size or no count.

    >>> as4059_class("B", 15_000)
    '6B'
    """
    if size not in AS4059_UP_TO_per_100mL:
        raise ValueError(f"'{size}' is not a size of SAE AS4059: A, B, C, D, E, F")
    return _class_of(count_per_100mL, AS4059_UP_TO_per_100mL[size], AS4059_CLASSES) + size


def as4059_classes_of_counts(
    count_4_per_mL: float | None, count_6_per_mL: float | None, count_14_per_mL: float | None
) -> tuple[str, ...]:
    """Classes A, B and C of the counts behind an ISO 4406 code, those that were counted.

    ValueError where the counts rise with size: each includes all larger particles.

    >>> as4059_classes_of_counts(4200.0, 500.0, 61.0)
    ('10A', '8B', '7C')
    """
    counted = [
        (size, count)
        for size, count in zip("ABC", (count_4_per_mL, count_6_per_mL, count_14_per_mL), strict=True)
        if count is not None
    ]
    counts = [count for _, count in counted]
    if counts != sorted(counts, reverse=True):
        raise ValueError(f"cumulative counts {counts} per mL rise with size; each includes all larger particles")
    return tuple(as4059_class(size, 100.0 * count) for size, count in counted)


def nas1638_class(count_per_100mL: Sequence[float]) -> str:
    """Highest class over the five ranges, the usual practice and not a rule of the standard.

    The five counts are each within its range, not cumulative. An ISO 4406 code does not hold them, so no NAS 1638
    class can be made of one. ValueError for another number of counts, a missing or a negative one.

    >>> nas1638_class([8000, 1425, 253, 45, 8])
    '5'
    """
    if len(count_per_100mL) != len(NAS1638_RANGES_um):
        raise ValueError(f"{len(count_per_100mL)} counts; NAS 1638 has five ranges {', '.join(NAS1638_RANGES_um)} µm")
    classes = (*NAS1638_CLASSES, ABOVE_12)
    each = [
        _class_of(count, up_to, NAS1638_CLASSES)
        for count, up_to in zip(count_per_100mL, NAS1638_UP_TO_per_100mL, strict=True)
    ]
    return max(each, key=classes.index)


def _class_of(count_per_100mL: float, up_to_per_100mL: tuple[int, ...], classes: tuple[str, ...]) -> str:
    if not count_per_100mL >= 0.0:
        raise ValueError(f"a count of {count_per_100mL} per 100 mL is negative or missing; it has no class")
    row = bisect_left(up_to_per_100mL, count_per_100mL)
    return classes[row] if row < len(classes) else ABOVE_12
