"""What colour does to a test, and whether the stated intervals hold."""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx

from aerobe.assay import ColourReading, colour_fit, estimate_colour_bias
from aerobe.errors import NotEnoughData, UnusableReading
from benchmarks.how_often_does_the_colour_interval_hold import TrueTest, colour_coverage

STUDIES = 2000


def holds(share: float) -> bool:
    return 0.87 <= share <= 0.93


@pytest.mark.parametrize(
    "true", [TrueTest(), TrueTest(proportional_cv=0.3), TrueTest(tea_slope=0.0), TrueTest(constant_sd=1.0, tea_slope=150.0)]
)
def test_colour_bias_lies_in_its_90_percent_interval_in_90_percent_of_2000_studies(true: TrueTest) -> None:
    found = colour_coverage(true, studies=STUDIES, seed=20)
    assert holds(found.of_bias) and holds(found.of_slope)


def test_that_check_notices_intervals_made_too_narrow() -> None:
    found = colour_coverage(TrueTest(), studies=STUDIES, seed=20, spoil=0.8)
    assert not holds(found.of_bias) and not holds(found.of_slope)


def test_that_check_notices_a_forgotten_covariance() -> None:
    assert not holds(colour_coverage(TrueTest(), studies=STUDIES, seed=20, ignore_covariance=True).of_bias)


WATER = [ColourReading(kind="water blank", signal=s) for s in (5.2, 4.1, 6.3, 5.0, 4.4, 5.3)]
HUMIC = [
    ColourReading(kind="colourant", signal=5 + 50 * c + d, colour=c, what="humic") for c in (0.2, 0.4, 0.8) for d in (-1.1, 0.9)
]
LOAM = [
    ColourReading(kind="colourant", signal=5 + 30 * c + d, colour=c, what="molasses")
    for c in (0.2, 0.4, 0.8)
    for d in (-0.7, 1.0)
]


def controls(kind: str, *signals: float, colour: float = 0.4) -> list[ColourReading]:
    return [ColourReading(kind=kind, signal=s, colour=colour, what="brew") for s in signals]


FILTERED, KILLED = controls("filtered blank", 22.8, 23.5, 22.0), controls("killed control", 23.9, 22.1, 23.4)


def estimate(*groups: list[ColourReading], live: tuple[float, float] | None = (130.0, 0.4)):
    readings = [item for group in (WATER, HUMIC, LOAM, *groups) for item in group]
    return estimate_colour_bias(readings, constant_sd=1.0, proportional_cv=0.05, live={"brew": live} if live else None)


def test_bias_of_a_recipe_from_its_own_controls() -> None:
    found = estimate(FILTERED, KILLED)
    (recipe,) = found.recipes
    assert recipe.bias == approx(23.0, abs=0.7) and recipe.low < 23.0 < recipe.high
    assert recipe.colour_alone == approx(recipe.bias - found.background)
    assert not recipe.controls_differ and found.suspects == ()


def test_equal_weights_agree_with_statsmodels() -> None:
    import statsmodels.api as sm

    rows = [*WATER, *HUMIC, *LOAM]
    design = np.array([[1.0, item.colour * (item.what == "humic"), item.colour * (item.what == "molasses")] for item in rows])
    signal = np.array([item.signal for item in rows])
    theirs = sm.OLS(signal, design).fit()
    beta, covariance, scale = colour_fit(design, signal, np.array(1.0), np.array(0.0))
    assert beta == approx(theirs.params, rel=1e-10) and covariance == approx(theirs.cov_params(), rel=1e-9)
    assert float(scale) == approx(theirs.scale, rel=1e-10)


