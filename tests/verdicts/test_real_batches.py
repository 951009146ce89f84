"""What the verdict says of published brews."""

from __future__ import annotations

import csv
import math

import pytest

from aerobe.records import Arm, Trial
from aerobe.verdicts import (
    BrewResult,
    judge,
)
from tests.conftest import DATA


def four_weeks(organism: str) -> list[BrewResult]:
    """Plate counts of four weekly batches, aerated and not: J Bioremed Biodegrad 2012, 3:149, Table 3."""
    with (DATA / "c01_aerated_vs_nonaerated_weekly_batches.csv").open(newline="", encoding="utf-8") as stream:
        rows = [row for row in csv.DictReader(stream) if row["organism"] == organism]
    return [
        BrewResult(
            brew=f"{row['aeration']}-{row['weekly_batch']}",
            arm=row["aeration"],
            value=10 ** float(row["value"]),
            block=row["weekly_batch"],
            tests=3,
            test_log_sd=float(row["se"]) * math.log(10),
        )
        for row in rows
    ]


AERATION = Trial(
    key="c01",
    name="Aeration",
    question="two recipes",
    outcome="count",
    margin_ratio=3.0,
    arms=(Arm(key="non-aerated", recipe="same", is_standard=True), Arm(key="aerated", recipe="same")),
)


def test_four_weekly_batches_do_not_settle_whether_air_helps() -> None:
    verdict = judge(AERATION, four_weeks("bacteria"))
    only = verdict.comparisons[0]
    # Mean difference of the four weeks 1.085 log10, SD 0.733: t 2.96 on 3 df, p 0.0595 (arithmetic on the printed table).
    assert only.effect == pytest.approx(1.085 * math.log(10), rel=0.02)
    assert only.call == "can't tell yet" and only.probability_above > 0.95
    # Taking the printed within-batch errors as if they were the scatter of recipes would have told every week apart.
    assert verdict.brew_sd > 9 * verdict.test_sd
    assert judge(AERATION, four_weeks("fungi")).comparisons[0].call == "can't tell yet"


def bottles(hour: float) -> list[BrewResult]:
    """Two bottles of each of four foods, flow cytometry: UCSB EEMB 144L 2021 (public course data)."""
    names = {
        "Control": "control",
        "Kelp Exudate": "kelp",
        "Kelp Exudate_Nitrate_Phosphate": "kelp-NP",
        "Glucose_Nitrate_Phosphate": "glucose-NP",
    }
    with (DATA / "s11_kelp_glucose_batch_2021_two_methods_and_O2.csv").open(newline="", encoding="utf-8") as stream:
        rows = [row for row in csv.DictReader(stream) if row["variable"] == "all_cells" and row["method"] == "flow_cytometry"]
    return [
        BrewResult(brew=row["replicate_bottle"], arm=names[row["treatment"]], value=float(row["value"]), elapsed_h=hour)
        for row in rows
        if row["time_h"] and float(row["time_h"]) == hour
    ]


def test_two_bottles_of_each_food_tell_little_at_52_hours() -> None:
    arms = tuple(Arm(key=key, recipe=key, is_standard=key == "control") for key in ("control", "kelp", "kelp-NP", "glucose-NP"))
    trial = Trial(key="s11", name="Foods", question="several against a standard", outcome="count", arms=arms, margin_ratio=1.5)
    verdict = judge(trial, bottles(52.0))
    assert [comparison.call for comparison in verdict.comparisons] == ["can't tell yet"] * 3
    # Glucose against control from the printed counts: mean of logs of two bottles each.
    told = verdict.comparisons[-1]
    assert math.exp(told.effect) == pytest.approx(
        math.sqrt(1260555.45746852 * 1007899.01139407 / 2325486.04639986 / 2251715.72997276)
    )
    assert told.effect < 0.0 < told.family_high  # two bottles by themselves seem told apart; among four foods they are not
    assert {place.worst_place for place in verdict.ranking} == {4}
