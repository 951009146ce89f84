"""What a verdict promises the brewer, and what it refuses to say."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.records import Arm, Trial
from aerobe.verdicts import (
    BrewResult,
    Standing,
    allowance_now,
    fit_effects,
    judge,
    lay_out,
    planned_contrasts,
)

PLAIN, KELP = Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp")
TWO = Trial(key="t1", name="Kelp or plain", question="two recipes", arms=(PLAIN, KELP), margin_ratio=1.25)
CLEAR = {"plain": (10.0, 11.0, 9.5, 10.4), "kelp": (30.0, 28.0, 33.0, 29.5)}


def results(values: dict[str, tuple[float, ...]], **more) -> list[BrewResult]:
    return [
        BrewResult(brew=f"{arm}-{i}", arm=arm, value=value, **more) for arm, row in values.items() for i, value in enumerate(row)
    ]


def test_a_clear_difference_is_told_with_its_size() -> None:
    verdict = judge(TWO, results(CLEAR))
    only = verdict.comparisons[0]
    assert only.call == "better" and only.worthwhile
    assert math.exp(only.low) < 30.1 / 10.2 < math.exp(only.high)
    assert verdict.claims == "living biomass" and verdict.headline.startswith("kelp is better than plain: 2.9")
    assert verdict.settle is None


def test_the_check_beside_the_verdict_agrees_and_names_its_method() -> None:
    verdict = judge(TWO, results(CLEAR))
    assert {check.method.split(" (")[0] for check in verdict.checks} == {"linear model", "Welch's t test on brew means"}
    for check in verdict.checks:
        assert check.estimate == pytest.approx(verdict.comparisons[0].effect)
        assert check.p < 0.001


def test_swapping_the_arms_turns_better_into_worse() -> None:
    mirrored = Trial(
        key="t1",
        name="x",
        question="two recipes",
        arms=(Arm(key="kelp", recipe="kelp", is_standard=True), Arm(key="plain", recipe="plain")),
    )
    there, back = judge(TWO, results(CLEAR)).comparisons[0], judge(mirrored, results(CLEAR)).comparisons[0]
    assert back.call == "worse"
    assert back.effect == pytest.approx(-there.effect)
    assert back.probability_worse == pytest.approx(there.probability_better)


def test_the_unit_of_the_outcome_changes_nothing() -> None:
    thousandfold = {arm: tuple(1000 * value for value in row) for arm, row in CLEAR.items()}
    assert judge(TWO, results(CLEAR)).comparisons[0].low == pytest.approx(judge(TWO, results(thousandfold)).comparisons[0].low)


def test_lower_cost_is_better() -> None:
    assert judge(TWO, results(CLEAR), outcome_key="cost per biomass").comparisons[0].call == "worse"


def test_peak_time_is_called_higher_not_better() -> None:
    assert judge(TWO, results(CLEAR), outcome_key="peak time").comparisons[0].call == "higher"


def test_equal_recipes_are_called_the_same_when_brews_agree() -> None:
    verdict = judge(TWO, results({"plain": (10.0, 10.4, 9.8, 10.1, 10.2), "kelp": (10.2, 9.9, 10.3, 10.0, 10.1)}))
    assert verdict.comparisons[0].call == "same within the margin"
    assert verdict.comparisons[0].probability_same > 0.99


def test_scattered_brews_cannot_tell_and_say_how_many_would() -> None:
    verdict = judge(TWO, results({"plain": (10.0, 25.0, 5.0), "kelp": (12.0, 40.0, 8.0)}))
    assert verdict.comparisons[0].call == "can't tell yet"
    assert verdict.settle.brews_per_arm > 3
    assert verdict.headline == "Can't tell yet."


def test_replicate_tests_of_one_brew_never_replicate_the_recipe() -> None:
    once = judge(
        TWO,
        [
            BrewResult(brew="a", arm="plain", value=10.0, tests=50, test_log_sd=0.01, points=(10.0,) * 50),
            BrewResult(brew="b", arm="kelp", value=30.0, tests=50, test_log_sd=0.01, points=(30.0,) * 50),
        ],
    )
    assert once.comparisons[0].call == "can't tell yet" and once.comparisons[0].low is None
    assert "three times" in once.settle.words
    few, many = (judge(TWO, results(CLEAR, tests=n, test_log_sd=0.1 / math.sqrt(n))) for n in (1, 100))
    assert few.df == many.df == 6
    assert few.comparisons[0].low == pytest.approx(many.comparisons[0].low)


def test_a_brew_entered_twice_is_refused() -> None:
    with pytest.raises(UnusableRecord, match="do not replicate"):
        judge(TWO, [*results(CLEAR), BrewResult(brew="kelp-0", arm="kelp", value=31.0)])


def test_a_coloured_recipe_without_killed_control_claims_nothing_about_biomass() -> None:
    verdict = judge(TWO, results(CLEAR, colour_sensitive=True))
    only = verdict.comparisons[0]
    assert only.call == "can't tell yet" and only.signal_call == "better"
    assert verdict.claims == "signal only, not living biomass"
    assert "colour" in verdict.headline.lower()
    assert any(rival.name == "colour" and "killed control" in rival.remedy for rival in verdict.rivals)
    assert verdict.ranking == () and verdict.dose is None


def test_a_killed_control_lets_the_claim_stand() -> None:
    assert judge(TWO, results(CLEAR, colour_sensitive=True, colour_checked=True)).comparisons[0].call == "better"


def test_a_count_is_not_misled_by_colour() -> None:
    assert judge(TWO, results(CLEAR, colour_sensitive=False)).comparisons[0].call == "better"


def test_a_characterised_colour_bias_widens_the_interval_by_its_size() -> None:
    plain = judge(TWO, results(CLEAR, colour_sensitive=True, colour_checked=True)).comparisons[0]
    small = judge(TWO, results(CLEAR, colour_sensitive=True, bias_log_sd=0.1)).comparisons[0]
    large = judge(TWO, results(CLEAR, colour_sensitive=True, bias_log_sd=2.0)).comparisons[0]
    assert plain.high - plain.low < small.high - small.low < large.high - large.low
    assert small.call == "better" and large.call == "can't tell yet"
    # With a bias far above the scatter the interval is the normal one of the bias alone: 2 x 1.645 x sqrt(2) x 2.
    assert large.high - large.low == pytest.approx(2 * 1.6449 * math.sqrt(2) * 2.0, rel=0.01)


def test_the_same_recipe_in_two_vessels_has_one_colour() -> None:
    trial = Trial(key="v", name="x", question="vessels", arms=(Arm(key="plain", recipe="r"), Arm(key="kelp", recipe="r")))
    assert judge(trial, results(CLEAR, colour_sensitive=True)).comparisons[0].call == "better"


def test_recipes_brewed_on_different_days_cannot_be_told_from_the_days() -> None:
    split = [
        BrewResult(brew=f"{arm}-{i}", arm=arm, value=value, block="Monday" if arm == "plain" else "Tuesday")
        for arm, row in CLEAR.items()
        for i, value in enumerate(row)
    ]
    verdict = judge(TWO, split)
    assert verdict.comparisons[0].call == "can't tell yet" and verdict.comparisons[0].effect is None
    assert "block" in verdict.comparisons[0].because


def test_blocks_take_out_what_the_days_share() -> None:
    day = (1.0, 5.0, 0.2, 20.0)
    wobble = {"plain": (1.0, 1.05, 0.97, 1.02), "kelp": (1.03, 0.98, 1.01, 0.96)}
    rows = [
        BrewResult(brew=f"{arm}-{i}", arm=arm, value=base * day[i] * wobble[arm][i], block=str(i))
        for arm, base in (("plain", 10.0), ("kelp", 16.0))
        for i in range(4)
    ]
    assert judge(TWO, rows).comparisons[0].call == "better"
    assert judge(TWO, [replace(row, block="") for row in rows]).comparisons[0].call == "can't tell yet"


def test_an_unplanned_comparison_is_marked_and_held_to_a_stricter_bar() -> None:
    arms = (PLAIN, KELP, Arm(key="fish", recipe="fish"))
    trial = Trial(key="s", name="x", question="several against a standard", arms=arms)
    rng = np.random.default_rng(5)
    values = {arm.key: tuple(np.exp(rng.normal(2 + 0.6 * i, 0.3, 5))) for i, arm in enumerate(arms)}
    verdict = judge(trial, results(values), also=[("fish", "kelp")])
    unplanned = verdict.comparisons[-1]
    assert not unplanned.planned and all(c.planned for c in verdict.comparisons[:-1])
    assert "Nobody planned" in unplanned.because
    # The same comparison, had it been the only planned one, has a narrower interval.
    alone = fit_effects(
        np.log([v for arm in arms for v in values[arm.key]]),
        lay_out([i for i in range(3) for _ in range(5)]),
        np.array([[0.0, -1.0, 1.0]]),
    )
    assert unplanned.family_high - unplanned.family_low > 1.1 * float(np.ptp([alone.quantile(0.05), alone.quantile(0.95)]))


def test_several_arms_widen_the_family_interval() -> None:
    arms = (PLAIN, *(Arm(key=f"r{i}", recipe=f"r{i}") for i in range(4)))
    rng = np.random.default_rng(8)
    trial = Trial(key="s", name="x", question="several against a standard", arms=arms)
    verdict = judge(trial, results({arm.key: tuple(np.exp(rng.normal(2, 0.4, 4))) for arm in arms}))
    for comparison in verdict.comparisons:
        assert comparison.family_high - comparison.family_low > 1.2 * (comparison.high - comparison.low)
    assert {check.method for check in verdict.checks} >= {"Dunnett's test on brew means"}


def test_ranking_gives_a_range_of_places() -> None:
    arms = tuple(Arm(key=key, recipe=key) for key in ("a", "b", "c"))
    trial = Trial(key="b", name="x", question="vessels", arms=arms)
    verdict = judge(trial, results({"a": (1.0, 1.1, 0.9, 1.0), "b": (1.05, 0.95, 1.1, 1.0), "c": (9.0, 8.0, 10.0, 9.5)}))
    places = {place.arm: (place.best_place, place.worst_place) for place in verdict.ranking}
    assert places == {"c": (1, 1), "a": (2, 3), "b": (2, 3)}
    assert verdict.ranking[0].arm == "c" and verdict.ranking[0].probability_best > 0.999
    assert sum(place.probability_best for place in verdict.ranking) == pytest.approx(1.0)


def test_factor_effects_are_ratios_of_halves_and_aliases_are_left_out() -> None:
    levels = [(m, k) for m in (0.0, 1.0) for k in (0.0, 1.0)]
    arms = tuple(Arm(key=f"m{m:g}k{k:g}", recipe=f"m{m:g}k{k:g}", levels={"molasses": m, "kelp": k}) for m, k in levels)
    trial = Trial(key="f", name="x", question="factors", arms=arms)
    assert [contrast.label for contrast in planned_contrasts(trial)] == ["kelp", "molasses", "kelp x molasses"]
    values = {arm.key: tuple(10.0 * 2 ** arm.levels["molasses"] * w for w in (1.0, 1.02, 0.98)) for arm in arms}
    verdict = judge(trial, results(values))
    by_label = {c.label: c for c in verdict.comparisons}
    assert math.exp(by_label["molasses"].effect) == pytest.approx(2.0, rel=1e-9)
    assert math.exp(by_label["kelp"].effect) == pytest.approx(1.0, rel=1e-9)
    half = tuple(
        Arm(key=f"h{i}", recipe=f"h{i}", levels={"a": a, "b": b, "c": a * b})
        for i, (a, b) in enumerate((x, y) for x in (-1.0, 1.0) for y in (-1.0, 1.0))
    )
    assert [c.label for c in planned_contrasts(Trial(key="h", name="x", question="factors", arms=half))] == [
        "a",
        "b",
        "c",
    ]


def test_with_a_cell_missing_each_factor_is_told_where_its_levels_stand_side_by_side() -> None:
    """Simple effects by hand: the ratio of two means of logs with Welch's error; what needs the missing cell is not made up."""
    levels = {"00": (0.0, 0.0), "10": (1.0, 0.0), "01": (0.0, 1.0), "11": (1.0, 1.0)}
    arms = tuple(Arm(key=k, recipe=k, levels={"kelp": a, "air": b}) for k, (a, b) in levels.items())
    trial = Trial(key="f", name="x", question="factors", arms=arms, margin_ratio=1.25)
    values = {"00": (10.0, 11.0, 9.5, 10.4), "10": (20.0, 23.0, 19.0, 21.0), "01": (10.2, 10.9, 9.4, 10.6)}
    verdict = judge(trial, results(values))
    by_label = {c.label: c for c in verdict.comparisons}
    assert set(by_label) == {"kelp at air 0", "air at kelp 0"}
    logs = {key: [math.log(value) for value in own] for key, own in values.items()}
    for label, key in (("kelp at air 0", "10"), ("air at kelp 0", "01")):
        assert by_label[label].effect == pytest.approx(sum(logs[key]) / 4 - sum(logs["00"]) / 4)
    assert by_label["kelp at air 0"].call == "better"
    assert any(rival.name == "missing cell" and "11" in rival.remedy for rival in verdict.rivals)
    with pytest.raises(NotEnoughData):  # both factors differ between these two: neither is told
        judge(trial, results({key: values["10"] if key == "11" else values["00"] for key in ("00", "11")}))


