"""From a characterisation study to a certificate: every step says what it used, and what it could not do and why."""

from __future__ import annotations

import math

import numpy as np

from aerobe.assay._certificate import Certificate, Precision
from aerobe.assay._colour import ColourBias, ColourReading, estimate_colour_bias
from aerobe.assay._limits import censored_mean, hides_all_scatter, limits_from_blanks, limits_from_model
from aerobe.assay._linearity import Linearity, linearity, valid_range
from aerobe.assay._matrix import Parallelism, parallelism
from aerobe.assay._outliers import OutlierTest, cochran, grubbs, mandel
from aerobe.assay._scale import Notes, find_recoveries, gain_of, plain_readings
from aerobe.assay._study import Study, StudyReading, replicate_groups
from aerobe.assay._two_component import TwoComponent, fit_two_component
from aerobe.assay._variance import Components, components
from aerobe.errors import UnusableReading


def characterise(study: Study, *, level: float = 0.9) -> Certificate:
    """What a study shows about a test: precision, limits, colour, linearity, recovery, range, and the error record for later use.

    Raises
    ------
    NotEnoughData
        Without repeated readings there is no error to state.
    UnusableReading
        If the water blanks read more than the teas.

    Source
    ------
    rocke-lorenzato-1995, iso-5725-3, currie-1968, iso-11843-2
    """
    notes = Notes([])
    water = [item.signal for item in study.of("water blank")]
    teas = plain_readings(study.of("sample"))
    _refuse_swapped(water, teas)
    background = _background(study, notes)
    groups = replicate_groups(study.readings)
    scatter = fit_two_component(
        [[item.signal for item in group] for group in groups.values()],
        background=background,
        level=level,
        below=[[item.below_detection for item in group] for group in groups.values()],
    )
    if scatter.df < 12:
        notes.missing.append(
            f"Scatter: it rests on {scatter.df} degrees of freedom, and later intervals take it as known. Repeat more tests; "
            "the upper ends of the intervals above are the safe side."
        )
    odd = _outliers(groups)
    precision = _precision(study, scatter, background, level, notes)
    colour = _colour(study, scatter, level, notes)
    blanks = notes.attempt("Limits from blanks", lambda: limits_from_blanks(water)) if not _censored(study) else None
    worst = max((item.sd for item in colour.recipes), default=0.0) if colour else 0.0
    model = notes.attempt(
        "Limits from the error model",
        lambda: limits_from_model(
            scatter.constant_sd,
            precision.single_cv,
            blanks=max(1, len(water)),
            bias_sd=worst,
            relative_sd=max(0.3, 1.25 * precision.single_cv),
        ),
    )
    straight = _linear(study, scatter, background, notes)
    side_by_side = _parallel(study, background, notes)
    recoveries = find_recoveries(study, level, notes)
    gain, gain_words = gain_of(precision, recoveries)
    top = max((item.signal for item in teas), default=math.inf)
    detection = model.detection if model else (blanks.detection if blanks else 0.0)
    reach = valid_range(
        detection=detection,
        quantification=model.quantification if model else math.inf,
        linear_low=straight.valid_low if straight else math.nan,
        linear_high=straight.valid_high if straight else math.nan,
        highest_tested=top - background,
        upper_limit=study.scale_high if study.scale_high is not None else math.inf,
    )
    return Certificate(
        study=study,
        level=level,
        background=background,
        scatter=scatter,
        precision=precision,
        colour=colour,
        limits_blanks=blanks,
        limits_model=model,
        linearity=straight,
        parallelism=side_by_side,
        recoveries=recoveries,
        valid_range=reach,
        outliers=odd,
        odd_groups=_odd_groups(study),
        gain_log_sd=gain,
        gain_words=gain_words,
        missing=tuple(notes.missing),
        censored=sum(item.below_detection or item.above_range for item in study.readings),
    )


def _censored(study: Study) -> bool:
    return any(item.below_detection for item in study.of("water blank"))


def _background(study: Study, notes: Notes) -> float:
    """Mean of the water blanks; blanks below the scale count as 'below', by likelihood."""
    water = study.of("water blank")
    if not water:
        notes.missing.append(
            "Background: no water blanks. Test clean water four times; until then the background is taken as zero."
        )
        return 0.0
    signals = [item.signal for item in water]
    if not _censored(study):
        return float(np.mean(signals))
    below = np.array([item.below_detection for item in water])
    if below.mean() < 0.5 and hides_all_scatter(np.array(signals), below):
        return float(np.mean(signals))
    found = notes.attempt("Background from blanks below the scale", lambda: censored_mean(signals, below.tolist()))
    # Nearly all below the scale: the background lies under its lowest mark; half of it is off by at most half a mark.
    return float(np.mean(signals)) / 2 if found is None else found[0]


