"""Trials: plan what a budget can answer, draw the run sheet, and propose what to ask next."""

from aerobe.trials._calendar import calendar_of
from aerobe.trials._controls import Controls, controls_for, with_controls
from aerobe.trials._draw import draw_run_sheet
from aerobe.trials._factorial import Factorial, factorial
from aerobe.trials._layouts import Plot, plots_of, randomised
from aerobe.trials._next import NextTrial, propose_next
from aerobe.trials._plan import GOOD_POWER, LARGEST_ASKED, Budget, Design, Plan, plan_trial
from aerobe.trials._power import Power, SimulateBrew, Told, power_from_nulls, power_of, told_through_model
from aerobe.trials._scatter import SAME_DAY_BOTTLES, SCATTERS, WEEKLY_BATCHES, Scatter, scatter_from, scatter_of_testing
from aerobe.trials._sheet import sheet_page, sheet_style
from aerobe.trials._times import SamplingTimes, numeric_sensitivity, optimal_times

__all__ = [
    "GOOD_POWER",
    "LARGEST_ASKED",
    "SAME_DAY_BOTTLES",
    "SCATTERS",
    "WEEKLY_BATCHES",
    "Budget",
    "Controls",
    "Design",
    "Factorial",
    "NextTrial",
    "Plan",
    "Plot",
    "Power",
    "SamplingTimes",
    "Scatter",
    "SimulateBrew",
    "Told",
    "calendar_of",
    "controls_for",
    "draw_run_sheet",
    "factorial",
    "numeric_sensitivity",
    "optimal_times",
    "plan_trial",
    "plots_of",
    "power_from_nulls",
    "power_of",
    "propose_next",
    "randomised",
    "scatter_from",
    "sheet_page",
    "sheet_style",
    "scatter_of_testing",
    "told_through_model",
    "with_controls",
]
