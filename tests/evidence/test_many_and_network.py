"""Many brews at once, indirect comparisons, flags, duplicates and the evidence on one question."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.evidence import (
    ManyBrews,
    TrialContrast,
    array_module,
    evidence_hash,
    flags,
    network,
    pool,
    pool_brews,
    weigh,
    without_duplicates,
)
from aerobe.evidence._blocks import Blocks, given_spreads, segment_sums

GOOD = {
    "planned": True,
    "blinded": True,
    "randomised": True,
    "killed_control": True,
    "assay_characterised": True,
    "brews": 4,
    "brews_against": 4,
}


def contrast(key: str, recipe: str, against: str, effect: float, variance: float = 0.02, **more: object) -> TrialContrast:
    return TrialContrast(key=key, recipe=recipe, against=against, effect=effect, variance=variance, **{**GOOD, **more})


def brews_of(rng: np.random.Generator, trials: int, recipes: int = 4, each: int = 4) -> tuple[np.ndarray, ManyBrews]:
    """Invented brews: two recipes a trial, drawn from the very model, with a true effect for each recipe."""
    effects = np.concatenate([[0.0], rng.normal(0.0, 0.3, recipes - 1)])
    trial = np.repeat(np.arange(trials), 2 * each)
    arms = np.array([rng.choice(recipes, 2, replace=False) for _ in range(trials)])
    recipe = arms[trial, np.tile(np.repeat([0, 1], each), trials)]
    level, cell = rng.normal(4.0, 0.8, trials), rng.normal(0.0, 0.25 / math.sqrt(2.0), (trials, recipes))
    warm, v = rng.uniform(15.0, 28.0, len(trial)), rng.uniform(0.01, 0.05, len(trial))
    y = level[trial] + effects[recipe] + cell[trial, recipe] + 0.02 * (warm - 20.0) + rng.normal(0.0, np.sqrt(0.09 + v))
    return effects, ManyBrews(
        outcome=y,
        variance=v,
        trial=[f"t{i}" for i in trial],
        recipe=[f"r{i}" for i in recipe],
        moderators={"temperature_degc": warm},
    )


def test_the_block_formulas_equal_dense_matrices() -> None:
    _, data = brews_of(np.random.default_rng(5), 12)
    scales = np.array([1.5, 0.5, 0.7])
    blocks = Blocks.of(data, "r0", 1.0, np)
    theta = np.log([[0.8, 0.25, 0.3], [0.4, 0.01, 0.6]])
    value, mean, cov = given_spreads(blocks, theta, scales)
    trial, recipe = np.asarray(data.trial), np.asarray(data.recipe)
    warm = data.moderators["temperature_degc"]
    X = np.column_stack([np.ones(len(trial)), *[recipe == name for name in blocks.names[1:]], (warm - warm.mean()) / warm.std()])
    prior = np.diag([1e-4] + [1.0] * (X.shape[1] - 1))
    for row, logs in enumerate(theta):
        between, within, brew = np.exp(logs)
        together = trial[:, None] == trial
        V = np.diag(data.variance + brew**2) + together * between**2 + together * (recipe[:, None] == recipe) * 0.5 * within**2
        A = X.T @ np.linalg.solve(V, X) + prior
        b = X.T @ np.linalg.solve(V, data.outcome)
        beta = np.linalg.solve(A, b)
        dense = (
            -0.5
            * (np.linalg.slogdet(V)[1] + data.outcome @ np.linalg.solve(V, data.outcome) - b @ beta + np.linalg.slogdet(A)[1])
            + (logs - 0.5 * (np.exp(logs) / scales) ** 2).sum()
        )
        assert value[row] == approx(dense, abs=1e-8)
        assert mean[row] == approx(beta, abs=1e-9)
        assert cov[row] == approx(np.linalg.inv(A), abs=1e-10)


def test_the_lattice_agrees_with_a_fine_grid_over_the_spreads() -> None:
    _, data = brews_of(np.random.default_rng(9), 20)
    blocks, scales = Blocks.of(data, "r0", 1.0, np), np.array([1.5, 0.5, 0.7])
    axes = (np.linspace(-1.5, 1.0, 26), np.linspace(-6.5, 0.8, 49), np.linspace(-2.2, -0.4, 31))
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    parts = [given_spreads(blocks, piece, scales) for piece in np.array_split(grid, 400)]
    score = np.concatenate([part[0] for part in parts])
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    found = pool_brews(data, reference="r0")
    for place, name in enumerate(("between trials", "recipe by trial", "between brews")):
        values = np.exp(grid[:, place])
        assert found.spreads[name].mean == approx(weight @ values, rel=0.02), name
        order = np.argsort(values)
        upper = values[order][np.searchsorted(np.cumsum(weight[order]), 0.95)]
        assert found.spreads[name].high == approx(upper, rel=0.08), name
    means = np.concatenate([part[1] for part in parts])
    assert found.recipes[0].effect.mean == approx(weight @ means[:, 1], abs=0.003)


def test_running_sums_of_the_gpu_path_equal_the_ready_ones() -> None:
    class Borrowed:
        """numpy under another name, so that the path for a GPU runs here."""

        def __getattr__(self, name: str) -> object:
            return getattr(np, name)

    values = np.random.default_rng(1).normal(size=(3, 50, 2))
    starts = np.array([0, 7, 8, 30, 50])
    assert segment_sums(Borrowed(), values, starts, 1) == approx(segment_sums(np, values, starts, 1))
    _, data = brews_of(np.random.default_rng(2), 15)
    plain, other = pool_brews(data), pool_brews(data, xp=Borrowed())
    assert other.recipes[0].effect.mean == approx(plain.recipes[0].effect.mean, abs=1e-9)


def test_90_percent_intervals_of_the_many_brew_pool_cover_90_percent() -> None:
    inside = {"recipes": [], "spreads": []}
    for seed in range(60):
        effects, data = brews_of(np.random.default_rng(seed), 40)
        found = pool_brews(data, reference="r0")
        by_name = {one.recipe: one.effect for one in found.recipes}
        inside["recipes"] += [by_name[f"r{i}"].low <= effect <= by_name[f"r{i}"].high for i, effect in enumerate(effects) if i]
        inside["spreads"] += [
            found.spreads[name].low <= true <= found.spreads[name].high
            for name, true in (("between trials", 0.8), ("between brews", 0.3))
        ]
    assert 0.84 <= np.mean(inside["recipes"]) <= 0.96
    assert 0.84 <= np.mean(inside["spreads"]) <= 0.96


def test_brews_of_one_trial_are_not_taken_for_trials() -> None:
    """A hundred brews in two trials say less of a recipe than eight brews in each of twelve."""
    rng = np.random.default_rng(4)
    _, few = brews_of(rng, 2, recipes=2, each=25)
    _, many = brews_of(rng, 12, recipes=2, each=4)
    assert pool_brews(few).recipes[0].effect.sd > 1.5 * pool_brews(many).recipes[0].effect.sd


def test_an_unknown_gain_of_a_trials_assay_changes_no_recipe_effect() -> None:
    _, data = brews_of(np.random.default_rng(8), 25)
    gains = dict(zip(sorted(set(data.trial)), np.random.default_rng(0).normal(0, 0.5, 25), strict=True))
    scaled = replace(data, outcome=data.outcome + np.array([gains[name] for name in data.trial]))
    first, second = pool_brews(data).recipes[0].effect, pool_brews(scaled).recipes[0].effect
    assert second.mean == approx(first.mean, abs=0.05 * first.sd + 0.02)


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"variance": np.zeros(80)}, UnusableRecord),
        ({"outcome": np.full(80, np.nan)}, UnusableRecord),
        ({"outcome": np.zeros(79)}, UnusableRecord),
        ({"recipe": ["r0"] * 80}, NotEnoughData),
        ({"moderators": {"temperature_degc": np.full(80, 20.0)}}, UnusableRecord),
    ],
)
def test_columns_that_cannot_be_pooled_are_refused(change: dict, fault: type) -> None:
    _, data = brews_of(np.random.default_rng(1), 10)
    with pytest.raises(fault):
        pool_brews(replace(data, **change))


def test_asking_for_a_gpu_that_is_not_there_says_so() -> None:
    try:
        import cupy  # noqa: F401
    except ImportError:
        with pytest.raises(UnusableRecord, match="No GPU"):
            array_module("cupy")
    assert array_module() is np


# -- network ---------------------------------------------------------------------------------------------------------


def test_an_indirect_comparison_is_the_difference_and_its_variance_the_sum() -> None:
    # Bucher, Guyatt, Griffith & Walter 1997, J Clin Epidemiol 50:683: d_AB = d_AC - d_BC, variances add
    found = network([contrast("t1", "kelp", "plain", 0.5, 0.04), contrast("t2", "fish", "plain", 0.2, 0.05)], reference="plain")
    pair = found.of("kelp", "fish")
    assert pair.effect == approx(0.3)
    assert pair.se == approx(0.3)
    assert pair.direct_trials == 0 and math.isnan(pair.direct)
    assert not pair.spread_known


def test_a_network_of_one_pair_is_the_plain_pool() -> None:
    numbers = [(0.5, 0.04), (0.1, 0.02), (0.7, 0.05), (0.3, 0.03)]
    items = [contrast(f"t{i}", "kelp", "plain", y, v) for i, (y, v) in enumerate(numbers)]
    plain = pool([one.effect for one in items], [one.variance for one in items], hartung_knapp=False)
    pair = network(items, reference="plain").of("kelp", "plain")
    assert pair.effect == approx(plain.estimate, abs=1e-5)
    assert pair.se == approx(plain.se, abs=1e-5)
    assert pair.direct_trials == 4
    assert network(items).of("plain", "kelp").effect == approx(-pair.effect)


def test_arms_that_share_a_standard_are_not_counted_twice() -> None:
    arms = (("kelp", 0.4), ("fish", 0.1))
    shared = [contrast("t1", name, "plain", effect, 0.05, shared_variance=0.03) for name, effect in arms]
    pair = network(shared, reference="plain").of("kelp", "fish")
    assert pair.se**2 == approx(0.05 + 0.05 - 2 * 0.03)


def test_disagreement_of_direct_and_indirect_evidence_is_found() -> None:
    items = [
        contrast("a1", "kelp", "plain", 0.5, 0.003),
        contrast("a2", "kelp", "plain", 0.5, 0.003),
        contrast("b1", "fish", "plain", 0.5, 0.003),
        contrast("b2", "fish", "plain", 0.5, 0.003),
        contrast("c1", "kelp", "fish", 0.8, 0.003),
        contrast("c2", "kelp", "fish", 0.8, 0.003),
    ]
    pair = network(items, reference="plain").of("kelp", "fish")
    assert pair.direct == approx(0.8, abs=0.02) and pair.indirect == approx(0.0, abs=0.02)
    assert pair.disagree_p < 0.05
    agree = [one if one.key[0] != "c" else replace(one, effect=0.01) for one in items]
    assert network(agree, reference="plain").of("kelp", "fish").disagree_p > 0.5


def test_recipes_without_a_chain_stand_apart() -> None:
    found = network([contrast("t1", "kelp", "plain", 0.5), contrast("t2", "bran", "straw", 0.2)], reference="plain")
    assert found.apart == ("bran", "straw")
    with pytest.raises(NotEnoughData, match="No chain"):
        found.of("kelp", "bran")


def test_mixed_outcomes_and_mixed_standards_are_refused() -> None:
    with pytest.raises(UnusableRecord, match="different outcomes"):
        network([contrast("t1", "kelp", "plain", 0.5), contrast("t2", "kelp", "plain", 0.5, outcome="ratio")])
    with pytest.raises(UnusableRecord, match="share one standard"):
        network([contrast("t1", "kelp", "plain", 0.5), contrast("t1", "kelp", "fish", 0.1)])


# -- flags, duplicates, the whole ---------------------------------------------------------------------------------------


def test_one_brew_per_recipe_leaves_a_trial_out() -> None:
    marks = flags(contrast("t1", "kelp", "plain", 0.5, brews=1))
    assert [(flag.name, flag.severity) for flag in marks] == [("one brew", "leaves it out")]
    assert "nothing can be said about the recipe" in marks[0].words


def test_what_is_not_told_is_a_note_and_what_was_not_done_weakens() -> None:
    weak = contrast("t", "a", "b", 0.1, planned=False, blinded=None, killed_control=False)
    told = {flag.name: flag.severity for flag in flags(weak)}
    assert told == {"colour": "weakens", "unplanned": "weakens", "not blinded": "note"}
    assert any(flag.name == "implausible" for flag in flags(contrast("t", "a", "b", 6.0)))


def test_the_same_readings_under_another_name_are_left_out() -> None:
    mark = evidence_hash({"signal": [1.0, 2.0]})
    one = contrast("spring", "kelp", "plain", 0.5, data_hash=mark, site="A")
    again = contrast("fruehling", "Kelp!", "plain", 0.5, data_hash=mark, site="B")
    lookalike = contrast("autumn", "kelp", "plain", 0.5, data_hash=evidence_hash(1), site="C")
    kept, doubles = without_duplicates([one, again, lookalike])
    assert kept == (one, lookalike)
    assert [double.certain for double in doubles] == [True, False]


def test_two_contrasts_of_one_data_set_are_no_doubles() -> None:
    mark = evidence_hash([1.0])
    kept, doubles = without_duplicates(
        [contrast("t", name, "plain", effect, data_hash=mark) for name, effect in (("kelp", 0.5), ("fish", 0.2))]
    )
    assert len(kept) == 2 and not doubles


def test_weighing_turns_pools_and_says() -> None:
    items = [contrast(f"t{i}", "kelp", "plain", 0.6 + 0.02 * i, 0.01) for i in range(5)]
    items += [contrast("t9", "plain", "kelp", -0.75, 0.01), contrast("bad", "kelp", "plain", -3.0, 0.01, brews=1)]
    found = weigh(items, "kelp", "plain")
    assert found.answer == "better"
    assert len(found.contrasts) == 6 and [one.key for one in found.left_out] == ["bad"]
    assert found.says.startswith("6 trials: kelp gives 1.93 (1.75 to 2.13) times plain (90 % interval). It gives more")
    assert weigh(items, "plain", "kelp").answer == "worse"


def test_agreeing_trials_within_the_margin_are_about_the_same() -> None:
    effects = (0.03, -0.05, 0.06, -0.02, 0.01, -0.07, 0.04, 0.0)
    items = [contrast(f"t{i}", "kelp", "plain", effect, 0.002) for i, effect in enumerate(effects)]
    assert weigh(items, "kelp", "plain").answer == "about the same"


def test_a_single_trial_is_never_a_finding() -> None:
    found = weigh([contrast("t1", "kelp", "plain", 2.0, 0.001)], "kelp", "plain")
    assert found.answer == "cannot tell" and found.pooled is None
    assert "not been repeated" in found.says


def test_a_chain_of_single_trials_is_never_a_finding() -> None:
    found = weigh([contrast("t1", "kelp", "plain", 2.0, 0.001), contrast("t2", "fish", "plain", 0.0, 0.001)], "kelp", "fish")
    assert found.answer == "cannot tell" and "how far they differ is not known" in found.says


def test_nothing_about_the_pair_is_said_so() -> None:
    with pytest.raises(NotEnoughData, match="No usable trial"):
        weigh([contrast("t1", "kelp", "plain", 2.0)], "bran", "plain")


def test_null_recipes_are_seldom_called_better_or_worse() -> None:
    rng = np.random.default_rng(21)
    wrong = 0
    for _ in range(100):
        items = [contrast(f"t{i}", "kelp", "plain", float(rng.normal(0.0, math.sqrt(0.04 + 0.03))), 0.03) for i in range(5)]
        wrong += weigh(items, "kelp", "plain").answer in ("better", "worse")
    assert wrong / 100 <= 0.08
