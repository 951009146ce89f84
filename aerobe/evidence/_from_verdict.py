"""From a trial's verdict to contrasts that can be pooled."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from typing import Any

from aerobe.evidence._effects import TrialContrast
from aerobe.verdicts import Verdict


def contrasts_of_verdict(
    verdict: Verdict,
    names: Mapping[str, str],
    *,
    site: str,
    data_hash: str,
    made: Mapping[str, Any],
) -> list[TrialContrast]:
    """Each comparison with the trial's standard as a contrast; outcomes compared by difference give none.

    Parameters
    ----------
    verdict
        Of one trial.
    names
        Recipe name of each arm: recipes of different notebooks are known to each other by name.
    site, data_hash
        Where it comes from, and a hash of the readings it rests on.
    made
        Fields of `Contrast` that tell how the trial was made.

    Returns
    -------
    list of Contrast
        Errors from the verdict's own intervals, so that a blocked or uncertain comparison stays so.
    """
    if verdict.outcome.scale != "ratio":
        return []
    counts = Counter(item.arm for item in verdict.results)
    asked = [item for item in verdict.comparisons if item.second]
    standard = next((item.second for item in asked if item.planned), asked[0].second if asked else "")
    found = []
    doubts = doubts_of_all(verdict)
    for item in verdict.comparisons:
        se = item.error
        if item.effect is None or se is None or not 0.0 < se < math.inf or item.held_by not in ("", "colour") or doubts:
            continue
        if item.first not in names or item.second not in names:  # factors and points of a surface are no recipes
            continue
        if item.second != standard or names[item.first] == names[item.second]:
            continue
        colour = [r.colour_checked or not r.colour_sensitive for r in verdict.results if r.arm in (item.first, item.second)]
        shared = min(0.999 * se**2, (verdict.brew_sd or 0.0) ** 2 / max(1, counts[item.second]))
        planned = made.get("planned") and item.planned
        found.append(
            TrialContrast(
                key=verdict.trial,
                recipe=names[item.first],
                against=names[item.second],
                effect=item.effect,
                variance=se**2,
                outcome=verdict.outcome.key,
                site=site,
                brews=counts[item.first],
                brews_against=counts[item.second],
                shared_variance=shared,
                df=item.df or float(verdict.df),
                low=item.family_low,
                high=item.family_high,
                data_hash=data_hash,
                results=_logs(verdict, item.first),
                results_against=_logs(verdict, item.second),
                killed_control=all(colour) and item.held_by != "colour",
                **{**made, "planned": planned},
            )
        )
    return found


def doubts_of_all(verdict: Verdict) -> list[str]:
    """What forbids any claim of a trial, in words, also where its comparisons showed nothing that had to be held back.

    Colour is told with each comparison, and a pool may show such a trial without resting a claim on it.
    """
    held = {item.held_by for item in verdict.comparisons}
    return [rival.words for rival in verdict.rivals if rival.blocks_claim and rival.name not in ({"colour"} | held - {"date"})]


def _logs(verdict: Verdict, arm: str) -> tuple[float, ...]:
    return tuple(round(math.log(item.value), 5) for item in verdict.results if item.arm == arm and item.value > 0.0)


def brew_lines(verdict: Verdict, names: Mapping[str, str], temperatures_degc: Mapping[str, float]) -> list[list[Any]]:
    """Recipe, log outcome, its variance from testing, and temperature of every brew, for a pool of many brews."""
    return [
        [names[item.arm], math.log(item.value), max(item.test_log_sd**2, 1e-4), temperatures_degc.get(item.brew, 20.0)]
        for item in verdict.results
        if item.value > 0.0
    ]
