"""Cases of the room with many branches: guards, search grids, thresholds and tuned constants that nothing independent holds."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from aerobe import oxygen as o
from aerobe.errors import NotFound
from aerobe.oxygen import _foods as foods
from aerobe.oxygen import _response as response
from aerobe.oxygen import _sizing as sizing
from aerobe.oxygen import _unknown_air as unknown
from aerobe.oxygen._demand import _add, _product, _remarks
from aerobe.oxygen._floors import FLOORS
from aerobe.records import AirSupply, FoodDose, Recipe, Vessel
from tests.kept_answers import numbers_in, refused
from tests.oxygen import kept_runs as logs
from tests.oxygen.kept_runs import HOURS, WOBBLE

BUCKET = Vessel(
    key="b", name="b", volume_l=17.0, depth_m=0.37, altitude_m=430.0, air=AirSupply(flow_l_per_min=7.5, diffuser="fine bubble")
)


def recipe(**grams: float) -> Recipe:
    given = tuple(FoodDose(food=name.replace("_", "-"), g_per_l=amount) for name, amount in grams.items())
    return Recipe(key="r", name="r", compost="c", compost_g_per_l=10.0, foods=given)


def offered(name: str) -> str:
    """What the library offers instead of a name it does not know."""
    try:
        return o.FOODS.find(name).key
    except NotFound as fault:
        return fault.remedy


def forecast(dose: float, bend: float = 1.3) -> o.DoseOutcome:
    """Oxygen that falls faster with each gram, in 83 draws of one kind."""
    start = np.linspace(3.1, 8.3, 83) + 0.1 * WOBBLE[:83]
    return o.DoseOutcome(
        lowest_oxygen_mg_per_l=start - 0.7 * dose**bend,
        peak_biomass=90.0 + 31.0 * np.sqrt(dose) * np.linspace(0.5, 1.7, 83),
        peak_at_h=22.0 + 0.4 * dose + WOBBLE[:83],
    )


def waters() -> list[object]:
    state = np.linspace(0.1, 0.9, 8).reshape(2, 4), np.linspace(-0.4, 0.3, 8).reshape(2, 4)
    lags = np.array([0.02, 0.05])
    switches = ((0.03, True), (0.1, False), (0.25, True))
    return [
        o.saturation_mg_per_l([4.3, 17.2, 33.9], altitude_m=[250.0, 1640.0, 2900.0], salinity=[1.7, 11.0, 33.0]),
        o.saturation_mg_per_l(26.6, pressure_kpa=71.3, salinity=7.7),
        o.pressure_at_altitude_kpa([-120.0, 730.0, 4200.0]),
        [o.salinity_from_conductivity(us, temperature_degc=t) for us, t in ((310.0, 7.0), (2650.0, 31.0), (47000.0, 22.0))],
        o.salinity_from_conductivity(1530.0),
        o.oxygen_from_percent(73.0, 14.6, altitude_m=610.0, salinity=2.2),
        response.responses(HOURS[:12] * 3.0, switches, np.array([7.0, 21.0]), lags, 0.6),
        response.responses(HOURS[:5] * 3.0, switches, np.array([50.0, 21.0]), lags, 0.0),
        [response.air_at(at, switches) for at in (0.0, 0.03, 0.1, 0.2, 0.25, 0.3)],
        response._advance(*state, 0.03, np.array([0.0, 0.0]), lags),
        response._advance(*state, 0.03, np.array([50.0, 9.0]), lags),
        response._advance(*state, 0.03, np.array([0.0, 0.0]), np.zeros(2)),
        response._advance(*state, 0.0, np.array([50.0, 9.0]), lags),
        o.standard_transfer(11.3, 47.0, flow_l_per_min=23.0, depth_m=0.83, saturation20_mg_per_l=8.87),
        o.standard_transfer(11.3, 47.0, flow_l_per_min=23.0),
        o.standard_transfer(11.3, 47.0),
        [o.transfer_factor(13.0), o.kla_at_20(17.0, 27.0)],
        o.sulphite_dose(19.0, 7.7),
        o.sulphite_dose(3.3, 20.0, excess=1.0).usual_g,
    ]


def probes() -> list[object]:
    given = ((8.9, 17.3, 0.1), (9.4, 16.0, None), (9.3, 18.0, -0.19), (6.1, 21.0, 0.23), (9.6, 18.0, 0.0), (3.3, 18.0, 0.3))
    made = [o.check_probe(read, at, zero_mg_per_l=zero, altitude_m=410.0, salinity=3.0) for read, at, zero in given]
    return [
        [
            [one.expected_mg_per_l, one.slope, one.sound, [numbers_in(said) for said in one.findings], one.correct(5.3)]
            for one in made
        ],
        made[0].correct([3.0, 7.0]),
        refused(lambda: o.check_probe(2.6, 18.0)),
        refused(lambda: o.check_probe(3.1, 18.0, zero_mg_per_l=0.4)),
        refused(lambda: o.salinity_from_conductivity(71000.0)),
        refused(lambda: o.salinity_from_conductivity(700.0, temperature_degc=41.0)),
        refused(lambda: o.saturation_mg_per_l([20.0, 41.0])),
        refused(lambda: o.saturation_mg_per_l(-0.5)),
        refused(lambda: o.saturation_mg_per_l(20.0, pressure_kpa=49.0)),
        refused(lambda: o.saturation_mg_per_l(20.0, pressure_kpa=116.0)),
        refused(lambda: o.saturation_mg_per_l(20.0, salinity=41.0)),
        [float(o.saturation_mg_per_l(at, pressure_kpa=of)) for at, of in ((0.0, 50.0), (40.0, 115.0))],
        [refused(partial(o.sulphite_dose, *bad)) for bad in ((0.0, 9.0), (3.0, -0.1), (3.0, 20.5))],
        refused(lambda: o.sulphite_dose(3.0, 9.0, excess=1.01)),
    ]


def ceilings() -> list[object]:
    times = [0.0, 4.0, 9.0, 15.0]
    oxygen = np.array([[8.0, 6.1, 4.4, 5.0], [8.2, 3.3, 6.6, 7.0]])
    mass = np.array([[3.0, 40.0, 90.0, 70.0], [2.0, 80.0, 75.0, 60.0]])
    steep = {name: forecast(dose) for name, dose in (("now", 3.3), ("half", 1.4), ("none", 0.0))}
    costs = {"now": 1.7, "half": 1.1}
    changes = [
        o.compare_changes(steep, costs, floor_mg_per_l=floor, probability=share)
        for floor, share in ((1.2, 0.8), (5.0, 0.9), (0.1, 0.6), (2.9, 0.9))
    ]
    return [
        o.outcome_of(times, oxygen, mass),
        o.outcome_of(times, oxygen, mass).chance_above(3.3),
        o.trade_off(forecast, [0.3, 1.9], floor_mg_per_l=4.7),
        o.food_ceiling(forecast, floor_mg_per_l=2.7),
        o.food_ceiling(forecast, floor_mg_per_l=1.1, probability=0.77, highest_g_per_l=3.1, tolerance=0.11),
        replace(o.food_ceiling(lambda dose: forecast(0.01 * dose), floor_mg_per_l=2.2), rows=()),
        replace(o.food_ceiling(forecast, floor_mg_per_l=5.2), rows=()),
        replace(o.food_ceiling(lambda dose: forecast(abs(3.0 - dose)), floor_mg_per_l=2.7), rows=()),
        refused(lambda: o.food_ceiling(forecast, floor_mg_per_l=2.7, probability=0.96)),
        refused(lambda: o.food_ceiling(forecast, floor_mg_per_l=2.7, probability=0.995)),
        refused(lambda: o.food_ceiling(forecast, floor_mg_per_l=2.7, probability=0.49)),
        [o.food_ceiling(forecast, floor_mg_per_l=1.0, probability=share).dose_g_per_l for share in (0.5, 0.95)],
        o.split_feeds(7.0, [1.0, 5.0, 11.0]),
        refused(lambda: o.split_feeds(7.0, [])),
        [[one.rows, numbers_in(one.says)] for one in changes],
        FLOORS,
    ]


def foods_and_air() -> list[object]:
    fed = o.food_balance(recipe(molasses=1.7, fish_hydrolysate=0.9, oat_flour=0.4))
    parts = [foods.Range(low=0.1, mid=0.4, high=1.3), foods.Range(low=2.0, mid=2.2, high=2.9)]
    first = o.FOODS.find("molasses")
    given = {"kla_per_h": 13.0, "saturation_mg_per_l": 8.8, "floor_mg_per_l": 3.1, "hours": 19.0}
    measured = replace(BUCKET, air=replace(BUCKET.air, kla_per_h=14.0, kla_log_sd=0.11))
    guessed = replace(BUCKET, guessed=("depth", "flow of a label", "diffuser"))
    sized = o.size_air(BUCKET, kla20_per_h=31.0, hours=29.0, price_per_kwh=0.37, efficiency=0.19)
    scaled = o.scale_vessel(measured, 730.0, hours=31.0, price_per_kwh=0.41, efficiency=0.33)
    other = o.scale_vessel(measured, 730.0, depth_m=0.9, diffuser="coarse bubble")
    fact = {name: getattr(first, name) for name in ("carbon", "slow", "density_kg_per_l")}
    return [
        replace(fed, sources=(), remarks=()),
        o.food_balance(recipe()),
        [o.balance_ceiling_g_per_l(o.FOODS.find(name), **given) for name in ("molasses", "oat flour")],
        o.balance_ceiling_g_per_l(first, **given, base_uptake_mg_per_l_h=11.0, peak_over_mean=1.6, growth_yield=0.61),
        o.balance_ceiling_g_per_l(replace(first, readily=foods.Range(low=0.0, mid=0.0, high=0.1)), **given),
        refused(lambda: o.balance_ceiling_g_per_l(first, **(given | {"floor_mg_per_l": 8.8}))),
        [[numbers_in(said) for said in _remarks(*one)] for one in ((19.0, 5.0), (21.0, 5.0), (2e3, 1.0), (999.0, 1.0))],
        [[numbers_in(said) for said in _remarks(*one)] for one in ((6.6, 5.0), (7.4, 5.0), (3.0, 0.0), (30.0, 0.6))],
        [_product(*parts), _product(parts[1], parts[0]), _product(foods.Range(low=0.0, mid=0.0, high=0.7), parts[1])],
        _add([*parts, foods.Range(low=0.2, mid=0.9, high=1.0)]),
        [fact, first.carbon_to_nitrogen, replace(first, nitrogen=foods.Range(low=0.0, mid=0.0, high=0.1)).carbon_to_nitrogen],
        [[offered(name) for name in ("molases", "qqqq", "sugarr", "kelp")], len(o.FOODS), o.FOODS.find("Cane MOLASSES").key],
        foods.POSSIBLE,
        [o.first_guess_kla(one) for one in (BUCKET, measured, guessed, replace(BUCKET, air=AirSupply(flow_l_per_min=0.0)))],
        [o.vessel_kla(one) for one in (BUCKET, measured, guessed)],
        [[replace(plan, remarks=()), len(plan.remarks)] for plan in (*sized, scaled.plan, other.plan)],
        o.size_air(measured, kla20_per_h=23.0)[0],
        [[one.kla20_per_h, one.log_sd, one.large, numbers_in(" ".join(one.remarks))] for one in (scaled, other)],
        [o.pump_pressure_kpa(0.7, kind) for kind in ("fine bubble", "coarse bubble", "open pipe", "venturi", "none")],
        [o.pump_power_w(33.0, 8.7, efficiency=0.31, altitude_m=900.0), o.pump_power_w(33.0, 8.7), o.pump_pressure_kpa(0.7)],
        [refused(partial(o.pump_power_w, 9.0, 9.0, efficiency=share)) for share in (0.009, 1.1)],
        o.pump_power_w(9.0, 9.0, efficiency=1.0),
        refused(lambda: o.size_air(BUCKET, kla20_per_h=0.0)),
        [len(sizing._plan_remarks(*one)) for one in ((1.4, 29.0, "open pipe"), (1.6, 32.0, "fine bubble"), (0.02, 9.0, "none"))],
        [len(sizing._plan_remarks(*one)) for one in ((0.04, 31.0, "none"), (0.05, 29.9, "none"))],
        [sizing._flow_for(BUCKET, kla) for kla in (0.01, 3.0, 700.0)],
        refused(lambda: sizing._flow_for(BUCKET, 1e13)),
        [sizing._calibration(one) for one in (BUCKET, measured)],
        o.air_spans(replace(BUCKET, guessed=("depth", "flow", "diffuser"))),
        o.air_spans(replace(BUCKET, guessed=("flow of a power",))),
        [o.with_flow_guessed(guessed, *how) for how in ((), (13.0,), (None, 9.0))],
        [
            unknown.flow_of_power_l_per_min(7.0, 0.6),
            unknown.flow_of_power_l_per_min(7.0, 0.6, "venturi"),
            o.depth_as_wide_m(33.0),
        ],
    ]


def answers() -> dict[str, object]:
    """By what each case holds."""
    return {
        "water: saturation, salt, pressure, transfer by temperature, and what a lagging probe shows": waters,
        "a probe in air and at zero, and what is refused at each edge of the tables": probes,
        "the ceiling of food: its search, its ends, its refusals, and ways compared": ceilings,
        "what food holds and burns, and the air, power and size of a vessel": foods_and_air,
        "runs over several air flows, and the laboratory course's window": logs.series,
        "faults of runs on both sides of each threshold": logs.seen_in_logs,
        "runs of re-aeration read whole, by models and in parts": logs.fitted,
        "air off and on: all figures, each fault and each refusal": logs.stepped,
        "uptake, holding time and warming up": logs.taken_up,
        "a live probe on both sides of each threshold": logs.live_probes,
    }
