"""Whether the filter media, and the metals and paint around them, stand a fluid.

Families are those of ISO 6743-4. The table is general practice of handbooks, from memory; the element maker's and the
fluid maker's sheets govern. Where it is silent the verdict is "unknown": nothing is guessed.
"""

import re
from dataclasses import dataclass
from enum import StrEnum

from scheduler.engineering.mixing import WATER_CONTAINING
from scheduler.engineering.oil import MINERAL_FAMILIES
from scheduler.vocabulary import FluidFamily


class Medium(StrEnum):
    """What an element is made of, as far as a fluid may attack it."""

    CELLULOSE = "cellulose"
    GLASS_FIBRE = "glass fibre"
    STAINLESS_STEEL = "stainless steel"
    ZINC = "zinc"
    CADMIUM = "cadmium"
    ALUMINIUM = "aluminium"
    COPPER_ALLOY = "brass or bronze"
    POLYESTER = "polyester"
    WATER_ABSORBER = "water absorber"
    PAINT = "paint"


class MediaFit(StrEnum):
    COMPATIBLE = "compatible"
    UNSUITABLE = "unsuitable"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class MediaVerdict:
    """Whether the media stand a fluid, and why, in a sentence."""

    fit: MediaFit
    says: str


_OK = (MediaFit.COMPATIBLE, "")

_IN_OIL: dict[Medium, tuple[MediaFit, str]] = dict.fromkeys(set(Medium) - {Medium.ZINC, Medium.CADMIUM}, _OK)

_IN_WATER: dict[Medium, tuple[MediaFit, str]] = {
    Medium.CELLULOSE: (MediaFit.UNSUITABLE, "paper swells in water and loses its strength"),
    Medium.WATER_ABSORBER: (MediaFit.UNSUITABLE, "it takes up the fluid's own water and swells shut"),
    Medium.GLASS_FIBRE: _OK,
    Medium.STAINLESS_STEEL: _OK,
}

_IN_GLYCOL: dict[Medium, tuple[MediaFit, str]] = {
    Medium.ZINC: (MediaFit.UNSUITABLE, "water glycol dissolves zinc, also of galvanised parts, and sludge forms"),
    Medium.CADMIUM: (MediaFit.UNSUITABLE, "water glycol dissolves cadmium, also as plating"),
    Medium.ALUMINIUM: (MediaFit.UNKNOWN, "water glycol attacks aluminium that is not anodised"),
}

_IN_PHOSPHATE_ESTER: dict[Medium, tuple[MediaFit, str]] = {
    Medium.PAINT: (MediaFit.UNSUITABLE, "phosphate ester strips most paints"),
    Medium.GLASS_FIBRE: (MediaFit.UNKNOWN, "the fibre stands it, but not every resin and glue that holds it"),
    Medium.CELLULOSE: (MediaFit.UNKNOWN, "not every resin and glue that holds the paper stands phosphate ester"),
    Medium.STAINLESS_STEEL: _OK,
}

_IN_ESTER: dict[Medium, tuple[MediaFit, str]] = {Medium.GLASS_FIBRE: _OK, Medium.STAINLESS_STEEL: _OK}

MEDIA_TABLE: dict[FluidFamily, dict[Medium, tuple[MediaFit, str]]] = {
    **dict.fromkeys(MINERAL_FAMILIES, _IN_OIL),
    **dict.fromkeys(WATER_CONTAINING, _IN_WATER),
    FluidFamily.HFC: _IN_WATER | _IN_GLYCOL,
    FluidFamily.HFDR: _IN_PHOSPHATE_ESTER,
    **dict.fromkeys((FluidFamily.HFDU, FluidFamily.HETG, FluidFamily.HEES, FluidFamily.HEPR), _IN_ESTER),
    FluidFamily.HEPG: {Medium.STAINLESS_STEEL: _OK},
}
"""General practice, from memory. A pair that is not here is unknown."""

_WORDS: dict[str, Medium] = {
    **dict.fromkeys(("cellulose", "paper"), Medium.CELLULOSE),
    **dict.fromkeys(("glass", "microglass", "fibreglass", "fiberglass"), Medium.GLASS_FIBRE),
    "stainless": Medium.STAINLESS_STEEL,
    **dict.fromkeys(("zinc", "galvanised", "galvanized"), Medium.ZINC),
    "cadmium": Medium.CADMIUM,
    **dict.fromkeys(("aluminium", "aluminum"), Medium.ALUMINIUM),
    **dict.fromkeys(("brass", "bronze", "copper"), Medium.COPPER_ALLOY),
    "polyester": Medium.POLYESTER,
    **dict.fromkeys(("water absorbing", "water-absorbing", "water absorber", "absorbent"), Medium.WATER_ABSORBER),
    **dict.fromkeys(("paint", "painted"), Medium.PAINT),
}
_WORD = re.compile("|".join(rf"\b{word}\b" for word in sorted(_WORDS, key=len, reverse=True)))


def media_of(media_text: str | None) -> tuple[Medium, ...]:
    """The materials named in a catalogue's free text, in order; empty where none is recognised.

    >>> [str(medium) for medium in media_of("Glass microfibre on galvanised mesh")]
    ['glass fibre', 'zinc']
    """
    return tuple(dict.fromkeys(_WORDS[word] for word in _WORD.findall((media_text or "").lower())))


def media_verdict(family: FluidFamily | None, media_text: str | None) -> MediaVerdict:
    """Whether the media named in the text stand the fluid family: the worst of the materials decides.

    >>> media_verdict(FluidFamily.HFC, "paper").fit
    <MediaFit.UNSUITABLE: 'unsuitable'>
    """
    if family is None:
        return MediaVerdict(
            MediaFit.UNKNOWN, "The fluid's family is not recorded; ask for the element maker's sheet."
        )
    media = media_of(media_text)
    if not media:
        named = f"'{media_text}' names no known material" if media_text else "the element's media are not recorded"
        return MediaVerdict(MediaFit.UNKNOWN, f"For {family} fluid: {named}; ask for the element maker's sheet.")
    return max((_verdict_of(family, medium) for medium in media), key=lambda verdict: _GRAVITY[verdict.fit])


_GRAVITY = {MediaFit.COMPATIBLE: 0, MediaFit.UNKNOWN: 1, MediaFit.UNSUITABLE: 2}


def _verdict_of(family: FluidFamily, medium: Medium) -> MediaVerdict:
    fit, why = MEDIA_TABLE.get(family, {}).get(medium, (MediaFit.UNKNOWN, "no general practice known"))
    if fit is MediaFit.COMPATIBLE:
        return MediaVerdict(fit, f"{medium} suits {family} fluid by general practice; the makers' sheets govern.")
    if fit is MediaFit.UNSUITABLE:
        return MediaVerdict(fit, f"{medium} does not suit {family} fluid by general practice: {why}; do not fit.")
    return MediaVerdict(fit, f"{medium} in {family} fluid: {why}; the makers' sheets govern.")
