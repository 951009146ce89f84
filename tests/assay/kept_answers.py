"""Cases of the room with many branches: guards, search grids, thresholds and tuned constants that nothing independent holds."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from functools import partial

import numpy as np

from aerobe import assay as a
from aerobe.assay import _arrays as arrays
from aerobe.assay import _linearity as lines
from aerobe.assay import _mpn as mpn
from aerobe.assay import _planning as planning
from aerobe.assay import _plates as plates
from aerobe.assay import _propagation as spread
from aerobe.assay import _result as result
from aerobe.records import Assay, AssayError
from tests.assay import kept_fits as fits
from tests.kept_answers import numbers_in, refused

FIRST = [12.1, 25.7, 38.2, 55.9, 71.3, 90.4, 118.0, 140.2, 33.3, 61.7, 82.5]
SECOND = [14.0, 24.9, 42.5, 61.8, 70.7, 101.3, 127.9, 149.0, 39.9, 66.1, 95.5]
ERROR = AssayError(constant_sd=4.3, proportional_cv=0.13, bias=7.7, bias_sd=1.9, gain_log_sd=0.21)


def bare(found: object) -> object:
    """All fields of an answer but its words; of those the figures."""
    if is_dataclass(found) and not isinstance(found, type):
        given = {field.name: getattr(found, field.name) for field in fields(found)}
        return {name: numbers_in(value) if name == "says" else value for name, value in given.items()}
    return found


def none_of(do: Callable[..., object], *cases: tuple[object, ...]) -> list[object]:
    """Refusals of one function."""
    return [refused(partial(do, *case)) for case in cases]


def plans() -> list[object]:
    plan = partial(a.plan_tests, ERROR, test_price=3.1)
    return [
        bare(plan(expected=61.0, wanted_percent=17.0, sample_price=7.3, sample_cv=0.22)),
        bare(plan(expected=61.0, wanted_percent=11.0, sample_price=0.4, sample_cv=0.07)),
        bare(plan(expected=23.0, wanted_percent=19.0, same_kit=False)),
        bare(plan(expected=90.0, wanted_percent=61.0, same_kit=False, sample_cv=0.1, sample_price=2.0)),
        bare(plan(expected=61.0, wanted_percent=3.0, sample_cv=0.3, most_tests=37)),
        bare(plan(expected=61.0, wanted_percent=3.2, most_tests=71)),
        [planning._best_within(9, *both) for both in ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))],
        [refused(partial(plan, expected=0.0, wanted_percent=9.0)), refused(partial(plan, expected=1.0, wanted_percent=0.0))],
        refused(partial(plan, expected=1.0, wanted_percent=9.0, sample_cv=-0.1)),
        a.plan_tests(ERROR, expected=61.0, wanted_percent=17.0, test_price=2.0).tests,
    ]


def readings() -> list[object]:
    read = partial(a.biomass_from_reading, ERROR)
    wide = replace(ERROR, proportional_cv=0.71, detection_limit=9.9)
    return [
        [bare(read(value)) for value in (3.0, 14.0, 18.5, 61.0)],
        bare(read(61.0, readings=3, level=0.8, with_scale=True)),
        [bare(read(9.0, below_detection=True, level=level)) for level in (0.9, 0.7, 0.75)],
        bare(read(250.0, above_range=True)),
        [bare(a.biomass_from_reading(wide, value)) for value in (17.0, 18.0, 61.0)],
        [bare(a.biomass_from_reading(replace(wide, proportional_cv=cv), 61.0)) for cv in (0.6, 0.62)],
        [refused(partial(read, *case)) for case in ((math.nan,), (math.inf,))],
        [refused(partial(read, 9.0, readings=0)), refused(partial(read, 9.0, below_detection=True, above_range=True))],
        [a.decision_limit(ERROR), a.decision_limit(ERROR, readings=3, alpha=0.02), a.decision_limit(wide)],
        [a.decision_limit(wide, readings=2), a.decision_limit(wide, alpha=0.1)],
        [result._inverted(*case) for case in ((31.0, 1.7, 9.0, 0.4), (3.0, 1.7, 9.0, 0.4), (31.0, 1.7, 9.0, 0.02))],
        [a.ASSUMED_GAIN_LOG_SD, arrays.normal_quantile(0.87), arrays.t_quantile(0.87, 6.5), arrays.t_quantile(0.87, math.inf)],
        none_of(arrays.confidence, (0.49,), (1.0,)),
        [arrays.confidence(0.5), refused(lambda: arrays.finite([], "x")), refused(lambda: arrays.finite([1.0, math.inf], "x"))],
        [refused(lambda: arrays.finite([1.0], "x", at_least=2)), arrays.finite([1.0, 2.5], "x", at_least=2)],
        [assumed(*case) for case in METHODS],
    ]


METHODS = (
    ("plate count", "CFU/mL", "bacteria"),
    ("most probable number", "MPN/mL", "bacteria"),
    ("flow cytometry", "cells/mL", "biomass"),
    ("direct microscopy", "cells/mL", "biomass"),
    ("other", "cells/mL", "biomass"),
    ("turbidity", "OD", "biomass"),
    ("turbidity", "NTU", "biomass"),
    ("colour test", "ug C/mL", "biomass"),
    ("colour test", "ratio", "fungal to bacterial ratio"),
    ("plate count", "10^6 CFU/mL", "bacteria"),
)


def assumed(method: str, unit: str, quantity: str) -> object:
    return a.assumed_error(Assay(key="x", name="x", method=method, unit=unit, quantity=quantity, to_house=0.37))


def compared() -> list[object]:
    ties = [12.1, 12.1, 38.2, 55.9, 71.3, 90.4, 90.4, 140.2, 33.3, 61.7, 82.5]
    foods = ["oats", "oats", "kelp", "kelp", "oats", "kelp", "oats", "kelp", "oats", "kelp", "kelp"]
    phase = ["early", "late", "early", "late", "late", "early", "early", "late", "mid", "mid", "mid"]
    known = list(np.linspace(0.02, 0.07, 11))
    unlike = [one * (1.6 if stage == "late" else 0.9) for one, stage in zip(FIRST, phase, strict=True)]
    bias = partial(a.phase_bias, foods=foods, phases=phase)
    single = ["oats", "oats", "oats", "kelp", "kelp", "kelp"], ["early", "mid", "late"] * 2
    return [
        [a.deming(FIRST, SECOND), a.deming(FIRST, SECOND, error_ratio=1.7, level=0.9)],
        [a.passing_bablok(FIRST, SECOND), a.passing_bablok(ties[:10], SECOND[:10], level=0.9), a.passing_bablok(ties, SECOND)],
        a.passing_bablok(FIRST, [*SECOND[:2], 95.0, 20.0, 60.0, 99.0, *SECOND[6:]]),
        [numbers_in(a.deming(FIRST, SECOND).says), numbers_in(a.deming(FIRST, list(20.0 + 2.2 * np.array(SECOND))).says)],
        [bare(a.limits_of_agreement(FIRST, SECOND)), bare(a.limits_of_agreement(FIRST, SECOND, relative=True, level=0.9))],
        bare(a.limits_of_agreement(FIRST, unlike, multiplier=2.0)),
        bare(a.limits_of_agreement(list(0.001 * np.array(FIRST)), list(0.001 * np.array(SECOND)))),
        none_of(a.deming, (FIRST[:2], SECOND[:2]), (FIRST, SECOND[:10]), (FIRST, [3.0] * 11), (FIRST, [-one for one in SECOND])),
        none_of(lambda ratio: a.deming(FIRST, SECOND, error_ratio=ratio), (0.0,), (-1.0,)),
        none_of(a.passing_bablok, (FIRST[:4], SECOND[:4]), (FIRST, [-one for one in FIRST])),
        refused(lambda: a.passing_bablok(FIRST[:5], SECOND[:5], level=0.999)),
        [bare(bias(unlike, SECOND)), bare(bias(FIRST, SECOND)), bare(bias(FIRST, SECOND, log_sd=known, level=0.8))],
        bare(a.phase_bias(FIRST[:6], SECOND[:6], *single)),
        bare(a.phase_bias(FIRST[:6], SECOND[:6], *single, log_sd=known[:6])),
        bare(a.phase_bias(FIRST[:6], SECOND[:6], ["oats"] * 6, single[1])),
        refused(lambda: a.phase_bias(FIRST[:4], SECOND[:4], foods[:4], phase[:4], log_sd=[0.1, 0.0, 0.1, 0.2])),
        refused(lambda: a.phase_bias(FIRST[:4], SECOND[:4], ["a", "b", "c", "d"], ["a", "b", "c", "d"])),
        refused(lambda: a.phase_bias(FIRST[:4], SECOND[:4], foods[:3], phase[:4])),
        refused(lambda: a.phase_bias([0.0, 1.0, 2.0, 3.0], SECOND[:4], foods[:4], phase[:4])),
    ]


def straight() -> list[object]:
    levels = [0.0, 0.0, 1.5, 1.5, 3.0, 3.0, 6.0, 6.0, 12.0, 12.0, 24.0, 24.0]
    even = [2.1, 1.7, 6.9, 7.4, 11.8, 12.9, 21.7, 23.0, 43.1, 41.2, 80.2, 83.9]
    bent = [2.1, 1.7, 6.9, 7.4, 11.8, 12.9, 21.7, 23.0, 37.1, 36.2, 51.2, 50.9]
    tea = [(1.0, 90.0), (0.5, 49.0), (0.25, 22.0), (0.125, 12.4)]
    standard = [(1.0, 120.0), (0.5, 58.0), (0.25, 31.0), (0.1, 11.0)]
    loose = [(1.0, 90.0), (0.5, 70.0), (0.25, 52.0), (0.125, 44.0)]
    valid = partial(a.valid_range, detection=3.3)
    return [
        bare(a.linearity(levels, even)),
        bare(a.linearity(levels, bent, constant_sd=1.3, proportional_cv=0.04)),
        bare(a.linearity(levels, bent, allowed_percent=31.0, alpha=0.2, constant_sd=0.7)),
        bare(a.linearity(levels[::2], bent[::2], allowed_percent=3.0, proportional_cv=0.02)),
        bare(a.linearity(levels, [90.0 - one for one in even])),
        bare(a.linearity([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], [2.0, 4.0, 6.0, 8.0, 10.0, 12.0])),
        bare(a.linearity([1.0, 2.0, 3.0, 4.0, 4.0], [2.0, 4.1, 6.0, 7.1, 7.3])),
        none_of(a.linearity, (levels, even[:-1]), (levels[:6], even[:6]), (levels[:4], even[:4])),
        [
            lines._stretch([(1.0, 3.0), (2.0, -9.0), (3.0, 1.0), (4.0, 2.0), (5.0, -2.0), (6.0, 8.0)], at)
            for at in (2.5, 5.0, 0.5)
        ],
        [bare(a.parallelism(one, standard)) for one in (tea, loose)],
        bare(a.parallelism(tea, standard, allowed_factor=1.07, level=0.8)),
        none_of(a.parallelism, (tea[:1], standard), (tea, standard[:1]), ([(1.0, 90.0), (0.5, 0.0)], standard)),
        none_of(a.parallelism, ([(1.0, 9.0), (0.5, 19.0)], standard), (tea[:2], standard[:2])),
        bare(a.parallelism(tea[:2], standard[:3])),
        [
            bare(a.spike_recovery(*one))
            for one in (([51.0, 55.0, 49.0], [141.0, 150.0, 139.0, 144.0], 100.0), ([50.0, 50.0], [90.0, 90.0], 51.0))
        ],
        bare(a.spike_recovery([51.0, 55.0, 49.0], [171.0, 180.0], 80.0, added_sd=4.4, level=0.8)),
        refused(lambda: a.spike_recovery([51.0, 55.0], [171.0, 180.0], 0.0)),
        a.standard_addition([0.0, 10.0, 20.0, 41.0], [13.1, 20.9, 31.0, 49.0], background=4.4, level=0.9),
        refused(lambda: a.standard_addition([0.0, 10.0, 20.0], [30.0, 20.0, 10.0])),
        [valid(quantification=value) for value in (9.1, math.inf)],
        [valid(quantification=9.1, linear_low=11.0, linear_high=80.0, highest_tested=70.0, upper_limit=90.0)],
        [valid(quantification=math.inf, linear_low=2.0, linear_high=80.0, upper_limit=71.0), valid(quantification=math.nan)],
    ]


def counted() -> list[object]:
    fields_seen = [4.0, 11.0, 7.0, 19.0, 2.0, 8.0]
    sample = [(1.0, 5, 5), (0.1, 5, 3), (0.01, 5, 1)]
    rare = [(1.0, 5, 0), (0.1, 5, 4), (0.01, 5, 3)]
    odd = [(1.0, 3, 2), (0.1, 3, 3), (0.01, 3, 0)]
    tubes = partial(a.most_probable_number)

    def columns(rows: list[tuple[float, int, int]]) -> tuple[list[float], list[int], list[int]]:
        return [row[0] for row in rows], [row[1] for row in rows], [row[2] for row in rows]

    dish = a.Plate
    grown = [dish(sample_ml=ml, colonies=n) for ml, n in ((0.1, 212), (0.1, 187), (0.01, 24), (0.01, 15), (0.001, 3))]
    dense = [dish(sample_ml=0.1, colonies=300, too_many=True), dish(sample_ml=0.03, colonies=250, too_many=True)]
    mean, crowded = partial(a.weighted_mean), partial(a.crowded_plates)
    return [
        [a.poisson_limits(0), a.poisson_limits(17.0, 0.9)],
        [
            bare(a.density_from_fields(*one))
            for one in ((fields_seen, 310.0), ([4.0, 6.0, 5.0, 7.0], 21.0), ([0.0, 0.0], 9.0), ([7.0], 3.0))
        ],
        bare(a.density_from_fields([3.0, 3.0, 9.0, 2.0], 21.0, level=0.8)),
        bare(a.hyphal_length_m_per_ml(fields_seen, grid_line_mm=1.7, filter_mm2=201.0, filtered_ml=0.4, dilution=7.0, level=0.9)),
        none_of(a.density_from_fields, ([-1.0], 3.0), ([1.5], 3.0), ([1.0], 0.0)),
        refused(lambda: a.hyphal_length_m_per_ml([1.0], grid_line_mm=1.7, filter_mm2=0.0, filtered_ml=0.4)),
        refused(lambda: a.hyphal_length_m_per_ml([1.0], grid_line_mm=1.7, filter_mm2=9.0, filtered_ml=0.4, dilution=0.9)),
        [bare(tubes(*columns(rows))) for rows in (sample, rare, odd)],
        [bare(tubes(*columns(sample), level=0.9, limits=way)) for way in ("log expected", "likelihood ratio")],
        [bare(tubes([2.0, 0.3], [5, 4], seen)) for seen in ([0, 0], [5, 4])],
        none_of(tubes, ([1.0], [5, 5], [1]), ([0.0], [5], [1]), ([2e6], [5], [1]), ([1e-16], [5], [1]), ([1.0], [0], [0])),
        none_of(tubes, ([1.0], [5], [6]), ([1.0], [5], [-1]), ([1.0], [10001], [3]), ([1.0], [5.5], [1])),
        [tubes([1e6], [3], [1]).value, tubes([1.0], [10000], [3]).value, tubes([1e-15], [3], [1]).value],
        [numbers_in(mpn._words(*case)) for case in ((3.3, 1.1, 9.9, 0.011), (3.3, 1.1, 9.9, 0.009), (3.3, 1.1, 9.9, 0.051))],
        [
            numbers_in(mpn._words(*case))
            for case in ((3.3, 1.1, 9.9, 0.049), (0.0, 0.0, 4.4, 1.0), (math.inf, 5.5, math.inf, 1.0))
        ],
        [bare(mean(grown)), bare(mean(grown, lowest=30, highest=200, level=0.9)), bare(mean(grown[2:], lowest=25, highest=250))],
        [
            bare(mean([dish(sample_ml=0.1, colonies=n) for n in seen]))
            for seen in ((7, 4), (0, 0), (300, 10), (301, 10), (301, 11))
        ],
        none_of(mean, ([],), (dense,), ([dish(sample_ml=0.1, colonies=301), dish(sample_ml=0.1, colonies=9)],)),
        refused(lambda: mean([dish(sample_ml=0.1, colonies=301), dish(sample_ml=0.01, colonies=400)])),
        [bare(crowded([*grown[2:], *dense])), bare(crowded([*grown[3:], dense[0]], level=0.8)), bare(crowded(grown))],
        bare(crowded([dish(sample_ml=0.01, colonies=0), dense[1]])),
        bare(crowded([dish(sample_ml=1.0, colonies=3), dish(sample_ml=1e-4, colonies=900, too_many=True)])),
        refused(lambda: crowded(dense)),
        plates._log_of_tail(np.array([3.0, 40.0, 900.0]), np.array([5.5, 11.0, 0.3])),
        [a.two_digits(value) for value in (0.0, 123.0, 0.00456, 155.0, 145.0, -77.7, math.inf)],
        none_of(lambda ml, n: dish(sample_ml=ml, colonies=n), (1e-16, 3), (2e4, 3), (1.0, -1), (1.0, 1_000_001)),
        refused(lambda: dish(sample_ml=1.0, colonies=0, too_many=True)),
        [dish(sample_ml=1e-15, colonies=1_000_000), dish(sample_ml=1e4, colonies=0)],
    ]


def ratios() -> list[object]:
    part = a.FungalRatio(ratio=0.37, log_sd=0.29, kind="mass")
    cell = partial(a.carbon_from_volume)
    made = partial(a.convert_basis, a.Uncertain(value=31.0, sd=2.2))
    heap = a.Material(density_g_per_ml=a.Uncertain(value=0.61, sd=0.02), moisture=a.Uncertain(value=0.57, sd=0.013))
    inputs = [
        spread.Input(name="x", value=3.1, uncertainty=0.4),
        spread.Input(name="y", value=1.7, uncertainty=0.3, shape="student", df=7.0),
        spread.Input(name="z", value=0.9, uncertainty=0.1, shape="rectangular", df=30.0),
        spread.Input(name="w", value=2.2, uncertainty=0.2, shape="triangular"),
    ]
    linked = np.array([[1.0, 0.4, 0.0, 0.1], [0.4, 1.0, 0.2, 0.0], [0.0, 0.2, 1.0, 0.0], [0.1, 0.0, 0.0, 1.0]])
    plain = [replace(one, shape="normal") for one in inputs]

    def model(x: float, y: float, z: float, w: float) -> float:
        return x * x * y / (1.0 + z) - 0.7 * x * w + np.exp(0.3 * w)  # type: ignore[no-any-return]

    return [
        bare(a.fieller(31.0, 17.0, 4.0, 2.2, covariance=1.7, df=9.0, level=0.9)),
        [bare(a.fieller(31.0, 17.0, 4.0, 2.2)), bare(a.fieller(31.0, 7.0, 4.0, 3.7)), bare(a.fieller(-3.0, 7.0, 4.0, 0.7))],
        [bare(a.log_ratio(31.0, 17.0, 4.0, 2.2, correlation=0.3, level=0.8)), bare(a.log_ratio(31.0, 17.0, 4.0, 2.2))],
        none_of(a.fieller, (1.0, 0.0, 1.0, 1.0), (1e19, 1.0, 1.0, 1.0), (1e-19, 1.0, 1.0, 1.0), (1.0, 1.0, -1.0, 1.0)),
        none_of(a.log_ratio, (0.0, 1.0, 1.0, 1.0), (1.0, 0.0, 1.0, 1.0), (1.0, 1.0, 101.0, 1.0), (1.0, 1.0, 1.0, 2e18)),
        [bare(a.fieller(0.0, 7.0, 0.3, 0.1)), bare(a.log_ratio(1.0, 1.0, 100.0, 1.0))],
        [
            part.fungal_fraction(),
            part.fungal_fraction(0.7),
            a.ratio_from_parts(31.0, 77.0, 4.0, 6.0, "count"),
        ],
        none_of(lambda value, sd: a.FungalRatio(ratio=value, log_sd=sd, kind="mass"), (0.0, 0.1), (0.5, -0.1)),
        [bare(cell(3.1e8, size)) for size in (0.05, 0.31, 0.036, 0.0731)],
        [bare(cell(3.1e8, 7.7, "fungi")), bare(cell(0.0, 0.3)), bare(a.carbon_from_hyphae(4.4, 2.9)), a.cylinder_um3(3.3, 0.7)],
        [bare(a.carbon_from_hyphae(0.0, 2.9)), a.CARBON_FACTORS],
        none_of(cell, (1.0, 1.0, "algae"), (-1.0, 1.0), (1.0, 0.0), (math.inf, 1.0)),
        none_of(a.carbon_from_hyphae, (-1.0, 2.0), (1.0, 0.0)),
        [made(given=one, wanted=two, material=heap).linear for one, two in (("per mL", "per g dry"), ("per g dry", "per g wet"))],
        [made(given="per g wet", wanted="per mL", material=heap).linear, made(given="per mL", wanted="per mL", material=heap)],
        refused(lambda: made(given="per g", wanted="per mL", material=heap)),
        none_of(lambda value, sd: a.Material(density_g_per_ml=a.Uncertain(value=value, sd=sd)), *BAD_DENSITIES),
        none_of(lambda value, sd: replace(heap, moisture=a.Uncertain(value=value, sd=sd)), (0.3, 0.51), (1.0, 0.0)),
        none_of(lambda value, sd: a.Uncertain(value=value, sd=sd), (2e18, 0.0), (1.0, -0.1), (1.0, 2e18), (math.nan, 0.0)),
        [a.propagate(model, inputs), a.propagate(model, plain, correlation=linked, level=0.8)],
        [spread.simulate(model, inputs, seed=3, draws=997), spread.simulate(model, plain, seed=4, draws=998, correlation=linked)],
        [
            bare(a.propagate_both(model, inputs, seed=5, draws=991)),
            bare(a.propagate_both(model, inputs, seed=5, draws=991, digits=1)),
        ],
        bare(a.propagate_both(lambda x: 3.0 * x + 1.0, inputs[:1], seed=6, draws=40_000, digits=1, level=0.8)),
        spread._steps(np.array([3.0, 5e9, 4.0, 0.2]), np.array([0.1, 1e-3, 0.0, 0.0])),
        refused(lambda: a.propagate(model, inputs, correlation=np.array([[1.0, 2.0], [0.0, 1.0]]))),
        refused(lambda: spread.simulate(model, inputs, seed=3, draws=99, correlation=linked)),
    ]


BAD_DENSITIES = ((0.04, 0.0), (3.1, 0.0), (0.6, 0.61))


def answers() -> dict[str, object]:
    """By what each case holds."""
    return {
        "how many tests: the cheapest plan, what is out of reach, and what is refused": plans,
        "what a reading means: limits, scale, censoring, and the error taken for a test without one": readings,
        "two tests on the same samples, and whether a fixed factor turns one into the other": compared,
        "dilutions: straight, bent or falling, parallel or not, recovered or not, and the valid range": straight,
        "fields, hyphae, tubes and plates, with each refusal": counted,
        "ratios, bases, carbon of cells and the spread of a calculated result": ratios,
        "lines, censored results and limits": fits.lines_and_limits,
        "scatter that grows with the level, and where it comes from": fits.scatter,
        "odd readings and groups": fits.odd_ones,
        "colour: slopes, controls and suspects": fits.colour,
        "the invented study, read whole, and the record that it hands on": fits.studied,
        "studies that lack something: what is noted, and what stands in": fits.lacking,
    }
