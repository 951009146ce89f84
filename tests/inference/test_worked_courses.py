"""Numbers of courses, of what brews share, and of what is drawn: on paper, or computed another way and named so."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.stats import multivariate_normal, t

from aerobe.inference import Measurement, basis_of, decode, expected_result, learn_from, result_errors, story_of
from aerobe.inference._clouds import follows_log
from aerobe.inference._conditional import ABOVE, BELOW, SEEN, _pull
from aerobe.inference._courses import Courses
from aerobe.inference._empirical import _clock, _demand, _no_faster_than_air, _ramp, _step, empirical_courses
from aerobe.inference._forcing import Stretch, forcing_of
from aerobe.inference._habit import SHARE_BELIEF, SHARES, BestHour, Taught, _by_share, habit_of
from aerobe.inference._likelihood import results_of
from aerobe.inference._limited import within_nitrogen
from aerobe.inference._logs import _stuck
from aerobe.inference._pooling import Past, shared_variance
from aerobe.inference._posterior import Posterior, cut_to, horizon_for, peak_times
from aerobe.inference._prior import N_TERMS, NAMES, PRIOR
from aerobe.inference._regression import strayed_error
from aerobe.inference._target import BrewTarget, grid_of, setting_of, with_times
from aerobe.inference._wander import WANDERS, wander_covariance
from aerobe.kinetics import OXYGEN_PER_CARBON, Surroundings
from aerobe.records import AssayError, BrewEvent

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


def surroundings(hours: np.ndarray, **more: object) -> Surroundings:
    n = len(hours)
    made: dict[str, object] = {
        "times_h": hours,
        "temperature_degc": np.full(n, 20.0),
        "saturation_mg_per_l": np.full(n, 9.0),
        "added_food_mg_c_per_l": np.zeros(n),
        "added_slow_mg_c_per_l": np.zeros(n),
    }
    return Surroundings(**(made | more))  # type: ignore[arg-type]


class NoChance:
    """Every normal draw in the middle, every event left out: the course at the centre of all spreads."""

    def standard_normal(self, shape: tuple[int, ...]) -> np.ndarray:
        return np.zeros(shape)

    def random(self, shape: tuple[int, ...]) -> np.ndarray:
        return np.ones(shape)


def test_the_middle_course_of_the_second_structure_on_paper() -> None:
    # Independent computation: Baranyi and Roberts' lag (1994) in Richards' curve (1959, exponent 2), with the middle of every
    # spread.
    hours = np.arange(0.0, 30.5, 0.5)
    story = story_of(compost_g_per_l=40.0, foods={"sucrose": 2.0}, kla_per_h=1000.0, kla_log_sd=0.05)
    basis = basis_of(story.recipe, story.vessel)
    found = empirical_courses(basis, surroundings(hours), np.zeros((1, N_TERMS)), NoChance())  # type: ignore[arg-type]
    middle = {name: term.centre for name, term in zip(NAMES, PRIOR, strict=True)}
    start = middle["bacteria_mg_c_per_g_compost"] * (1.0 + middle["fungi_to_bacteria"]) * 40.0 + 1e-3
    carbon = basis.food_mg_c_per_l + 0.7 * 40.0 + 0.5 * (basis.slow_mg_c_per_l + 4.0 * 40.0)
    top = start + 0.26 * carbon
    rate, work = middle["bacteria_growth_per_h"], middle["lag_work"]
    ready = hours + np.log(np.exp(-rate * hours) + np.exp(-work) - np.exp(-rate * hours - work)) / rate
    curve = top / (1.0 + ((top / start) ** 2 - 1.0) * np.exp(-2.0 * rate * ready)) ** 0.5
    full = float(np.interp(0.9 * math.log(top / start), np.log(curve / start), hours))
    # From four hours less three after nine tenths it falls by 0.016/h, its corner rounded over two hours.
    begins = full + 4.0 - 3.0
    falls = 0.016 * 2.0 * (np.logaddexp(0.0, (hours - begins) / 2.0) - math.log1p(math.exp(-begins / 2.0)))
    assert found.log_mass[0] == approx(np.log(curve) - falls, abs=2e-3)
    assert found.log_ratio[0] == approx(np.full(len(hours), math.log(middle["fungi_to_bacteria"])))
    # With that much air: saturation less demand over transfer; one carbon burnt for each made and 0.012/h for upkeep.
    mass = np.exp(found.log_mass[0])
    demand = OXYGEN_PER_CARBON * (np.maximum(np.gradient(mass, hours), 0.0) + 0.012 * mass)
    assert found.oxygen[0] == approx(9.0 - demand / 1000.0, abs=1e-3) and found.log_weight[0] == 0.0


def test_clocks_ramps_and_steps_of_the_second_structure() -> None:
    # On paper: a clock by trapezes that stands while the air is off; a ramp that far on is the time since; a step of half.
    hours = np.array([0.0, 1.0, 3.0, 4.0])
    assert _clock(hours, np.array([1.0, 2.0, 2.0, 4.0]), np.array([1.0, 1.0, 0.0, 1.0])) == approx([0.0, 1.5, 5.5, 5.5])
    begins = np.array([[10.0]])
    ramp = _ramp(np.array([[0.0, 10.0, 60.0]]), begins, 2.0)[0]
    corner = 2.0 * math.log1p(math.exp(-5.0))
    assert ramp == approx([0.0, 2.0 * math.log(2.0) - corner, 50.0 - corner])
    assert _step(np.array([3.0, 4.0, 4.1]), np.array(4.0), np.array(1.0)) == approx(
        [1 / (1 + math.e), 0.5, 1 / (1 + math.exp(-0.1))]
    )
    assert _step(np.array([4.3]), np.array(4.0), np.array(0.1)) == approx([1.0 / (1.0 + math.exp(-1.0))])
    around = surroundings(np.array([0.0, 1.0, 2.0]))
    mass = np.array([[10.0, 20.0, 10.0]])
    # Made 10, 0 and none in an hour (slopes at the ends and in the middle), two burnt a made one, 0.1 of what lives.
    found = _demand(np.log(mass), around, np.array([[2.0]]), np.array([[0.1]]))
    assert found[0] == approx(OXYGEN_PER_CARBON * np.array([20.0 + 1.0, 0.0 + 2.0, 0.0 + 1.0]))


def test_a_course_that_asks_for_more_than_the_air_brings_comes_later() -> None:
    # On paper: 10 grows by 0.5/h, each gram burns one, upkeep 0.1 of what lives. Air for 3 lets 3 - 1 = 2 of 5 wanted: the
    # first hour
    # counts for 0.4 of one, and the course is there where it would have been at 0.4 h.
    hours = np.array([0.0, 1.0, 2.0])
    course = np.log(10.0) + 0.5 * hours[None]
    around, never = surroundings(hours), np.zeros((1, 3), bool)

    def slowed(supply: float, paused: np.ndarray = never) -> np.ndarray:
        return _no_faster_than_air(course, around, np.array([[1.0]]), np.array([[0.1]]), np.full((1, 3), supply), paused)

    found = slowed(3.0)
    assert found[0, :2] == approx([math.log(10.0), math.log(10.0) + 0.2])
    mass = 10.0 * math.exp(0.2)
    assert found[0, 2] == approx(math.log(mass) + 0.5 * (3.0 - 0.1 * mass) / (0.5 * mass))
    assert slowed(1e3) == approx(course)
    # Where upkeep takes all, a fiftieth of the air is left for growth.
    assert slowed(1.0)[0, 1] == approx(math.log(10.0) + 0.5 * 0.02 / 5.0)
    # Paused over the first hour, it grows by half a unit in the second.
    assert slowed(1e3, np.array([[True, False, False]]))[0] == approx(math.log(10.0) + np.array([0.0, 0.0, 0.5]))


class EveryPause(NoChance):
    """All pauses happen, in the middle of when and how long they may; whatever else happens by chance does not."""

    def __init__(self) -> None:
        self.asked = 0

    def random(self, shape: tuple[int, ...]) -> np.ndarray:
        self.asked += 1
        return np.full(shape, {3: 0.5, 4: 0.0}.get(self.asked, 1.0))


def test_a_tenth_of_brews_stand_still_for_some_hours_that_nobody_saw() -> None:
    # Independent computation: the same course, standing from 2 + 28/2 = 16 h for 4 h, is there four hours later what it was.
    hours = np.arange(0.0, 40.5, 0.5)
    story = story_of(compost_g_per_l=40.0, foods={"sucrose": 2.0}, kla_per_h=1000.0, kla_log_sd=0.05)
    basis, around, z = basis_of(story.recipe, story.vessel), surroundings(hours), np.zeros((1, N_TERMS))
    plain = empirical_courses(basis, around, z, NoChance())  # type: ignore[arg-type]
    paused = empirical_courses(basis, around, z, EveryPause())  # type: ignore[arg-type]
    assert paused.log_mass[0, :33] == approx(plain.log_mass[0, :33])
    assert paused.log_mass[0, 33:41] == approx(np.full(8, plain.log_mass[0, 32]))
    assert paused.log_mass[0, 40:] == approx(plain.log_mass[0, 32:-8], abs=1e-9)
    many = empirical_courses(basis, around, np.zeros((4000, N_TERMS)), np.random.default_rng(3))
    # Three half hours without any change are a pause: nothing else in the structure stands quite still.
    stands = np.isclose(np.diff(many.log_mass, axis=1), 0.0, atol=1e-12)
    share = np.mean((stands[:, 4:-2] & stands[:, 5:-1] & stands[:, 6:]).any(axis=1))
    assert share == approx(0.1, abs=0.02)  # three standard errors of 4,000


def courses(log_mass: np.ndarray, oxygen: np.ndarray) -> Courses:
    n = len(log_mass)
    return Courses(
        structure="rise and fall",
        log_mass=log_mass,
        log_ratio=np.zeros(log_mass.shape),
        oxygen=oxygen,
        scores=np.zeros((n, N_TERMS)),
        log_weight=np.zeros(n),
        runs=0,
    )


def test_biomass_for_which_there_is_no_nitrogen_is_believed_less() -> None:
    # On paper: 40 g/L of compost give 24 mg N/L, and 0.1 for the water; at 5.5 to 1 that makes 132.55 mg C/L. The error is
    # 0.6 x 24 / 24.1 + 0.15. A course that makes 400: ln(400 / 132.55) = 1.1045 over 0.7475.
    story = story_of(compost_g_per_l=40.0, foods={})
    basis = replace(basis_of(story.recipe, story.vessel), nitrogen_mg_per_l=0.0)
    rows = np.log([[10.0, 410.0], [10.0, 60.0]])
    found = within_nitrogen(basis, courses(rows, np.zeros(rows.shape)))
    error = 0.6 * 24.0 / 24.1 + 0.15
    weight = -0.5 * (math.log(400.0 / (5.5 * 24.1)) / error) ** 2
    assert found.log_weight == approx([weight, 0.0]) and found.log_belief == approx(math.log(0.5 * (1.0 + math.exp(weight))))
    # 10 mg N/L of food, at the start or later, give 7; the errors of both add by squares.
    for fed in (replace(basis, nitrogen_mg_per_l=10.0), replace(basis, later_nitrogen=(4.0, 6.0))):
        error = math.hypot(0.6 * 24.0, 0.3 * 7.0) / 31.1 + 0.15
        weight = -0.5 * (math.log(400.0 / (5.5 * 31.1)) / error) ** 2
        assert within_nitrogen(fed, courses(rows, np.zeros(rows.shape))).log_weight[0] == approx(weight)


def test_a_log_weighs_courses_by_a_t_of_eight_degrees_with_errors_that_last() -> None:
    # Independent computation: what lacks over what is there on logs; one factor for all, drift with a memory of six hours, the
    # probe's offset and noise, and a twentieth for the model.
    hours = np.arange(0.5, 6.1, 0.5)
    values = 6.0 - 0.2 * hours
    story = story_of(compost_g_per_l=40.0, foods={"molasses": 1.0}, oxygen=(hours, values), horizon_h=24.0)
    setting = setting_of(story)
    index = setting.oxygen.index
    at, seen = setting.grid_h[index], setting.oxygen.values
    full = setting.around.saturation_mg_per_l[index]

    def gap(oxygen: np.ndarray) -> np.ndarray:
        return np.log((full - oxygen + 0.15) / (oxygen + 0.3))

    size = 1.0 / (full - seen + 0.15) + 1.0 / (seen + 0.3)
    cov = 0.09 + 0.35**2 * np.exp(-np.abs(at[:, None] - at[None]) / 6.0) + np.diag((0.1 * size) ** 2 + 0.0025)
    cov += setting.offset_sd**2 * np.outer(size, size)
    oxygen = np.stack([np.full(len(setting.grid_h), 5.0), np.linspace(7.0, 3.0, len(setting.grid_h))])
    found = follows_log(setting, courses(np.zeros(oxygen.shape), oxygen))
    for row, one in zip(oxygen, found, strict=True):
        off = gap(seen) - gap(row[index])
        assert one == approx(-0.5 * (8.0 + len(at)) * math.log1p(off @ np.linalg.solve(cov, off) / 8.0))


def test_a_probe_is_stuck_after_five_like_entries_over_the_hours_that_are_said() -> None:
    from aerobe.inference._logs import STUCK_H

    hours = np.arange(7.0) * (STUCK_H / 4.0 + 0.01)
    five, four = np.array([1.0, 2, 2, 2, 2, 2, 3]), np.array([1.0, 2, 2, 2, 2, 3, 4])
    assert list(_stuck(hours, five)) == [False, True, True, True, True, True, False]
    assert not _stuck(hours, four).any() and not _stuck(0.9 * hours, five).any()
    assert _stuck(hours[:5], np.full(5, 2.0)).all() and not _stuck(2.0 * hours[:4], np.full(4, 2.0)).any()


def test_what_happened_stands_at_its_hour_of_the_grid() -> None:
    forcing = replace(
        forcing_of(story_of(compost_g_per_l=40.0, foods={})),
        air=(Stretch(from_h=2.0, air=0.0), Stretch(from_h=3.0, air=1.5)),
        watered=((2.2, 0.8), (2.4, 0.5), (9.0, 0.1)),
        warmth=((3.0, 15.0),),
    )
    grid = np.arange(0.0, 5.0)
    assert forcing.air_on(grid) == approx([1.0, 1.0, 0.0, 1.5, 1.5]) and forcing.kept_on(grid) == approx(
        [1.0, 1.0, 0.4, 1.0, 1.0]
    )
    assert forcing.expected_degc(grid, 20.0) == approx([20.0, 20.0, 20.0, 15.0, 15.0])


def test_water_that_is_added_or_drawn_off_changes_volume_depth_and_transfer() -> None:
    from aerobe.oxygen import first_guess_kla

    story = story_of(compost_g_per_l=40.0, foods={})
    volume, depth = story.vessel.volume_l, story.vessel.depth_m

    def event(what: str, hour: float, amount: float) -> BrewEvent:
        return BrewEvent(key=f"e{hour:g}", brew="b", what=what, elapsed_h=hour, amount=amount)  # type: ignore[arg-type]

    found = forcing_of(replace(story, events=(event("water added", 2.0, 0.25 * volume), event("drawn off", 5.0, 0.5 * volume))))
    # On paper: four fifths of the first volume over the second; then three quarters of the first, in depth as in volume.
    assert found.watered == ((2.0, approx(0.8)),)
    less = replace(story.vessel, volume_l=0.75 * volume, depth_m=0.75 * depth)
    more = replace(story.vessel, volume_l=1.25 * volume, depth_m=1.25 * depth)
    first = first_guess_kla(story.vessel)[0]
    assert [item.air for item in found.air] == approx([first_guess_kla(more)[0] / first, first_guess_kla(less)[0] / first])


def test_the_look_ahead_is_cut_where_few_courses_still_rise() -> None:
    hours = np.concatenate([np.arange(0.0, 72.0, 1.0), np.arange(72.0, 145.0, 2.0)])
    rises = np.tile(-np.abs(hours - 100.0), (20, 1))
    falls = np.tile(-np.abs(hours - 20.0), (20, 1))
    assert horizon_for(posterior_of(hours, 200.0 + falls), 48.0) == 48.0
    assert horizon_for(posterior_of(hours, 200.0 + rises), 48.0) > 100.0
    short = cut_to(posterior_of(hours, 200.0 + falls, warm_clock_h=hours, air=np.ones(len(hours))), 48.0)
    assert short.times_h[-1] == 48.0 and short.bacteria.shape == short.oxygen.shape == (20, 49)
    assert short.air is not None and short.warm_clock_h is not None and len(short.air) == len(short.warm_clock_h) == 49
