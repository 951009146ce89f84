"""Time and temperature rules at their edges (7 CFR 205.203, 21 CFR 112.54, 40 CFR 503, EU, Wales)."""

from __future__ import annotations

import pytest
from pytest import approx

from aerobe.errors import NotFound, OutsideValidity
from aerobe.records import Compost, HeatLog
from aerobe.safety import FAILS, LOCAL, NOT_SHOWN, SHOWN, heat_rules, judge_compost, jurisdictions, sludge_equation_days


def compost(
    days: float,
    temperature: float = 60.0,
    *,
    turnings: int = 5,
    process: str = "windrow",
    ratio: float | None = 30.0,
    step: float = 1.0,
    cooled: bool = True,
) -> Compost:
    """A heap that was at one temperature for some days, turned evenly meanwhile, and cooled."""
    count = round(days / step) + 1
    times = [step * index for index in range(count)]
    values = [temperature] * count
    if cooled:
        times, values = [*times, times[-1] + step], [*values, 30.0]
    turned = tuple(days * (index + 0.5) / max(turnings, 1) for index in range(turnings))
    log = HeatLog(days=tuple(times), temperatures_degc=tuple(values), turned_on_days=turned)
    return Compost(key="heap", name="Heap", process=process, carbon_to_nitrogen=ratio, heat=log)


@pytest.mark.parametrize(
    ("heap", "state"),
    # 7 CFR 205.203(c)(2)(iii): 131 to 170 degF for 15 days, at least five turnings; (i) C:N 25:1 to 40:1.
    [
        (compost(15), SHOWN),
        (compost(14), FAILS),
        (compost(15, turnings=4), FAILS),
        (compost(15, ratio=25.0), SHOWN),
        (compost(15, ratio=40.0), SHOWN),
        (compost(15, ratio=24.0), FAILS),
        (compost(15, ratio=41.0), FAILS),
        (compost(15, ratio=None), NOT_SHOWN),
        (compost(15, 55.0), SHOWN),
        (compost(15, 54.9), FAILS),
        (compost(15, 76.7), SHOWN),
        (compost(15, 76.8), FAILS),
        (compost(3, process="in-vessel"), SHOWN),
        (compost(2, process="in-vessel"), FAILS),
        (compost(3, process="static aerated"), SHOWN),
        (compost(15, process="unknown"), NOT_SHOWN),
        (compost(15, process="worm"), NOT_SHOWN),
    ],
)
def test_us_organic_rule_at_its_edges(heap: Compost, state: str) -> None:
    assert judge_compost(heap, "US organic").state == state


def test_131_and_170_degrees_fahrenheit() -> None:
    rule = heat_rules()["us-organic-windrow"]
    assert rule.low_degc == approx((131 - 32) * 5 / 9, abs=0.05)
    assert rule.high_degc == approx((170 - 32) * 5 / 9, abs=0.05)


@pytest.mark.parametrize(
    ("heap", "state"),
    # 21 CFR 112.54(b): 131 degF, 3 consecutive days static, or 15 days (in all) with 5 turnings; then curing.
    [
        (compost(15), SHOWN),
        (compost(14), FAILS),
        (compost(15, turnings=4), FAILS),
        (compost(15, 80.0), SHOWN),
        (compost(15, ratio=None), SHOWN),
        (compost(3, process="in-vessel"), SHOWN),
        (compost(2.5, process="in-vessel", step=0.5), FAILS),
        (compost(15, cooled=False), NOT_SHOWN),
        (compost(3, process="static aerated", cooled=False), NOT_SHOWN),
    ],
)
def test_us_produce_rule_at_its_edges(heap: Compost, state: str) -> None:
    assert judge_compost(heap, "US").state == state


def broken(process: str) -> Compost:
    """16 hot readings in two stretches of 7.5 days with a cool day between, turned five times."""
    days = tuple(0.5 * index for index in range(34))
    values = tuple(40.0 if index in (16, 17) else 60.0 if index < 33 else 30.0 for index in range(34))
    log = HeatLog(days=days, temperatures_degc=values, turned_on_days=(1.0, 3.0, 5.0, 10.0, 14.0))
    return Compost(key="heap", name="Heap", process=process, carbon_to_nitrogen=30.0, heat=log)


