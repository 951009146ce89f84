"""Commands of food and air: saturation, probes, transfer, the food ceiling, sizing, holding time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import App, Parameter

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import JSON_ONLY, OWN, Where, now, progress, say, table
from aerobe.cli._oxygen_measure import kla, probe, saturation, steps, sulphite
from aerobe.cli._oxygen_series import series
from aerobe.cli._pictures import save_picture, save_poster
from aerobe.units import LENGTH, OXYGEN, VOLUME, number
from aerobe.usecases.oxygen import FoodForm

if TYPE_CHECKING:
    from aerobe.usecases.oxygen import AirPlan, DoseRow

app = App(name="oxygen", help="How much food the air carries; transfer, uptake, sizing, probes.")

Question = Annotated[FoodForm, Parameter(name="*")]


FORM = FoodForm()
IN_BRACKETS = "In brackets: where 90 % of the simulated brews lie."

for measuring in (saturation, probe, sulphite, kla, series, steps):
    app.command(measuring)


@app.command
def ceiling(
    *, question: Question = FORM, draws: int = 600, picture: Path | None = None, show: Path | None = None, json: JSON_ONLY = False
) -> int:
    """The largest dose of a food that the air carries, by the brew model. Exit code 4: none at all.

    Parameters
    ----------
    draws
        Brews simulated for each dose.
    picture
        Also draw the lowest oxygen by dose, to this file (.svg or .png).
    show
        Also write pictures to show, in three sizes, light and dark, SVG and PNG, to this folder.
    """
    from aerobe.usecases.notebook import require_new
    from aerobe.usecases.oxygen import ask_food_ceiling, food_pictures

    require_new([picture])
    with progress("simulating brews"):
        answer = ask_food_ceiling(question.question(draws=draws))
    lines = [answer.says, *answer.remarks, "", *_dose_lines(answer.ceiling.rows), IN_BRACKETS]
    lines += [f"! {line}" for line in answer.cautions]
    if picture is not None:
        lines.append(save_picture(food_pictures(answer)[0], picture))
    if show is not None:
        from aerobe.usecases.reports import poster_of_food

        lines += save_poster(poster_of_food(answer, now=now()), show, "food")
    plain = {
        "says": answer.says,
        "ceiling": answer.ceiling,
        "by_balance_g_per_l": answer.by_balance_g_per_l,
        "balance": answer.balance,
        "remarks": answer.remarks,
        "cautions": answer.cautions,
    }
    say(plain, as_json=json, text=lines)
    return 0 if answer.ceiling.dose_g_per_l is not None else NOT_SETTLED


@app.command
def splits(dose: str, /, *, question: Question = FORM, draws: int = 400, json: JSON_ONLY = False) -> None:
    """One dose in one, two, three or four feedings.

    Parameters
    ----------
    dose
        Of the food, with unit.
    draws
        Brews simulated for each dose.
    """
    from aerobe.units import DOSE
    from aerobe.usecases.oxygen import compare_splits

    with progress("simulating brews"):
        rows = compare_splits(question.question(draws=draws), DOSE.read(dose))
    head = ("feeding", "at [h]", "ceiling [g/L]", "chance above floor", "lowest oxygen [mg/L]", "peak biomass [ug C/mL]")
    say(
        rows,
        as_json=json,
        text=[
            *table(
                head,
                [
                    (
                        row.name,
                        " ".join(f"{at:g}" for at in row.feed_at_h),
                        _dose(row.ceiling.dose_g_per_l),
                        f"{100 * row.at_dose.chance_above_floor:.0f} %",
                        _three(row.at_dose.lowest_oxygen_mg_per_l),
                        _three(row.at_dose.peak_biomass),
                    )
                    for row in rows
                ],
            ),
            IN_BRACKETS,
        ],
    )


@app.command(name="air-or-food")
def air_or_food(
    dose: str,
    /,
    *,
    question: Question = FORM,
    price_per_kwh: float = 0.30,
    food_price_per_kg: float = 3.0,
    draws: int = 600,
    json: JSON_ONLY = False,
) -> None:
    """Double the air, half the food, or both, beside the brew as it is.

    Parameters
    ----------
    dose
        Of the food as it is now, with unit.
    price_per_kwh
        Of electricity, in your currency a kWh.
    food_price_per_kg
        Of the food, in your currency a kg.
    draws
        Brews simulated for each way.
    """
    from aerobe.units import DOSE
    from aerobe.usecases.oxygen import air_or_food as compare

    changes = compare(
        question.question(draws=draws), DOSE.read(dose), price_per_kwh=price_per_kwh, food_price_per_kg=food_price_per_kg
    )
    head = ("way", "chance above floor", "lowest oxygen [mg/L]", "peak biomass [ug C/mL]", "cost [money]")
    say(
        changes,
        as_json=json,
        text=[
            changes.says,
            *table(
                head,
                [
                    (
                        row.name,
                        f"{100 * row.chance_above_floor:.0f} %",
                        _three(row.lowest_oxygen_mg_per_l),
                        _three(row.peak_biomass),
                        f"{row.cost:.2f}",
                    )
                    for row in changes.rows
                ],
            ),
            IN_BRACKETS,
        ],
    )


@app.command
def size(
    dose: str = "",
    /,
    *,
    question: Question = FORM,
    need: str = "",
    price_per_kwh: float = 0.30,
    draws: int = 400,
    json: JSON_ONLY = False,
) -> None:
    """Air flow, pump pressure, diffuser, power and cost for a recipe, or for a transfer that you name.

    Parameters
    ----------
    dose
        Of the food, with unit: the model then finds the transfer needed.
    need
        kLa wanted at 20 degC, with unit, instead of a dose.
    price_per_kwh
        Of electricity, in your currency a kWh.
    draws
        Brews simulated.
    """
    from aerobe.units import DOSE, RATE
    from aerobe.usecases.oxygen import air_for_recipe, size_air

    asked = question.question(draws=draws)
    if need:
        plans = size_air(asked.vessel, kla20_per_h=RATE.read(need), hours=asked.hours, price_per_kwh=price_per_kwh)
        answer: object = plans
        lines = []
    else:
        answer = air_for_recipe(asked, DOSE.read(dose or "0 g/L"), price_per_kwh=price_per_kwh)
        plans, lines = answer.plans, [answer.says]
    say(answer, as_json=json, text=[*lines, *_plan_lines(plans)])


@app.command
def scale(to_volume: str, /, *, question: Question = FORM, to_depth: str = "", json: JSON_ONLY = False) -> None:
    """Air for a larger vessel at equal transfer a litre.

    Parameters
    ----------
    to_volume
        Of the large vessel, with unit.
    to_depth
        Of the large vessel; the same shape as the small one if left out.
    """
    from aerobe.usecases.oxygen import scale_vessel

    depth_m = LENGTH.read(to_depth) if to_depth else None
    scaled = scale_vessel(question.question().vessel, VOLUME.read(to_volume), depth_m=depth_m)
    large = scaled.large
    lines = [
        f"kLa {number(scaled.kla20_per_h)} per hour in both; {number(large.volume_l)} L, {number(large.depth_m)} m deep:",
        *_plan_lines((scaled.plan,)),
        *scaled.remarks,
    ]
    say(scaled, as_json=json, text=lines)


@app.command
def uptake(brew: str, /, *, where: Where = OWN) -> None:
    """What a brew takes up, from its oxygen log, and how long it holds once the air stops.

    Parameters
    ----------
    brew
        Key of the brew.
    """
    from aerobe.usecases.oxygen import brew_uptake

    with where.open(create=False) as book:
        found = brew_uptake(book, brew)
    track = found.track
    plain = {
        "says": found.says,
        "now_mg_per_l_h": found.now_mg_per_l_h,
        "holding": found.holding,
        "elapsed_h": track.elapsed_h,
        "median": track.median,
        "low": track.low,
        "high": track.high,
    }
    say(plain, as_json=where.json, text=found.says)


@app.command(name="feed-now")
def feed_now(brew: str, food: str = "molasses", /, *, where: Where = OWN) -> int:
    """How much of a food a brew under way can take now, by all that was measured of it. Exit code 4: nothing.

    Parameters
    ----------
    brew
        Key of the brew.
    food
        Key or name of the food.
    """
    from aerobe.usecases.oxygen import feed_now as ask

    with where.open(create=False) as book, progress("fitting the brew"):
        found = ask(book, brew, food, now=now())
    lines = [found.says, *found.notes, *(f"! {line}" for line in found.cautions)]
    say(found, as_json=where.json, text=lines)
    return 0 if found.settled and found.ceiling.dose_g_per_l is not None else NOT_SETTLED


@app.command
def hold(oxygen: str, uptake_rate: float, /, *, floor: str = "0 mg/L", json: JSON_ONLY = False) -> None:
    """Minutes until oxygen reaches a floor once the air has stopped.

    Parameters
    ----------
    oxygen
        When the air stops, with unit.
    uptake_rate
        Of the brew, in mg/L an hour.
    floor
        Not to be undercut, with unit.
    """
    from aerobe.usecases.oxygen import holding_time

    found = holding_time(OXYGEN.read(oxygen), uptake_rate, floor_mg_per_l=OXYGEN.read(floor))
    if math.isinf(found.median_min):
        text = f"Nothing takes up oxygen, so that {oxygen} stays."
    elif found.median_min > 0.0:
        text = f"Once the air stops, oxygen falls from {oxygen} to {floor} in {number(found.median_min)} min."
    else:
        text = f"{oxygen} is at the floor of {floor} or under it already."
    say(found, as_json=json, text=text)


@app.command
def foods(name: str = "", /, *, json: JSON_ONLY = False) -> None:
    """The food library, or one food with its ranges and references.

    Parameters
    ----------
    name
        Key or name of a food.
    """
    from aerobe.usecases.oxygen import FOODS, food_page

    if name:
        shown = food_page(name)
        lines = [shown.food, *(f"  {label}: {value}" for label, value in shown.lines), shown.notes, *shown.references]
        say(shown, as_json=json, text=lines)
        return
    head = ("key", "food", "carbon [g/g]", "readily used share", "C:N", "oxygen demand [g/g]")
    say(
        list(FOODS.values()),
        as_json=json,
        text=table(
            head,
            [
                (
                    food.key,
                    food.name,
                    f"{food.carbon.mid:g}",
                    f"{food.readily.mid:g}",
                    number(food.carbon_to_nitrogen, 2),
                    f"{food.oxygen_demand.mid:g}",
                )
                for food in FOODS.values()
            ],
        ),
    )


def _dose_lines(rows: Sequence[DoseRow]) -> list[str]:
    head = ("dose [g/L]", "chance above floor", "lowest oxygen [mg/L]", "peak biomass [ug C/mL]", "peak at [h]")
    return table(
        head,
        [
            (
                number(row.dose_g_per_l),
                f"{100 * row.chance_above_floor:.0f} %",
                _three(row.lowest_oxygen_mg_per_l),
                _three(row.peak_biomass),
                _three(row.peak_at_h),
            )
            for row in rows
        ],
    )


def _plan_lines(plans: Sequence[AirPlan]) -> list[str]:
    head = ("diffuser", "air [L/min]", "to be 90 % sure [L/min]", "pressure [kPa]", "power [W]", "cost of a brew [money]")
    lines = table(
        head,
        [
            (
                plan.diffuser,
                number(plan.flow_l_per_min),
                number(plan.flow_assured_l_per_min),
                number(plan.pressure_kpa),
                number(plan.power_w),
                f"{plan.cost:.2f}",
            )
            for plan in plans
        ],
    )
    return [*lines, *dict.fromkeys(remark for plan in plans for remark in plan.remarks)]


def _three(values: Sequence[float]) -> str:
    low, middle, high = (number(value, 2) for value in values)
    return f"{middle} ({low} to {high})"


def _dose(value: float | None) -> str:
    return "none" if value is None else number(value, 2)


__all__ = ["app"]
