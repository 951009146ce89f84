"""Trials: plan what a budget can answer, draw the run sheet, and propose what to ask next."""

from aerobe.trials._best_arm import NextRound, next_round
from aerobe.trials._budget import Budget
from aerobe.trials._calendar import CalendarEvent, calendar_file, calendar_of
from aerobe.trials._checked import checked_power
from aerobe.trials._circumstances import CLEAR, Circumstances
from aerobe.trials._composite import central_composite
from aerobe.trials._controls import Controls, controls_for, with_controls
from aerobe.trials._design import GOOD_POWER, Design
from aerobe.trials._draw import Starts, draw_run_sheet
from aerobe.trials._factorial import Factorial, arm_in_words, factorial
from aerobe.trials._informed import BESIDE, informed_interval, informed_words
from aerobe.trials._layouts import Plot, plots_of, randomised, weighted_plots
from aerobe.trials._levers import LEVER_HEAD, Lever, idle_in_words, lever_rows, rank_levers
from aerobe.trials._next import NextTrial, propose_next
from aerobe.trials._plan import LARGEST_ASKED, MOST_SENSIBLE, Plan, plan_trial
from aerobe.trials._power import Power, power_of
from aerobe.trials._scatter import (
    ONE_DAY_AND_HEAP,
    SAME_DAY_BOTTLES,
    SCATTERS,
    WEEKLY_BATCHES,
    Scatter,
    informed,
    scatter_from,
    scatter_of_testing,
)
from aerobe.trials._through_model import SimulateBrew, Simulating, Tested, Told, told_through_model
from aerobe.trials._times import SamplingTimes, optimal_times

__all__ = [
    "BESIDE",
    "arm_in_words",
    "CLEAR",
    "GOOD_POWER",
    "LARGEST_ASKED",
    "ONE_DAY_AND_HEAP",
    "SAME_DAY_BOTTLES",
    "SCATTERS",
    "WEEKLY_BATCHES",
    "Budget",
    "CalendarEvent",
    "Circumstances",
    "Controls",
    "Design",
    "Factorial",
    "LEVER_HEAD",
    "MOST_SENSIBLE",
    "Lever",
    "idle_in_words",
    "lever_rows",
    "NextRound",
    "NextTrial",
    "Plan",
    "Plot",
    "Power",
    "SamplingTimes",
    "Scatter",
    "SimulateBrew",
    "Told",
    "calendar_file",
    "calendar_of",
    "central_composite",
    "checked_power",
    "controls_for",
    "Starts",
    "draw_run_sheet",
    "factorial",
    "informed",
    "informed_interval",
    "informed_words",
    "next_round",
    "optimal_times",
    "plan_trial",
    "plots_of",
    "power_of",
    "propose_next",
    "randomised",
    "rank_levers",
    "scatter_from",
    "scatter_of_testing",
    "Simulating",
    "Tested",
    "told_through_model",
    "weighted_plots",
    "with_controls",
]
