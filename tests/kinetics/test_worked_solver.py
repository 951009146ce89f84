"""The solver's own parts, each with its number: steps, forcing within a step, the error it judges by, events of a brew."""

from __future__ import annotations

import math
from collections.abc import Iterator
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.typing import NDArray
from pytest import approx

from aerobe.kinetics import _compiled as model
from aerobe.kinetics import _gpu
from tests.kinetics.plain import as_written

Array = NDArray[np.float64]

P = np.array([0.37, 0.21, 0.46, 11.0, 0.31, 0.083, 0.013, 0.027, 0.071, 14.0])
Y = np.array([63.0, 27.0, 7.0, 19.0, 41.0, 2.3, 0.61])


@pytest.fixture(autouse=True)
def plain() -> Iterator[None]:
    with as_written():
        yield


def spaces() -> tuple[Array, Array, NDArray[np.int64]]:
    """Work, matrix and pivots, with nothing in them that a step could take for its own."""
    return np.full((12, 7), np.nan), np.full((7, 7), np.nan), np.full(7, -1, np.int64)


@pytest.mark.parametrize("which", [0, 1, 2, 3])
def test_the_slope_in_time_is_that_of_the_one_forcing_that_moves(which: int) -> None:
    # On paper: the slopes are straight in each forcing alone, so their change over the span is the slope in time.
    left = np.full(4, 1.1)  # all alike: none can be taken for another
    right = left.copy()
    right[which] *= 1.3
    work = spaces()[0]
    model.slopes(Y, P, *left, work[0])
    end = np.empty(7)
    model.slopes(Y, P, *right, end)
    model._time_slope(Y, P, left, right, 2.0, 0.5, 2.0, 0.125, work)
    assert work[1] == approx((end - work[0]) / 0.5, rel=1e-9, abs=1e-9)
    model._time_slope(Y, P, left, left, 2.0, 0.5, 2.0, 0.125, work)
    assert list(work[1]) == [0.0] * 7


def test_forcings_between_their_ends_are_each_their_own() -> None:
    left, right = np.array([1.1, 0.9, 1.2, 9.1]), np.array([1.5, 0.7, 0.8, 8.2])
    found, other = np.full(7, np.nan), np.empty(7)
    model._slopes_at(Y, P, left, right, 0.3, found)
    model.slopes(Y, P, 1.22, 0.84, 1.08, 8.83, other)  # on paper: three tenths of the way
    assert found == approx(other, rel=1e-12)