def test_what_the_count_checks_is_what_a_certificate_says() -> None:
    """One simulated study through the function that users run gives the numbers that the vectorised count uses."""
    rng = np.random.default_rng(12)
    readings = [ColourReading(kind="water blank", signal=5 + rng.normal(0, 3)) for _ in range(6)]
    readings += [ColourReading(kind="filtered blank", signal=25 + rng.normal(0, 3), colour=0.4, what="brew") for _ in range(8)]
    readings += [
        ColourReading(kind="colourant", signal=5 + 60 * c + rng.normal(0, 4), colour=c, what="humic") for c in (0.2, 0.4, 0.8) * 2
    ]
    found = estimate_colour_bias(readings, constant_sd=3.0, proportional_cv=0.1)
    design = np.array([[1.0, r.colour * (r.what == "brew"), r.colour * (r.what == "humic")] for r in readings])
    beta, covariance, _ = colour_fit(design, np.array([r.signal for r in readings]), np.array(9.0), np.array(0.01))
    row = np.array([1.0, 0.4, 0.0])
    (recipe,) = found.recipes
    assert (recipe.bias, recipe.sd) == approx((float(beta @ row), float(np.sqrt(row @ covariance @ row))), rel=1e-12)
    from scipy.stats import t

    assert recipe.high - recipe.bias == approx(t.ppf(0.95, 20 - 3) * recipe.sd, rel=1e-9)


def test_a_darker_tea_with_the_same_cells_gets_the_same_biomass() -> None:
    fit = estimate(FILTERED)
    results = []
    for colour in (0.2, 0.4, 0.8):
        signal = 100.0 + 5.0 + 45.0 * colour  # the truth behind the filtered blanks: 5 + 45 x colour
        results.append(signal - fit.bias_at("brew", colour)[0])
    assert results == approx([100.0] * 3, abs=1.0)


def test_killing_that_darkens_is_named() -> None:
    found = estimate(FILTERED, controls("killed control", 40.0, 41.5, 39.0, colour=0.55))
    assert any("killing darkened" in text for text in found.suspects)
    assert found.recipes[0].controls_differ and found.recipes[0].sd > estimate(FILTERED, KILLED).recipes[0].sd + 3


def test_dead_matter_that_still_stains_is_named() -> None:
    found = estimate(FILTERED, controls("killed control", 40.0, 41.5, 39.0))
    assert any("dead matter may still take the stain" in text for text in found.suspects)


def test_a_filter_that_lets_cells_through_is_named() -> None:
    found = estimate(controls("filtered blank", 60.0, 62.0, 61.0), KILLED)
    assert any("may keep cells" in text for text in found.suspects)
    alone = estimate(controls("filtered blank", 60.0, 62.0, 61.0))
    assert any("may be biomass" in text for text in alone.suspects)


def test_a_filter_that_takes_colour_is_named_and_the_bias_is_at_the_colour_of_the_tea() -> None:
    found = estimate(controls("filtered blank", 14.8, 15.2, 15.1, colour=0.2))
    assert any("paler than the tea" in text for text in found.suspects)
    assert found.recipes[0].bias == approx(25.0, abs=1.5)  # 5 + 50 x 0.4, not the 15 that was read


def test_blanks_above_samples_are_named() -> None:
    found = estimate(FILTERED, KILLED, live=(10.0, 0.4))
    assert sum("reads more" in text for text in found.suspects) == 2
    assert any("cannot be told from the living tea" in text for text in estimate(FILTERED, KILLED, live=(23.0, 0.4)).suspects)


def test_censored_blanks_do_not_pull_the_background_up() -> None:
    rng = np.random.default_rng(8)
    signals = rng.normal(5, 3, 400)
    water = [ColourReading(kind="water blank", signal=max(4.0, s), below_detection=s < 4) for s in signals]
    found = estimate_colour_bias([*water, *HUMIC], constant_sd=3.0, proportional_cv=0.0)
    assert found.background == approx(5.0, abs=0.4)
    assert np.maximum(signals, 4.0).mean() > 5.6  # what the lowest mark in their place would say


@pytest.mark.parametrize(
    ("readings", "fault"),
    [(HUMIC, NotEnoughData), (WATER, NotEnoughData), (WATER[:1] + HUMIC, NotEnoughData)],
)
def test_too_few_controls(readings: list[ColourReading], fault: type[Exception]) -> None:
    with pytest.raises(fault):
        estimate_colour_bias(readings, constant_sd=1.0, proportional_cv=0.0)


def test_impossible_readings_without_cells() -> None:
    with pytest.raises(UnusableReading):
        ColourReading(kind="killed control", signal=5.0)
    with pytest.raises(UnusableReading):
        ColourReading(kind="water blank", signal=5.0, colour=-0.1)
    with pytest.raises(NotEnoughData):
        estimate().bias_at("another brew", 0.4)
