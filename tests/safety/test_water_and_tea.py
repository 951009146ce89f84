"""Water, gear and the kind of tea (21 CFR 112.51; dechlorination by reaction and by field table)."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from pytest import approx

from aerobe.errors import AerobeError, OutsideValidity, UnusableRecord
from aerobe.safety import (
    FAILS,
    HUMAN,
    LOCAL,
    NOT_SHOWN,
    PLANTS,
    SHOWN,
    SLUDGE_A,
    SLUDGE_B,
    TREATED,
    TREATED_A,
    UNKNOWN,
    UNTREATED,
    dechlorinate,
    judge_material,
    judge_tea,
    judge_water,
    sanitise,
    water_kind,
)
from tests.safety.use_cases import use_of


@pytest.mark.parametrize(
    ("material", "change", "kind"),
    # 21 CFR 112.51: treated compost, municipal water and molasses make an untreated tea; the same without molasses a treated one.
    [
        ("b+molasses", "", UNTREATED),
        ("b", "", TREATED),
        ("a", "", TREATED_A),
        ("raw", "", UNTREATED),
        ("b", "water=fails", UNTREATED),
        ("b", "tea=not known", UNKNOWN),
        ("b", "water=untested", UNKNOWN),
        ("b+unanswered", "", UNKNOWN),
        ("b+molasses", "hour=no", TREATED),
        ("b+fish", "hour=no", UNTREATED),
        ("plants+molasses", "", PLANTS),
        ("plants+fish", "", UNTREATED),
        ("a", "soiled=yes", UNTREATED),
        ("raw", "tea=not known;has_additives=yes;animal=no", UNTREATED),
        ("sludge-a", "", SLUDGE_A),
        ("sludge", "", UNKNOWN),
        ("human", "", HUMAN),
        ("unknown", "", UNKNOWN),
    ],
)
def test_what_a_tea_counts_as(material: str, change: str, kind: str) -> None:
    finding = judge_tea(use_of("US", material, "lettuce", "pour", "0", change))
    assert finding.kind == kind and LOCAL in finding.why.lower()


@pytest.mark.parametrize(
    ("compost", "made_of", "certificate", "kind"),
    # 21 CFR 112.54: a composting process meets 112.55(b); 112.60(b)(1): a certificate says what a bought one meets.
    [
        (SHOWN, ("manure",), "", TREATED),
        (SHOWN, (), "", TREATED),
        (FAILS, ("manure",), "112.55(a)", UNTREATED),
        (NOT_SHOWN, ("manure",), "112.55(a)", TREATED_A),
        (NOT_SHOWN, ("manure",), "112.55(b)", TREATED),
        (NOT_SHOWN, ("manure",), "", UNKNOWN),
        (NOT_SHOWN, ("plants",), "", PLANTS),
        (FAILS, ("plants", "manure"), "", UNTREATED),
        (SHOWN, ("sewage sludge",), "", UNKNOWN),
        (SHOWN, ("sewage sludge",), "class B", SLUDGE_B),
        (NOT_SHOWN, ("sewage sludge", "plants"), "class A", SLUDGE_A),
        (SHOWN, ("plants", "human waste"), "112.55(a)", HUMAN),
    ],
)
def test_what_a_material_counts_as(compost: str, made_of: tuple[str, ...], certificate: str, kind: str) -> None:
    assert judge_material(compost=compost, made_of=made_of, certificate=certificate) == kind


@pytest.mark.parametrize(
    ("note", "found", "state"),
    [
        ("tap water, dechlorinated", None, SHOWN),
        ("tap", True, FAILS),
        ("pond", False, FAILS),
        ("river and tap", None, FAILS),
        ("well", None, NOT_SHOWN),
        ("well", False, SHOWN),
        ("Rain barrel", False, SHOWN),
        ("rainwater", None, NOT_SHOWN),
        ("", None, NOT_SHOWN),
        ("unknown", False, NOT_SHOWN),
        ("grey water", False, NOT_SHOWN),
    ],
)
def test_water(note: str, found: bool | None, state: str) -> None:
    assert judge_water(note, e_coli_found=found).state == state


def test_the_worst_water_named_decides() -> None:
    assert water_kind("tap water topped up from the pond") == "surface"


def test_ascorbic_acid_by_reaction() -> None:
    """C6H8O6 + Cl2: one to one, 176.12 g to 70.90 g (IUPAC weights); the field table says 2.5."""
    amount = dechlorinate(water_l=20.0, chlorine_mg_per_l=2.0, chloramine=False)
    assert amount.chlorine_mg == 40.0
    assert amount.ascorbic_acid_mg == approx(40.0 * 176.12 / 70.90, rel=0.01)
    assert amount.sodium_ascorbate_mg == approx(40.0 * 198.11 / 70.90, rel=0.01)


def test_thiosulphate_between_field_value_and_reaction() -> None:
    """2 S2O3 to one Cl2 (tetrathionate): 2 x 248.18 / 70.90 as pentahydrate; AWWA field table 1.9 mg/mg at pH 7."""
    amount = dechlorinate(water_l=100.0, chlorine_mg_per_l=1.0, chloramine=True)
    assert amount.thiosulphate_most_mg == approx(100.0 * 2 * 248.18 / 70.90, rel=0.01)
    assert amount.thiosulphate_least_mg == approx(190.0)


@pytest.mark.parametrize("chloramine", [True, None])
def test_ascorbic_acid_is_not_relied_on_against_chloramine(chloramine: bool | None) -> None:
    """Basu & De Souza 2011: ascorbic acid was ineffective against monochloramine."""
    amount = dechlorinate(water_l=20.0, chlorine_mg_per_l=2.0, chloramine=chloramine)
    assert amount.ascorbic_acid_mg is None and amount.thiosulphate_least_mg > 0
    assert "does not leave by standing" in amount.advice[0]


@pytest.mark.parametrize(
    ("litres", "chlorine"), [(20.0, 11.0), (20.0, -1.0), (0.0, 1.0), (20.0, float("nan")), (float("nan"), 1.0)]
)
def test_impossible_water_is_refused(litres: float, chlorine: float) -> None:
    with pytest.raises(AerobeError):
        dechlorinate(water_l=litres, chlorine_mg_per_l=chlorine, chloramine=False)


def test_bleach_for_a_bath() -> None:
    # A web worked example: 200 ppm in 1 L with 7.86 % available chlorine takes 2.545 mL.
    assert sanitise(bath_l=1.0, bleach_percent=7.86).bleach_ml == approx(2.545, abs=0.001)
    # Extension guidance: one tablespoon (14.79 mL) of household bleach (5.25 %) in a US gallon (3.785 L) is 200 ppm.
    assert sanitise(bath_l=3.785, bleach_percent=5.25).bleach_ml == approx(14.79, rel=0.03)
    with pytest.raises(OutsideValidity):
        sanitise(bath_l=1.0, bleach_percent=0.5)
    with pytest.raises(UnusableRecord):
        sanitise(bath_l=0.0, bleach_percent=5.0)


def test_chemicals_come_with_their_warning() -> None:
    assert any("poisonous gas" in step for step in sanitise(bath_l=5.0, bleach_percent=5.0).steps)
    assert any("gloves" in step for step in dechlorinate(water_l=20.0, chlorine_mg_per_l=2.0, chloramine=None).advice)


def test_no_pump_runs_in_bleach_and_the_gear_is_flushed_outdoors_before_it_runs_again() -> None:
    # University safety offices on hypochlorite: no acid, no ammonia, fresh air. The mist of bubbles: our own reasoning.
    found = sanitise(bath_l=10.0, bleach_percent=5.0)
    steps = [step.lower() for step in found.steps]
    assert steps[0].startswith("pump off and unplugged") and "never run air or a pump through bleach" in steps[0]
    soak = next(place for place, step in enumerate(steps) if "leave still" in step)
    flush = next(place for place, step in enumerate(steps) if "flush" in step)
    runs = [place for place, step in enumerate(steps) if "run the pump" in step]
    assert soak < flush < min(runs) and "outdoors" in steps[flush] and "clean water" in steps[runs[0]]
    words = " ".join(steps)
    assert all(
        word in words for word in ("acid", "ammonia", "alcohol", "peroxide", "gloves", "eye", "windows open", "cold water")
    )


def test_no_text_of_the_tool_runs_a_pump_in_bleach() -> None:
    """Also in templates and guides: a sentence with pump and bleach forbids."""
    root = Path(__file__).parents[2]
    texts = [*(root / "aerobe").rglob("*.py"), *(root / "aerobe").rglob("*.html"), *(root / "docs").rglob("*.md")]
    texts += [root / "aerobe" / "safety" / "cautions.toml"]
    for path in texts:
        for sentence in re.split(r"[.!?]\s|\n\||\n- ", path.read_text(encoding="utf-8")):
            if re.search(r"\b(?:pump|air)\b", sentence, re.I) and re.search(r"\b(?:bleach|sanitis)", sentence, re.I):
                assert re.search(r"\b(?:never|off|no)\b", sentence, re.I), (path, sentence)