def test_days_need_not_be_in_one_stretch_only_where_the_rule_says_so() -> None:
    # 7.5 d and 7.0 d hot: 14.5 d in all is short of 15 under both; one more hot day helps only the produce rule.
    heap = broken("windrow")
    assert judge_compost(heap, "US").state == FAILS
    assert heap.heat is not None
    longer = HeatLog(
        days=(*heap.heat.days, 17.0, 17.5, 18.0),
        temperatures_degc=(*heap.heat.temperatures_degc[:-1], 60.0, 60.0, 60.0, 30.0),
        turned_on_days=heap.heat.turned_on_days,
    )
    heap = Compost(key="heap", name="Heap", process="windrow", heat=longer)
    assert judge_compost(heap, "US").state == SHOWN
    states = {rule.name: rule.state for rule in judge_compost(heap, "US biosolids").rules}
    assert states["us-sludge-windrow"] == FAILS


def test_turnings_outside_the_hot_time_do_not_count() -> None:
    log = HeatLog(
        days=tuple(map(float, range(17))), temperatures_degc=(60.0,) * 16 + (30.0,), turned_on_days=(1.0, 3.0, 5.0, 7.0, 16.0)
    )
    assert judge_compost(Compost(key="h", name="H", process="windrow", heat=log), "US").state == FAILS


def test_days_without_readings_show_nothing() -> None:
    log = HeatLog(
        days=(0.0, 7.5, 15.0, 16.0), temperatures_degc=(60.0, 60.0, 60.0, 30.0), turned_on_days=(1.0, 2.0, 3.0, 4.0, 5.0)
    )
    assert judge_compost(Compost(key="h", name="H", process="windrow", heat=log), "US").state == FAILS


@pytest.mark.parametrize(
    ("temperature", "solids", "days"),
    # 40 CFR 503.32(a)(3)(ii): D = 131,700,000 / 10^(0.14 t), or 50,070,000 below 7 % solids with 30 minutes at least.
    [
        (55.0, 0.4, 131_700_000 / 10**7.7),
        (55.0, 0.4, 2.63),
        (70.0, 0.4, 0.0209),
        (55.0, 0.05, 0.999),
        (70.0, 0.05, 30 / 1440),
        (80.0, 0.4, 20 / 1440),
    ],
)
def test_sludge_equation(temperature: float, solids: float, days: float) -> None:
    assert sludge_equation_days(temperature, solids=solids) == approx(days, rel=3e-3)


def test_sludge_equation_does_not_hold_below_50() -> None:
    assert sludge_equation_days(50.0) == approx(13.17, rel=1e-3)
    for cold in (49.9, float("nan")):
        with pytest.raises(OutsideValidity):
            sludge_equation_days(cold)


@pytest.mark.parametrize(("days", "state"), [(2.75, SHOWN), (2.5, FAILS)])
def test_sludge_equation_on_a_log_at_55(days: float, state: str) -> None:
    # 2.63 d at 55 degC; three days would pass Appendix B as well, so the single rule is asked.
    heap = compost(days, 55.0, process="windrow", step=0.25)
    assert {rule.name: rule.state for rule in judge_compost(heap, "US biosolids").rules}["us-sludge-equation"] == state


@pytest.mark.parametrize(
    ("temperature", "days"),
    # Regulation (EU) 2019/1009, CMC 3 (recalled): 70 degC 3 d, 65 degC 5 d, 60 degC 7 d, 55 degC 14 d.
    [(70.0, 3), (65.0, 5), (60.0, 7), (55.0, 14)],
)
def test_eu_profiles_at_their_edges(temperature: float, days: int) -> None:
    assert judge_compost(compost(days, temperature), "EU").state == SHOWN
    assert judge_compost(compost(days - 1, temperature), "EU").state == FAILS
    assert judge_compost(compost(days, temperature - 0.1), "EU").state == FAILS


@pytest.mark.parametrize(
    ("temperature", "hours", "piece", "state"),
    # Regulation (EU) 142/2011: 12 mm, 70 degC, 60 minutes.
    [
        (70.0, 1.0, 12.0, SHOWN),
        (70.0, 1.0, 12.1, FAILS),
        (69.9, 1.0, 12.0, FAILS),
        (70.0, 0.5, 12.0, FAILS),
        (70.0, 1.0, None, NOT_SHOWN),
    ],
)
def test_eu_animal_by_products_at_their_edges(temperature: float, hours: float, piece: float | None, state: str) -> None:
    heap = compost(hours / 24.0, temperature, process="in-vessel", step=0.25 / 24.0)
    assert judge_compost(heap, "EU animal by-products", largest_piece_mm=piece).state == state


def test_an_hour_is_not_shown_by_two_readings_a_day_apart() -> None:
    heap = compost(2, 75.0, process="in-vessel")
    assert judge_compost(heap, "EU animal by-products", largest_piece_mm=10.0).state == FAILS


