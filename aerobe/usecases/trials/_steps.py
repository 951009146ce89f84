"""The run sheet as it stands: what each brew of a trial still waits for, and what to do next."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from aerobe.errors import NotFound
from aerobe.notebook import Notebook
from aerobe.records import Brew, Harvest, Recipe, RunSheet, Vessel
from aerobe.trials import LARGEST_ASKED, arm_in_words
from aerobe.usecases.brews._reminders import Reminder
from aerobe.usecases.notebook._moments import spoken
from aerobe.usecases.trials._planning import PlannedTrial
from aerobe.usecases.trials._sheet import SheetStep, planned_of, steps_of
from aerobe.usecases.trials._view import trial_view

SOON = timedelta(minutes=15)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialLine:
    """One brew of a trial: where it stands and what it waits for."""

    code: str
    brew: str
    vessel_name: str
    state: str  # "waiting", "under air" or "harvested"
    starts_at: datetime | None
    steps: tuple[SheetStep, ...]

    @property
    def open_steps(self) -> tuple[SheetStep, ...]:
        """Tests not yet made."""
        return tuple(step for step in self.steps if not step.done)

    def progress(self, now: datetime) -> str:
        """How far it is: `2 of 4 tests made, next killed control at 24 h (08:15 tomorrow)`."""
        made = f"{len(self.steps) - len(self.open_steps)} of {len(self.steps)} tests made"
        if not self.open_steps:
            return made
        first = self.open_steps[0]
        roles = dict.fromkeys(step.role for step in self.open_steps if step.elapsed_h == first.elapsed_h)
        when = f" ({spoken(first.at, now)})" if first.at else ""
        return f"{made}, next {', '.join(roles)} at {first.elapsed_h:g} h{when}"


def sheet_of_brew(notebook: Notebook, brew: Brew) -> RunSheet | None:
    """The run sheet of the brew's trial, where there is one."""
    try:
        return notebook.get(RunSheet, brew.trial) if brew.trial else None
    except NotFound:
        return None


def steps_of_brew(notebook: Notebook, brew: Brew) -> tuple[SheetStep, ...]:
    """What the run sheet asks of a brew; nothing where it belongs to no trial with a sheet."""
    planned = planned_of(sheet_of_brew(notebook, brew), brew.key)
    return steps_of(planned, notebook.readings(brew.key), brew.started_at) if planned else ()


def trial_lines(notebook: Notebook, key: str) -> tuple[TrialLine, ...]:
    """Every brew on the run sheet, in the order of starting."""
    view = trial_view(notebook, key)
    begun = {brew.key: brew for brew in view.brews}
    names = {vessel.key: vessel.name for vessel in notebook.find(Vessel)}
    over = {harvest.brew for harvest in notebook.find(Harvest)}
    lines = []
    for planned in view.sheet.brews if view.sheet else ():
        brew = begun.get(planned.brew)
        starts_at = brew.started_at if brew else planned.starts_at
        lines.append(
            TrialLine(
                code=planned.blind_code,
                brew=planned.brew,
                vessel_name=names.get(planned.vessel, planned.vessel),
                state="harvested" if planned.brew in over else "under air" if brew else "waiting",
                starts_at=starts_at,
                steps=steps_of(planned, notebook.readings(planned.brew) if starts_at else (), starts_at),
            )
        )
    return tuple(lines)


def trial_says(lines: Sequence[TrialLine], *, now: datetime) -> str:
    """What to do next with a trial, in one or two sentences."""
    under_air = [line for line in lines if line.state == "under air"]
    waiting = [line for line in lines if line.state == "waiting"]
    due = [line for line in under_air if any(step.at and step.at <= now + SOON for step in line.open_steps)]
    if due:
        return "Test now: " + "; ".join(f"{line.code}, {_roles(line, now + SOON)}" for line in due) + "."
    said = []
    if waiting:
        first = min(waiting, key=lambda line: line.starts_at or now)
        when = f" at {spoken(first.starts_at, now)}" if first.starts_at and first.starts_at > now else ""
        said.append(f"Next to begin: {first.code} in {first.vessel_name}{when}. Fill it, turn the air on, then press its button.")
    coming = [(step.at, line) for line in under_air for step in line.open_steps if step.at]
    if coming:
        at, line = min(coming, key=lambda pair: pair[0])
        said.append(f"Next test: {line.code} at {spoken(at, now)}, {_roles(line, at)}.")
    if said or not lines:
        return " ".join(said)
    if under_air:
        return "Every planned test is in. Follow each brew's call to its harvest."
    missing = [line.code for line in lines if line.open_steps]
    gap = f" Without all planned tests: {', '.join(missing)}." if missing else ""
    return f"Every brew is harvested. Judge now, then take the report along.{gap}"


def sheet_reminders(notebook: Notebook, brew: Brew) -> tuple[Reminder, ...]:
    """The tests of the run sheet that a brew still waits for, one reminder an hour of sampling."""
    steps = [step for step in steps_of_brew(notebook, brew) if not step.done and step.at]
    found = []
    for hour in sorted({step.elapsed_h for step in steps}):
        same = [step for step in steps if step.elapsed_h == hour]
        at = same[0].at
        assert at is not None
        says = f"Run sheet, {hour:g} h: {steps_in_words(same)}."
        found.append(Reminder(brew=brew.key, brew_name=brew.name, what=f"run sheet {hour:g} h", says=says, at=at))
    return tuple(found)


def not_written_in(notebook: Notebook, planned: PlannedTrial) -> tuple[str, ...]:
    """Sentences on what the notebook lacks before the planned brews can begin."""
    known = {recipe.key for recipe in notebook.find(Recipe)}
    bare = [
        arm_in_words(arm) if arm.levels else arm.recipe for arm in planned.trial.arms if arm.recipe and arm.recipe not in known
    ]
    said = [f"Not yet written in: recipe {', '.join(dict.fromkeys(bare))}."] if bare else []
    if not planned.wish.vessel_keys(notebook):
        said.append(f"The notebook holds {len(notebook.find(Vessel))} vessels, fewer than stand side by side in this plan.")
    return tuple(said)


def smaller_margin(planned: PlannedTrial) -> str:
    """The ratio that this budget can tell, rounded up to ask for it; empty where that is no sensible question."""
    design = planned.plan.recommended
    if planned.plan.can_answer or design is None or not design.power.detectable_ratio <= LARGEST_ASKED:
        return ""
    return f"{math.ceil(design.power.detectable_ratio * 10.0) / 10.0:g}"


def _roles(line: TrialLine, until: datetime) -> str:
    return " and ".join(dict.fromkeys(step.role for step in line.open_steps if step.at and step.at <= until))


def steps_in_words(steps: Iterable[SheetStep]) -> str:
    """What a run sheet still asks for: `3 samples and 1 killed control`."""
    counts = Counter(step.role for step in steps)
    told = [f"{count} {role}{'s' if count > 1 else ''}" for role, count in counts.items()]
    return " and ".join(filter(None, [", ".join(told[:-1]), *told[-1:]]))
