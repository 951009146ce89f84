"""When to test next and when to harvest, with the expected loss of each choice. Gates come after the losses."""

from aerobe.decisions._advice import Advice, advise
from aerobe.decisions._forecast import Forecast, forecast_of
from aerobe.decisions._lookahead import TestValue, value_of_looking, value_of_test
from aerobe.decisions._loss import attainment, losses
from aerobe.decisions._missed import Missed, best_in_hindsight, missed_by
from aerobe.decisions._oxygen import OxygenOutlook, oxygen_outlook
from aerobe.decisions._plan import NextTest, Window
from aerobe.decisions._replay import replay

__all__ = [
    "Advice",
    "Forecast",
    "Missed",
    "NextTest",
    "OxygenOutlook",
    "TestValue",
    "Window",
    "advise",
    "attainment",
    "best_in_hindsight",
    "forecast_of",
    "losses",
    "missed_by",
    "oxygen_outlook",
    "replay",
    "value_of_looking",
    "value_of_test",
]
