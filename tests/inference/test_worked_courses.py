"""Numbers of courses, of what brews share, and of what is drawn: on paper, or computed another way and named so."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.stats import multivariate_normal, t

from aerobe.inference import Measurement, basis_of, decode, expected_result, learn_from, result_errors, story_of
from aerobe.inference._conditional import ABOVE, BELOW, SEEN, _pull
from aerobe.inference._habit import SHARE_BELIEF, SHARES, BestHour, Taught, _by_share, habit_of
from aerobe.inference._likelihood import results_of
from aerobe.inference._pooling import Past, shared_variance
from aerobe.inference._posterior import Posterior, cut_to, horizon_for, peak_times
from aerobe.inference._prior import N_TERMS, NAMES, PRIOR
from aerobe.inference._regression import strayed_error
from aerobe.inference._target import BrewTarget, grid_of, setting_of, with_times
from aerobe.inference._wander import WANDERS, wander_covariance
from aerobe.records import AssayError

KIT = AssayError(constant_sd=2.0, proportional_cv=0.12, gain_log_sd=0.3, bias=1.5, bias_sd=0.5)


def posterior_of(times: np.ndarray, bacteria: np.ndarray, fungi: np.ndarray | None = None, **more: object) -> Posterior:
    shape = bacteria.shape
    made: dict[str, object] = {
        "times_h": times,
        "bacteria": bacteria,
        "fungi": np.zeros(shape) if fungi is None else fungi,
        "oxygen": np.full(shape, 7.0),
        "oxygen_uptake": np.full(shape, 5.0),
        "scores": np.zeros((shape[0], N_TERMS)),
        "gains": np.ones((shape[0], 0)),
        "biases": np.zeros((shape[0], 0)),
        "assays": (),
        "settled": True,
        "effective": 1000.0,
        "khat": 0.1,
        "log_evidence": 0.0,
        "notes": (),
        "surprise": 0.0,
        "seed": 1,
        "model_runs": 0,
    }
    return Posterior(**(made | more))  # type: ignore[arg-type]


def test_bands_ratios_and_values_between_the_hours() -> None:
    # On paper: course i of 101 is i times (1, 3, 9): 5, 50 and 95 % are i = 5, 50, 95. Between 1 h and 4 h a third of the way.
    times = np.array([0.0, 1.0, 4.0])
    many = posterior_of(times, np.outer(np.arange(101.0), [1.0, 3.0, 9.0]), np.full((101, 3), 2.0))
    assert np.array(many.band_of(many.bacteria)) == approx(np.outer([5.0, 50.0, 95.0], [1.0, 3.0, 9.0]))
    assert many.ratio[4] == approx([0.5, 2.0 / 12.0, 2.0 / 36.0]) and many.peak_biomass()[10] == 92.0
    assert many.value_at(many.bacteria, 2.0)[10] == approx(50.0) and many.value_at(many.bacteria, 9.0)[10] == 90.0
    assert many.value_at(many.bacteria, -1.0)[10] == 10.0 and many.value_at(many.bacteria, 0.25)[10] == approx(15.0)


def test_a_peak_between_the_hours_is_where_its_parabola_stands() -> None:
    # On paper: 50 - 2 (t - 4.6)^2 on hours two apart is highest at 4 h, and its vertex is 4.6 h; at the ends no parabola is.
    hours = np.arange(0.0, 11.0, 2.0)
    rows = np.stack([50.0 - 2.0 * (hours - 4.6) ** 2, 100.0 - hours, hours, np.array([0.0, 1.0, 9.0, 9.0, 1.0, 0.0])])
    assert peak_times(hours, rows) == approx([4.6, 0.0, 10.0, 5.0])
    uneven = np.array([0.0, 2.0, 4.0, 5.0])
    assert peak_times(uneven, np.array([[0.0, 1.0, 9.0, 8.0]])) == approx([4.0])


def test_terms_are_told_at_5_50_and_95_percent_in_their_unit() -> None:
    # On paper: scores of -1.6449, 0 and 1.6449 times spread 0.26 around a growth of 0.27 on logs; a yield's odds likewise.
    scores = np.repeat(t.ppf((np.arange(2001) + 0.5) / 2001, 1e9)[:, None], N_TERMS, axis=1)
    terms = posterior_of(np.arange(3.0), np.ones((2001, 3)), scores=scores).terms()
    growth, share = terms["bacteria_growth_per_h"], terms["yield_fraction"]
    assert (growth.low, growth.median, growth.high) == approx([0.27 * math.exp(0.26 * z) for z in (-1.6449, 0, 1.6449)], rel=2e-3)
    assert (share.low, share.median, share.high) == approx(
        [1.0 / (1.0 + math.exp(-0.26 * z)) for z in (-1.6449, 0.0, 1.6449)], rel=1e-3
    )
    away = replace(PRIOR[NAMES.index("yield_fraction")], centre=0.2)
    # Odds of one to four, times e: 0.2 becomes e / (4 + e).
    assert away.value(np.array([0.0, 1.0 / 0.26])) == approx([0.2, math.e / (4.0 + math.e)])


def test_terms_are_those_of_the_structure_that_knows_them() -> None:
    # On paper: of four draws two are of the first structure; the scores of the others belong to other laws and say nothing here.
    scores = np.repeat(np.array([[0.0], [9.0], [0.0], [-9.0]]), N_TERMS, axis=1)
    mixed = posterior_of(np.arange(3.0), np.ones((4, 3)), scores=scores, structure=np.array([0, 1, 0, 2]))
    assert len(mixed.own_scores) == 2 and not mixed.own_scores.any()
    assert mixed.terms()["bacteria_growth_per_h"].high == approx(0.27)
    assert len(posterior_of(np.arange(3.0), np.ones((4, 3)), scores=scores).own_scores) == 4


def test_what_a_brew_hands_on_is_shrunk_to_what_was_believed_before() -> None:
    # On paper: 100 draws are trusted by 0.98 / 2, from 200 on by 0.98.
    rng = np.random.default_rng(2)
    for count, trust in ((100, 0.49), (200, 0.98), (500, 0.98)):
        scores = rng.normal(1.0, 0.5, (count, N_TERMS))
        past = posterior_of(np.arange(3.0), np.ones((count, 3)), scores=scores).as_past(
            same_compost=True, same_recipe=False, same_vessel=True
        )
        assert past.mean == approx(trust * scores.mean(axis=0))
        assert past.covariance == approx(trust * np.cov(scores.T) + (1.0 - trust) * np.eye(N_TERMS))
        assert (past.same_compost, past.same_recipe, past.same_vessel, past.taught) == (True, False, True, None)
    # Only the first structure knows the scores.
    mixed = posterior_of(np.arange(3.0), np.ones((500, 3)), scores=scores, structure=np.repeat([0, 1], [200, 300]))
    assert mixed.as_past(same_compost=True, same_recipe=True, same_vessel=True).mean == approx(0.98 * scores[:200].mean(axis=0))


def test_two_earlier_brews_teach_what_a_joint_normal_says() -> None:
    # Independent computation: the new score and two earlier ones share 0.7 of their variance; the earlier ones are seen with
    # errors.
    place = NAMES.index("kla_factor")

    def past(mean: float, variance: float) -> Past:
        m, c = np.zeros(N_TERMS), np.eye(N_TERMS)
        m[place], c[place, place] = mean, variance
        return Past(mean=m, covariance=c, same_compost=False, same_recipe=False, same_vessel=True)

    first, second = past(0.8, 0.2), past(-0.3, 0.5)
    assert shared_variance(first)[place] == 0.7
    found = learn_from([first, second])
    assert found is not None and found.brews == 2
    errors = [1.0 / (1.0 / 0.2 - 1.0), 1.0 / (1.0 / 0.5 - 1.0)]
    seen = np.array([0.8 / 0.2 * errors[0], -0.3 / 0.5 * errors[1]])
    among = np.array([[1.0 + errors[0], 0.7], [0.7, 1.0 + errors[1]]])
    gain = np.linalg.solve(among, [0.7, 0.7])
    assert found.mean[place] == approx(gain @ seen) and found.covariance[place, place] == approx(1.0 - gain @ [0.7, 0.7])
    # A brew whose first belief was itself taught says only what is new in it.
    taught = replace(first, prior_mean=second.mean, prior_covariance=second.covariance)
    alone = learn_from([taught])
    new = 1.0 / (1.0 / 0.2 - 1.0 / 0.5)
    value = (0.8 / 0.2 + 0.3 / 0.5) * new
    assert alone is not None and alone.mean[place] == approx(0.7 * value / (1.0 + new))
    assert learn_from([]) is None


def test_the_share_that_brews_have_in_common_is_weighed_by_their_joint_normal_density() -> None:
    # Independent computation with scipy's multivariate normal.
    y, v, spread = np.array([0.3, 0.1, 0.5]), np.array([0.01, 0.04, 0.02]), 0.5
    shares, means, variances = _by_share(spread, y, v)
    density = []
    for i, share in enumerate(SHARES):
        common, own = share * 0.25, max((1.0 - share) * 0.25, 0.15**2)
        cov = common * np.ones((3, 3)) + np.diag(v + own)
        density.append(SHARE_BELIEF[i] * multivariate_normal.pdf(y, np.zeros(3), cov))
        pull = np.linalg.solve(cov, common * np.ones(3))
        assert (means[i], variances[i]) == approx((pull @ y, common - pull @ (common * np.ones(3))))
    assert shares == approx(np.array(density) / np.sum(density))
    # One brew that was no surprise moves the next by the average of these, and leaves the spread within a recipe on top.
    first = BestHour(mean=math.log(24.0), sd=0.5)
    after = 1.0 / (1.0 / 0.25 + 1.0 / 0.01)
    told = Taught(before=first, after=BestHour(mean=first.mean + after * 0.2 / 0.01, sd=math.sqrt(after)))
    learned = habit_of(first, [told])
    shares, means, variances = _by_share(0.5, np.array([0.2]), np.array([0.01]))
    mean = float(shares @ means)
    within = np.maximum((1.0 - SHARES) * 0.25, 0.15**2)
    assert learned is not None and learned.mean == approx(first.mean + mean)
    assert learned.sd == approx(math.sqrt(float(shares @ (variances + within + (means - mean) ** 2))))
    low, middle, high = learned.hours()
    assert middle == approx(math.exp(learned.mean)) and high / middle == middle / low == approx(math.exp(1.6449 * learned.sd))


def test_a_brew_far_from_the_others_is_believed_less() -> None:
    # Independent computation: a t of four degrees by its weights (Lange and others 1989), in four rounds. Three
    # brews peaked 0.1, 0.2 and 1.6 later than foretold, each told to 0.1.
    first = BestHour(mean=math.log(24.0), sd=0.5)
    seen, variance = [0.1, 0.2, 1.6], 0.01
    told = []
    for value in seen:
        after = 1.0 / (1.0 / 0.25 + 1.0 / variance)
        told.append(Taught(before=first, after=BestHour(mean=first.mean + after * value / variance, sd=math.sqrt(after))))
    learned = habit_of(first, told)
    held = [variance] * 3
    for _ in range(4):
        shares, means, variances = _by_share(0.5, np.array(seen), np.array(held))
        middle = sum(p * m for p, m in zip(shares, means, strict=True))
        own = 0.25 * sum(p * (1.0 - share) for p, share in zip(shares, SHARES, strict=True))
        apart = variance + own + sum(variances) / len(variances)
        far = [max((value - middle) ** 2 / apart, 1.0) - 1.0 for value in seen]
        held = [variance + (variance + own) * off * 2.0 / 5.0 for off in far]
    assert (
        learned is not None
        and learned.mean == approx(first.mean + middle, abs=1e-9)
        and held[2] > 2.0 * held[0] == 2.0 * variance
    )


def test_which_terms_brews_have_in_common() -> None:
    # As told in the room: the cold and the need of oxygen always; what lives at the start by the compost; the air by the vessel.
    def shared(**same: bool) -> dict[str, float]:
        past = Past(
            mean=np.zeros(N_TERMS),
            covariance=np.eye(N_TERMS),
            **({"same_compost": False, "same_recipe": False, "same_vessel": False} | same),
        )
        return {name: share for name, share in zip(NAMES, shared_variance(past), strict=True) if share}

    always = {"growth_minimum_degc": 0.7, "half_oxygen_mg_per_l": 0.7}
    assert shared() == always == shared(same_recipe=True)
    assert shared(same_compost=True) == always | {"bacteria_mg_c_per_g_compost": 0.6, "fungi_to_bacteria": 0.6}
    assert shared(same_vessel=True) == always | {"kla_factor": 0.7}


@pytest.mark.parametrize("x", [-1.0, 2.0, 4.5])
def test_how_a_reading_pulls_is_the_slope_of_its_density(x: float) -> None:
    # Independent computation: the t of five degrees by scipy, slopes by differences; a bound by the logistic of 1.702.
    scale, constant, seen = 0.25, 2.0, 12.0
    five = t(5, scale=math.sqrt(0.6))

    def off(at: float) -> float:
        return seen - math.asinh(scale * math.exp(at) / constant) / scale

    def cost(at: float) -> float:
        return float(five.logpdf(0.0) - five.logpdf(off(at)))

    steep = (off(x - 1e-5) - off(x + 1e-5)) / 2e-5
    found = _pull(x, seen, scale, constant, SEEN)
    assert found[0] == approx(cost(x)) and found[1] == approx(-(cost(x + 1e-5) - cost(x - 1e-5)) / 2e-5, rel=1e-5)
    assert found[2] == approx(6.0 / (3.0 + off(x) ** 2) * steep**2, rel=1e-5)
    for kind, sign in ((BELOW, 1.0), (ABOVE, -1.0)):

        def bound(at: float, sign: float = sign) -> float:
            return float(np.logaddexp(0.0, -1.702 * sign * off(at)))

        slope = (bound(x + 1e-5) - bound(x - 1e-5)) / 2e-5
        value, down, curve = _pull(x, seen, scale, constant, kind)
        assert (value, down) == approx((bound(x), -slope), rel=1e-5, abs=1e-9)
        beyond = 1.0 / (1.0 + math.exp(1.702 * sign * off(x)))
        assert curve == approx(1.702**2 * beyond * (1.0 - beyond) * steep**2, rel=1e-5)


def test_an_error_is_widened_by_what_strays_and_by_the_scale_of_its_test() -> None:
    # On paper from the covariance, which is held elsewhere: at 5 h of a clock that runs at half the pace of the hours.
    kinds = ("biomass", "fungal to bacterial ratio")
    results = results_of(tuple(Measurement(elapsed_h=10.0, value=9.0, quantity=kind, error=KIT, assay="kit") for kind in kinds))
    grid = np.arange(0.0, 21.0)
    five = np.array([5.0])
    spread = sum(one.belief * wander_covariance(five, five, one)[0, 0] for one in WANDERS)
    expected = [math.sqrt(1.0 + (share * spread + 0.09) / results.scale[0] ** 2) for share in (1.0, 0.25)]
    assert strayed_error(results, grid, 0.5 * grid) == approx(expected)


def test_what_an_assay_would_show_has_its_scale_and_its_error() -> None:
    bacteria, fungi = np.full((4000, 3), 60.0), np.full((4000, 3), 30.0)
    post = posterior_of(np.arange(3.0), bacteria, fungi)

    def shown(quantity: str, of: Posterior = post) -> np.ndarray:
        return expected_result(of, Measurement(elapsed_h=0.0, value=0.0, quantity=quantity, error=KIT, assay="kit"))

    # A test that was not used yet has a scale of its own, with a log error of 0.3: 4,000 draws tell it to 1.1 %.
    for quantity, truth in (("biomass", 90.0), ("bacteria", 60.0), ("fungi", 30.0), ("fungal to bacterial ratio", 0.5)):
        logs = np.log(shown(quantity) / truth)
        assert logs.std() == approx(0.3, rel=0.04) and abs(logs.mean()) < 0.02 and np.ptp(logs[7]) < 1e-12
    used = replace(post, assays=("other|biomass", "kit|biomass"), gains=np.tile([3.0, 1.2], (4000, 1)))
    assert shown("biomass", used) == approx(np.full((4000, 3), 108.0))
    # On paper: asinh(scale x / constant) / scale, where the error is 1: scale root(ln(1 + 0.12^2) + 0.1^2) = 0.1558.
    scale = math.sqrt(math.log(1.0144) + 0.01)
    inside, size = result_errors(Measurement(elapsed_h=0.0, value=0.0, error=KIT), np.array([[0.1, 80.0]]))
    assert size == 1.0 and inside[0] == approx([math.asinh(scale * x / 2.0) / scale for x in (0.1, 80.0)])


def test_a_recipe_and_a_vessel_become_carbon_and_transfer() -> None:
    # By hand from the library: 2 g/L of sucrose, 42.1 % carbon (12 x 12.011 / 342.30, by its formula), nearly all readily used.
    story = story_of(
        compost_g_per_l=40.0, foods=[{"food": "sucrose", "g_per_l": 2.0}, {"food": "sucrose", "g_per_l": 1.0, "at_h": 6.0}]
    )
    basis = basis_of(story.recipe, story.vessel)
    carbon = 12.0 * 12.011 / 342.30
    assert basis.food_mg_c_per_l + basis.slow_mg_c_per_l == approx(2000.0 * carbon, rel=0.02)
    (at, food, slow), *rest = basis.later_feeds
    assert (
        rest == [] and at == 6.0 and food == approx(0.5 * basis.food_mg_c_per_l) and slow == approx(0.5 * basis.slow_mg_c_per_l)
    )
    assert basis.compost_g_per_l == 40.0 and basis.nitrogen_mg_per_l == approx(0.0, abs=1.0)
    # On paper at the middle of every term: 0.45 mg C a gram of 40 g/L, a third of it as fungi (0.35); food and 0.7 mg C a gram.
    inputs = decode(np.zeros((1, N_TERMS)), basis, 20.0)
    assert inputs.start[0, :2] == approx([18.0, 0.35 * 18.0], rel=1e-3)
    assert inputs.start[0, 3] == approx(basis.food_mg_c_per_l + 28.0, rel=1e-3)


def test_the_grid_is_fine_for_two_days_and_coarse_after() -> None:
    # On paper: half hours to 48 h (97 of them), hours to 72 h (24), two hours after.
    assert list(grid_of(2.0)) == [0.0, 0.5, 1.0, 1.5, 2.0]
    assert len(grid_of(48.0)) == 97 and len(grid_of(72.0)) == 121 and list(grid_of(76.0)[-3:]) == [72.0, 74.0, 76.0]
    assert list(grid_of(49.0)[-2:]) == [48.0, 49.0]
    assert list(with_times(np.array([0.0, 1.0, 2.0]), [0.25, 1.0, 3.0, -1.0])) == [0.0, 0.25, 1.0, 2.0]


def test_a_brew_has_a_score_for_each_term_a_scale_and_a_bias_for_each_test_and_one_offset() -> None:
    rows = tuple(Measurement(elapsed_h=h, value=50.0, error=KIT, assay=name) for h, name in ((2.0, "a"), (4.0, "b"), (6.0, "a")))
    target = BrewTarget(setting_of(story_of(compost_g_per_l=40.0, foods={"molasses": 1.0}, measurements=rows, horizon_h=24.0)))
    assert target.assays == 2 and target.size == N_TERMS + 5
    w = np.zeros((1, target.size))
    w[0, N_TERMS : N_TERMS + 4] = [1.0, -1.0, 2.0, -2.0]
    # On paper: scales exp(0.3 w), biases 1.5 + 0.5 w.
    assert target.gains(w)[0] == approx([math.exp(0.3), math.exp(-0.3)]) and target.biases(w)[0] == approx([2.5, 0.5])


def test_the_look_ahead_is_cut_where_few_courses_still_rise() -> None:
    hours = np.concatenate([np.arange(0.0, 72.0, 1.0), np.arange(72.0, 145.0, 2.0)])
    rises = np.tile(-np.abs(hours - 100.0), (20, 1))
    falls = np.tile(-np.abs(hours - 20.0), (20, 1))
    assert horizon_for(posterior_of(hours, 200.0 + falls), 48.0) == 48.0
    assert horizon_for(posterior_of(hours, 200.0 + rises), 48.0) > 100.0
    short = cut_to(posterior_of(hours, 200.0 + falls, warm_clock_h=hours, air=np.ones(len(hours))), 48.0)
    assert short.times_h[-1] == 48.0 and short.bacteria.shape == short.oxygen.shape == (20, 49)
    assert short.air is not None and short.warm_clock_h is not None and len(short.air) == len(short.warm_clock_h) == 49
