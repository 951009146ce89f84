"""The report of one brew."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from aerobe.charts import FigureTable, Picture
from aerobe.inference import Posterior
from aerobe.records import Assay, Brew, Compost, Harvest, Reading, Recipe, SensorLog, Vessel
from aerobe.reports._blocks import Block, Facts, Grid, Report, Section, Shown, Warned, Words
from aerobe.reports._imprint import Imprint
from aerobe.reports._tables import limits_of_readings, noise_and_colour, readings_table, recipe_blocks, vessel_facts
from aerobe.sources import cite
from aerobe.units import number, with_uncertainty

MODEL_SOURCES = (
    "henze-2000",
    "rocke-lorenzato-1995",
    "owen-zhou-2000",
    "kennedy-ohagan-2001",
    "lindley-smith-1972",
    "benson-krause-1984",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BrewRecords:
    """What the notebook holds of one brew; readings include corrected ones."""

    brew: Brew
    recipe: Recipe
    compost: Compost | None
    vessel: Vessel
    readings: Sequence[Reading]
    assays: Mapping[str, Assay]
    logs: Sequence[SensorLog]
    harvest: Harvest | None
    advice: Sequence[tuple[datetime, str]]  # calls that were made while it brewed, with their times
    start: str = ""  # what to say where the start of the brew is not known


def brew_report(
    kept: BrewRecords, posterior: Posterior, imprint: Imprint, *, pictures: Sequence[Picture], notes: Sequence[str] = ()
) -> Report:
    """The report of a brew: what came out, how sure it is, and everything it rests on.

    Parameters
    ----------
    kept
        The records.
    posterior
        Of this brew.
    imprint
        When and by what it was made, and the cautions it carries.
    pictures
        Charts for the first page.
    notes
        What was noticed about the readings.

    Returns
    -------
    Report
        Ready for HTML or PDF.
    """
    brew, recipe, vessel, readings, assays = kept.brew, kept.recipe, kept.vessel, kept.readings, kept.assays
    numbers = brew_numbers(posterior, kept.harvest)
    limits = [
        f"One brew: it speaks of {brew.name}, and nothing can be said about the recipe {recipe.name}.",
        *limits_of_readings(readings, assays),
        *notes,
        *_limits_of_fit(posterior, vessel),
    ]
    first: list[Block] = [Facts(rows=tuple(_facts(brew, recipe, vessel, kept.harvest, numbers, kept.start)))]
    first += [Shown(picture=picture) for picture in pictures]
    first += [Warned(title="What this brew cannot tell", items=tuple(limits)), *imprint.blocks()]
    return Report(
        title=brew.name,
        kind="brew",
        headline=_headline(numbers, posterior),
        in_passing=_headline(numbers, posterior).partition(" The harvest")[0],
        sure=_sure(readings),
        first=tuple(first),
        sections=(
            Section(title="What went in", blocks=(*recipe_blocks(recipe, kept.compost), Facts(rows=vessel_facts(vessel)))),
            Section(title="What was planned before", blocks=_planned(brew, kept.advice)),
            Section(title="How colour and noise were handled", blocks=noise_and_colour(readings, assays)),
            Section(title="The model and its fit", blocks=_fit(posterior)),
            Section(title="All readings", blocks=(readings_table(readings, assays, with_brew=False), *_logs(kept.logs))),
        ),
        sources=tuple(cite(*known_sources(*MODEL_SOURCES))),
        made_at=imprint.made_at,
        versions=imprint.versions,
        seed=posterior.seed,
        numbers=numbers,
        package_name=f"{brew.key}-data.zip",
        from_tables=bool(imprint.tables),
        invented=imprint.invented,
    )


def brew_numbers(posterior: Posterior, harvest: Harvest | None) -> dict[str, float | str | None]:
    """The numbers of a brew's report, by name; five digits are more than any of them can bear."""
    found: dict[str, float | str | None] = {}
    for name, draws in (("peak time [h]", posterior.peak_time_h()), ("peak biomass [ug C/mL]", posterior.peak_biomass())):
        found |= _spread(name, draws)
    if posterior.oxygen_known:
        found |= _spread("lowest oxygen [mg/L]", posterior.oxygen.min(axis=1))
    if harvest is not None:
        at = posterior.value_at(posterior.biomass, harvest.elapsed_h)
        found |= _spread("biomass at harvest [ug C/mL]", at)
        found |= _spread("biomass at harvest, share of the peak [-]", at / posterior.peak_biomass())
    found["settled"] = "yes" if posterior.settled else "no"
    return found


def _spread(name: str, draws: object) -> dict[str, float | str | None]:
    import numpy as np

    low, middle, high = np.quantile(np.asarray(draws), [0.05, 0.5, 0.95])
    return {name: _short(middle), f"{name}, 90 % from": _short(low), f"{name}, 90 % to": _short(high)}


def _short(value: float) -> float:
    return float(f"{float(value):.5g}")


def _told(numbers: Mapping[str, Any], name: str) -> str:
    return with_uncertainty(numbers[name], numbers[f"{name}, 90 % from"], numbers[f"{name}, 90 % to"])


def _sure(readings: Sequence[Reading]) -> str:
    count = sum(item.role == "sample" for item in readings)
    return f"One brew with {count} reading{'' if count == 1 else 's'}: it says nothing about the recipe. Shaded: 90 % band."


