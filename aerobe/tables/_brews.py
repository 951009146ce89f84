"""Which brew each row belongs to: as many labels as it takes to tell brews apart; controls and means set aside."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace

from aerobe.tables._ask import Questions
from aerobe.tables._results import Labels, ProbeColumn, RowRead, RowsRead
from aerobe.tables._words import folded_name, names_mean, role_in, without_role

ROLES_OFFERED = ("killed control", "filtered blank", "blank", "spike", "standard", "a tea of its own")
MEAN_OF = ("tests of one brew", "several brews")


def named(rows: RowsRead) -> RowsRead:
    """The same rows, each with the name of its brew."""
    items = [row.labels for row in rows.results if not row.is_mean] + [probe.labels for probe in rows.probes]
    names = names_of(items)
    for probe in rows.probes:
        probe.label = names.get(probe.labels, _joined(probe.labels))
    return replace(rows, results=tuple(replace(row, label=names.get(row.labels, _joined(row.labels))) for row in rows.results))


def names_of(items: Iterable[Labels]) -> dict[Labels, str]:
    """The name of the brew of each set of labels: as many of them as it takes to tell brews apart."""
    every = list(dict.fromkeys(items))
    several = {field for field in Labels.__dataclass_fields__ if len({getattr(item, field) for item in every}) > 1}
    by_brew: dict[str, list[Labels]] = defaultdict(list)
    for item in every:
        by_brew[folded_name(item.brew)].append(item)
    names = {}
    for item in every:
        twins = by_brew[folded_name(item.brew)]
        if item.brew and len(twins) == 1:
            names[item] = item.brew
            continue
        # One name of a brew over several treatments, bottles, rounds or experiments is several brews.
        apart = several if not item.brew else {field for field in several if len({getattr(twin, field) for twin in twins}) > 1}
        names[item] = _joined(item, apart)
    return names


def _joined(item: Labels, apart: set[str] | None = None) -> str:
    parts = []
    for field in ("brew", "arm", "dose", "bottle", "block", "experiment"):
        said = getattr(item, field)
        if said and (apart is None or field in apart or field in ("brew", "arm", "bottle")):
            parts.append(said)
    return " ".join(parts)


def with_roles(rows: RowsRead, questions: Questions) -> RowsRead:
    """Rows whose label names a control become controls of the brew they stand beside, if the person agrees."""
    found: dict[str, str] = {}
    for row in rows.results:
        if row.role == "sample" and not row.is_mean:
            for text in _texts(row):
                role = role_in(text) if text else ""
                if role:
                    found.setdefault(text, role)
    if not found:
        return rows
    teas = {folded_name(row.label): row.label for row in rows.results if not _texts(row) & found.keys() and not row.is_mean}
    chosen = {}
    for text, role in found.items():
        numbers = tuple(row.row for row in rows.results if text in _texts(row))
        chosen[text] = questions.ask(
            f"role:{text}",
            f"What is '{text}'?",
            because=f"Its name says that it is a {role} and no tea.",
            options=ROLES_OFFERED,
            default=role,
            rows=numbers,
        )
    results = []
    for row in rows.results:
        text = next((text for text in found if text in _texts(row)), "")
        if not text or chosen[text] == ROLES_OFFERED[-1]:
            results.append(row)
            continue
        results.append(replace(row, role=chosen[text], label=_tea_of(row, text, teas)))
    return replace(rows, results=tuple(results))


def _texts(row: RowRead) -> set[str]:
    labels = row.labels
    return {labels.brew, labels.arm, labels.bottle, labels.dose, row.variable, row.measured, row.sample} - {""}


def _tea_of(row: RowRead, text: str, teas: dict[str, str]) -> str:
    """The brew that a control stands beside: the label without the control's words; empty where none fits."""
    bare = folded_name(without_role(row.label))
    if bare in teas:
        return teas[bare]
    if text in (row.variable, row.measured, row.sample) and folded_name(row.label) in teas:
        return row.label
    return next(iter(teas.values())) if len(teas) == 1 else ""


def with_mean_rows(rows: RowsRead, questions: Questions) -> RowsRead:
    """Rows whose label names a mean or a sum: no measurement of one brew, if the person agrees."""
    found: dict[str, list[int]] = {}
    for row in rows.results:
        if row.is_mean:
            text = next(
                (text for text in (row.labels.bottle, row.labels.brew, row.sample) if names_mean(text)), row.labels.arm or "mean"
            )
            found.setdefault(text, []).append(row.row)
    if not found:
        return rows
    no_means = set()
    for text, numbers in found.items():
        said = questions.ask(
            f"mean:{text}",
            f"Are rows named '{text}' means or sums of other rows?",
            because="Its name says so. They are then kept beside, and are no brew.",
            options=("yes", "no"),
            default="yes",
            rows=tuple(numbers),
        )
        no_means |= set(numbers) if said == "no" else set()
    return replace(rows, results=tuple(replace(row, is_mean=row.is_mean and row.row not in no_means) for row in rows.results))


def with_means(rows: RowsRead, questions: Questions) -> RowsRead:
    """Rows with a spread or a count behind them: means of tests of one brew, or of several brews?"""
    with_spread = [
        row for row in rows.results if not row.is_mean and row.role == "sample" and (row.n > 1 or row.uncertainty is not None)
    ]
    if not with_spread:
        return rows
    told_apart = all(row.labels.bottle or row.labels.block or row.labels.brew for row in with_spread)
    numbers = tuple(dict.fromkeys(row.row for row in with_spread))
    said = questions.ask(
        "means of",
        "Each row has a spread (SD, SE) or a number behind it. What is it the mean of?",
        because="The table tells brews apart, so each row is taken for one of them."
        if told_apart
        else "No column tells brews of one treatment apart; a mean over brews is no brew.",
        options=MEAN_OF,
        default=MEAN_OF[0] if told_apart else "",
        rows=numbers,
    )
    if said != MEAN_OF[1]:
        return rows
    chosen = {id(row) for row in with_spread}
    return replace(rows, results=tuple(replace(row, is_mean=True) if id(row) in chosen else row for row in rows.results))


def with_temperatures(rows: RowsRead) -> RowsRead:
    """A temperature that never changes in a table of tests is the brew's, as set; it is no log of a probe."""
    if not rows.results:
        return rows
    nominal = {}
    kept: list[ProbeColumn] = []
    for probe in rows.probes:
        if (
            probe.channel == "temperature"
            and len(set(probe.values)) == 1
            and (len(probe.values) > 1 or float(probe.values[0]).is_integer())
        ):
            nominal[probe.label] = probe.values[0]
        else:
            kept.append(probe)
    if not nominal:
        return rows
    shown = ", ".join(f"{degrees:g}" for degrees in sorted(set(nominal.values()))[:5])
    said = f"A temperature that never changes ({shown} degC) is taken as that of the brew, not as a log of a probe."
    return replace(rows, probes=tuple(kept), temperatures=nominal, left_out=(*rows.left_out, said))
