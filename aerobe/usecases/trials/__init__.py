"""A trial from the question to the verdict: plan, run sheet, steps, values, judgement."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.reports import run_sheet_style
    from aerobe.trials import LEVER_HEAD, Plan, arm_in_words, idle_in_words, informed_words, lever_rows
    from aerobe.usecases.trials._asked import NotAskedYet
    from aerobe.usecases.trials._blinding import note_key_shown, open_codes, shown
    from aerobe.usecases.trials._comparing import compare_recipes
    from aerobe.usecases.trials._history import PlanHistory, plan_history
    from aerobe.usecases.trials._judging import JudgedBy, keep_verdict, next_trial, verdict_of_trial
    from aerobe.usecases.trials._papers import print_run_sheet, trial_calendar
    from aerobe.usecases.trials._pictures import (
        check_in_words,
        effect_in_words,
        hour_lines,
        plan_pictures,
        verdict_lines,
        verdict_pictures,
    )
    from aerobe.usecases.trials._planning import PlannedTrial, plan_for, start_planned_brew, start_trial
    from aerobe.usecases.trials._power import power_through_model
    from aerobe.usecases.trials._results import course_picture
    from aerobe.usecases.trials._sealing import open_key, plan_fingerprint, seal_key
    from aerobe.usecases.trials._stamps import check_stamp, stamp_request
    from aerobe.usecases.trials._steps import (
        not_written_in,
        sheet_reminders,
        smaller_margin,
        steps_in_words,
        steps_of_brew,
        trial_lines,
        trial_says,
    )
    from aerobe.usecases.trials._table import judge_table
    from aerobe.usecases.trials._tests import rests_on
    from aerobe.usecases.trials._times import suggest_sampling_times
    from aerobe.usecases.trials._view import TrialView, trial_list, trial_shown, trial_view
    from aerobe.usecases.trials._waiting import trials_waiting
    from aerobe.usecases.trials._wish import TrialWish, read_margin, scatter_of_words, usual_scatter
    from aerobe.verdicts import Verdict
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_asked": ("NotAskedYet",),
            "_blinding": ("note_key_shown", "open_codes", "shown"),
            "_comparing": ("compare_recipes",),
            "_history": ("PlanHistory", "plan_history"),
            "_judging": ("JudgedBy", "keep_verdict", "next_trial", "verdict_of_trial"),
            "_papers": ("print_run_sheet", "trial_calendar"),
            "_pictures": (
                "check_in_words",
                "effect_in_words",
                "hour_lines",
                "plan_pictures",
                "verdict_lines",
                "verdict_pictures",
            ),
            "_planning": ("PlannedTrial", "plan_for", "start_planned_brew", "start_trial"),
            "_power": ("power_through_model",),
            "_results": ("course_picture",),
            "_sealing": ("open_key", "plan_fingerprint", "seal_key"),
            "_stamps": ("check_stamp", "stamp_request"),
            "_steps": (
                "not_written_in",
                "sheet_reminders",
                "smaller_margin",
                "steps_in_words",
                "steps_of_brew",
                "trial_lines",
                "trial_says",
            ),
            "_table": ("judge_table",),
            "_tests": ("rests_on",),
            "_times": ("suggest_sampling_times",),
            "_view": ("TrialView", "trial_list", "trial_shown", "trial_view"),
            "_waiting": ("trials_waiting",),
            "_wish": ("TrialWish", "read_margin", "scatter_of_words", "usual_scatter"),
            "aerobe.reports": ("run_sheet_style",),
            "aerobe.trials": ("LEVER_HEAD", "Plan", "arm_in_words", "idle_in_words", "informed_words", "lever_rows"),
            "aerobe.verdicts": ("Verdict",),
        },
    )

__all__ = [
    "JudgedBy",
    "LEVER_HEAD",
    "NotAskedYet",
    "Plan",
    "PlanHistory",
    "PlannedTrial",
    "TrialView",
    "TrialWish",
    "Verdict",
    "arm_in_words",
    "check_in_words",
    "check_stamp",
    "compare_recipes",
    "course_picture",
    "effect_in_words",
    "hour_lines",
    "idle_in_words",
    "informed_words",
    "judge_table",
    "keep_verdict",
    "lever_rows",
    "next_trial",
    "not_written_in",
    "note_key_shown",
    "open_codes",
    "open_key",
    "plan_fingerprint",
    "plan_for",
    "plan_history",
    "plan_pictures",
    "power_through_model",
    "print_run_sheet",
    "read_margin",
    "rests_on",
    "run_sheet_style",
    "scatter_of_words",
    "seal_key",
    "sheet_reminders",
    "shown",
    "smaller_margin",
    "stamp_request",
    "start_planned_brew",
    "start_trial",
    "steps_in_words",
    "steps_of_brew",
    "suggest_sampling_times",
    "trial_calendar",
    "trial_lines",
    "trial_list",
    "trial_says",
    "trial_shown",
    "trial_view",
    "trials_waiting",
    "usual_scatter",
    "verdict_lines",
    "verdict_of_trial",
    "verdict_pictures",
]
