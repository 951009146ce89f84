"""The least-squares code against the certified fits of the NIST Statistical Reference Datasets (StRD), nonlinear regression.

Source: https://www.itl.nist.gov/div898/strd/nls/nls_main.shtml, a work of the US government in the public domain. The files
in tests/data/nist are those in the source distribution of lmfit 1.3.4 (folder NIST_STRD), unchanged. Each file carries the
data, two starting points, and parameters and standard deviations certified to 11 digits.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from aerobe.inference import Modes, descend
from tests.conftest import DATA

Array = NDArray[np.float64]
Curve = Callable[..., Array]


def _enso(x: Array, b1: Array, b2: Array, b3: Array, b4: Array, b5: Array, b6: Array, b7: Array, b8: Array, b9: Array) -> Array:
    def wave(cosine: Array, sine: Array, period: Array | float) -> Array:
        return np.asarray(cosine * np.cos(2 * np.pi * x / period) + sine * np.sin(2 * np.pi * x / period))

    return b1 + wave(b2, b3, 12.0) + wave(b5, b6, b4) + wave(b8, b9, b7)


def _exponential_rise(x: Array, b1: Array, b2: Array) -> Array:
    return np.asarray(b1 * (1 - np.exp(-b2 * x)))


def _chwirut(x: Array, b1: Array, b2: Array, b3: Array) -> Array:
    return np.exp(-b1 * x) / (b2 + b3 * x)


def _gauss(x: Array, b1: Array, b2: Array, b3: Array, b4: Array, b5: Array, b6: Array, b7: Array, b8: Array) -> Array:
    return b1 * np.exp(-b2 * x) + b3 * np.exp(-(((x - b4) / b5) ** 2)) + b6 * np.exp(-(((x - b7) / b8) ** 2))


def _lanczos(x: Array, b1: Array, b2: Array, b3: Array, b4: Array, b5: Array, b6: Array) -> Array:
    return b1 * np.exp(-b2 * x) + b3 * np.exp(-b4 * x) + b5 * np.exp(-b6 * x)


def _cubic_ratio(x: Array, b1: Array, b2: Array, b3: Array, b4: Array, b5: Array, b6: Array, b7: Array) -> Array:
    return (b1 + x * (b2 + x * (b3 + x * b4))) / (1 + x * (b5 + x * (b6 + x * b7)))


CURVES: dict[str, Curve] = {
    "Bennett5": lambda x, b1, b2, b3: b1 * (b2 + x) ** (-1 / b3),
    "BoxBOD": _exponential_rise,
    "Chwirut1": _chwirut,
    "Chwirut2": _chwirut,
    "DanWood": lambda x, b1, b2: b1 * x**b2,
    "ENSO": _enso,
    "Eckerle4": lambda x, b1, b2, b3: b1 / b2 * np.exp(-0.5 * ((x - b3) / b2) ** 2),
    "Gauss1": _gauss,
    "Gauss2": _gauss,
    "Gauss3": _gauss,
    "Hahn1": _cubic_ratio,
    "Kirby2": lambda x, b1, b2, b3, b4, b5: (b1 + x * (b2 + x * b3)) / (1 + x * (b4 + x * b5)),
    "Lanczos1": _lanczos,
    "Lanczos2": _lanczos,
    "Lanczos3": _lanczos,
    "MGH09": lambda x, b1, b2, b3, b4: b1 * (x**2 + x * b2) / (x**2 + x * b3 + b4),
    "MGH10": lambda x, b1, b2, b3: b1 * np.exp(b2 / (x + b3)),
    "MGH17": lambda x, b1, b2, b3, b4, b5: b1 + b2 * np.exp(-x * b4) + b3 * np.exp(-x * b5),
    "Misra1a": _exponential_rise,
    "Misra1b": lambda x, b1, b2: b1 * (1 - (1 + b2 * x / 2) ** -2),
    "Misra1c": lambda x, b1, b2: b1 * (1 - (1 + 2 * b2 * x) ** -0.5),
    "Misra1d": lambda x, b1, b2: b1 * b2 * x / (1 + b2 * x),
    "Nelson": lambda x, b1, b2, b3: b1 - b2 * x[0] * np.exp(-b3 * x[1]),
    "Rat42": lambda x, b1, b2, b3: b1 / (1 + np.exp(b2 - b3 * x)),
    "Rat43": lambda x, b1, b2, b3, b4: b1 / (1 + np.exp(b2 - b3 * x)) ** (1 / b4),
    "Roszman1": lambda x, b1, b2, b3, b4: b1 - b2 * x - np.arctan(b3 / (x - b4)) / np.pi,
    "Thurber": _cubic_ratio,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Certified:
    """One file: two starts of shape (2, parameters), certified values and standard deviations, and the data."""

    starts: Array
    parameters: Array
    deviations: Array
    squares: float
    x: Array
    y: Array


def read(name: str) -> Certified:
    """One file by its name."""
    lines = (DATA / "nist" / f"{name}.dat").read_text(encoding="ascii").splitlines()
    rows = [re.match(r"\s*b\d+\s*=\s*(\S+)\s+(\S+)\s+(\S+)\s+(\S+)", line) for line in lines[:60]]
    table = np.array([[float(cell) for cell in row.groups()] for row in rows if row])
    squares = next(float(line.split(":")[1]) for line in lines[:60] if "Residual Sum of Squares" in line)
    data = np.array([[float(cell) for cell in line.split()] for line in lines[60:] if line.strip()]).T
    # Nelson alone has two predictors, and its model is of log(y).
    x, y = (data[1:], np.log(data[0])) if name == "Nelson" else (data[1], data[0])
    return Certified(starts=table[:, :2].T, parameters=table[:, 2], deviations=table[:, 3], squares=squares, x=x, y=y)


@cache
def fit(name: str) -> Modes:
    """Both starts of a set descended together."""
    case = read(name)

    def residuals(points: Array) -> Array:
        return np.asarray(CURVES[name](case.x, *points.T[:, :, None]) - case.y)

    # Trial steps may run over the range of floating point; such points count as impossible.
    with np.errstate(all="ignore"):
        return descend(
            residuals,
            case.starts,
            rounds=3000,
            difference=1e-5,
            relative_difference=True,
            central=True,
            damping=1.0,
            small=1e-11,
        )


def digits(found: Array, certified: Array) -> float:
    """Log relative error of the worst entry, as NIST counts digits; none if it is not a number."""
    error = float(np.max(np.abs(found - certified) / np.abs(certified)))
    return max(0.0, -math.log10(max(error, 1e-15))) if math.isfinite(error) else 0.0


def deviations(case: Certified, jacobian: Array, half_squares: float) -> Array:
    """Standard deviations of the parameters from the slopes where the descent ended."""
    # By QR of scaled columns: the normal matrix would square the spread of sizes, 1e13 in Hahn1.
    scale = np.sqrt(np.sum(jacobian**2, axis=0))
    root = np.linalg.inv(np.linalg.qr(jacobian / scale)[1])
    freedom = len(case.y) - len(case.parameters)
    return np.asarray(np.sqrt(2.0 * half_squares / freedom * np.sum(root**2, axis=1)) / scale)


# From the first, far start of these the descent slides onto a plateau where the curve no longer depends on a parameter;
# NIST rates all three "higher level of difficulty". The cost tells it from the other start.
LOST_FROM_FAR = ("BoxBOD", "MGH10", "MGH17")
ROUTES = [(name, start) for name in CURVES for start in (0, 1) if start == 1 or name not in LOST_FROM_FAR]


def test_all_twenty_seven_files_are_used() -> None:
    assert {path.stem for path in (DATA / "nist").glob("*.dat")} == set(CURVES) and len(CURVES) == 27


@pytest.mark.parametrize(("name", "start"), ROUTES)
def test_certified_parameters_and_deviations_are_reached(name: str, start: int) -> None:
    # NIST StRD: parameters to 6 digits and standard deviations to 5, the worst of each set. Certified values have 11;
    # differences for slopes cannot give them all, and the lowest found is 7.1 (Roszman1).
    case = read(name)
    modes = fit(name)
    assert modes.settled[start]
    assert digits(modes.points[start], case.parameters) > 6.0
    spread = deviations(case, modes.jacobians[start], float(modes.costs[start]))
    # The residuals of Lanczos1 are 1e-14, the rounding of its data: their size, and so the spread, is hardly defined.
    assert digits(spread, case.deviations) > (2.0 if name == "Lanczos1" else 5.0)


@pytest.mark.parametrize("name", LOST_FROM_FAR)
def test_a_descent_that_went_astray_is_told_by_its_cost(name: str) -> None:
    case = read(name)
    modes = fit(name)
    best = int(np.argmin(modes.costs))
    assert modes.costs[1 - best] > 2.0 * modes.costs[best]
    assert digits(modes.points[best], case.parameters) > 6.0
    assert 2.0 * modes.costs[best] == pytest.approx(case.squares, rel=1e-9)


def test_the_count_of_digits_notices_a_wrong_fit() -> None:
    case = read("Rat42")
    assert digits(case.parameters * (1.0 + 1e-5), case.parameters) < 5.1
    assert digits(np.full(3, np.nan), case.parameters) == 0.0
    # A descent stopped after three rounds has not arrived, and says so.
    early = descend(
        lambda points: np.asarray(CURVES["Rat42"](case.x, *points.T[:, :, None]) - case.y),
        case.starts,
        rounds=3,
        relative_difference=True,
    )
    assert not early.settled.any() and digits(early.points[0], case.parameters) < 6.0