def test_one_step_of_a_linear_system_and_its_error_are_those_of_the_method_in_its_first_form(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Independent computation: the Rosenbrock method k_i = f(y + sum alpha_ij k_j) + J sum gamma_ij k_j in one linear solve, where
    # the solver uses the changed variables U = Gamma k (Hairer and Wanner 1996, IV.7, equations 7.4 and 7.25, from memory).
    rng = np.random.default_rng(5)
    system, tolerance, h = rng.normal(size=(7, 7)) - 2.0 * np.eye(7), 1e-3, 0.3
    y = rng.uniform(0.5, 2.0, 7)
    y[2] = 1e-5

    def linear(y: Array, p: Array, g: float, d: float, k: float, s: float, out: Array) -> None:
        out[:] = system @ y

    monkeypatch.setattr(model, "slopes", linear)
    work, matrix, pivots = spaces()
    work[0], work[1] = system @ y, 0.0
    matrix[:] = np.eye(7) / (0.25 * h) - system
    model.factorise(matrix, pivots)
    flat = np.ones(4)
    error = model._stages(y, P, flat, flat, 0.0, h, 0.0, h, work, matrix, pivots, tolerance)
    a, c = np.zeros((6, 6)), np.zeros((6, 6))
    a[1, 0], a[2, :2], a[3, :3] = model.A21, (model.A31, model.A32), (model.A41, model.A42, model.A43)
    a[4, :4] = a[5, :4] = model.A51, model.A52, model.A53, model.A54
    a[5, 4] = 1.0
    c[1, 0], c[2, :2], c[3, :3] = model.C21, (model.C31, model.C32), (model.C41, model.C42, model.C43)
    c[4, :4] = model.C51, model.C52, model.C53, model.C54
    c[5, :5] = model.C61, model.C62, model.C63, model.C64, model.C65
    gamma = np.linalg.inv(np.eye(6) / 0.25 - c)
    beta = a @ gamma + gamma
    k = np.linalg.solve(np.eye(42) - h * np.kron(beta, system), np.tile(system @ y, 6)).reshape(6, 7)
    end = y + h * np.append(a[5, :5], 1.0) @ gamma @ k
    embedded = y + h * a[5] @ gamma @ k
    scale = tolerance * (np.maximum(np.abs(y), np.abs(end)) + 1e-3)
    assert work[10] == approx(end, rel=1e-10)
    assert error == approx(math.sqrt(np.mean(((end - embedded) / scale) ** 2)), rel=1e-6)


def judged(
    monkeypatch: pytest.MonkeyPatch, errors: list[float], *, end: float = 1.0, step: float = 0.1
) -> tuple[list[float], float]:
    """The steps tried, and what is returned, where the errors are these, one after another, and the last ever after."""
    told, tried = list(errors), []

    def stages(
        y: Array, p: Array, left: Array, right: Array, start: float, span: float, t: float, h: float, work: Array, *_: object
    ) -> float:
        tried.append(h)
        work[10] = y
        return told.pop(0) if len(told) > 1 else told[0]

    monkeypatch.setattr(model, "_stages", stages)
    for name in ("slopes", "jacobian", "_time_slope", "factorise"):
        monkeypatch.setattr(model, name, lambda *_: None)
    work, matrix, pivots = spaces()
    work[11, 0] = 0.0
    flat = np.ones(4)
    return tried, model.advance(Y.copy(), P, 0.0, end, flat, flat, 1e-5, step, work, matrix, pivots)


def test_a_step_grows_or_shrinks_by_the_fourth_root_of_its_error(monkeypatch: pytest.MonkeyPatch) -> None:
    # On paper: 0.9 / error^(1/4), no less than a fifth and no more than six times; the step after a failure starts where it was.
    tried, after = judged(monkeypatch, [0.6561, 16.0, 1e6, 0.0001, 0.0], step=0.1)
    # 0.1 (kept: 0.9 / 0.9), 0.1 fails (0.9 / 2), 0.045 fails (a fifth), 0.009 grows (six times), 0.054 too, then it is cut.
    assert tried == approx([0.1, 0.1, 0.045, 0.009, 0.054, 0.324, 1.0 - 0.1 - 0.009 - 0.054 - 0.324])
    assert after == approx(6.0 * tried[-1])
    # An error that is no number shrinks the step to a fifth, until none is left.
    tried, after = judged(monkeypatch, [math.nan], step=0.1)
    assert tried[:3] == approx([0.1, 0.02, 0.004]) and after == -1.0 and tried[-1] > 1e-10
    # At most the whole span at once.
    assert judged(monkeypatch, [0.5], end=0.03)[0] == [0.03]


def test_a_walk_without_end_is_given_up_after_twenty_thousand_tries(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(model, "N_STATES", 1)
    tried, after = judged(monkeypatch, [0.6561], end=1.0, step=1e-5)
    assert len(tried) == 20000 and after == -1.0


@pytest.mark.parametrize(("start", "end"), [(0.1, 0.7), (1000.3, 1003.1)])
def test_rounding_at_the_end_of_a_span_is_no_further_step(monkeypatch: pytest.MonkeyPatch, start: float, end: float) -> None:
    # Steps of a third, then of what is left: a hair before the end is the end, late in a brew as well.
    monkeypatch.setattr(model, "N_STATES", 1)
    for name in ("slopes", "jacobian", "_time_slope", "factorise"):
        monkeypatch.setattr(model, name, lambda *_: None)

    def stages(
        y: Array, p: Array, left: Array, right: Array, start: float, span: float, t: float, h: float, work: Array, *_: object
    ) -> float:
        work[10] = y
        return 0.6561

    monkeypatch.setattr(model, "_stages", stages)
    flat = np.ones(4)
    for parts in range(2, 60):
        work, matrix, pivots = spaces()
        work[11, 0] = 0.0
        step = model.advance(Y.copy(), P, start, end, flat, flat, 1e-5, (end - start) / parts, work, matrix, pivots)
        assert step > 0.0


def test_a_brew_through_events_at_each_hour(monkeypatch: pytest.MonkeyPatch) -> None:
    # On paper, without life: at 0.5 h the air halves and stays so, at 1 h food (60 % of 10, and 4 slow) goes in, at 1.5 h a third
    # is replaced by water at the saturation of that hour; oxygen by its closed form, its mean too (by trapezia of the steps).
    hours = np.array([0.0, 0.5, 1.0, 1.5, 2.2])
    shared = np.ones((7, 5))
    shared[2] = 9.0
    shared[3] = 1.0, 0.5, 0.5, 0.5, 0.5
    shared[4], shared[5] = (0.0, 0.0, 10.0, 0.0, 0.0), (0.0, 0.0, 4.0, 0.0, 0.0)
    shared[6] = 1.0, 1.0, 1.0, 2.0 / 3.0, 1.0
    p = np.zeros(10)
    p[2], p[3], p[4], p[9] = 0.5, 10.0, 0.5, 3.0
    start = np.array([10.0, 5.0, 2.0, 4.0, 3.0, 1.0, 0.7])
    monkeypatch.setattr(model, "GRAZER_DEATH", 0.0)
    out = np.full((1, 5, 8), np.nan)
    model.run_all(start[None], p[None], np.ones((1, 5)), shared, np.array([0.6]), hours, 1e-8, out)
    oxygen, means = [1.0], [1.0]
    for i, (span, kla) in enumerate(zip(np.diff(hours), (3.0, 1.5, 1.5, 1.5), strict=True)):
        begin = oxygen[-1] if i != 3 else 2.0 / 3.0 * oxygen[-1] + 3.0
        oxygen.append(9.0 - (9.0 - begin) * math.exp(-kla * span))
        means.append(9.0 - (9.0 - begin) * (1.0 - math.exp(-kla * span)) / (kla * span))
    assert out[0, :, 5] == approx(oxygen, rel=1e-6) and out[0, :, 7] == approx(means, rel=2e-4)
    assert out[0, :, 3] == approx([4.0, 4.0, 4.0, 10.0, 20.0 / 3.0]) and out[0, :, 4] == approx([3.0, 3.0, 3.0, 7.0, 14.0 / 3.0])
    for state, value in ((0, 10.0), (1, 5.0), (2, 2.0)):
        assert out[0, :, state] == approx([value] * 4 + [value * 2.0 / 3.0])


def test_the_graphics_card_runs_the_same_function_with_room_for_all_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    # A stand-in for the card: one thread after another, and arrays of the size that is asked for; the answer is the processor's.
    places = iter([0, 1, 2])
    card = SimpleNamespace(grid=lambda dimensions: next(places) if dimensions == 1 else None)
    card.local = SimpleNamespace(array=lambda shape, kind: np.full(shape, np.nan if kind is _gpu.numba.float64 else -1))
    monkeypatch.setattr(_gpu, "cuda", card)
    monkeypatch.setattr(_gpu, "carry_one", model.carry_one)
    start, parameters = np.stack([Y, 0.8 * Y]), np.stack([P, 1.1 * P])
    shared = np.ones((7, 2))
    shared[2], shared[4:6] = 9.0, 0.0
    hours, growth, scale = np.array([0.0, 0.4]), np.ones((2, 2)), np.ones(2)
    found, expected = np.full((2, 2, 8), np.nan), np.full((2, 2, 8), np.nan)
    for _ in range(3):  # one thread more than brews does nothing
        _gpu._kernel.py_func(start, parameters, growth, shared, scale, hours, 1e-4, found)
    model.run_all(start, parameters, growth, shared, scale, hours, 1e-4, expected)
    assert found == approx(expected, rel=1e-12)


def test_brews_are_dealt_to_blocks_of_sixty_four_threads(monkeypatch: pytest.MonkeyPatch) -> None:
    # On paper: 1 and 64 brews take one block, 65 take two; what the card answers is copied back.
    asked = []

    class Kernel:
        def __getitem__(self, grid: tuple[int, int]) -> object:
            asked.append(grid)
            return lambda *given: given[-1].fill(7.0)

    class Block(np.ndarray):  # type: ignore[type-arg]
        def copy_to_host(self, out: Array) -> None:
            out[:] = self

    card = SimpleNamespace(device_array=lambda shape: np.zeros(shape).view(Block), to_device=lambda item: item)
    monkeypatch.setattr(_gpu, "cuda", card)
    monkeypatch.setattr(_gpu, "_kernel", Kernel())
    for count in (1, 64, 65):
        out = np.zeros((count, 2, 8))
        _gpu.run_on_gpu(np.zeros((count, 7)), 0, 0, 0, 0, 0, 1e-5, out)
        assert (out == 7.0).all()
    assert asked == [(1, 64), (1, 64), (2, 64)]
