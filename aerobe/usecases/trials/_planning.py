"""Plan a trial, draw its run sheet, start the brews that the sheet names."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from aerobe.errors import NotFound, UnusableRecord
from aerobe.notebook import Notebook, Receipt
from aerobe.records import Arm, Brew, Trial
from aerobe.trials import Circumstances, Plan, Scatter, Starts, draw_run_sheet, plan_trial, power_of
from aerobe.units import number, percent
from aerobe.usecases.trials._lots import new_seed
from aerobe.usecases.trials._view import trial_view
from aerobe.usecases.trials._wish import TrialWish
from aerobe.verdicts import is_surface

USUAL_SEED = 1  # of the simulations of a plan: the same question, the same answer


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedTrial:
    """A plan with everything that was asked for, not yet written down."""

    wish: TrialWish
    trial: Trial
    plan: Plan
    beside: str = ""  # what the person's own brews alone would say; empty where they are not asked, or too few


def plan_for(notebook: Notebook, wish: TrialWish, *, now: datetime) -> PlannedTrial:
    """What can be answered with this budget. Nothing is written.

    Raises
    ------
    AerobeError
        If the wish cannot be understood; the message says which field.
    """
    trial = wish.to_trial(notebook, planned_at=now)
    given = wish.to_circumstances(notebook)
    plan = plan_trial(
        trial,
        wish.to_scatter(notebook, now=now),
        wish.to_budget(),
        given=given,
        colour_sensitive=wish.reads_colour(notebook),
        seed=USUAL_SEED if (seed := wish.seed_number()) is None else seed,
    )
    own = wish.own_scatter(notebook, now=now)
    return PlannedTrial(wish=wish, trial=trial, plan=plan, beside=_by_own_alone(plan, own, given) if own else "")


def _by_own_alone(plan: Plan, own: Scatter, given: Circumstances) -> str:
    """The plain answer beside the one with the prior: the same design by the scatter of the person's own brews alone."""
    design = plan.recommended
    if design is None:
        return ""
    power = power_of(plan.trial, design.plots, own, design.tests_per_brew, given=given, simulations=2000)
    return (
        f"By your own brews alone (scatter {number(own.brew_log_sd, 2)} on the log scale, {own.df:.0f} degrees of freedom) it "
        f"would be told {percent(power.assurance)} of the time."
    )


def start_trial(notebook: Notebook, wish: TrialWish, *, now: datetime, who: str = "") -> str:
    """Write the trial down with its run sheet, drawn with the seed of the wish, else with one by chance. Gives the trial's key.

    Raises
    ------
    UnusableRecord
        If the budget does not reach two brews of each arm.
    """
    planned = plan_for(notebook, wish, now=now)
    design = planned.plan.recommended
    if design is None:
        raise UnusableRecord(planned.plan.words, "Raise the budget or the days, or drop an arm.")
    rounds = "randomised blocks" if design.rounds > 1 else "completely randomised"
    trial = replace(planned.trial, design=f"central composite, {rounds}" if is_surface(planned.trial.arms) else rounds)
    sheet = draw_run_sheet(
        trial,
        design.plots,
        controls=design.controls,
        sample_times_h=wish.sampling_hours(),
        tests_per_brew=design.tests_per_brew,
        seed=new_seed() if (seed := wish.seed_number()) is None else seed,
        starts=Starts(first=wish.first_start(now), days_per_round=wish.to_budget().days_per_round),
        vessels=wish.vessel_keys(notebook),
    )
    with notebook.writing() as pen:
        receipt = pen.add(trial, at=now, who=who, token=wish.token)
        if receipt.was_new:  # a form sent again has its trial and sheet already, under the first key
            pen.add(sheet, at=now, who=who)
    return receipt.key


def start_planned_brew(
    notebook: Notebook,
    trial: str,
    code: str,
    *,
    now: datetime,
    started_at: datetime | None = None,
    who: str = "",
    token: str = "",
) -> Receipt:
    """The air is on in a planned brew: its recipe, vessel and block come from the run sheet.

    Raises
    ------
    NotFound
        If the run sheet has no such code.
    UnusableRecord
        If the arm has no recipe to brew.
    """
    view = trial_view(notebook, trial)
    planned = next((item for item in (view.sheet.brews if view.sheet else ()) if item.blind_code == code), None)
    if planned is None:
        raise NotFound(f"The run sheet of {trial} has no code '{code}'.", "Read the code from the sheet; capital letters count.")
    recipe = _arm(view.trial, planned.arm).recipe
    if not recipe:
        raise UnusableRecord(f"Arm {planned.arm} is not brewed.", "Enter its result as a pot or bed instead.")
    brew = Brew(
        key=planned.brew,
        name=f"{view.trial.name}, {code}",
        recipe=recipe,
        vessel=planned.vessel,
        started_at=started_at or now,
        trial=trial,
        arm=planned.arm,
        block=planned.block,
        blind_code=code,
        # What the sheet asks of this brew. It is kept for the sheet's hours: the call spends none of it.
        tests_in_budget=sum(sample.tests + len(sample.controls) for sample in planned.samples),
    )
    return notebook.add(brew, at=now, who=who, token=token)


def _arm(trial: Trial, key: str) -> Arm:
    return next(arm for arm in trial.arms if arm.key == key)
