"""What weakens a trial as evidence, said in words; and the same data entered twice, recognised."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from aerobe.evidence._effects import TrialContrast
from aerobe.units import ratio_of

Severity = Literal["leaves it out", "weakens", "note"]
IMPLAUSIBLE_LOG_RATIO = math.log(50.0)
# Two bottles filled from one water differ by 0.2 on the log scale (UCSB EEMB 144L 2021), a careful count repeats to 0.1: brews
# that agree to less than this were not measured as told (our choice, no source) [ln].
LEAST_BREW_SD = 0.05
BREWS_IF_UNTOLD = 12
INVENTED = "(invented)"  # in a name: what the demo and practice call theirs
MOST_BREWS = 60  # of one recipe in one trial; more were never seen from a yard, and a number can be written large (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """One weakness of one trial."""

    trial: str
    name: str
    severity: Severity
    words: str


def flags(contrast: TrialContrast) -> tuple[Flag, ...]:
    """Everything about a trial's making that a reader should know before trusting it.

    What is not known (None) is a note: silence is neither good nor bad work.
    """
    found: list[Flag] = []

    def say(name: str, severity: Severity, words: str) -> None:
        found.append(Flag(trial=contrast.key, name=name, severity=severity, words=words))

    fewest = min(contrast.brews, contrast.brews_against)
    if fewest == 0:
        say("brews not told", "weakens", "The number of brews is not told, so replicate tests may pose as replicate brews.")
    elif fewest == 1:
        say("one brew", "leaves it out", "One brew of a recipe: nothing can be said about the recipe, only about that brew.")
    elif fewest < 3:
        say("two brews", "weakens", "Two brews of a recipe: its spread is a guess.")
    if contrast.killed_control is False:
        say("colour", "weakens", "No killed or filtered control: a difference of colour can pose as a difference of biomass.")
    _yes_no(
        say,
        contrast.planned,
        "unplanned",
        "The comparison was not planned before the first brew.",
        "It is not told whether the comparison was planned.",
    )
    _yes_no(
        say,
        contrast.randomised,
        "not randomised",
        "Vessels and days were not drawn by lot.",
        "It is not told whether vessels and days were drawn by lot.",
    )
    _yes_no(
        say,
        contrast.blinded,
        "not blinded",
        "Whoever read the test knew the recipe.",
        "It is not told whether the reader knew the recipe.",
    )
    _yes_no(
        say,
        contrast.assay_characterised,
        "assay unknown",
        "The error of the assay was assumed, not measured.",
        "It is not told whether the assay's error was measured.",
    )
    if is_too_precise(contrast):
        say(
            "too precise",
            "weakens",
            f"By its error brews of one recipe differ by {100.0 * _brew_sd(contrast):.2g} %: no test of tea repeats so well.",
        )
    if abs(contrast.effect) > IMPLAUSIBLE_LOG_RATIO:
        say(
            "implausible",
            "leaves it out",
            f"A ratio of {ratio_of(contrast.effect):.3g} is more than any recipe is known to do: check units. It is left out.",
        )
    return tuple(found)


def is_made_up(contrast: TrialContrast) -> bool:
    """Whether it is practice: marked so, or of recipes that are named so."""
    return contrast.invented or any(INVENTED in name.casefold() for name in (contrast.recipe, contrast.against))


def made_up_among_real(contrasts: Sequence[TrialContrast]) -> tuple[Flag, ...]:
    """A flag for each trial of practice, where there are real ones beside it."""
    practice = [item for item in contrasts if is_made_up(item)]
    words = "Its data are made up, for practice; they are not pooled with real ones."
    mixed = len(practice) < len(contrasts)
    return tuple(Flag(trial=item.key, name="made up", severity="leaves it out", words=words) for item in practice if mixed)


def is_too_precise(contrast: TrialContrast) -> bool:
    """Whether the error told is smaller than that of brews that differ as little as brews can."""
    return _brew_sd(contrast) < LEAST_BREW_SD


def _brew_sd(contrast: TrialContrast) -> float:
    """How much brews of one recipe differ if the error is true. [ln]"""
    counts = (min(count or BREWS_IF_UNTOLD, MOST_BREWS) for count in (contrast.brews, contrast.brews_against))
    return math.sqrt(contrast.variance / sum(1.0 / count for count in counts))


def carries_a_headline(contrast: TrialContrast) -> bool:
    """Whether a claim may rest on this trial: two of its three guards against wishful reading must be known to stand.

    The guards: the comparison was planned before the first brew; whoever read the test did not know the recipe; colour
    cannot pose as biomass. What is not told counts as not done here: silence must not be worth more than an honest no. A trial
    that is more precise than any can be carries nothing.
    """
    return not is_too_precise(contrast) and [contrast.planned, contrast.blinded, contrast.killed_control].count(True) >= 2


def _yes_no(say: object, value: bool | None, name: str, no: str, silent: str) -> None:
    if value is False:
        say(name, "weakens", no)  # type: ignore[operator]
    elif value is None:
        say(name, "note", silent)  # type: ignore[operator]


@dataclass(frozen=True, slots=True, kw_only=True)
class Duplicate:
    """Two entries of what looks like one piece of evidence."""

    kept: str
    other: str
    certain: bool  # the same readings by content hash; otherwise only the same numbers to six digits
    words: str


def without_duplicates(contrasts: Sequence[TrialContrast]) -> tuple[tuple[TrialContrast, ...], tuple[Duplicate, ...]]:
    """Contrasts with certain doubles taken out, and all doubles found, certain or suspected.

    The first of a group stays. The same readings under another name, site or recipe spelling are recognised by the hash
    of their data; an entry without a hash is only ever suspected.
    """
    kept: list[TrialContrast] = []
    doubles: list[Duplicate] = []
    by_hash: dict[tuple[str, str, str], TrialContrast] = {}
    by_numbers: dict[tuple[str, str], list[TrialContrast]] = defaultdict(list)
    for item in contrasts:
        twin = by_hash.get(_identity(item)) if item.data_hash else None
        if twin is not None:
            doubles.append(
                Duplicate(
                    kept=named(twin),
                    other=named(item),
                    certain=True,
                    words=f"{named(item)} rests on the same readings as {named(twin)} and is left out.",
                )
            )
            continue
        if item.data_hash:
            by_hash[_identity(item)] = item
        numbers = (f"{abs(item.effect):.6g}", f"{item.variance:.6g}")
        for other in by_numbers[numbers]:
            doubles.append(
                Duplicate(
                    kept=named(other),
                    other=named(item),
                    certain=False,
                    words=f"{named(item)} has the very numbers of {named(other)}: ask whether they are one trial.",
                )
            )
        by_numbers[numbers].append(item)
        kept.append(item)
    return tuple(kept), tuple(doubles)


def _identity(item: TrialContrast) -> tuple[str, str, str]:
    """The data, the outcome and which of its contrasts; spelling of recipes does not matter, so the numbers stand for them."""
    return item.data_hash, item.outcome, f"{abs(item.effect):.9g}"


def named(item: TrialContrast) -> str:
    """A trial with its place, as a person knows it."""
    return f"{item.key} ({item.site})" if item.site else item.key
