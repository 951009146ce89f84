"""Cases of `kept_answers`: logs and readings made fit, what acts from outside, the target, sampling and descents."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from aerobe.inference import PRIOR, Log, Measurement, Probe, find_stops, learn_from, measurements_of, peak_times
from aerobe.inference._air import _as_without_air, _corners, _evened, _fall_from, _onset
from aerobe.inference._forcing import forcing_of, stops_in_log
from aerobe.inference._logs import _stuck, _used_up, possible_oxygen, thin_oxygen, thin_temperature, water_temperature
from aerobe.inference._pooling import Past, shared_variance
from aerobe.inference._posterior import Posterior, cut_to, expected_result, horizon_for, result_errors
from aerobe.inference._target import BrewTarget, around_each, grid_of, setting_of, with_times
from aerobe.records import Assay, Reading
from tests.inference.kept_courses import FEW, made, scores
from tests.inference.kept_story import EVENTS, KIT, event, story
from tests.kept_answers import Rough


def data_cases() -> dict[str, Callable[[], object]]:
    """Each by what it holds."""
    return {
        "stops of the air in logs of several shapes": _stops,
        "corners, falls and onsets of such a log": _falls,
        "what acted on a brew with everything in it": _outside,
        "stops that are found, entered or denied": _known_stops,
        "oxygen logs with faults": _oxygen_logs,
        "temperature logs with faults": _temperature_logs,
        "readings with controls in house units": _readings,
        "grids, and means around each time": _grids,
        "a setting, and the target's residuals and likelihood": _target,
        "posterior: terms, peaks, bands, values, what it hands on": _posterior,
        "what earlier brews teach": _taught,
    }


HOURS = np.arange(0.0, 12.0, 0.1)
NOISE = 0.06 * np.sin(17.0 * HOURS) + 0.04 * np.cos(31.0 * HOURS)
MOST = np.full(len(HOURS), 9.1)


def oxygen_with(off_h: float, on_h: float, uptake: float = 4.0, noise: float = 0.5) -> np.ndarray:
    """Steady at 7.6 mg/L, falling in a straight line while the air is off, and back by transfer."""
    fallen = np.clip(HOURS - off_h, 0.0, on_h - off_h) * uptake
    low = np.maximum(7.6 - fallen, 0.1)
    back = 7.6 - (7.6 - np.maximum(7.6 - (on_h - off_h) * uptake, 0.1)) * np.exp(-4.0 * np.maximum(HOURS - on_h, 0.0))
    return np.where(on_h > HOURS, low, back) + noise * NOISE


def _stops() -> object:
    shapes = [oxygen_with(4.0, 5.5), oxygen_with(7.3, 8.0, 6.0), oxygen_with(9.0, 30.0, 5.0), oxygen_with(3.0, 3.9, 4.4, 1.5)]
    shapes += [6.4 - 5.8 / (1.0 + np.exp(-(HOURS - 6.0) * rate)) + NOISE for rate in (0.9, 4.0)]
    found = [find_stops(HOURS, values, MOST, fed) for values in shapes for fed in ((), (3.7,))]
    coarse = find_stops(HOURS[::3], shapes[0][::3], MOST[::3])
    return [found, coarse]


def _falls() -> object:
    values = oxygen_with(4.0, 5.5, 3.6)
    uneven = HOURS + 0.03 * np.sin(5.0 * HOURS)
    t, v, most = _evened(uneven, values, MOST)
    corners = _corners(t, v, most)
    rough = [
        _corners(HOURS[::n], oxygen_with(4.0, 7.5, 9.0, size)[::n], MOST[::n]) for n in (1, 3, 5, 7) for size in (0.5, 3.0, 8.0)
    ]
    shallow = [oxygen_with(4.0, 5.2, uptake, size) for uptake in (1.2, 1.6, 2.2, 3.0) for size in (1.0, 2.0, 3.0, 4.0, 6.0)]
    places = [34, 38, 39, 40, 41, 43, 60, 108]
    bend = np.array([6.0, 5.2, 4.6, 3.9, 3.1, 2.2, 1.6, 0.9, 0.5])
    hours = np.array([0.0, 0.2, 0.45, 0.6, 0.85, 1.2, 1.4, 1.7, 2.0])
    shapes = [
        _as_without_air(hours, bend * a + b, gone)
        for a, b in ((0.3, 0.5), (0.4, 2.0), (1.0, 0.0), (1.5, 1.0), (3.0, 0.0))
        for gone in (0.6, 0.9, 1.3, 1.7, 2.2, 3.0)
    ]
    after = np.maximum(HOURS - 4.0, 0.0)
    bent = [floor + (7.6 - floor) * np.exp(-rate * after) for floor in (0.9, 1.1, 1.25, 1.4) for rate in (1.0, 2.5, 6.0)]
    shapes += [_fall_from(HOURS, np.where(HOURS < 7.0, values, 7.6), MOST, 40) is not None for values in bent]
    return [
        [t[30:45], v[30:45], most[:2], corners, rough],
        [_fall_from(t, v, most, place) for place in places],
        [_fall_from(HOURS, values, MOST, place) for values in shallow for place in (39, 41)],
        [_onset(t, v, place) for place in places],
        shapes,
    ]


def _outside() -> object:
    given = story(oxygen=(HOURS, oxygen_with(10.2, 11.0, 6.0)))
    found = forcing_of(given)
    grid = setting_of(given).grid_h[:40]
    still = forcing_of(replace(story(), events=(*EVENTS, event("air off", 13.0))))
    return [
        [found.air, found.watered, found.warmth, found.found, found.off_since_h, len(found.notes)],
        [found.times_h(), found.air_on(grid), found.kept_on(grid), found.expected_degc(grid, 18.0), found.near_a_change(grid)],
        [still.air, still.off_since_h],
    ]


def _known_stops() -> object:
    given = story(oxygen=(HOURS, oxygen_with(6.4, 7.7)))
    rows = (
        (),
        (event("air off", 4.9), event("air on", 5.7)),
        (event("air off", 5.1), event("air flow", 5.6, amount=3.0)),
        (event("air off", 9.0), event("air on", 10.0)),
        (event("air on", 2.0), event("air off", 9.0)),
        (event("air off", 3.0),),
        (event("air kept running", 6.0, until_h=7.0),),
        (event("air kept running", 0.5, until_h=3.0),),
        (event("water added", 6.1, amount=2.0),),
    )
    return [stops_in_log(replace(given, events=row), row) for row in rows]


def _oxygen_logs() -> object:
    grid = np.concatenate([np.arange(0.0, 9.0, 0.5), np.arange(9.0, 13.0, 1.0)])
    degc = 18.0 + 0.3 * grid
    values = oxygen_with(4.0, 6.0)
    dead = np.where((HOURS > 6.5) & (HOURS < 9.8), 5.55, values)
    gone = np.where(HOURS > 7.0, 0.2, np.maximum(7.0 - HOURS, 0.2))
    odd = np.where(np.abs(HOURS - 5.0) < 0.15, 40.0, np.where(np.abs(HOURS - 6.0) < 0.05, -2.0, values))
    wild = np.where(np.abs(HOURS - 2.0) < 0.05, np.nan, values)
    out: list[object] = []
    for log in (values, 11.0 * values, dead, gone, odd, wild):
        found = thin_oxygen(Log(elapsed_h=HOURS[::-1] - 0.25, values=log[::-1]), grid, degc, 350.0, 0.12, lambda at: at < 1.0)
        out.append([found.index, found.values, found.counts, len(found.notes)])
    flags = _stuck(HOURS, dead)
    return [
        out,
        possible_oxygen(HOURS[::9], odd[::9], MOST[::9]),
        [flags.sum(), flags.argmax(), _used_up(gone, _stuck(HOURS, gone)).sum()],
    ]


def _temperature_logs() -> object:
    grid = np.concatenate([np.arange(0.0, 20.0, 1.0), np.arange(20.0, 60.0, 4.0)])
    hours = np.arange(0.3, 31.0, 0.7)
    log = Log(elapsed_h=hours, values=np.where(hours < 2.0, 55.0, 19.0 + 3.0 * np.sin(hours / 4.0)))
    stepping = np.where(grid > 40.0, 26.0, 17.0)
    rows = [
        (log, 18.0),
        (log, stepping),
        (None, 52.0),
        (None, stepping - 30.0),
        (Log(elapsed_h=hours, values=hours + 70.0), 18.0),
    ]
    found = [thin_temperature(part, grid, expected) for part, expected in rows]
    return [[[degc, len(notes)] for degc, notes in found], water_temperature(log, np.array([0.0, 2.2, 9.9, 45.0]), 60.0)]


def _readings() -> object:
    def reading(key: str, at_h: float, signal: float, role: str = "sample", **more: object) -> Reading:
        given = {
            "key": key,
            "brew": "b",
            "assay": "kit",
            "role": role,
            "elapsed_h": at_h,
            "signal": signal,
            "unit": "u",
            "typed_as": "1",
        }
        return Reading(**(given | more))  # type: ignore[arg-type]

    own = replace(KIT, bias=0.0)
    kit = Assay(key="kit", name="kit", method="colour test", unit="u", to_house=0.4, error=own)
    samples = (reading("a", 9.0, 60.0, dilution=3.0), reading("b", 2.0, 25.0), reading("c", 5.0, 4.0, below_detection=True))
    controls = [reading(f"k{i}", 1.0, signal, "killed control") for i, signal in enumerate((3.0, 4.5, 7.5))]
    rows = (samples, (*samples, *controls[:1]), (*samples, *controls), (*samples, reading("f", 0.0, 6.0, "filtered blank")))
    found = [measurements_of(row, {"kit": item}) for row in rows for item in (kit, replace(kit, error=None))]
    return [[list(measured), len(notes)] for measured, notes in found]


def _grids() -> object:
    uneven = np.array([0.0, 0.5, 1.2, 1.5, 3.0])
    return [
        [grid_of(9.3), grid_of(76.5)[-16:], with_times(grid_of(3.0), [0.504, 1.25, 2.7, -1.0, 4.0])],
        around_each(np.array([[5.0, 6.0, 8.0, 3.0, 4.0]]), uneven),
        peak_times(np.arange(5.0), np.array([[1.0, 3.0, 2.0, 1.0, 0.0], [5.0, 3.0, 2.0, 1.0, 0.0], [0.0, 1.0, 1.0, 4.0, 4.5]])),
    ]


def _target() -> object:
    hours = np.arange(0.25, 14.0, 0.25)
    given = story(oxygen=(hours, 7.5 - 0.15 * hours), temperature=(hours, 19.0 + 0.2 * hours), probe=Probe(lag_h=0.1))
    setting = setting_of(given)
    target = BrewTarget(setting)
    w = 0.5 * scores(2, target.size)
    kept = target.run(w)
    residuals = target.residuals(w)
    answer = [
        [target.size, target.gains(w), target.biases(w), len(target.near.times_h), kept[:, FEW, :]],
        [target.data_residuals(w, kept), target.log_likelihood(w), residuals[:, target.size :], target.results_evidence(w, kept)],
    ]
    fixed = [
        setting.grid_h[FEW],
        setting.around.temperature_degc[FEW],
        setting.oxygen.index,
        setting.errors,
        setting.clock_h[FEW],
    ]
    return Rough(answer=[answer, fixed, setting.around.added_food_mg_c_per_l.sum()], rtol=1e-4, why="a solver of adaptive steps")


def _as_posterior() -> Posterior:
    setting, courses = made(24)
    bacteria, fungi = np.exp(courses.log_mass) * 0.8, np.exp(courses.log_mass) * 0.2 * np.exp(0.1 * courses.log_ratio)
    return Posterior(
        times_h=setting.grid_h,
        bacteria=bacteria,
        fungi=fungi,
        oxygen=courses.oxygen,
        oxygen_uptake=0.0 * courses.oxygen,
        scores=courses.scores,
        gains=np.exp(0.1 * scores(24, 1)),
        biases=np.zeros((24, 1)),
        assays=("kit|biomass",),
        settled=True,
        effective=200.0,
        khat=0.3,
        log_evidence=-2.0,
        notes=(),
        surprise=0.0,
        seed=6,
        model_runs=24,
        structure=np.arange(24) % 3,
        basis=setting.basis,
        warm_clock_h=1.2 * setting.grid_h,
    )


def _posterior() -> object:
    post = _as_posterior()
    handed = post.as_past(same_compost=True, same_recipe=False, same_vessel=True)
    kit = Measurement(elapsed_h=0.0, value=0.0, error=KIT, assay="kit")
    signal = expected_result(post, kit)
    other = expected_result(post, replace(kit, assay="new", quantity="fungal to bacterial ratio"))
    low, middle, high = post.band_of(post.biomass)
    return [
        [post.terms(), post.peak_time_h(), post.peak_biomass(), post.best_hour(), horizon_for(post, 24.0)],
        [low[FEW], middle[FEW], high[FEW], post.value_at(post.ratio, 7.3)[:5], len(cut_to(post, 24.0).times_h)],
        [handed.mean, np.diag(handed.covariance), handed.covariance[0, :4], [signal[:3, 16], other[:3, 16]]],
        result_errors(kit, signal[:3, [16]]),
    ]


def _taught() -> object:
    size = len(PRIOR)
    pasts = []
    for seed, same in ((1, (True, False, True)), (2, (False, True, False)), (3, (True, True, True))):
        root = 0.3 * scores(size, size, seed) / np.sqrt(size) + 0.6 * np.eye(size)
        pasts.append(
            Past(
                mean=0.4 * scores(size, 1, seed + 9)[:, 0],
                covariance=root @ root.T,
                same_compost=same[0],
                same_recipe=same[1],
                same_vessel=same[2],
                prior_mean=0.1 * np.ones(size) if seed == 3 else None,
                prior_covariance=0.9 * np.eye(size) if seed == 3 else None,
            )
        )
    found = learn_from(pasts)
    assert found is not None
    return [
        found.mean,
        np.diag(found.covariance),
        found.covariance[0, :5],
        found.brews,
        [shared_variance(past) for past in pasts],
    ]
