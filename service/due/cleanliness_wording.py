"""What the oil samples say, in words: codes as the laboratory writes them, the limit, and how sure it is."""

from collections.abc import Callable

from service.due.contamination_wording import Dates, Facts, of_causes


def by_cleanliness(words: Dates, facts: Facts) -> str:
    """Why an element is due for the oil's sake."""
    found = facts["cleanliness"]
    [grip] = sorted(found["elements"], key=lambda each: -each["probability"])[:1]
    return (
        f"{_level(words, found)} and samples before and after this element hardly differ: β about {grip['beta']:.1f} "
        f"at {grip['size_um_c']} µm(c) in {grip['pairs']} pairs until {words.date(grip['last_day'])}, where "
        f"{grip['stated_beta']:g} is stated ({_percent(grip['probability'])} sure)."
    )


def missed(words: Dates, facts: Facts) -> str:
    """The target is missed by the last samples together."""
    ask = (
        "Take another sample"
        if facts.get("changed_since_day") or not facts.get("newest_above", True)
        else ("Look for the cause: an open bypass, dirt coming in, an element that holds back too little")
    )
    if any(each["probability"] > 0.8 for each in facts.get("elements", [])):
        ask = "The cause points to an element, which is due"
    causes = f" {of_causes(facts['causes'])}" if "causes" in facts else ""
    return f"{_level(words, facts)}. {ask}.{causes}"


def one_bad(words: Dates, facts: Facts) -> str:
    """One sample is dirtier than the target."""
    return (
        f"The sample of {words.date(facts['last_day'])}, {facts['codes'][-1]}, is dirtier than {_target(facts)}; one "
        "sample proves nothing. Take another, from a warm running system, with a clean bottle."
    )


def too_few(words: Dates, facts: Facts) -> str:
    """There is not enough to judge by."""
    since = f" since {words.date(facts['fresh_since_day'])}" if "fresh_since_day" in facts else ""
    return f"Too few samples{since} to judge the oil against {_target(facts)}: three are needed."


def _level(words: Dates, facts: Facts) -> str:
    codes = ", ".join(facts["codes"])
    return (
        f"The last {facts['used']} samples ({codes}, until {words.date(facts['last_day'])}) are dirtier than "
        f"{_target(facts)}: about {facts['level_per_mL']:,g} particles per mL from {facts['size_um_c']} µm(c), the "
        f"limit is {facts['limit_per_mL']:,g} ({_percent(facts['probability'])} sure)"
    )


def _target(facts: Facts) -> str:
    source = " (typical of published handbooks, the plant states none)" if facts["target_is_typical"] else ""
    return f"the target {facts['target']}{source}"


def _percent(share: float) -> str:
    return "more than 99 %" if share > 0.99 else f"{100.0 * share:.0f} %"


CLEANLINESS_DIAGNOSES: dict[str, Callable[[Dates, Facts], str]] = {
    "cleanliness-missed": missed,
    "cleanliness-one-bad-sample": one_bad,
    "cleanliness-too-few-samples": too_few,
}