@pytest.mark.parametrize(
    ("heap", "piece", "state"),
    # National standards for catering waste (from memory), the figures of SI 2006/1293 (W. 127): 60 degC 2 d closed; 60 degC 8 d
    # in a housed windrow, three turnings.
    [
        (compost(2, 60.0, process="in-vessel"), 400.0, SHOWN),
        (compost(1, 60.0, process="in-vessel"), 400.0, FAILS),
        (compost(8, 60.0, turnings=3), 400.0, SHOWN),
        (compost(8, 60.0, turnings=2), 400.0, FAILS),
        (compost(7, 60.0, turnings=3), 400.0, FAILS),
    ],
)
def test_british_standards_at_their_edges(heap: Compost, piece: float, state: str) -> None:
    for place in ("England", "Wales", "Scotland"):
        assert judge_compost(heap, place, largest_piece_mm=piece).state == state


def test_a_revoked_rule_shows_nothing_any_more() -> None:
    found = judge_compost(compost(2, 60.0, process="in-vessel"), "Wales 2006, revoked", largest_piece_mm=100.0)
    assert found.state == NOT_SHOWN and "revoked" in found.why


def test_a_place_without_rules_of_heating_says_so() -> None:
    found = judge_compost(compost(20, 60.0), "New Zealand")
    assert found.state == NOT_SHOWN and "No rule of heating" in found.why


@pytest.mark.parametrize(
    ("temperature", "days", "process"),
    # Bioabfallverordnung, Annex 2 no. 2.2.2.1 (text of 23 April 2012): 55 degC 2 weeks, 60 degC 6 days, 65 degC 3 days.
    [(55.0, 14, "windrow"), (60.0, 6, "in-vessel"), (65.0, 3, "windrow")],
)
def test_german_rule_at_its_edges(temperature: float, days: int, process: str) -> None:
    assert judge_compost(compost(days, temperature, process=process), "Germany").state == SHOWN
    assert judge_compost(compost(days - 1, temperature, process=process), "Germany").state == FAILS
    assert judge_compost(compost(days, temperature - 0.1, process=process), "Germany").state == FAILS


@pytest.mark.parametrize(
    ("heap", "state"),
    # CCME 2005 (recalled): windrow 55 degC 15 d with 5 turnings; in-vessel or aerated static pile 3 d.
    [
        (compost(15, 55.0), SHOWN),
        (compost(14, 55.0), FAILS),
        (compost(15, 55.0, turnings=4), FAILS),
        (compost(3, 55.0, process="in-vessel"), SHOWN),
        (compost(2, 55.0, process="static aerated"), FAILS),
    ],
)
def test_canadian_guideline_at_its_edges(heap: Compost, state: str) -> None:
    assert judge_compost(heap, "Canada guideline").state == state


@pytest.mark.parametrize(
    ("days", "turnings", "process", "state"),
    # 40 CFR 503 Appendix B: windrow 15 d with 5 turnings, in-vessel or static aerated 3 d, 55 degC or higher.
    [
        (15, 5, "windrow", SHOWN),
        (14, 5, "windrow", FAILS),
        (15, 4, "windrow", FAILS),
        (3, 0, "in-vessel", SHOWN),
        (2, 0, "in-vessel", FAILS),
    ],
)
def test_us_sludge_appendix_at_its_edges(days: int, turnings: int, process: str, state: str) -> None:
    rules = judge_compost(compost(days, 55.0, turnings=turnings, process=process), "US biosolids").rules
    assert {rule.name: rule.state for rule in rules if not rule.name.endswith("equation")} == {
        "us-sludge-windrow" if process == "windrow" else "us-sludge-vessel": state
    }


def test_nothing_known_is_never_a_pass() -> None:
    for place in jurisdictions():
        assert judge_compost(None, place).state == NOT_SHOWN
        assert judge_compost(Compost(key="c", name="C", process="windrow"), place).state == NOT_SHOWN


def test_an_unknown_place_is_told_what_to_do() -> None:
    with pytest.raises(NotFound) as fault:
        judge_compost(None, "Atlantis")
    assert LOCAL in fault.value.remedy.lower()


def test_every_finding_sends_the_person_to_the_local_code() -> None:
    for place in jurisdictions():
        for heap in (compost(15), compost(1), None):
            finding = judge_compost(heap, place)
            assert "check your local code" in finding.next_step.lower() and LOCAL in finding.next_step.lower()
