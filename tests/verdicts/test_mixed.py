"""The mixed model beside the verdict gives the answers of R's lme4, nlme and lmerTest on their own data sets."""

from __future__ import annotations

import csv
from functools import cache

import numpy as np
import pytest

from aerobe.errors import NotEnoughData
from aerobe.verdicts import MixedFit, RandomTerm, fit_mixed
from tests.conftest import DATA, truth


def columns(name: str) -> dict[str, list[str]]:
    with (DATA / "r" / f"{name}.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    return {key: [row[key] for row in rows] for key in rows[0]}


def numbers(values: list[str]) -> np.ndarray:
    return np.array(values, dtype=float)


def term(name: str, labels: list[str]) -> RandomTerm:
    return RandomTerm(name=name, groups=tuple(labels))


@cache
def fitted(name: str, restricted: bool) -> MixedFit:
    data = columns(name)
    one = np.ones((len(next(iter(data.values()))), 1))
    if name == "sleepstudy":
        x = np.column_stack([one, numbers(data["Days"])])
        return fit_mixed(
            numbers(data["Reaction"]),
            x,
            [RandomTerm(name="Subject", groups=tuple(data["Subject"]), covariates=x)],
            restricted=restricted,
        )
    if name == "Penicillin":
        terms = [term("plate", data["plate"]), term("sample", data["sample"])]
        return fit_mixed(numbers(data["diameter"]), one, terms, restricted=restricted)
    if name.startswith("Dyestuff"):
        return fit_mixed(numbers(data["Yield"]), one, [term("Batch", data["Batch"])], restricted=restricted)
    if name == "Pastes":
        return fit_mixed(numbers(data["strength"]), one, [term("cask", data["sample"]), term("batch", data["batch"])])
    if name == "Machines":
        x = np.column_stack([one, np.array(data["Machine"]) == "B", np.array(data["Machine"]) == "C"]).astype(float)
        cell = [a + b for a, b in zip(data["Worker"], data["Machine"], strict=True)]
        return fit_mixed(numbers(data["score"]), x, [term("Worker", data["Worker"]), term("cell", cell)])
    plot = [a + b for a, b in zip(data["Block"], data["Variety"], strict=True)]
    x = np.column_stack([one, numbers(data["nitro"])])
    return fit_mixed(numbers(data["yield"]), x, [term("Block", data["Block"]), term("plot", plot)])


def quantity(fit: MixedFit, name: str) -> float:
    kind, *rest = name.split(":")
    if kind == "var":
        return float(fit.variances[rest[0]][int(rest[1]), int(rest[2])])
    if kind == "sd":
        return float(np.sqrt(fit.variances[rest[0]][0, 0]))
    if kind.startswith("beta"):
        return float(fit.coefficients[int(kind[4:])])
    if kind == "resid":
        return fit.residual_variance
    if kind == "residsd":
        return float(np.sqrt(fit.residual_variance))
    if kind == "crit":
        return fit.criterion
    index = int(kind[2:])
    if kind.startswith("se"):
        return float(np.sqrt(fit.covariance[index, index]))
    return fit.df(np.eye(len(fit.coefficients))[index])


@pytest.mark.parametrize("row", truth("mixed_models.csv"), ids=lambda row: row.id)
def test_the_mixed_model_agrees_with_r(row) -> None:
    assert quantity(fitted(row.data, bool(row.restricted)), row.quantity) == pytest.approx(row.value, abs=row.tolerance)


def test_more_effects_than_observations_is_refused() -> None:
    with pytest.raises(NotEnoughData):
        fit_mixed(np.ones(2), np.eye(2), [RandomTerm(name="brew", groups=("a", "b"))])


@pytest.mark.parametrize("factor", [1e-5, 1e5])
def test_the_unit_of_the_outcome_changes_neither_degrees_of_freedom_nor_shares(factor: float) -> None:
    # On paper: y -> c y scales estimates and errors by c, variances by c^2, and leaves the degrees of freedom as they are.
    rng = np.random.default_rng(8)
    groups = [f"g{i % 5}" for i in range(20)]
    x = np.column_stack([np.ones(20), np.arange(20) % 2])
    y = 3.0 + x[:, 1] + rng.normal(0.0, 0.7, 5)[np.arange(20) % 5] + rng.normal(0.0, 0.4, 20)
    one, other = (fit_mixed(by * y, x, [term("g", groups)]) for by in (1.0, factor))
    row = np.array([0.3, 1.0])
    assert other.df(row) == pytest.approx(one.df(row), rel=1e-3)
    assert other.residual_variance == pytest.approx(factor**2 * one.residual_variance, rel=1e-4)
