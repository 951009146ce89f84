"""Verdicts: is one recipe better than another and by how much, or can nobody tell yet.

A verdict rests on brews, never on tests of one brew; it shows its interval, its rivals and what would settle the rest.
"""

from aerobe.verdicts._answer import CANNOT_TELL, SAME, Comparison, HourRatio, Settle, Verdict
from aerobe.verdicts._calls import CLAIM_LEVEL, INTERVAL_LEVEL, Calls, call_contrasts
from aerobe.verdicts._censored import fit_censored
from aerobe.verdicts._check import Check
from aerobe.verdicts._confounders import lay_out_in_vessels
from aerobe.verdicts._contrasts import Contrast, pair_contrast, planned_contrasts, standard_of
from aerobe.verdicts._core import Effects, fit_effects, widen
from aerobe.verdicts._days import share_luck, together_on_days
from aerobe.verdicts._dose import DoseAnswer, answer_dose_series, turning_point
from aerobe.verdicts._interim import (
    AS_PLANNED,
    FULL,
    Allowance,
    Standing,
    allowance_now,
    boundary_levels,
    share_of_later,
    share_of_side_question,
    spent_by,
)
from aerobe.verdicts._judge_surface import is_surface
from aerobe.verdicts._layout import Layout, is_estimable, lay_out
from aerobe.verdicts._missing import LostBrew, filled_in, hull
from aerobe.verdicts._mixed import MixedFit, RandomTerm, fit_mixed
from aerobe.verdicts._outcomes import OUTCOMES, Outcome, outcome
from aerobe.verdicts._places import Place
from aerobe.verdicts._ranking import rank_arms
from aerobe.verdicts._rates import fit_rates
from aerobe.verdicts._results import COLOUR_SENSITIVE, CONTROL_WINDOW_H, BrewResult, brew_results
from aerobe.verdicts._rivals import Rival
from aerobe.verdicts._settle import (
    best_tests_per_brew,
    brews_needed,
    brews_needed_for_sameness,
    power_of_difference,
    power_of_sameness,
)
from aerobe.verdicts._simultaneous import all_pairs, critical_values, joint_t
from aerobe.verdicts._surface import SurfaceAnswer, heights_of
from aerobe.verdicts._surface_design import FittedDesign, Surface, told_of
from aerobe.verdicts._verdict import hold_back, judge
from aerobe.verdicts._words import effect_words, short_headline

__all__ = [
    "CANNOT_TELL",
    "SAME",
    "HourRatio",
    "share_luck",
    "share_of_later",
    "CLAIM_LEVEL",
    "COLOUR_SENSITIVE",
    "CONTROL_WINDOW_H",
    "AS_PLANNED",
    "FULL",
    "Standing",
    "INTERVAL_LEVEL",
    "OUTCOMES",
    "Allowance",
    "FittedDesign",
    "Surface",
    "SurfaceAnswer",
    "heights_of",
    "is_surface",
    "together_on_days",
    "told_of",
    "BrewResult",
    "Calls",
    "Check",
    "Comparison",
    "Contrast",
    "DoseAnswer",
    "Effects",
    "Layout",
    "MixedFit",
    "Outcome",
    "Place",
    "RandomTerm",
    "Rival",
    "Settle",
    "Verdict",
    "allowance_now",
    "boundary_levels",
    "critical_values",
    "fit_censored",
    "fit_rates",
    "filled_in",
    "hold_back",
    "hull",
    "share_of_side_question",
    "spent_by",
    "LostBrew",
    "all_pairs",
    "answer_dose_series",
    "brew_results",
    "brews_needed",
    "brews_needed_for_sameness",
    "call_contrasts",
    "effect_words",
    "short_headline",
    "fit_effects",
    "fit_mixed",
    "is_estimable",
    "joint_t",
    "judge",
    "lay_out",
    "lay_out_in_vessels",
    "outcome",
    "pair_contrast",
    "planned_contrasts",
    "power_of_difference",
    "power_of_sameness",
    "rank_arms",
    "standard_of",
    "best_tests_per_brew",
    "turning_point",
    "widen",
]
