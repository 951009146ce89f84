"""Controls that a question needs, added without being asked for."""

from __future__ import annotations

from dataclasses import dataclass, replace

from aerobe.records import Arm, Trial


@dataclass(frozen=True, slots=True, kw_only=True)
class Controls:
    """What runs beside the samples, and why."""

    roles: tuple[str, ...]  # extra readings at each sampling of each brew
    round_roles: tuple[str, ...]  # extra readings once a round
    tests_per_brew: int  # extra tests of each brew
    tests_per_round: int  # extra tests of each round
    reasons: tuple[str, ...]


def controls_for(trial: Trial, *, colour_sensitive: bool) -> Controls:
    """The readings to run beside the samples.

    Parameters
    ----------
    trial
        Question and arms. [-]
    colour_sensitive
        Whether the method reads colour. [-]

    Returns
    -------
    Controls
        Roles, extra tests and reasons. [-]

    Source
    ------
    hurlbert-1984
    """
    if trial.question == "field response":
        return Controls(
            roles=(),
            round_roles=(),
            tests_per_brew=0,
            tests_per_round=0,
            reasons=("Water alone shows what the watering does; compost solids show what the compost does without brewing.",),
        )
    if not colour_sensitive:
        return Controls(
            roles=(),
            round_roles=("blank",),
            tests_per_brew=0,
            tests_per_round=1,
            reasons=("A water blank each round shows contamination of water and glassware.",),
        )
    return Controls(
        roles=("killed control",),
        round_roles=("blank",),
        tests_per_brew=1,
        tests_per_round=1,
        reasons=(
            "A killed control of each brew shows how much of the signal is colour.",
            "A water blank each round shows contamination of water and glassware.",
        ),
    )


def with_controls(trial: Trial) -> Trial:
    """The trial with the arms it needs to mean something.

    Recipes with foods get a brew without food, a dose series a dose of nothing, a field response water and compost solids.
    A trial that has such an arm (by key, recipe or dose) stays as it is.
    """
    keys = {arm.key for arm in trial.arms}
    added: list[Arm] = []
    if trial.question == "field response":
        standard = not any(arm.is_standard for arm in trial.arms)
        if "water" not in keys:
            added.append(Arm(key="water", is_standard=standard))
        if "compost-solids" not in keys:
            added.append(Arm(key="compost-solids"))
    elif trial.question == "dose series":
        if not any(arm.dose == 0.0 for arm in trial.arms):
            added.append(Arm(key="no-food", recipe="no-food", dose=0.0, is_standard=not any(a.is_standard for a in trial.arms)))
    elif trial.question == "several against a standard" and "no-food" not in keys:
        added.append(Arm(key="no-food", recipe="no-food"))
    return replace(trial, arms=(*trial.arms, *added)) if added else trial