def test_of_three_factors_a_missing_cell_leaves_the_levels_that_are_whole() -> None:
    cells = [(a, b, c) for a in (0.0, 1.0) for b in (0.0, 1.0) for c in (0.0, 1.0)]
    arms = tuple(
        Arm(key=f"{a:g}{b:g}{c:g}", recipe="x", levels={"a": a, "b": b, "c": c})
        for a, b, c in cells
        if (a, b, c) != (1.0, 1.0, 1.0)
    )
    found = {c.label: dict(zip([arm.key for arm in arms], c.weights, strict=True)) for c in planned_contrasts(
        Trial(key="f", name="x", question="factors", arms=arms)
    )}  # fmt: skip
    third = 1.0 / 3.0
    assert found["a at 3 of the levels of the others"] == pytest.approx(
        {"000": -third, "001": -third, "010": -third, "011": 0.0, "100": third, "101": third, "110": third}
    )
    assert found["a x b at c 0"] == pytest.approx(
        {"000": 1.0, "010": -1.0, "100": -1.0, "110": 1.0, "001": 0, "011": 0, "101": 0}
    )
    assert set(found) == {f"{name} at 3 of the levels of the others" for name in "abc"} | {
        "a x b at c 0", "a x c at b 0", "b x c at a 0"
    }  # fmt: skip


