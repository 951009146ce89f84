"""A function at a door is called somewhere in the house; what only tests and scripts call is listed and grows no longer."""

from __future__ import annotations

import ast
import importlib
import inspect
from collections import Counter

from tests.house.test_house import DOORS, HOUSE

# Only tests, benchmarks and other people's scripts call these. Each is to be shown on a page, or to go; none is to be added.
# A name that the house begins to call can leave the list.
FOR_SCRIPTS = {
    "assay.best_tests_per_sample",
    "assay.bias_of_one_count",
    "assay.biomass_from_uptake",
    "assay.biomass_of_samples",
    "assay.carbon_from_respiration",
    "assay.chamber_density",
    "assay.colour_coverage",
    "assay.compare_ratios",
    "assay.error_for_new_tea",
    "assay.extract_to_material",
    "assay.filter_factor",
    "assay.legacy_mean",
    "assay.limits_for_counts",
    "assay.log10_uncertainty",
    "assay.one_way",
    "assay.prior_scatter",
    "assay.propagate_many",
    "assay.ratio_from_fraction",
    "assay.rod_um3",
    "assay.two_component_sd",
    "evidence.risk_ratio",
    "oxygen.course_saturation_mg_per_l",
    "oxygen.least_squares_kla",
    "oxygen.needed_kla_per_h",
    "oxygen.percent_of_saturation",
    "oxygen.transfer_rate_mg_per_l_h",
    "safety.days_needed",
    "trials.brews_to_find_the_best",
    "trials.numeric_sensitivity",
    "trials.scatter_of_testing",
    "usecases.brews.record_and_advise",
    "usecases.exchange.long_log_envelope",
    "usecases.oxygen.food_trade_off",
    "usecases.oxygen.percent_of_saturation",
    "verdicts.adjusted_p",
    "verdicts.critical_value",
    "verdicts.every_pair",
    "worlds.make_people",
    "worlds.make_world",
    "worlds.with_pump_stop",
}


def called() -> Counter[str]:
    """How often each name is used in the house, imports and doors apart."""
    found: Counter[str] = Counter()
    for path in HOUSE.rglob("*.py"):
        if path.name == "__init__.py" and path.parent != HOUSE / "cli":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Name):
                found[node.id] += 1
            elif isinstance(node, ast.Attribute):
                found[node.attr] += 1
            elif isinstance(node, ast.ImportFrom):  # under another name
                found.update(alias.name for alias in node.names if alias.asname)
    return found


def not_called(names: Counter[str]) -> set[str]:
    """Functions at the doors that the house itself does not call, by room and name."""
    found = set()
    for door in DOORS:
        module = importlib.import_module(f"aerobe.{door}")
        for name in getattr(module, "__all__", ()):
            thing = getattr(module, name)
            if inspect.isfunction(thing) and thing.__module__.startswith("aerobe") and not names[name]:
                found.add(f"{door}.{name}")
    return found


def test_what_is_at_a_door_is_called_or_listed() -> None:
    assert not_called(called()) <= FOR_SCRIPTS


def test_a_function_that_nothing_calls_is_noticed() -> None:
    names = called()
    names["hours_to_floor"] = 0
    assert "oxygen.hours_to_floor" in not_called(names)
