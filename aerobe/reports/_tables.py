"""Tables that several reports share: raw readings, recipe, vessel, assays; and the limits that the program states itself."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from aerobe.charts import FigureTable
from aerobe.records import Assay, Compost, Reading, Recipe, Vessel, guess_mark
from aerobe.reports._blocks import Block, Facts, Grid, PointList, Words
from aerobe.units import number

COLOUR_CONTROLS = ("killed control", "filtered blank")


def readings_table(readings: Sequence[Reading], assays: Mapping[str, Assay], *, with_brew: bool) -> Grid:
    """Every reading as typed, corrected ones too."""
    replaced = {reading.replaces for reading in readings if reading.replaces}
    columns = ("time [h]", "role", "assay", "signal", "unit", "dilution [-]", "as typed", "note")
    rows = []
    for item in sorted(readings, key=lambda one: (one.brew, one.elapsed_h, one.role, one.key)):
        row: tuple[str | float | None, ...] = (
            f"{item.elapsed_h:g}",
            item.role,
            assays[item.assay].name if item.assay in assays else item.assay,
            f"{item.signal:g}",
            item.unit,
            f"{item.dilution:g}",
            item.typed_as,
            _note(item, replaced),
        )
        rows.append((item.brew, *row) if with_brew else row)
    return Grid(
        table=FigureTable(
            columns=("brew", *columns) if with_brew else columns,
            rows=tuple(rows),
            caption="Every reading as it was typed; a corrected one stays and is marked.",
        )
    )


def _note(item: Reading, replaced: set[str]) -> str:
    if item.key in replaced:
        return "corrected later"
    if item.replaces:
        return "a correction"
    return "below detection" if item.below_detection else "above the range" if item.above_range else ""


def recipe_blocks(recipe: Recipe, compost: Compost | None) -> tuple[Block, ...]:
    """What went in, per litre, and the past of the compost."""
    # A recipe that came with a table of treatments has a name and no amounts: a nought would pass for an amount.
    unsaid = recipe.compost == "not-stated" and not recipe.compost_g_per_l
    rows: list[tuple[str | float | None, ...]] = [
        ("compost and foods", "not stated", "not stated")
        if unsaid and not recipe.foods
        else (
            f"compost: {compost.name if compost else recipe.compost}",
            _dose(recipe.compost_g_per_l, recipe, "compost", "weight of compost"),
            "0",
        )
    ]
    rows += [(dose.food, _dose(dose.g_per_l, recipe, f"food {dose.food}"), f"{dose.at_h:g}") for dose in recipe.foods]
    table = FigureTable(columns=("what", "per litre [g/L]", "added at [h]"), rows=tuple(rows), caption=recipe.name)
    facts: list[tuple[str, str]] = [("Water", recipe.water)]
    if compost is not None:
        facts += [
            ("Compost made by", compost.process),
            ("Of animal origin", _yes(compost.animal_origin)),
            ("Age", "not known" if compost.age_days is None else f"{compost.age_days:g} days"),
            ("Heat log", "kept" if compost.heat else "none: its heating cannot be checked"),
        ]
    return Grid(table=table), Facts(rows=tuple(facts))


def _dose(g_per_l: float, recipe: Recipe, *guesses: str) -> str:
    return f"{g_per_l:.4g}{guess_mark(recipe.guessed, *guesses)}"


def _yes(value: bool | None) -> str:
    return "not known" if value is None else "yes" if value else "no"


def vessel_facts(vessel: Vessel) -> tuple[tuple[str, str], ...]:
    """Vessel and air in a few lines."""
    air = vessel.air
    depth = guess_mark(vessel.guessed, "depth")
    flow = guess_mark(vessel.guessed, "flow", "flow of a label", "flow of a power")
    kla = "guessed from flow and bubbles" if air.kla_per_h is None else f"measured, {number(air.kla_per_h)} per h at 20 degC"
    return (
        (
            "Vessel",
            f"{vessel.name}, {vessel.volume_l:.4g} L, {vessel.depth_m:.3g} m deep{depth}, {vessel.altitude_m:g} m above the sea",
        ),
        ("Air", f"{air.flow_l_per_min:.3g} L/min{flow} through {air.diffuser}{guess_mark(vessel.guessed, 'diffuser')}"),
        ("Oxygen transfer", kla),
    )


def noise_and_colour(readings: Iterable[Reading], assays: Mapping[str, Assay]) -> tuple[Block, ...]:
    """How colour and noise were handled, by assay."""
    lines = []
    readings = list(readings)
    for key, assay in sorted(assays.items()):
        own = [item for item in readings if item.assay == key]
        counts = Counter(item.role for item in own)
        told = ", ".join(f"{count} of role {role}" for role, count in sorted(counts.items())) or "no readings"
        lines.append(f"{assay.name} ({assay.method}): {told}. {_error_words(assay)} {_colour_words(assay, counts)}")
    below = sum(item.below_detection or item.above_range for item in readings)
    tail = (
        f"{below} readings lie beyond a limit of the test; they are kept as 'somewhere beyond', never as zero."
        if below
        else "No reading lies beyond a limit of its test."
    )
    return PointList(items=tuple(lines)), Words(text=tail)


def _error_words(assay: Assay) -> str:
    error = assay.error
    if error is None:
        return "Its error was never measured: a wide one is assumed."
    origin = "was assumed, not measured" if error.origin == "assumed" else f"comes from {error.origin}"
    return (
        f"Its error {origin}: {number(error.constant_sd)} {assay.unit} near zero and {100 * error.proportional_cv:.0f} % "
        f"of the result far above, shared scale known to {100 * error.gain_log_sd:.0f} %, bias {number(error.bias)} "
        f"with uncertainty {number(error.bias_sd)} {assay.unit}."
    )


def _colour_words(assay: Assay, counts: Mapping[str, int]) -> str:
    if any(counts.get(role, 0) for role in COLOUR_CONTROLS):
        return "Controls without living cells were read, so the colour of the tea is taken off with its own error."
    return "No killed control or filtered blank was read: what colour adds is known only as far as the bias above says."


def limits_of_readings(readings: Sequence[Reading], assays: Mapping[str, Assay]) -> list[str]:
    """What these readings cannot show, whatever they say."""
    found = []
    samples = [item for item in readings if item.role == "sample"]
    if not samples:
        found.append("No sample was read: every number about microbes is a forecast from the recipe.")
    if samples and not any(item.role in COLOUR_CONTROLS for item in readings):
        found.append("No killed control or filtered blank: colour may pose as microbes.")
    assumed = sorted({assays[item.assay].name for item in samples if item.assay in assays and _is_assumed(assays[item.assay])})
    if assumed:
        found.append(f"The error of {', '.join(assumed)} was assumed, not measured.")
    if len({item.assay for item in samples}) > 1:
        found.append("Several assays were used; each keeps its own unknown scale.")
    return found


def _is_assumed(assay: Assay) -> bool:
    return assay.error is None or assay.error.origin == "assumed"
