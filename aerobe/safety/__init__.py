"""Pure rules for a tea's way from the vessel to the ground. They hold back and explain; they never certify.

Every limit stands in a data file of this room with its source and date. Local codes and licensed practice decide.
"""

from aerobe.safety._gates import FAILS, NOT_SHOWN, SHOWN, STATES, BrewFacts, Gate, closed, harvest_gates, holding_time_h
from aerobe.safety._smell import smell_of
from aerobe.safety._thresholds import LOCAL, Threshold, all_thresholds, threshold
from aerobe.safety._use_gates import TREATED, UNKNOWN, UNTREATED, UseFacts, days_needed, use_gates

__all__ = [
    "FAILS",
    "LOCAL",
    "NOT_SHOWN",
    "SHOWN",
    "STATES",
    "TREATED",
    "UNKNOWN",
    "UNTREATED",
    "BrewFacts",
    "Gate",
    "Threshold",
    "UseFacts",
    "all_thresholds",
    "closed",
    "days_needed",
    "harvest_gates",
    "holding_time_h",
    "smell_of",
    "threshold",
    "use_gates",
]
