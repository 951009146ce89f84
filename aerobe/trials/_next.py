"""The next trial, from what the last one showed."""

from __future__ import annotations

from dataclasses import dataclass, replace

from aerobe.records import Arm, Trial
from aerobe.verdicts import Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class NextTrial:
    """A proposal; nothing obliges to it."""

    trial: Trial | None  # None: the question is settled
    brews_per_arm: int | None  # to tell a difference of the margin, in all; None: not known
    because: tuple[str, ...]


def propose_next(trial: Trial, verdict: Verdict, *, key: str) -> NextTrial:
    """What to run next.

    Rival explanations come first, then arms that cannot be the best are dropped, then a dose series closes in on its best dose.

    Parameters
    ----------
    trial
        The trial that was judged. [-]
    verdict
        What it showed. [-]
    key
        Key of the new trial. [-]

    Returns
    -------
    NextTrial
        A trial, or none where the question is settled. [-]
    """
    because: list[str] = []
    arms = trial.arms
    if any(rival.blocks_claim for rival in verdict.rivals):
        because.append("Repeat the same arms with a killed control of each brew: colour may explain what was seen.")
        return NextTrial(trial=replace(trial, key=key, arms=arms), brews_per_arm=_brews(verdict), because=tuple(because))
    if verdict.dose is not None:
        closer = _closer_doses(trial, verdict, because)
        return NextTrial(
            trial=None if closer is None else replace(trial, key=key, arms=closer),
            brews_per_arm=_brews(verdict),
            because=tuple(because),
        )
    if verdict.ranking:
        arms = _contenders(trial, verdict, because)
    still_open = [c for c in verdict.comparisons if c.call == "can't tell yet"]
    if not still_open:
        because.append("Every planned comparison is told. Ask the next question: another food, another time, or the field.")
        return NextTrial(trial=None, brews_per_arm=None, because=tuple(because))
    if len(arms) < 2:
        arms = trial.arms
    because.append(verdict.settle.words if verdict.settle else "More brews of each arm will narrow the intervals.")
    question = "two recipes" if len(arms) == 2 and trial.question == "several against a standard" else trial.question
    return NextTrial(
        trial=replace(trial, key=key, arms=arms, question=question), brews_per_arm=_brews(verdict), because=tuple(because)
    )


def _brews(verdict: Verdict) -> int | None:
    return verdict.settle.brews_per_arm if verdict.settle else None


def _contenders(trial: Trial, verdict: Verdict, because: list[str]) -> tuple[Arm, ...]:
    """Arms that may still be the best; the standard stays, since all are measured against it."""
    out = {place.arm for place in verdict.ranking if place.best_place > 1 and place.probability_best < 0.02}
    out -= {arm.key for arm in trial.arms if arm.is_standard}
    if out:
        because.append(f"Drop {', '.join(sorted(out))}: clearly behind another arm.")
    return tuple(arm for arm in trial.arms if arm.key not in out)


def _closer_doses(trial: Trial, verdict: Verdict, because: list[str]) -> tuple[Arm, ...] | None:
    dose = verdict.dose
    assert dose is not None
    tested = sorted({arm.dose for arm in trial.arms if arm.dose is not None})
    if dose.kind == "still rising":
        because.append("The outcome still rises at the highest dose: go on upward, and watch the oxygen.")
        return _dose_arms([tested[0], tested[-1], 1.5 * tested[-1], 2.0 * tested[-1]])
    if dose.kind == "still falling":
        because.append("Less is better as far as tested: test below the lowest dose, or leave the food out.")
        low = tested[1] if tested[0] == 0.0 else tested[0]
        return _dose_arms([0.0, low / 4, low / 2, low])
    if dose.kind == "peak" and dose.best_low is not None and dose.best_high is not None:
        if dose.best_high <= 1.5 * max(dose.best_low, 1e-9):
            because.append("The best dose is known to within half of itself; closing in further is seldom worth the brews.")
            return None
        because.append("Close in on the best dose, with nothing as the standard.")
        best = dose.best or 0.0
        return _dose_arms([0.0, dose.best_low, best, dose.best_high])
    because.append("No shape stands out: repeat the series with more brews of fewer doses.")
    return _dose_arms([tested[0], tested[len(tested) // 2], tested[-1]])


def _dose_arms(doses: list[float]) -> tuple[Arm, ...]:
    distinct = sorted({float(f"{dose:.3g}") for dose in doses})
    return tuple(
        Arm(key=f"dose-{dose:g}", recipe=f"dose-{dose:g}", dose=dose, is_standard=i == 0) for i, dose in enumerate(distinct)
    )
