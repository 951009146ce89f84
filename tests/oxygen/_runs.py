"""The runs of 2019, and simulated runs with everything that real ones have."""

from __future__ import annotations

import csv

import numpy as np

from aerobe.oxygen import responses, saturation_mg_per_l
from tests.conftest import DATA

LAG_H = 8.0 / 3600.0


def runs_of_2019() -> dict[int, tuple[np.ndarray, np.ndarray]]:
    """Times [h] and oxygen [mg/L] by air flow [umol/s]."""
    found: dict[int, list[tuple[float, float]]] = {}
    with (DATA / "s03_reaeration_DO_vs_airflow_2019.csv").open(encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            found.setdefault(int(row["run"]), []).append((float(row["time_s"]) / 3600.0, float(row["value"])))
    return {run: (np.array(rows)[:, 0], np.array(rows)[:, 1]) for run, rows in found.items()}


def noise_with_memory(rng: np.random.Generator, times_h: np.ndarray, sd: float, memory_h: float) -> np.ndarray:
    """Ornstein-Uhlenbeck noise at evenly spaced times."""
    keep = np.exp(-(times_h[1] - times_h[0]) / memory_h)
    fresh = rng.standard_normal(len(times_h)) * sd * np.sqrt(1.0 - keep**2)
    noise = np.empty(len(times_h))
    noise[0] = sd * rng.standard_normal()
    for index in range(1, len(times_h)):
        noise[index] = keep * noise[index - 1] + fresh[index]
    return noise


def simulated_run(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, float, float]:
    """Times, readings, water temperature and true kLa of a run with a lagging, drifting probe whose noise has a memory."""
    kla = float(np.exp(rng.uniform(np.log(4.0), np.log(60.0))))
    temperature = float(rng.uniform(12.0, 28.0))
    lag = LAG_H * np.exp(0.3 * rng.standard_normal())
    saturation = saturation_mg_per_l(temperature) * np.exp(0.03 * rng.standard_normal())
    span = rng.uniform(1.8, 4.0) / kla
    times = np.arange(0.0, span, max(5.0 / 3600.0, span / 150.0))
    shown = responses(times, ((0.0, True),), np.array([kla]), np.array([lag]), 0.0)[0] @ np.array([0.3, 0.3, saturation, 0.0])
    drift = 0.5 * rng.standard_normal() * times
    sd, memory = np.exp(rng.uniform(np.log(0.02), np.log(0.12))), rng.uniform(5.0, 30.0) / 3600.0
    return times, np.round(shown + drift + noise_with_memory(rng, times, sd, memory), 2), temperature, kla


# CEE 4530, laboratory 4: the course's own short formula at 22 degC and 0.21 atm, P exp(1727 / T - 2.105); it prints 8.90.
COURSE_SATURATION_AT_22 = 0.21 * float(np.exp(1727.0 / 295.15 - 2.105))


def least_squares_kla(times_h: np.ndarray, oxygen_mg_per_l: np.ndarray) -> tuple[float, float]:
    """Transfer and its standard error by plain least squares for three unknowns, noise independent, as ASCE/EWRI 2-06 asks."""
    from scipy.optimize import curve_fit

    span = times_h[-1] - times_h[0]
    found, covariance = curve_fit(
        lambda t, saturation, start, kla: saturation - (saturation - start) * np.exp(-kla * (t - times_h[0])),
        times_h,
        oxygen_mg_per_l,
        p0=[9.0, oxygen_mg_per_l[0], 2.0 / span],
    )
    return float(found[2]), float(np.sqrt(covariance[2, 2]))