def _refuse_swapped(water: list[float], teas: list[StudyReading]) -> None:
    undiluted = [item.signal for item in teas if item.dilution == 1]
    if water and undiluted and float(np.mean(water)) >= max(undiluted):
        raise UnusableReading(
            f"The water blanks read {np.mean(water):g} on average, as much as the strongest tea ({max(undiluted):g}).",
            "Check for swapped vials, dirty glass or the wrong column; then test fresh water.",
        )


def _outliers(groups: dict[tuple[object, ...], list[StudyReading]]) -> tuple[OutlierTest, ...]:
    """Grubbs in each group of three and more on its own scale, Cochran between groups of one role; all of them reported."""
    found: list[OutlierTest] = []
    named = {
        _label(key): [item.signal for item in group]
        for key, group in groups.items()
        if not any(item.below_detection for item in group)
    }
    for name, signals in named.items():
        if len(signals) >= 3 and len(set(signals)) > 1:
            found.append(
                grubbs({f"reading {place} ({value:g}) of {name}": value for place, value in enumerate(signals, start=1)})
            )
    # Relative scatter, or strong samples would always look like the odd ones.
    relative = {
        name: [value / float(np.mean(signals)) for value in signals]
        for name, signals in named.items()
        if len(signals) > 1 and float(np.mean(signals)) > 0 and name.startswith("sample")
    }
    if len(relative) >= 2 and any(len(set(values)) > 1 for values in relative.values()):
        found.append(cochran(relative))
    return tuple(found)


def _odd_groups(study: Study) -> tuple[str, ...]:
    """Mandel's h and k of the groups (day, operator, lot, sample) of each undiluted tea with three such groups and more."""
    found: list[str] = []
    for what in dict.fromkeys(item.what for item in study.of("sample")):
        groups: dict[str, list[float]] = {}
        for item in plain_readings(study.of("sample")):
            if item.what == what and item.dilution == 1:
                terms = (("day", item.day), ("operator", item.operator), ("lot", item.kit_lot), ("sample", item.sample))
                name = ", ".join(f"{word} {value}" for word, value in terms if value)
                groups.setdefault(f"{what} ({name})", []).append(item.signal)
        repeated = {name: group for name, group in groups.items() if len(group) > 1}
        if len(repeated) >= 3:
            found.extend(mandel(repeated).flagged())
    return tuple(found)


def _label(key: tuple[object, ...]) -> str:
    role, what, dilution, added, colour, sample, day, operator, lot = key
    extras = [str(what)] if what else []
    extras += [f"1:{dilution:g}"] if dilution != 1 else []
    extras += [f"+{added:g}"] if added else []
    extras += [f"colour {colour:g}"] if colour and role == "colourant" else []
    extras += [
        f"{name} {value}" for name, value in (("sample", sample), ("day", day), ("operator", operator), ("lot", lot)) if value
    ]
    return f"{role} {', '.join(extras)}".strip()


def _precision(study: Study, scatter: TwoComponent, background: float, level: float, notes: Notes) -> Precision:
    """Relative components from teas well above the constant scatter; each effect that the design cannot show is named."""
    strong = [item for item in plain_readings(study.of("sample")) if item.signal - background > 3 * scatter.constant_sd]
    found: Components | None = None
    if len(strong) >= 4:
        logs = np.log([item.signal - background for item in strong])
        materials = [(item.what, item.dilution) for item in strong]
        design = np.array([[float(label == name) for name in dict.fromkeys(materials)] for label in materials])
        factors: dict[str, list[object]] = {}
        candidates = (
            ("kit lot", [item.kit_lot for item in strong]),
            ("operator", [item.operator for item in strong]),
            ("day", [item.day for item in strong]),
            ("sample", [(item.what, item.sample) for item in strong]),
        )
        for name, labels in candidates:
            if _estimable(design, labels, factors):
                factors[name] = list(labels)
            else:
                notes.missing.append(
                    f"Share of the {name}: not varied apart from the rest in this study. Repeat some readings with "
                    f"another {name} on otherwise equal terms."
                )
        if factors:
            found = notes.attempt("Components of scatter", lambda: components(tuple(logs), factors, fixed=design, level=level))
    else:
        notes.missing.append(
            "Shares of sample, day, operator and kit lot: too few readings well above the background. Repeat a strong tea on "
            "two days, by two people, with two kit lots."
        )
    day = found.sd("day") if found else 0.0
    sample = found.sd("sample") if found else 0.0
    lot = found.sd("kit lot") if found else 0.0
    operator = found.sd("operator") if found else 0.0
    return Precision(
        components=found,
        single_cv=math.sqrt(scatter.proportional_cv**2 + day**2 + sample**2),
        sample_cv=sample,
        day_cv=day,
        lot_log_sd=lot,
        operator_log_sd=operator,
    )