def test_pots_of_one_brew_speak_of_that_brew() -> None:
    trial = Trial(
        key="p",
        name="x",
        question="field response",
        outcome="yield",
        arms=(Arm(key="water", is_standard=True), Arm(key="tea")),
    )
    pots = [
        BrewResult(brew=f"pot{i}", arm=arm, value=value, source_brew="b1" if arm == "tea" else "")
        for i, (arm, value) in enumerate(
            [("water", 10.0), ("water", 11.0), ("water", 10.5), ("tea", 14.0), ("tea", 15.0), ("tea", 14.2)]
        )
    ]
    assert any(rival.name == "one brew" for rival in judge(trial, pots).rivals)
    many = [
        BrewResult(brew=f"p{b}{i}", arm="tea", value=14.0 + b + 0.1 * i, source_brew=f"b{b}") for b in range(3) for i in range(4)
    ]
    verdict = judge(trial, [*pots[:3], *many])
    assert verdict.brews == 6  # three water pots and three brews of tea, not twelve tea pots


def test_a_score_is_compared_by_difference() -> None:
    trial = Trial(
        key="p",
        name="x",
        question="field response",
        outcome="score",
        arms=(Arm(key="water", is_standard=True), Arm(key="tea")),
    )
    pots = results({"water": (5.0, 5.5, 4.8, 5.1), "tea": (7.0, 7.4, 6.9, 7.2)})
    assert judge(trial, pots, margin=1.0).comparisons[0].effect == pytest.approx(2.025)
    with pytest.raises(UnusableRecord, match="difference"):
        judge(trial, pots)


def test_more_looks_make_a_claim_harder() -> None:
    values = {"plain": (10.0, 13.0, 9.0), "kelp": (17.0, 22.0, 16.0)}
    assert judge(TWO, results(values)).comparisons[0].call == "better"
    strict = allowance_now([4, 6], planned_brews=12)
    assert judge(TWO, results(values), standing=Standing(allowance=strict)).comparisons[0].call == "can't tell yet"


def test_an_arm_without_brews_is_named() -> None:
    with pytest.raises(NotEnoughData, match="kelp"):
        judge(TWO, results({"plain": (1.0, 2.0)}))


def test_brews_that_read_exactly_alike_show_no_scatter_to_judge_by() -> None:
    verdict = judge(TWO, results({"plain": (10.0, 10.0, 10.0), "kelp": (20.0, 20.0, 20.0)}))
    assert verdict.comparisons[0].call == "can't tell yet" and "too coarse" in verdict.comparisons[0].because
