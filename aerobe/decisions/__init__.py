"""When to test next and when to harvest, with the expected loss of each choice. Gates come after the losses."""

from aerobe.decisions._advice import Advice, NextTest, Window, advise
from aerobe.decisions._forecast import Forecast, forecast_of
from aerobe.decisions._lookahead import TestValue, value_of_test
from aerobe.decisions._loss import attainment, losses
from aerobe.decisions._oxygen import OxygenOutlook, oxygen_outlook
from aerobe.decisions._replay import replay

__all__ = [
    "Advice",
    "Forecast",
    "NextTest",
    "OxygenOutlook",
    "TestValue",
    "Window",
    "advise",
    "attainment",
    "forecast_of",
    "losses",
    "oxygen_outlook",
    "replay",
    "value_of_test",
]
