"""Kept answers on brews that are not what they are said to be, and on surfaces."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from aerobe.verdicts import (
    _implausible,
    _outliers,
    _surface,
    lay_out,
)
from aerobe.verdicts._surface import answer_surface
from aerobe.verdicts._surface_design import FittedDesign, Surface, told_of
from tests.kept_answers.parts import end_of, numbers_of
from tests.verdicts.kept_inputs import (
    CORNERS,
    THREE,
    results,
    surface_levels,
    surface_values,
)


def oddities() -> dict[str, Callable[[], object]]:
    twins = np.array([0.40, 0.401, 0.90, 0.9012, 1.50, 1.5008, 0.71, 0.7108, 1.21, 1.2107, 1.80, 1.801])
    arms = [0] * 6 + [1] * 6

    def alike(values: np.ndarray, blocks: tuple[str, ...] = (), **more: object) -> object:
        made = results(values.tolist(), arms, THREE[:2], blocks, **more)
        rival = _implausible.too_alike(made, values, lay_out(arms, *([list(blocks)] if blocks else [])), are_logs=True)
        return None if rival is None else rival.name

    gaps = _implausible._gaps(np.array([0.1, 0.4, 0.45, 1.2]), np.array([0.01, 0.02, 0.03]), 1, np.array([3, 0, 2, 1]))
    dead = np.array([0.62, 0.95, 0.71, 1.08, -2.5, 1.55, 1.21, 1.83, 1.64, 1.31])
    ten = [0] * 5 + [1] * 5
    days = [f"d{i % 5}" for i in range(10)]
    three = np.append(dead, [0.9, 1.1, 0.7, 1.3, 0.8])

    return {
        "results that come in sets, or are finer than the test": lambda: [
            alike(twins),
            alike(twins + 0.05 * np.sin(np.arange(12.0) * 2.3)),
            alike(twins, tuple(f"d{i % 6}" for i in range(12))),
            alike(0.01 * twins, test_is_measured=True),
            alike(0.1 * np.sin(7.0 * twins**2), test_is_measured=True),
        ],
        "gaps, their tail, and sums in sets of two": lambda: [
            gaps,
            _implausible._tail(gaps),
            [_implausible._in_sets(gaps, size) for size in (2, 3)],
            [_implausible._step_of(values) for values in ([3.0, 7.5, 12.0], [0.3, 0.70000001, 1.1], [0.0, 0.0], [41.7, 38.2])],
        ],
        "a brew that died": lambda: [
            _outliers.dead_brew(values, layout)
            for values, layout in (
                (dead, lay_out(ten)),
                (dead, lay_out(ten, days)),
                (np.where(dead < 0, -0.4, dead), lay_out(ten)),
                (np.where(dead < 0, 0.1, dead), lay_out(ten)),
                (three, lay_out([*ten, *[2] * 5], [*days, *days[:5]])),
                (np.where(three < 0, -0.2, three), lay_out([*ten, *[2] * 5], [*days, *days[:5]])),
                (np.where(np.arange(10) == 9, 5.0, dead), lay_out(ten)),
            )
        ],
        "chances that a brew lies so far off": lambda: [
            _outliers._chance(
                np.array([0.3, -0.9, 0.6, 0.1]),
                np.array([0.4, -1.2, 0.8, 0.2]),
                np.array([0.75, 0.75, 0.7, 1e-9]),
                np.ones((4, 4)),
                np.array([3.0, 2.0, 1.5, 3.0]),
                np.array([True, True, True, False]),
            ),
            _outliers._by_its_own_arm(three, lay_out([*ten, *[2] * 5], [*days, *days[:5]]), 4, -3.1, 0.6),
        ],
    }


def surfaces() -> dict[str, Callable[[], object]]:
    blocks = [f"d{i % 2}" for i in range(12)]
    standard = {"heat": 18.0, "food": 0.5}

    def answer(at: tuple[float, float], noise: float = 1.0, days: list[str] | None = None, **more: float) -> object:
        found = answer_surface(
            surface_levels(), surface_values(at, noise).tolist(), days or ["d"] * 12, standard, margin=0.1, **more
        )
        # To five digits: a search ends a little elsewhere on another machine.
        kept = numbers_of(found)
        assert isinstance(kept, dict)
        return {name: _short(value) for name, value in kept.items()}

    design = FittedDesign(Surface(np.array(CORNERS, dtype=float), tuple(blocks), np.array([-1.0, -1.0])), 0.1)
    return {
        "a surface with its top inside, in one round and in two": lambda: [answer((0.3, -0.2)), answer((0.3, -0.2), 1.0, blocks)],
        "a surface at the edge, a flat one, one that is none": lambda: [
            answer((1.2, 0.4), level=0.8, tail=0.02),
            answer((0.3, -0.2), 25.0),
            end_of(lambda: answer((0.3, -0.2), 1.0, [f"d{i}" for i in range(12)])),
        ],
        "what a design fixes": lambda: [
            design.df,
            design.terms,
            design.unit,
            design.gains[:3],
            design.critical,
            told_of(design, np.array([surface_values(), 0.1 * surface_values(noise=9.0), surface_values(noise=20.0)])),
            _surface.terms_of(("a", "b", "c")),
            _surface._parts(np.arange(10.0), 3),
        ],
        "whether rounds can be taken out": lambda: [
            Surface(np.array(CORNERS, dtype=float), tuple(of), np.zeros(2)).rounds_out
            for of in (
                blocks,
                ["d"] * 12,
                [f"d{i % 3}" for i in range(12)],
                [f"d{i % 4}" for i in range(12)],
                [f"d{i}" for i in range(12)],
            )
        ],
        "what a surface shows": lambda: [
            _surface._read(("a", "b"), np.array(low), np.array(high), misfit, flat)[0]
            for low, high in (((-0.5, -0.5), (0.5, 0.9)), ((-1.0, -0.5), (0.5, 0.9)), ((-0.5, -0.5), (0.5, 1.0)))
            for misfit, flat in ((None, 0.01), (0.04, 0.01), (0.06, 0.04), (0.06, 0.06))
        ],
    }


def _short(value: object) -> object:
    if isinstance(value, list):
        return [_short(part) for part in value]
    return float(f"{value:.4g}") if isinstance(value, float) else value