def _headline(numbers: Mapping[str, Any], posterior: Posterior) -> str:
    if not posterior.settled:
        return "The fit did not settle: the numbers below are a rough sample, and no call should rest on them."
    says = f"Biomass peaks at {_told(numbers, 'peak time [h]')} h with {_told(numbers, 'peak biomass [ug C/mL]')} ug C/mL."
    if "biomass at harvest [ug C/mL]" in numbers:
        name = "biomass at harvest, share of the peak [-]"
        middle, low, high = (100 * numbers[key] for key in (name, f"{name}, 90 % from", f"{name}, 90 % to"))
        says += f" The harvest caught {middle:.0f} % of it ({low:.0f} to {high:.0f} %, 90 % interval)."
    return says


def _facts(
    brew: Brew,
    recipe: Recipe,
    vessel: Vessel,
    harvest: Harvest | None,
    numbers: Mapping[str, object],
    start: str,
) -> list[tuple[str, str]]:
    rows = [
        ("Recipe", recipe.name),
        ("Vessel", f"{vessel.name}, {vessel.volume_l:g} L"),
        ("Air on at", start or f"{brew.started_at:%Y-%m-%d %H:%M %z}"),
        ("Water, expected", f"{brew.temperature_degc:g} degC"),
        ("Peak time", f"{_told(numbers, 'peak time [h]')} h"),
        ("Peak biomass", f"{_told(numbers, 'peak biomass [ug C/mL]')} ug C/mL"),
    ]
    if "lowest oxygen [mg/L]" in numbers:
        lowest = _told(numbers, "lowest oxygen [mg/L]")
        rows.append(("Lowest oxygen", f"{lowest} mg/L, floor {brew.aim.oxygen_floor_mg_per_l:g} mg/L"))
    if harvest is not None:
        rows += [
            ("Harvested at", f"{harvest.elapsed_h:g} h, smell: {harvest.smell}"),
            ("Biomass at harvest", f"{_told(numbers, 'biomass at harvest [ug C/mL]')} ug C/mL"),
        ]
    return rows


def _limits_of_fit(posterior: Posterior, vessel: Vessel) -> list[str]:
    found = list(posterior.notes)
    if not posterior.settled:
        found.append("The fit is not settled; repeat it, or add a reading.")
    if posterior.last_result_h is not None:
        found.append(f"After {number(posterior.last_result_h)} h there is no reading: the curve beyond is a forecast.")
    if vessel.air.kla_per_h is None and posterior.oxygen_known:
        found.append("Oxygen transfer was guessed from the air flow, not measured.")
    return found


def _planned(brew: Brew, advice: Sequence[tuple[datetime, str]]) -> tuple[Block, ...]:
    aim = f"Set before the first reading: aim '{brew.aim.aim}', {brew.tests_in_budget} tests in the budget, oxygen floor "
    aim += f"{brew.aim.oxygen_floor_mg_per_l:g} mg/L, one test {brew.costs.test:g} in your currency, "
    aim += f"a full brew worth {brew.costs.worth_of_full_brew:g} in your currency."
    if not advice:
        return Words(text=aim), Words(text="No call was kept while it brewed: the harvest was not planned with this program.")
    rows = tuple((f"{at:%Y-%m-%d %H:%M %z}", words) for at, words in advice)
    return Words(text=aim), Grid(table=FigureTable(columns=("call made at", "call"), rows=rows, caption="Calls while it brewed"))


def _fit(posterior: Posterior) -> tuple[Block, ...]:
    rows = tuple((name.replace("_", " "), band.median, band.low, band.high) for name, band in posterior.terms().items())
    words = (
        "What went in is not known: a lag, a rise, a plateau and a fall were fitted to the readings alone. The intervals hold "
        "90 % and include what the assay's colour and scale leave open."
        if posterior.from_readings_alone
        else "A batch model of bacteria, fungi, quick and slow food and oxygen was fitted to all readings and logs at once. The "
        "intervals hold 90 % and include what the assay's colour and scale leave open."
    )
    checks = (
        ("Settled", "yes" if posterior.settled else "no"),
        ("Effective draws", f"{posterior.effective:.0f}"),
        ("Tail of the weights (below 0.7 is sound)", number(posterior.khat)),
        ("Courses computed", str(posterior.model_runs)),
        ("Readings beyond their error", f"{100 * posterior.surprise:.0f} %"),
    )
    table = FigureTable(
        columns=("term", "median", "90 % from", "to"), rows=rows, caption="Terms of the model, each in its own unit"
    )
    fit = Words(text=words), Facts(rows=checks)
    return fit if posterior.from_readings_alone else (*fit, Grid(table=table))


def _logs(logs: Sequence[SensorLog]) -> tuple[Block, ...]:
    if not logs:
        return (Words(text="No probe was logged."),)
    rows = tuple(
        (
            log.channel,
            log.probe or "-",
            str(len(log.values)),
            log.elapsed_h[0],
            log.elapsed_h[-1],
            min(log.values),
            max(log.values),
        )
        for log in logs
        if log.values
    )
    columns = ("channel", "probe", "points", "from [h]", "to [h]", "lowest", "highest")
    return (Grid(table=FigureTable(columns=columns, rows=rows, caption="Probe logs; every point is in the data package.")),)


def known_sources(*keys: str) -> tuple[str, ...]:
    """Those keys that the sources room holds, each once."""
    from aerobe.sources import all_sources

    return tuple(key for key in dict.fromkeys(keys) if key in all_sources())
