"""What many trials say together: pooling on the log-ratio scale, with spread, checks, flags and indirect comparisons."""

from aerobe.evidence._blocks import ManyBrews
from aerobe.evidence._checks import SmallStudies, fades_without, leave_one_out, small_studies, trim_and_fill
from aerobe.evidence._copies import Alike, too_alike
from aerobe.evidence._effects import TrialContrast, evidence_hash, ratio_of_means
from aerobe.evidence._from_verdict import brew_lines, contrasts_of_verdict, doubts_of_all
from aerobe.evidence._hierarchical import BayesPool, Shrunken, bayes_pool
from aerobe.evidence._many import SPREADS, ManyPool, RecipeEffect, array_module, pool_brews
from aerobe.evidence._network import Network, NetworkComparison, network
from aerobe.evidence._patterns import grain_of
from aerobe.evidence._pool import Coefficient, Pooled, pool, regress
from aerobe.evidence._prediction import prediction_interval
from aerobe.evidence._quality import Duplicate, Flag, carries_a_headline, flags, without_duplicates
from aerobe.evidence._selection import Selection, selection
from aerobe.evidence._sites import SiteMeans, site_means, sites_of
from aerobe.evidence._spread import METHODS, spread, spread_interval
from aerobe.evidence._table import COLUMNS, contrasts_from_table
from aerobe.evidence._weigh import Weighed, weigh
from aerobe.evidence._words import notes_of, pool_in_passing

__all__ = [
    "COLUMNS",
    "METHODS",
    "SPREADS",
    "Alike",
    "BayesPool",
    "NetworkComparison",
    "TrialContrast",
    "Duplicate",
    "Flag",
    "ManyBrews",
    "ManyPool",
    "Network",
    "Pooled",
    "RecipeEffect",
    "Selection",
    "Shrunken",
    "SiteMeans",
    "SmallStudies",
    "Coefficient",
    "Weighed",
    "array_module",
    "bayes_pool",
    "carries_a_headline",
    "brew_lines",
    "contrasts_from_table",
    "contrasts_of_verdict",
    "doubts_of_all",
    "evidence_hash",
    "fades_without",
    "grain_of",
    "flags",
    "leave_one_out",
    "network",
    "notes_of",
    "pool",
    "pool_brews",
    "pool_in_passing",
    "prediction_interval",
    "ratio_of_means",
    "regress",
    "selection",
    "site_means",
    "sites_of",
    "small_studies",
    "spread",
    "spread_interval",
    "too_alike",
    "trim_and_fill",
    "weigh",
    "without_duplicates",
]