def _estimable(
    design: np.ndarray, labels: list[object] | list[str] | list[tuple[str, str]], factors: dict[str, list[object]]
) -> bool:
    """A random effect shows when its levels add to the rank of the fixed part, repeat, and equal no effect already there."""
    names = list(dict.fromkeys(labels))
    if len(names) < 2 or len(names) == len(labels):
        return False
    columns = np.array([[float(label == name) for name in names] for label in labels])
    if np.linalg.matrix_rank(np.hstack([design, columns])) <= np.linalg.matrix_rank(design):
        return False
    place = [names.index(label) for label in labels]  # type: ignore[arg-type]
    return all([list(dict.fromkeys(other)).index(item) for item in other] != place for other in factors.values())


def _colour(study: Study, scatter: TwoComponent, level: float, notes: Notes) -> ColourBias | None:
    live: dict[str, tuple[float, float]] = {}
    for name in dict.fromkeys(item.what for item in study.of("sample")):
        own = [
            item
            for item in plain_readings(study.of("sample"))
            if item.what == name and item.dilution == 1 and math.isfinite(item.colour)
        ]
        if own:
            live[name] = float(np.mean([item.signal for item in own])), float(np.mean([item.colour for item in own]))
    without_cells = [
        item for item in study.of("water blank", "filtered blank", "killed control", "colourant") if not item.above_range
    ]
    unknown = [item for item in without_cells if math.isnan(item.colour)]
    if unknown:
        notes.missing.append(
            f"Colour: {len(unknown)} controls have no colour measured and could not be used. Read their absorbance."
        )
    readings = [
        ColourReading(
            kind=item.role, signal=item.signal, colour=item.colour, what=item.what, below_detection=item.below_detection
        )
        for item in without_cells
        if math.isfinite(item.colour)
    ]
    return notes.attempt(
        "Colour",
        lambda: estimate_colour_bias(
            readings, constant_sd=scatter.constant_sd, proportional_cv=scatter.proportional_cv, live=live, level=level
        ),
    )


def _linear(study: Study, scatter: TwoComponent, background: float, notes: Notes) -> Linearity | None:
    """Dilutions of the tea that was diluted most often; the background is left in, as the line's intercept."""
    series: dict[str, list[StudyReading]] = {}
    for item in plain_readings(study.of("sample")):
        series.setdefault(item.what, []).append(item)
    best = max(series.values(), key=lambda group: len({item.dilution for item in group}), default=[])
    if len({item.dilution for item in best}) < 2:
        notes.missing.append("Linearity: no dilution series. Test one strong tea undiluted, 1:2, 1:4 and 1:8, each twice.")
        return None
    undiluted = float(np.mean([(item.signal - background) * item.dilution for item in best]))
    levels = [undiluted / item.dilution for item in best]
    return notes.attempt(
        "Linearity",
        lambda: linearity(
            levels, [item.signal for item in best], constant_sd=scatter.constant_sd, proportional_cv=scatter.proportional_cv
        ),
    )


def _parallel(study: Study, background: float, notes: Notes) -> Parallelism | None:
    standards = [
        (item.added, item.signal - background)
        for item in plain_readings(study.of("standard"))
        if item.added > 0 and item.signal > background
    ]
    diluted: dict[str, list[tuple[float, float]]] = {}
    for item in plain_readings(study.of("sample")):
        if item.signal > background:
            diluted.setdefault(item.what, []).append((1 / item.dilution, item.signal - background))
    best = max(diluted.values(), key=lambda group: len({level for level, _ in group}), default=[])
    if not standards or len({level for level, _ in best}) < 2:
        return None
    return notes.attempt("Parallelism", lambda: parallelism(best, standards))
