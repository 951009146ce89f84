"""Oxygen and food: what water holds, what the air brings, what the brew takes, and how much food that carries."""

from aerobe.oxygen._ceiling import (
    DoseOutcome,
    DoseRow,
    FoodCeiling,
    Forecast,
    dose_row,
    food_ceiling,
    outcome_of,
    split_feeds,
    trade_off,
)
from aerobe.oxygen._changes import ChangeRow, Changes, compare_changes
from aerobe.oxygen._chemicals import COBALT_CAUTION, SULPHITE_CAUTION, SulphiteDose, sulphite_dose
from aerobe.oxygen._classic import (
    RunBeside,
    flow_exponent,
    judge_series,
    linear_window_kla,
)
from aerobe.oxygen._demand import YIELD, FoodBalance, balance_ceiling_g_per_l, food_balance
from aerobe.oxygen._faults import RunFault, rising_window
from aerobe.oxygen._first_guess import first_guess_kla, vessel_kla
from aerobe.oxygen._floors import FLOORS, Floor
from aerobe.oxygen._foods import FOODS, Food, FoodLibrary, Range
from aerobe.oxygen._live_probe import ProbeTrouble, probe_troubles
from aerobe.oxygen._models import OneModel
from aerobe.oxygen._probes import ProbeCheck, check_probe, oxygen_from_percent, salinity_from_conductivity
from aerobe.oxygen._reaeration import KlaEstimate, kla_from_reaeration
from aerobe.oxygen._response import responses
from aerobe.oxygen._saturation import pressure_at_altitude_kpa, saturation_mg_per_l
from aerobe.oxygen._sizing import (
    AirPlan,
    ScaledBrew,
    pump_power_w,
    pump_pressure_kpa,
    scale_vessel,
    size_air,
)
from aerobe.oxygen._standard import StandardTransfer, kla_at_20, standard_transfer, transfer_factor
from aerobe.oxygen._steps import StepEstimate, transfer_from_steps
from aerobe.oxygen._unknown_air import UNKNOWN_DIFFUSER, air_spans, depth_as_wide_m, with_flow_guessed
from aerobe.oxygen._uptake import HoldingTime, UptakeTrack, holding_time, hours_to_floor, uptake_from_log
from aerobe.oxygen._warming import warming_until_h

__all__ = [
    "OneModel",
    "COBALT_CAUTION",
    "FLOORS",
    "FOODS",
    "SULPHITE_CAUTION",
    "YIELD",
    "AirPlan",
    "ChangeRow",
    "Changes",
    "DoseRow",
    "Floor",
    "Food",
    "FoodBalance",
    "FoodCeiling",
    "FoodLibrary",
    "Forecast",
    "HoldingTime",
    "KlaEstimate",
    "DoseOutcome",
    "ProbeCheck",
    "ProbeTrouble",
    "Range",
    "RunBeside",
    "RunFault",
    "ScaledBrew",
    "StandardTransfer",
    "StepEstimate",
    "SulphiteDose",
    "UptakeTrack",
    "UNKNOWN_DIFFUSER",
    "air_spans",
    "balance_ceiling_g_per_l",
    "check_probe",
    "compare_changes",
    "depth_as_wide_m",
    "dose_row",
    "first_guess_kla",
    "food_balance",
    "food_ceiling",
    "holding_time",
    "hours_to_floor",
    "flow_exponent",
    "judge_series",
    "kla_at_20",
    "kla_from_reaeration",
    "linear_window_kla",
    "outcome_of",
    "oxygen_from_percent",
    "pressure_at_altitude_kpa",
    "probe_troubles",
    "pump_power_w",
    "pump_pressure_kpa",
    "responses",
    "rising_window",
    "salinity_from_conductivity",
    "saturation_mg_per_l",
    "scale_vessel",
    "size_air",
    "split_feeds",
    "standard_transfer",
    "sulphite_dose",
    "trade_off",
    "transfer_factor",
    "transfer_from_steps",
    "uptake_from_log",
    "warming_until_h",
    "with_flow_guessed",
    "vessel_kla",
]
