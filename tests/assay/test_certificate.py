"""A whole study, from the table a person types to the sentence a person reads."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from aerobe.assay import (
    Study,
    StudyReading,
    as_lines,
    biomass_from_reading,
    characterise,
    conclusion,
    decision_limit,
    error_for,
    invented_study,
    meaning_of,
    plan_tests,
    study_as_table,
    study_from_table,
)
from aerobe.errors import ImportFault, NotEnoughData, OutsideValidity, UnusableReading
from aerobe.records import AssayError

STUDY = invented_study()


@pytest.fixture(scope="module")
def certificate():
    return characterise(STUDY)


def test_the_invented_truth_is_recovered(certificate) -> None:
    assert certificate.scatter.constant_low < 4.0 * 1.05 and certificate.scatter.constant_high > 4.0
    assert certificate.scatter.proportional_low < 0.10 < certificate.scatter.proportional_high
    recipes = {item.recipe: item for item in certificate.colour.recipes}
    assert recipes["leaf-mould brew"].low < 8 + 45 * 0.4 < recipes["leaf-mould brew"].high
    assert recipes["worm-cast brew"].low < 8 + 25 * 0.25 < recipes["worm-cast brew"].high
    shares = {share.name: share for share in certificate.precision.components.shares}
    assert set(shares) == {"kit lot", "operator", "day", "sample", "test"}
    assert all(
        shares[name].low <= true <= shares[name].high
        for name, true in (("kit lot", 0.07), ("operator", 0.028), ("day", 0.057), ("sample", 0.05))
    )
    assert certificate.linearity.linear and certificate.recoveries[0][1].complete
    assert certificate.suspects == ()


def test_the_error_record_feeds_later_rooms(certificate) -> None:
    error = error_for(certificate, "leaf-mould brew")
    assert isinstance(error, AssayError) and error.origin.startswith("certificate")
    assert error.bias == approx(26.0, abs=3.0) and 0 < error.bias_sd < 3
    assert error.constant_sd > certificate.scatter.constant_sd  # the colour's own scatter
    assert error.detection_limit == approx(decision_limit(error))
    clear = error_for(certificate)
    assert clear.bias == certificate.background and clear.bias_sd == approx(certificate.scatter.constant_sd / math.sqrt(8))
    with pytest.raises(NotEnoughData, match="no controls"):
        error_for(certificate, "another brew")


def test_the_certificate_speaks_plainly(certificate) -> None:
    error = error_for(certificate, "leaf-mould brew")
    text = conclusion(certificate, error, "leaf-mould brew", reading=120.0)
    meant = meaning_of(certificate, error, 120.0)
    assert text.startswith("A single reading of 120 ug C/mL means ") and "cannot be told from no microbes" in text
    assert "the colour of leaf-mould brew adds about 1" in text
    assert meant.low < 120 - error.bias < meant.high
    headings = [heading for heading, _ in as_lines(certificate, error, "leaf-mould brew")]
    assert headings[0] == "Conclusion" and {
        "Scatter",
        "Where it comes from",
        "Colour",
        "Dilution",
        "Recovery",
        "Valid range",
        "Scale",
    } <= set(headings)
    with pytest.raises(OutsideValidity):
        meaning_of(certificate, error, 900.0)


def test_the_table_comes_back_as_it_went() -> None:
    again = study_from_table(
        study_as_table(STUDY), name=STUDY.name, method=STUDY.method, price=4.0, scale_low=3.0, scale_high=600.0
    )
    assert [replace(item, line=0) for item in again.readings] == list(STUDY.readings)


def test_semicolons_decimal_commas_and_marks() -> None:
    study = study_from_table(
        "Role;Signal;Unit;What;Color\nblank;<3;ug C/mL;;\ntea;12,5;ug C/mL;brew;0,4\ntea;>600;ug C/mL;brew;0,4",
        name="s",
        method="colour test",
    )
    assert [(item.signal, item.below_detection, item.above_range) for item in study.readings] == [
        (3, True, False),
        (12.5, False, False),
        (600, False, True),
    ]
    assert study.readings[0].role == "water blank" and study.readings[1].colour == 0.4


def small(*lines: str) -> str:
    return "role,signal,unit,what,colour,dilution,sample\n" + "\n".join(lines)


PLAIN = (
    "water blank,5,ug C/mL",
    "water blank,7,ug C/mL",
    "water blank,6,ug C/mL",
    "sample,90,ug C/mL,brew,0.3",
    "sample,110,ug C/mL,brew,0.3",
    "sample,104,ug C/mL,brew,0.3",
)


def made(*lines: str):
    return characterise(study_from_table(small(*lines), name="small", method="colour test"))


def test_a_small_study_says_what_it_could_not_show() -> None:
    certificate = made(*PLAIN)
    text = " ".join(certificate.missing)
    for word in ("Colour", "Linearity", "Recovery", "day", "operator", "kit lot"):
        assert word in text
    assert certificate.gain_log_sd == approx(0.3) and "assumed" in certificate.gain_words


def test_readings_below_the_scale_stay_in() -> None:
    certificate = made("water blank,<5,ug C/mL", "water blank,<5,ug C/mL", *PLAIN)
    assert certificate.censored == 2 and 4.0 < certificate.background < 5.6  # 6 without them, 5.6 with the lowest mark


def test_an_odd_day_is_named() -> None:
    days = [
        f"sample,{v:g},ug C/mL,brew,0.3,,{day}"
        for day, level in (("a", 100), ("b", 101), ("c", 99), ("d", 160), ("e", 100))
        for v in (level - 1, level + 1)
    ]
    certificate = made(*PLAIN[:3], *days)
    assert any("sample d" in text and "lies high" in text for text in certificate.odd_groups)
    assert "Odd groups" in dict(as_lines(certificate, error_for(certificate)))


def test_standards_tell_the_scale() -> None:
    standards = [f"standard,{6 + 0.8 * x + d:g},ug C/mL,,,,,{x:g}" for x in (50.0, 100.0) for d in (-2, 0, 3)]
    lines = [line + "," * (7 - line.count(",")) for line in PLAIN]
    text = "role,signal,unit,what,colour,dilution,sample,added\n" + "\n".join([*lines, *standards])
    certificate = characterise(study_from_table(text, name="small", method="colour test"))
    assert [name for name, _ in certificate.recoveries] == ["standard at 50 in water", "standard at 100 in water"]
    assert 0.2 < certificate.gain_log_sd < 0.3 and "80 %" in certificate.gain_words  # ln(0.8) is -0.22: not corrected for


def test_the_bias_handed_on_keeps_its_interval(certificate) -> None:
    recipe = next(item for item in certificate.colour.recipes if item.recipe == "worm-cast brew")
    error = error_for(certificate, "worm-cast brew")
    assert 1.6448536269514722 * error.bias_sd == approx(recipe.high - recipe.bias)
    assert error.bias_sd > recipe.sd


def test_few_repeats_are_said_to_be_few() -> None:
    assert any("degrees of freedom" in text for text in made(*PLAIN).missing)


def test_an_odd_reading_is_reported_and_kept() -> None:
    base = [f"sample,{v},ug C/mL,brew,0.3" for v in (100, 101, 99, 100, 102, 98, 160)]
    certificate = made(*PLAIN[:3], *base)
    assert any("160" in text and "stays in the data" in text for text in certificate.outlier_sentences)
    assert certificate.scatter.proportional_cv > 0.15  # it was not dropped


@pytest.mark.parametrize(
    ("lines", "fault", "problem", "remedy"),
    [
        ((*PLAIN, "sample,-4,ug C/mL,brew,0.3"), UnusableReading, "Line 8", "before any blank"),
        (("water blank,200,ug C/mL", "water blank,210,ug C/mL", *PLAIN[3:]), UnusableReading, "blanks read 205", "swapped"),
        (("water blank,5,ug C/mL", "sample,100,ug C/mL,brew,0.3"), NotEnoughData, "repeated", "three times"),
        ((*PLAIN, "sample,50,ug C/mL,brew,0.3,0.5"), UnusableReading, "dilution of 0.5", "final volume over sample volume"),
        ((*PLAIN, "sample,50,mg/L,brew,0.3"), UnusableReading, "mixed units", "one unit"),
        ((*PLAIN, "sample,abc,ug C/mL,brew"), UnusableReading, "'abc' is not a number", "digits"),
        ((*PLAIN, "sample,,ug C/mL,brew"), UnusableReading, "no reading", "number read"),
        ((*PLAIN, "sample,5,,brew"), UnusableReading, "no unit", "ug C/mL"),
        ((*PLAIN, "guess,5,ug C/mL,brew"), UnusableReading, "no role", "water blank"),
        ((*PLAIN, "killed control,5,ug C/mL"), UnusableReading, "without a name", "recipe"),
        ((*PLAIN, "sample,5,ug C/mL,brew,0.3,1,a,b,c"), ImportFault, "more cells", "semicolon"),
    ],
)
def test_bad_input_gets_a_clear_answer(lines: tuple[str, ...], fault: type[Exception], problem: str, remedy: str) -> None:
    with pytest.raises(fault) as caught:
        made(*lines)
    assert problem in caught.value.problem and remedy in caught.value.remedy


def test_a_table_without_its_columns() -> None:
    with pytest.raises(ImportFault, match="Missing columns: unit"):
        study_from_table("role,signal\nsample,5", name="x", method="colour test")
    with pytest.raises(ImportFault, match="Unknown columns: mood"):
        study_from_table("role,signal,unit,mood\nsample,5,ug C/mL,good", name="x", method="colour test")
    with pytest.raises(ImportFault, match="at most 3000"):
        study_from_table("role,signal,unit\n" + "sample,5,ug C/mL\n" * 3001, name="x", method="colour test")
    with pytest.raises(ImportFault, match="empty"):
        study_from_table("role,signal,unit", name="x", method="colour test")


# --- one reading -----------------------------------------------------------------------------------------------------

ERROR = AssayError(constant_sd=6.0, proportional_cv=0.12, bias=23.0, bias_sd=2.0, gain_log_sd=0.2)


def test_a_reading_inverts_the_error_model() -> None:
    found = biomass_from_reading(ERROR, 120.0)
    for x in (found.low, found.high):
        assert (97.0 - x) ** 2 == approx(1.6448536269514722**2 * (36 + 4 + (0.12 * x) ** 2), rel=1e-9)


def test_the_interval_of_a_reading_holds_the_truth_as_often_as_it_says() -> None:
    rng = np.random.default_rng(9)
    for x in (15.0, 60.0, 200.0):
        bias = 23 + 2 * rng.standard_normal(4000)
        readings = x + bias + np.hypot(6.0, 0.12 * x) * rng.standard_normal(4000)
        held = np.mean([(item := biomass_from_reading(ERROR, y)).low <= x <= item.high for y in readings])
        assert 0.885 <= held <= 0.915


def test_a_weak_reading_is_a_bound_and_a_censored_one_stays_censored() -> None:
    weak = biomass_from_reading(ERROR, 25.0)
    assert not weak.told_from_zero and weak.low == 0.0 and "at most" in weak.says
    below, above = biomass_from_reading(ERROR, 30.0, below_detection=True), biomass_from_reading(ERROR, 600.0, above_range=True)
    assert below.censored and below.low == 0.0 and math.isnan(below.value) and "not as zero" in below.says
    assert above.high == math.inf and "dilute" in above.says
    assert biomass_from_reading(replace(ERROR, proportional_cv=0.9), 300.0).high == math.inf


def test_repeats_shrink_the_scatter_but_not_the_bias() -> None:
    many = biomass_from_reading(ERROR, 120.0, readings=10_000)
    assert (many.high - many.low) / 2 == approx(1.6448536 * 2.0, rel=0.02)


# --- how many tests --------------------------------------------------------------------------------------------------


def test_the_plan_is_the_cheapest_by_brute_force() -> None:
    found = plan_tests(ERROR, expected=100, wanted_percent=10, test_price=4, sample_price=6, sample_cv=0.08)
    best = min(
        (k * (6 + 4 * m), k, m)
        for k in range(1, 60)
        for m in range(1, 60)
        if 1.6448536 * math.sqrt(64 / k + (36 + 144) / (k * m)) <= 10
    )
    assert found.reachable and found.cost == best[0] and found.half_width <= 10


def test_a_plan_that_no_number_of_tests_reaches_says_so() -> None:
    found = plan_tests(ERROR, expected=100, wanted_percent=10, test_price=4, same_kit=False)
    assert not found.reachable and found.floor > 10 and "endless tests" in found.says


def test_impossible_plans() -> None:
    with pytest.raises(OutsideValidity):
        plan_tests(ERROR, expected=0, wanted_percent=10, test_price=4)
    with pytest.raises(UnusableReading):
        plan_tests(ERROR, expected=10, wanted_percent=-10, test_price=4)


# --- the whole way, simulated ----------------------------------------------------------------------------------------


def simulated_study(rng: np.random.Generator, constant: float = 4.0, cv: float = 0.10) -> Study:
    """A study that a diligent brewer can make in an afternoon: 38 readings, truth known."""
    found: list[StudyReading] = []

    def add(role: str, biomass: float, what: str, colour: float, slope: float) -> None:
        net = biomass + slope * colour
        signal = max(0.0, 8.0 + net + rng.standard_normal() * math.hypot(constant, cv * net))
        found.append(StudyReading(role=role, signal=signal, unit="ug C/mL", what=what, colour=colour))

    for _ in range(8):
        add("water blank", 0.0, "", 0.0, 0.0)
    for what, biomass, colour, slope in (("dark", 60.0, 0.4, 45.0), ("pale", 200.0, 0.2, 25.0)):
        for _ in range(6):
            add("sample", biomass, what, colour, slope)
        for role in ("filtered blank", "killed control") * 4:
            add(role, 0.0, what, colour, slope)
    for colour in (0.1, 0.2, 0.4, 0.8):
        add("colourant", 0.0, "humic", colour, 60.0)
        add("colourant", 0.0, "humic", colour, 60.0)
    return Study(name="simulated", method="colour test", readings=tuple(found))


def test_a_later_reading_of_the_same_tea_means_what_the_certificate_says() -> None:
    """Characterise, hand on the error record, read the tea again: 90 % intervals hold the true biomass in about 90 %."""
    rng = np.random.default_rng(17)
    held, shrunk = [], []
    for _ in range(100):
        error = error_for(characterise(simulated_study(rng)), "dark")
        for y in 26 + 60 + rng.standard_normal(20) * math.hypot(4.0, 0.10 * 78):
            item = biomass_from_reading(error, float(y))
            held.append(item.low <= 60 <= item.high)
            half = 0.6 * (item.high - item.low) / 2
            shrunk.append(abs(60 - (item.high + item.low) / 2) <= half)
    assert 0.86 <= np.mean(held) <= 0.94
    assert np.mean(shrunk) < 0.80  # intervals shortened to six tenths are noticed
