"""Numbers of falls of oxygen, of the sampler's pool, of readings in house units and of brews known by their readings alone.

On paper, or computed another way and named so.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy import optimize
from scipy.special import logsumexp
from scipy.stats import multivariate_normal, multivariate_t, t

from aerobe.inference import Measurement, story_of
from aerobe.inference._air import _as_without_air, _evened, _onset
from aerobe.inference._alone import COLUMNS, _evidence, course_of_scores, courses_alone
from aerobe.inference._likelihood import results_of
from aerobe.inference._measuring import _error_of, _value
from aerobe.inference._regression import RATIO_SHARE, evidence_under, regression_of
from aerobe.inference._sampler import GUARD, _Bell, _learn, _Part, _Pool, normal_points
from aerobe.inference._target import BrewTarget, Setting, setting_of
from aerobe.inference._wander import WANDERS, wander_covariance
from aerobe.records import Assay, AssayError, Reading

FIVE = t(5, scale=math.sqrt(3.0 / 5.0))  # a t of five degrees with unit variance
CELLS = AssayError(constant_sd=0.1, proportional_cv=0.15, gain_log_sd=0.4)


def fall(first: float, second: float, start: float = 9.0) -> tuple[np.ndarray, np.ndarray]:
    """Two hours of two slopes [mg/L/h], a value every quarter of an hour."""
    hours = np.arange(0.0, 2.01, 0.25)
    return hours, start - first * np.minimum(hours, 1.0) - second * np.maximum(hours - 1.0, 0.0)


@pytest.mark.parametrize(
    ("first", "second", "is_stop"),
    [
        (2.0, 2.0, True),
        (2.0, 3.3, True),  # bends down by 1.65
        (2.0, 3.5, False),  # by 1.75
        (2.0, 0.95, True),  # bends up to 0.475
        (2.0, 0.85, False),  # to 0.425
        (1.35, 1.35, True),  # 1.35 mg/L an hour
        (1.25, 1.25, False),
    ],
)
def test_a_fall_without_air_is_straight_and_not_slow(first: float, second: float, is_stop: bool) -> None:
    # On paper: by the slopes of its two halves, whatever the hour at which it begins.
    hours, values = fall(first, second)
    assert _as_without_air(hours, values, 0.5) is is_stop and _as_without_air(hours + 7.0, values, 0.5) is is_stop


def test_a_fall_to_nothing_is_looked_at_less() -> None:
    # Down to what counts as gone within 0.6 h it is a stop; after that only its shape tells, up to where it is gone, and it may
    # bend up as it gets there.
    quick = np.array([0.0, 0.2, 0.4, 0.6, 0.8])
    assert _as_without_air(quick, np.array([6.0, 4.0, 2.0, 0.4, 0.3]), 0.5)
    assert _as_without_air(quick[:3] * 2.0, np.array([6.0, 3.0, 0.4]), 0.5) and not _as_without_air(
        quick[:3], np.full(3, 6.0), 0.5
    )
    hours, values = fall(3.0, 0.9, start=4.0)
    assert _as_without_air(hours, values, 0.2) and not _as_without_air(hours, values, 0.05)
    # A new demand begins at once: 0.3 h at 6 mg/L/h in a fall of 1.5 is more than 2.2 x 1.5 + 1.
    fine = np.arange(0.0, 2.001, 0.1)
    for early, is_stop in ((3.8, True), (4.6, False)):
        lost = np.where(fine <= 0.3, early * fine, early * 0.3 + (3.0 - early * 0.3) / 1.7 * (fine - 0.3))
        assert _as_without_air(fine, 9.0 - lost, 0.5) is is_stop


def test_a_fall_begins_where_its_line_meets_the_level_before() -> None:
    hours = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
    # On paper: two an hour through 3 at 3 h meets 5 at 2 h; half as steep at first, it meets it at 2.5 h.
    assert _onset(hours, np.array([5.0, 5.0, 5.0, 3.0, 1.0]), 2) == approx(2.0)
    assert _onset(hours, np.array([5.0, 5.0, 5.0, 4.0, 2.0]), 2) == approx(2.5)
    # Never before the value that is last but one, nor after the first of the fall; no fall begins where it is looked for.
    assert _onset(hours, np.array([8.0, 8.0, 5.0, 4.0, 3.9]), 2) == 1.0
    assert _onset(hours, np.array([5.0, 5.0, 5.0, 5.5, 1.0]), 2) == 3.0
    assert _onset(hours, np.full(5, 5.0), 2) == 2.0 and _onset(hours, np.array([5.0, 3.0, 1.0, 0.0, 0.0]), 0) == 0.0


def test_a_log_is_evened_by_medians_over_tenths_of_an_hour_and_over_three() -> None:
    # On paper: two readings in each of three steps; the middle one is the median of the three.
    times = np.array([0.0, 0.04, 0.1, 0.14, 0.2, 0.24])
    found = _evened(times, np.array([1.0, 2.0, 9.0, 10.0, 3.0, 4.0]), np.arange(6.0))
    assert found[0] == approx([0.02, 0.12, 0.22]) and found[1] == approx([1.5, 3.5, 3.5]) and found[2] == approx([0.5, 2.5, 4.5])
    # Steps of the log's own where they are wide, and as they were read.
    wide = _evened(np.arange(6.0), np.array([1.0, 9.0, 2.0, 3.0, 4.0, 5.0]), np.zeros(6))
    assert list(wide[1]) == [1.0, 9.0, 2.0, 3.0, 4.0, 5.0] and all(
        len(part) == 0 for part in _evened(times[:5], times[:5], times[:5])
    )


def test_a_reading_and_its_error_in_house_units() -> None:
    # By hand: 100 of its unit, diluted twofold, 0.02 of the house's each; errors times 0.02.
    own = AssayError(
        constant_sd=3.0, proportional_cv=0.2, gain_log_sd=0.1, bias=5.0, bias_sd=2.0, detection_limit=9.0, origin="x"
    )
    assay = Assay(key="c", name="kit", method="colour test", unit="tick", to_house=0.02, error=own)

    def reading(signal: float, role: str, key: str = "r", dilution: float = 2.0) -> Reading:
        return Reading(
            key=key,
            brew="b",
            assay="c",
            elapsed_h=1.0,
            signal=signal,
            unit="tick",
            typed_as=f"{signal:g}",
            dilution=dilution,
            role=role,  # type: ignore[arg-type]
        )

    assert _value(reading(100.0, "sample"), assay) == approx(4.0)
    plain, notes = _error_of(assay, [reading(100.0, "sample")])
    assert (plain.constant_sd, plain.bias, plain.bias_sd, plain.proportional_cv) == approx((0.06, 0.1, 0.04, 0.2)) and notes == []
    # Controls of this brew are its bias: 1, 2 and 3 with an SD of 1 over root 3; of two the assay's own error over root 2.
    three = [reading(25.0 * i, "killed control", f"k{i}") for i in (1, 2, 3)]
    own_bias, _ = _error_of(assay, three)
    assert (own_bias.bias, own_bias.bias_sd) == approx((2.0, 1.0 / math.sqrt(3.0)))
    two, _ = _error_of(assay, three[:2])
    assert (two.bias, two.bias_sd) == approx((1.5, math.hypot(0.06, 0.3) / math.sqrt(2.0)))
    same = [*three, reading(25.0 * 2, "sample", "s")]
    assert (
        _error_of(assay, [*three, reading(26.0 * 2, "sample", "s")])[1] == [] and "nothing alive" in _error_of(assay, same)[1][0]
    )
    # A control below its limit of 2 lies evenly between 0 and 2: middle 1, SD 2 over root 12, however many there are.
    below = [replace(item, signal=50.0, below_detection=True) for item in three]
    for count in (1, 3):
        unseen, said = _error_of(replace(assay, error=None), below[:count])
        own = math.hypot(replace(unseen).constant_sd, unseen.proportional_cv) / math.sqrt(count)
        assert (unseen.bias, unseen.bias_sd) == approx((1.0, math.hypot(own, 2.0 / math.sqrt(12.0))))
        assert not any("control" in note for note in said)


def test_points_are_weighed_against_all_that_proposed_them() -> None:
    # scipy's densities: a pool of 64 from the prior, then twice 20 of which a twentieth are from the prior and a bell and another
    # were asked for the shares given, the first of them in both rounds.
    rng = np.random.default_rng(3)
    first = _Bell(np.array([0.5, -0.2]), np.array([[0.6, 0.0], [0.2, 0.4]]))
    second = _Bell(np.array([-1.0, 1.0]), 0.5 * np.eye(2))
    w = normal_points(64, 2, 1)
    pool = _Pool(w, -np.sum(w**2, axis=1))
    for parts in ([_Part(bell=first, share=0.95)], [_Part(bell=first, share=0.35), _Part(bell=second, share=0.6)]):
        fresh = rng.normal(size=(20, 2))
        pool.add(fresh, -np.sum(fresh**2, axis=1), parts)
    assert pool.w.shape == (104, 2) and pool.rounds == 2
    bells = {first: 20 * 0.95 + 20 * 0.35, second: 20 * 0.6}
    mix = (64 + 2 * 20 * GUARD) * multivariate_normal(np.zeros(2)).pdf(pool.w)
    for bell, count in bells.items():
        mix = mix + count * multivariate_t(bell.mean, bell.root @ bell.root.T, df=12).pdf(pool.w)
    weight = np.exp(-np.sum(pool.w**2, axis=1)) * multivariate_normal(np.zeros(2)).pdf(pool.w) / mix
    assert pool.log_weights() == approx(np.log(weight)) and pool.weights() == approx(weight / weight.sum())
    assert pool.effective() == approx(weight.sum() ** 2 / np.sum(weight**2)) and pool.log_evidence() == approx(
        math.log(weight.sum())
    )
    # On paper: the likelihood exp(-w'w) with a standard normal prior in the plane has evidence 1/3.
    assert math.exp(pool.log_evidence()) == approx(1.0 / 3.0, abs=0.03)
    # What a part earns: the weight of the points as far as it, or the guard, proposed them; half of all is the new part's.
    parts = [_Part(bell=first, share=0.35), _Part(bell=second, share=0.6)]
    guard = GUARD * multivariate_normal(np.zeros(2)).pdf(pool.w)
    density = [multivariate_t(bell.mean, bell.root @ bell.root.T, df=12).pdf(pool.w) for bell in (first, second)]
    earned = np.array([np.sum(pool.weights() * (guard + own) / mix) for own in density])
    learnt, *kept = _learn(pool, parts)
    assert learnt.share == approx(0.5 * (1.0 - GUARD))
    by_bell = {part.bell: part.share for part in kept}
    assert [by_bell[first], by_bell[second]] == approx(list(0.5 * (1.0 - GUARD) * earned / earned.sum()))
    assert learnt.bell.mean == approx(pool.weights() @ pool.w)
    centred = pool.w - learnt.bell.mean
    own = centred.T @ (centred * pool.weights()[:, None])
    trust = pool.effective() / (pool.effective() + 10.0)
    moments = trust * own + (1.0 - trust) * (second.root @ second.root.T) + 1e-6 * np.eye(2)
    assert learnt.bell.root @ learnt.bell.root.T == approx(moments)


def test_a_log_of_oxygen_counts_its_misses_and_the_size_of_its_errors() -> None:
    # scipy's t of five degrees on the misses that are held elsewhere, each over its own size.
    hours = np.arange(0.5, 4.1, 0.5)
    story = story_of(compost_g_per_l=40.0, foods={"molasses": 1.0}, oxygen=(hours, 8.0 - 0.3 * hours), horizon_h=24.0)
    target = BrewTarget(setting_of(story))
    w = np.zeros((2, target.size))
    w[1] = 0.3
    found = target.log_likelihood(w)
    for i in range(2):
        _, miss, size = target.data_residuals(w[[i]], target.run(w[[i]]))
        assert found[i] == approx(float(np.sum(FIVE.logpdf(miss) - FIVE.logpdf(0.0) - np.log(size))), rel=1e-6)


def alone(seen: dict[float, float] | None = None) -> Setting:
    rows = tuple(
        Measurement(elapsed_h=hour, value=value, error=CELLS, quantity="bacteria", assay="count")
        for hour, value in (seen or {}).items()
    )
    return setting_of(story_of(compost_g_per_l=0.0, measurements=rows, horizon_h=48.0))


def test_the_middle_course_of_a_brew_known_by_nothing_on_paper() -> None:
    # Independent computation: Baranyi and Roberts' lag (1994) in Richards' curve (1959), at the middle of every spread; food of
    # 60 mg C/L and 40 of slow food, of which half counts, fed at 20 h.
    setting = alone()
    setting = replace(setting, basis=replace(setting.basis, later_feeds=((20.0, 60.0, 40.0),)))
    found = course_of_scores(setting, np.zeros((1, COLUMNS)))
    clock = hours = setting.around.times_h  # at 20 degC all the way
    assert set(setting.around.temperature_degc) == {20.0}
    rate, bend, lag, height, level = 0.27, 2.0, 1.0, 2.0, 1.0
    ready = clock + np.log(np.exp(-rate * clock) + np.exp(-lag) - np.exp(-rate * clock - lag)) / rate
    rise = height - np.log(1.0 + (math.exp(bend * height) - 1.0) * np.exp(-bend * rate * ready)) / bend
    full = float(np.interp(0.9 * height, rise, clock))
    begins, worn = full + 4.0 - 3.0, hours
    falls = 0.016 * 2.0 * (np.logaddexp(0.0, (worn - begins) / 2.0) - math.log1p(math.exp(-begins / 2.0)))
    at = float(np.interp(20.0, hours, clock)) + 2.0 + height / rate * 0.2
    more = math.log1p(0.26 * 80.0 / math.exp(level + height)) / (1.0 + np.exp(-(clock - at) / (0.5 / rate)))
    assert found.log_mass[0] == approx(level + rise - falls + more, abs=5e-3)
    assert found.log_ratio[0] == approx(np.full(len(hours), math.log(0.35))) and found.log_weight[0] == 0.0


def test_courses_drawn_where_the_readings_are_weigh_what_the_prior_s_do() -> None:
    # Independent computation: the evidence of three readings by brute force, from 2^14 points of the prior.
    setting = alone({0.0: 3.0, 8.0: 9.0, 24.0: 20.0})
    points = normal_points(2**14, COLUMNS + 1, 5)
    plain = course_of_scores(setting, points)
    brute = float(logsumexp(plain.log_weight + _evidence(setting, plain)) - math.log(len(points)))
    drawn = courses_alone(setting, 1, 2000)
    weight = np.exp(drawn.log_weight + _evidence(setting, drawn) - brute)
    assert math.log(np.mean(weight)) == approx(0.0, abs=0.15)
    # Each round goes where the last one found the readings by its weights: more of the draws count than of the prior's.
    prior = np.exp(plain.log_weight + _evidence(setting, plain) - brute)
    assert weight.sum() ** 2 / np.sum(weight**2) / 2000.0 > 1.2 * prior.sum() ** 2 / np.sum(prior**2) / len(points)


def test_the_evidence_of_a_course_is_laplace_s_integral_over_what_strays() -> None:
    # Independent computation: scipy's search for the mode of t errors, a logistic bound and a normal of what strays, and the
    # curvature 6 / (3 + r^2) there; three readings of two assays, one of them below its limit.
    rows = (
        Measurement(elapsed_h=6.0, value=14.0, error=CELLS, quantity="biomass", assay="one"),
        Measurement(elapsed_h=14.0, value=9.0, error=CELLS, quantity="bacteria", assay="two"),
        Measurement(elapsed_h=20.0, value=40.0, error=CELLS, quantity="biomass", assay="one", below_detection=True),
    )
    results, grid = results_of(rows), np.arange(0.0, 25.0)
    log_mass, log_ratio = 2.0 + 0.05 * grid[None], np.full((1, 25), -0.5)
    regression = regression_of(results, log_mass, log_ratio, grid, grid, np.zeros((1, 2)), WANDERS)
    fungal = 1.0 / (1.0 + math.exp(0.5))
    mean = np.array([2.3, 2.7 + math.log(1.0 - fungal), 3.0])
    assert regression.mean[0] == approx(mean) and regression.on_ratio[0] == approx([0.0, -fungal, 0.0])
    scale = results.scale

    def off(x: np.ndarray) -> np.ndarray:
        return np.arcsinh(scale * [14.0, 9.0, 40.0] / 0.1) / scale - np.arcsinh(scale * np.exp(x) / 0.1) / scale

    def cost(x: np.ndarray) -> float:
        r = off(x)
        return float(np.sum(FIVE.logpdf(0.0) - FIVE.logpdf(r[:2])) + np.logaddexp(0.0, -1.702 * r[2]))

    for place, wander in enumerate(WANDERS):
        at = np.array([6.0, 14.0, 20.0])
        stray = wander_covariance(at, at, wander)
        ratio = np.array([0.0, -fungal, 0.0])
        kit = np.array([[1.0, 0.0, 1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 1.0]]) * 0.16
        cov = stray + RATIO_SHARE**2 * np.outer(ratio, ratio) * stray + kit
        inverse = np.linalg.inv(cov)
        mode = optimize.minimize(lambda x, m=inverse: cost(x) + 0.5 * (x - mean) @ m @ (x - mean), mean, method="BFGS", tol=1e-9)
        r, steep = off(mode.x), np.exp(mode.x) / 0.1 / np.hypot(1.0, scale * np.exp(mode.x) / 0.1)
        miss = 1.0 / (1.0 + math.exp(1.702 * r[2]))
        curve = np.array([*(6.0 / (3.0 + r[:2] ** 2)), 1.702**2 * miss * (1.0 - miss)]) * steep**2
        log_det = np.linalg.slogdet(np.eye(3) + np.sqrt(np.outer(curve, curve)) * cov)[1]
        assert evidence_under(regression)[0, place] == approx(-mode.fun - 0.5 * log_det, abs=2e-3)
