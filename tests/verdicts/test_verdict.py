"""What a verdict promises the brewer, and what it refuses to say."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from aerobe.errors import NotEnoughData, UnusableReading, UnusableRecord
from aerobe.records import Arm, Assay, AssayError, Brew, Reading, Trial
from aerobe.verdicts import (
    BrewResult,
    answer_dose_series,
    brew_results,
    call_contrasts,
    every_pair,
    fit_effects,
    judge,
    lay_out,
    planned_contrasts,
)
from tests.conftest import DATA

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
    assert [c.label for c in planned_contrasts(Trial(key="h", name="x", question="factors", arms=half))] == ["a", "b", "c"]


def test_pots_of_one_brew_speak_of_that_brew() -> None:
    trial = Trial(
        key="p", name="x", question="field response", outcome="yield", arms=(Arm(key="water", is_standard=True), Arm(key="tea"))
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
        key="p", name="x", question="field response", outcome="score", arms=(Arm(key="water", is_standard=True), Arm(key="tea"))
    )
    pots = results({"water": (5.0, 5.5, 4.8, 5.1), "tea": (7.0, 7.4, 6.9, 7.2)})
    assert judge(trial, pots, margin=1.0).comparisons[0].effect == pytest.approx(2.025)
    with pytest.raises(UnusableRecord, match="difference"):
        judge(trial, pots)


def test_more_looks_make_a_claim_harder() -> None:
    values = {"plain": (10.0, 13.0, 9.0), "kelp": (17.0, 22.0, 16.0)}
    assert judge(TWO, results(values)).comparisons[0].call == "better"
    assert judge(TWO, results(values), looks=10).comparisons[0].call == "can't tell yet"


def test_an_arm_without_brews_is_named() -> None:
    with pytest.raises(NotEnoughData, match="kelp"):
        judge(TWO, results({"plain": (1.0, 2.0)}))


def test_brews_that_read_exactly_alike_show_no_scatter_to_judge_by() -> None:
    verdict = judge(TWO, results({"plain": (10.0, 10.0, 10.0), "kelp": (20.0, 20.0, 20.0)}))
    assert verdict.comparisons[0].call == "can't tell yet" and "too coarse" in verdict.comparisons[0].because


def test_every_pair_lists_each_once() -> None:
    assert every_pair(TWO.arms) == [("kelp", "plain")]


# --- from readings ---------------------------------------------------------------------------------------------------------

COLOUR = Assay(
    key="c", name="home colour test", method="colour test", error=AssayError(constant_sd=0.5, proportional_cv=0.05, bias=2.0)
)


def brew(key: str, arm: str) -> Brew:
    return Brew(key=key, name=key, recipe=arm, vessel="v", started_at=datetime(2026, 5, 1, tzinfo=UTC), arm=arm)


def reading(key: str, of: str, role: str, signal: float, hours: float = 24.0, **more) -> Reading:
    return Reading(
        key=key, brew=of, assay="c", role=role, elapsed_h=hours, signal=signal, unit="ug C/mL", typed_as=str(signal), **more
    )


def test_the_killed_control_of_the_brew_is_subtracted() -> None:
    found = brew_results(
        [brew("b", "kelp")],
        [reading("1", "b", "sample", 12.0), reading("2", "b", "sample", 14.0), reading("3", "b", "killed control", 5.0)],
        {"c": COLOUR},
    )[0]
    assert found.value == pytest.approx(8.0) and found.tests == 2 and found.colour_checked
    variance = (0.25 + (0.05 * 13) ** 2) / 2 + 0.25 + (0.05 * 5) ** 2
    assert found.test_log_sd == pytest.approx(math.sqrt(variance) / 8.0)


def test_without_control_the_characterised_bias_is_taken_off_and_the_brew_is_marked() -> None:
    found = brew_results([brew("b", "kelp")], [reading("1", "b", "sample", 12.0)], {"c": COLOUR})[0]
    assert found.value == pytest.approx(10.0) and not found.colour_checked and found.bias_log_sd is None


def test_a_corrected_reading_is_left_out() -> None:
    rows = [reading("1", "b", "sample", 120.0), reading("2", "b", "sample", 12.0, replaces="1")]
    assert brew_results([brew("b", "kelp")], rows, {"c": COLOUR})[0].tests == 1


def test_doubling_dilution_and_halving_signal_changes_nothing() -> None:
    one = brew_results([brew("b", "kelp")], [reading("1", "b", "sample", 12.0)], {"c": COLOUR})[0]
    two = brew_results([brew("b", "kelp")], [reading("1", "b", "sample", 6.0, dilution=2.0)], {"c": COLOUR})[0]
    assert one.value == two.value


def test_a_brew_below_its_control_is_set_to_the_limit_and_marked() -> None:
    limited = Assay(
        key="c", name="c", method="colour test", error=AssayError(constant_sd=0.5, proportional_cv=0.05, detection_limit=1.5)
    )
    rows = [reading("1", "b", "sample", 4.0), reading("2", "b", "killed control", 5.0)]
    found = brew_results([brew("b", "kelp")], rows, {"c": limited})[0]
    assert found.at_limit and found.value == pytest.approx(1.5)


def test_two_assays_are_not_averaged() -> None:
    other = Reading(key="9", brew="b", assay="d", role="sample", elapsed_h=24.0, signal=3.0, unit="x", typed_as="3")
    with pytest.raises(UnusableReading, match="several assays"):
        brew_results([brew("b", "kelp")], [reading("1", "b", "sample", 4.0), other], {"c": COLOUR, "d": COLOUR})


def test_a_brew_without_reading_at_the_time_is_named() -> None:
    with pytest.raises(NotEnoughData, match="within 1 h of 30 h"):
        brew_results([brew("b", "kelp")], [reading("1", "b", "sample", 4.0)], {"c": COLOUR}, at_h=30.0)


def test_brews_are_compared_at_the_latest_hour_they_share() -> None:
    rows = [
        reading("1", "b", "sample", 4.0, 12.0),
        reading("2", "b", "sample", 9.0, 24.0),
        reading("3", "c", "sample", 5.0, 12.0),
    ]
    found = brew_results([brew("b", "kelp"), brew("c", "plain")], rows, {"c": COLOUR})
    assert [result.elapsed_h for result in found] == [12.0, 12.0]


def test_brews_sampled_at_different_hours_are_named_as_a_rival() -> None:
    rows = [reading("1", "b", "sample", 40.0, 24.0), reading("3", "c", "sample", 5.0, 12.0)]
    found = brew_results([brew("b", "kelp"), brew("c", "plain")], rows, {"c": COLOUR})
    verdict = judge(TWO, found)
    assert any(rival.name == "hours" and "12 to 24 h" in rival.words for rival in verdict.rivals)


# --- in repeated use ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("arms", "brews", "brew_sd", "test_sd"), [(2, 3, 0.5, 0.1), (2, 5, 0.05, 0.4), (4, 3, 1.2, 0.2)])
def test_recipes_that_do_not_differ_are_rarely_told_apart(arms: int, brews: int, brew_sd: float, test_sd: float) -> None:
    rng = np.random.default_rng(11)
    n = arms * brews
    y = rng.normal(0, brew_sd, (20000, n)) + rng.normal(0, test_sd, (20000, n))
    rows = np.eye(arms)[1:] - np.eye(arms)[0]
    calls = call_contrasts(fit_effects(y, lay_out([i % arms for i in range(n)]), rows), math.log(1.25))
    assert calls.above.any(axis=1).mean() <= 0.05  # false "better"
    assert (calls.above | calls.below).any(axis=1).mean() <= 0.055  # any false claim: 5 % within simulation error


@pytest.mark.parametrize("tests", [[1], [1, 5]])
@pytest.mark.parametrize(("brew_sd", "test_sd"), [(0.5, 0.2), (0.05, 0.4), (1.2, 0.1)])
def test_intervals_hold_the_truth_nine_times_in_ten(tests: list[int], brew_sd: float, test_sd: float) -> None:
    rng = np.random.default_rng(12)
    trials = 6000 if len(tests) == 1 else 1500
    n = np.array([tests[i % len(tests)] for i in range(8)])
    y = np.repeat([0.0, 0.7], 4) + rng.normal(0, brew_sd, (trials, 8)) + rng.normal(0, 1, (trials, 8)) * test_sd / np.sqrt(n)
    found = fit_effects(y, lay_out([0] * 4 + [1] * 4), np.array([[-1.0, 1.0]]), test_sd**2 / n)
    inside = (found.quantile(0.05) < 0.7) & (found.quantile(0.95) > 0.7)
    assert 0.87 <= inside.mean() <= 0.93


def test_the_coverage_count_notices_intervals_made_too_narrow() -> None:
    rng = np.random.default_rng(12)
    y = np.repeat([0.0, 0.7], 4) + rng.normal(0, 0.5, (6000, 8))
    found = fit_effects(y, lay_out([0] * 4 + [1] * 4), np.array([[-1.0, 1.0]]))
    inside = (found.quantile(0.10) < 0.7) & (found.quantile(0.90) > 0.7)
    assert not 0.87 <= inside.mean() <= 0.93


def test_colour_bias_is_covered_when_it_was_characterised() -> None:
    rng = np.random.default_rng(13)
    bias = rng.normal(0, 0.3, (8000, 2))
    y = np.repeat(bias, 4, axis=1) + np.repeat([0.0, 0.7], 4) + rng.normal(0, 0.4, (8000, 8))
    found = fit_effects(y, lay_out([0] * 4 + [1] * 4), np.array([[-1.0, 1.0]]), None, np.array([2 * 0.3**2]))
    inside = (found.quantile(0.05) < 0.7) & (found.quantile(0.95) > 0.7)
    assert 0.87 <= inside.mean() <= 0.93


def test_the_best_dose_lies_in_its_interval_nine_times_in_ten() -> None:
    rng = np.random.default_rng(14)
    doses = [d for d in (0.0, 1.0, 2.0, 4.0, 8.0) for _ in range(4)]
    inside = []
    for _ in range(1000):
        y = [-0.6 * (math.sqrt(d) - 1.5) ** 2 + rng.normal(0, 0.3) for d in doses]
        answer = answer_dose_series(doses, y)
        if answer.kind == "peak":
            inside.append(answer.best_low <= 2.25 <= answer.best_high)
    assert len(inside) > 900
    assert 0.87 <= np.mean(inside) <= 0.93


# --- real data ----------------------------------------------------------------------------------------------------------------


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
    trial = Trial(
        key="s11", name="Foods", question="several against a standard", outcome="count", arms=arms, margin_ratio=1.5
    )
    verdict = judge(trial, bottles(52.0))
    assert [comparison.call for comparison in verdict.comparisons] == ["can't tell yet"] * 3
    # Glucose against control from the printed counts: mean of logs of two bottles each.
    told = verdict.comparisons[-1]
    assert math.exp(told.effect) == pytest.approx(
        math.sqrt(1260555.45746852 * 1007899.01139407 / 2325486.04639986 / 2251715.72997276)
    )
    assert told.high < 0.0 < told.family_high  # alone it would seem told; together with the others it is not
    assert {place.worst_place for place in verdict.ranking} == {4}
