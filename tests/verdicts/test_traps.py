"""What a sceptic tries on a verdict: each trick ends in the truth, in "can't tell", or in a refusal with its reason."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from aerobe.records import Arm, Assay, AssayError, Brew, Reading, Trial
from aerobe.verdicts import BrewResult, LostBrew, brew_results, fit_effects, judge, lay_out

PLAIN, KELP = Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp")
TWO = Trial(key="t1", name="Kelp or plain", question="two recipes", arms=(PLAIN, KELP), margin_ratio=1.25)
POTS = Trial(
    key="p",
    name="x",
    question="field response",
    outcome="yield",
    arms=(Arm(key="water", is_standard=True), Arm(key="tea")),
)
CLEAR = {"plain": (10.0, 11.0, 9.5, 10.4, 10.1, 9.8), "kelp": (20.0, 18.0, 23.0, 19.5, 21.0, 19.0)}
CANNOT = "can't tell yet"


def results(values: dict[str, tuple[float, ...]], **more) -> list[BrewResult]:
    return [
        BrewResult(brew=f"{arm}-{i}", arm=arm, value=value, **more) for arm, row in values.items() for i, value in enumerate(row)
    ]


def labelled(name: str, of: dict[str, str]) -> list[BrewResult]:
    """Clear results whose confounder has these labels, one letter a brew."""
    return [
        replace(result, confounders={name: of[result.arm][i % 6]})
        for arm in ("plain", "kelp")
        for i, result in enumerate(results({arm: CLEAR[arm]}))
    ]


@pytest.mark.parametrize("name", ["kit lot", "reader", "probe", "heap", "day"])
def test_a_confounder_that_goes_along_with_the_arms_stops_the_claim(name: str) -> None:
    verdict = judge(TWO, labelled(name, {"plain": "aaaaaa", "kelp": "bbbbbb"}))
    assert verdict.comparisons[0].call == CANNOT and verdict.comparisons[0].held_by == name
    assert verdict.comparisons[0].signal_call == "better" and name in verdict.headline


def test_one_that_does_so_in_part_is_taken_out_and_widens_the_interval() -> None:
    verdict = judge(TWO, labelled("kit lot", {"plain": "aaaaab", "kelp": "abbbbb"}))
    even = judge(TWO, labelled("kit lot", {"plain": "aaabbb", "kelp": "aaabbb"}))
    assert verdict.df == 9 and any(rival.name == "kit lot" for rival in verdict.rivals)
    assert even.df == 10 and not even.rivals and even.comparisons[0].call == "better"
    assert verdict.comparisons[0].error > even.comparisons[0].error


def test_a_lot_not_recorded_in_one_arm_counts_as_a_lot_of_its_own() -> None:
    rows = [replace(r, confounders={"kit lot": "a"} if r.arm == "plain" else {}) for r in results(CLEAR)]
    assert judge(TWO, rows).comparisons[0].held_by == "kit lot"


def test_two_confounders_that_only_together_hide_the_difference_stop_it() -> None:
    rows = [
        replace(r, confounders={"kit lot": lot, "reader": reader})
        for r, lot, reader in zip(results(CLEAR), "aaabbb" + "aaabbb", "rrrrrr" + "rrssss", strict=True)
    ]
    assert judge(TWO, rows).comparisons[0].effect is not None
    rows = [
        replace(r, confounders={"kit lot": lot}, column=v) for r, lot, v in zip(rows, "aaabbbaaabbb", "uuuuuuvvvvvv", strict=True)
    ]
    assert judge(TWO, rows).comparisons[0].held_by == "vessel"


def test_all_of_one_arm_before_all_of_the_other_is_no_comparison() -> None:
    apart = [replace(r, began_h=24.0 * i) for i, r in enumerate(results(CLEAR))]
    mixed = [replace(r, began_h=24.0 * (i % 6)) for i, r in enumerate(results(CLEAR))]
    assert judge(TWO, apart).comparisons[0].held_by == "time"
    assert judge(TWO, mixed).comparisons[0].call == "better"


def test_a_vessel_that_every_arm_visited_is_taken_out() -> None:
    rng = np.random.default_rng(4)
    arms = tuple(Arm(key=f"r{i}", recipe=f"r{i}", is_standard=i == 0) for i in range(4))
    trial = Trial(key="l", name="x", question="several against a standard", arms=arms)
    rows = [
        BrewResult(
            brew=f"{day}{v}",
            arm=f"r{(day + v) % 4}",
            value=math.exp(1.5 * v + 0.5 * ((day + v) % 4) + rng.normal(0, 0.1)),
            block=f"d{day}",
            column=f"v{v}",
        )
        for day in range(4)
        for v in range(4)
    ]
    verdict = judge(trial, rows)
    assert verdict.df == 6 and [c.call for c in verdict.comparisons] == ["better"] * 3


COLOUR = Assay(key="c", name="c", method="colour test", error=AssayError(constant_sd=1.0, proportional_cv=0.03))


def read(brew: str, role: str, signal: float, hour: float, **more) -> Reading:
    return Reading(
        key=f"{brew}{role}{hour}{signal:.3f}".replace(" ", ""),
        brew=brew,
        assay="c",
        role=role,
        elapsed_h=hour,
        signal=signal,
        unit="u",
        typed_as="x",
        **more,
    )


def dark_trial(control_h: float) -> list[BrewResult]:
    """Both teas hold 60; the kelp is 60 darker at 24 h and not at the start."""
    rng = np.random.default_rng(3)
    brews, rows = [], []
    for i in range(12):
        arm = ("plain", "kelp")[i % 2]
        brews.append(
            Brew(key=f"b{i}", name="b", recipe=arm, vessel=f"v{i}", started_at=datetime(2026, 5, 1, tzinfo=UTC), arm=arm)
        )
        dark = 60.0 if arm == "kelp" else 0.0
        rows.append(read(f"b{i}", "sample", 60.0 * math.exp(rng.normal(0, 0.1)) + dark, 24.0))
        rows.append(read(f"b{i}", "killed control", 2.0 + (dark if control_h > 12 else 0.0) + rng.normal(0, 1), control_h))
    return list(brew_results(brews, rows, {"c": COLOUR}))


def test_a_control_of_another_hour_does_not_control() -> None:
    verdict = judge(TWO, dark_trial(0.0))
    assert verdict.comparisons[0].call == CANNOT and verdict.comparisons[0].held_by == "colour"
    assert any("24 h or more from the samples" in rival.words for rival in verdict.rivals)
    honest = judge(TWO, dark_trial(24.0)).comparisons[0]
    assert honest.held_by == "" and abs(honest.effect) < 0.3


def test_controls_of_one_arm_do_not_control_the_other() -> None:
    rows = [replace(r, colour_sensitive=True, colour_checked=r.arm == "plain") for r in results(CLEAR)]
    assert judge(TWO, rows).comparisons[0].held_by == "colour"


def test_a_reading_above_the_range_is_a_bound() -> None:
    brew = Brew(key="b", name="b", recipe="kelp", vessel="v", started_at=datetime(2026, 5, 1, tzinfo=UTC), arm="kelp")
    marked = brew_results([brew], [read("b", "sample", 90.0, 24.0, above_range=True)], {"c": COLOUR})[0]
    scale = replace(COLOUR, error=AssayError(constant_sd=1.0, proportional_cv=0.03, upper_limit=80.0))
    by_scale = brew_results([brew], [read("b", "sample", 90.0, 24.0)], {"c": scale})[0]
    assert marked.above_range and by_scale.above_range and not marked.at_limit


def test_results_that_all_lie_beyond_the_test_are_never_the_same() -> None:
    rng = np.random.default_rng(6)
    flat = {arm: tuple(100.0 * np.exp(rng.normal(0, 0.005, 6))) for arm in ("plain", "kelp")}
    for side in ("above_range", "at_limit"):
        verdict = judge(TWO, results(flat, **{side: True}))
        assert verdict.comparisons[0].call == CANNOT and verdict.comparisons[0].effect is None
        assert "beyond what the test can show" in verdict.comparisons[0].because
        assert not verdict.checks


def test_a_true_ratio_behind_the_limit_is_not_called_the_same() -> None:
    rng = np.random.default_rng(8)
    calls, inside, told = [], [], 0
    for _ in range(60):
        truth = {"plain": rng.normal(0.0, 0.4, 6), "kelp": rng.normal(math.log(3.0), 0.4, 6)}
        limit = math.log(3.0) + 0.31  # nearly four of five brews lie below
        rows = [
            BrewResult(brew=f"{arm}{i}", arm=arm, value=math.exp(max(v, limit)), at_limit=v < limit)
            for arm, row in truth.items()
            for i, v in enumerate(row)
        ]
        only = judge(TWO, rows, extent="without check").comparisons[0]
        calls.append(only.call)
        if only.effect is not None:
            told += 1
            inside.append(only.low < math.log(3.0) < only.high)
    assert "same within the margin" not in calls and "worse" not in calls


def test_a_few_brews_at_the_limit_widen_the_interval_and_keep_the_truth() -> None:
    rng = np.random.default_rng(9)
    inside = []
    for _ in range(60):
        truth = {"plain": rng.normal(0.0, 0.4, 6), "kelp": rng.normal(1.0, 0.4, 6)}
        rows = [
            BrewResult(brew=f"{arm}{i}", arm=arm, value=math.exp(max(v, -0.2)), at_limit=v < -0.2)
            for arm, row in truth.items()
            for i, v in enumerate(row)
        ]
        only = judge(TWO, rows, extent="without check").comparisons[0]
        if only.effect is not None:
            inside.append(only.low < 1.0 < only.high)
    assert len(inside) > 40 and np.mean(inside) > 0.80


def test_repeats_of_a_noisy_arm_do_not_lend_their_number_to_a_small_one() -> None:
    rng = np.random.default_rng(12)
    layout = lay_out([0] * 8 + [1] * 3)
    y = np.hstack([rng.normal(0, 0.3, (20000, 8)), rng.normal(0, 1.2, (20000, 3))])
    found = fit_effects(y, layout, np.array([[-1.0, 1.0]]))
    assert (np.sign(found.quantile(0.025)) == np.sign(found.quantile(0.975))).mean() < 0.06
    assert 0.87 < ((found.quantile(0.05) < 0) & (found.quantile(0.95) > 0)).mean() < 0.93


def test_an_arm_brewed_once_has_no_scatter() -> None:
    verdict = judge(TWO, results({"plain": CLEAR["plain"], "kelp": (30.0,)}))
    assert verdict.comparisons[0].effect is None and "brewed once" in verdict.comparisons[0].because


def test_arms_harvested_at_different_hours_are_not_compared() -> None:
    rows = [replace(r, elapsed_h=36.0 if r.arm == "kelp" else 20.0) for r in results(CLEAR)]
    verdict = judge(TWO, rows)
    assert verdict.comparisons[0].held_by == "hours" and "36 h" in verdict.headline and "20 h" in verdict.headline
    times = Trial(key="h", name="x", question="brewing time", arms=(Arm(key="plain", recipe="r"), Arm(key="kelp", recipe="r")))
    asked = judge(times, rows)
    assert asked.comparisons[0].call == "better" and "each at its own hour" in asked.headline


def test_one_brew_that_feeds_all_pots_claims_nothing() -> None:
    pots = results({"water": (10.0, 11.0, 10.5, 10.2), "tea": (14.0, 15.0, 14.2, 14.6)})
    fed = [replace(pot, source_brew="b1" if pot.arm == "tea" else "") for pot in pots]
    verdict = judge(POTS, fed)
    assert verdict.comparisons[0].call == CANNOT and verdict.comparisons[0].held_by == "one brew"


def field(rng: np.random.Generator, effect: float, brew_sd: float, block_sd: float) -> list[BrewResult]:
    """Six field blocks, in each a pot of water and a pot of each of four brews of tea."""
    tea, block = rng.normal(0, brew_sd, 4), rng.normal(0, block_sd, 6)
    rows = []
    for b in range(6):
        rows.append(BrewResult(brew=f"w{b}", arm="water", value=math.exp(block[b] + rng.normal(0, 0.1)), block=f"{b}"))
        for t in range(4):
            value = math.exp(effect + tea[t] + block[b] + rng.normal(0, 0.1))
            rows.append(BrewResult(brew=f"t{t}{b}", arm="tea", value=value, block=f"{b}", source_brew=f"tea{t}"))
    return rows


def test_field_blocks_of_several_brews_of_tea_are_taken_off() -> None:
    rng = np.random.default_rng(21)
    real = [judge(POTS, field(rng, 0.4, 0.08, 0.6), extent="without check").comparisons[0].call for _ in range(40)]
    null = [judge(POTS, field(rng, 0.0, 0.2, 0.6), extent="without check").comparisons[0].call for _ in range(150)]
    assert real.count("better") > 30
    assert 150 - null.count(CANNOT) - null.count("same within the margin") <= 15


def test_lost_brews_count_as_the_best_and_the_worst_of_their_arm() -> None:
    values = {"plain": (10.0, 13.0, 9.0, 11.0, 12.0), "kelp": (15.0, 18.5, 13.0, 16.0, 12.5)}
    whole = judge(TWO, results(values)).comparisons[0]
    lost = judge(TWO, results(values), lost=[LostBrew(arm="kelp")]).comparisons[0]
    assert whole.call == "better" and lost.family_low < whole.family_low and lost.family_high >= whole.family_high
    many = judge(TWO, results(values), lost=[LostBrew(arm="kelp")] * 3)
    assert many.comparisons[0].held_by == "lost brews"


def test_one_dead_brew_is_left_out_and_both_answers_stand() -> None:
    values = {"plain": (10.0, 11.0, 9.5, 10.4, 10.1, 9.8, 10.6), "kelp": (20.0, 18.0, 23.0, 19.5, 21.0, 19.0, 0.4)}
    verdict = judge(TWO, results(values))
    assert verdict.left_out == "kelp-6" and verdict.comparisons[0].call == "better" and "left out" in verdict.headline
    assert verdict.with_all[0].call == CANNOT
    assert judge(TWO, results(CLEAR)).left_out == ""


def test_an_interaction_is_the_whole_ratio_of_ratios() -> None:
    levels = [(m, k) for m in (0.0, 1.0) for k in (0.0, 1.0)]
    arms = tuple(Arm(key=f"m{m:g}k{k:g}", recipe=f"m{m:g}k{k:g}", levels={"molasses": m, "kelp": k}) for m, k in levels)
    trial = Trial(key="f", name="x", question="factors", arms=arms)
    factors = ((1.0, 1.02, 0.98, 1.01), (0.99, 1.03, 1.0, 0.97), (1.02, 1.0, 0.96, 1.01), (1.0, 0.98, 1.03, 1.01))
    centred = {arm.key: [w / math.prod(own) ** 0.25 for w in own] for arm, own in zip(arms, factors, strict=True)}
    cell = {"m0k0": 10.0, "m0k1": 12.0, "m1k0": 15.0, "m1k1": 54.0}  # kelp: 1.2 times alone, 3.6 times beside molasses
    verdict = judge(trial, results({arm: tuple(v * w for w in centred[arm]) for arm, v in cell.items()}))
    both = next(c for c in verdict.comparisons if c.is_interaction)
    assert math.exp(both.effect) == pytest.approx(3.0, rel=1e-9)
    assert both.call == "higher" and "beside" in both.because


def test_an_arm_that_scatters_much_has_no_dead_brews_among_days() -> None:
    rng = np.random.default_rng(15)
    arms = tuple(Arm(key=f"r{i}", recipe=f"r{i}", is_standard=i == 0) for i in range(5))
    trial = Trial(key="s", name="x", question="several against a standard", arms=arms)
    for _ in range(30):
        rows = [
            BrewResult(brew=f"{a}{d}", arm=f"r{a}", value=math.exp(rng.normal(0, 1.2 if a == 0 else 0.3)), block=f"d{d}")
            for d in range(4)
            for a in range(5)
        ]
        assert judge(trial, rows, extent="without check").left_out == ""
