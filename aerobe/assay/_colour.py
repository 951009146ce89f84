"""What the colour of a tea does to a test: bias per unit of colour and per recipe, with its covariance, and suspect controls."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.assay._arrays import Floats, finite, t_quantile
from aerobe.assay._controls import against_colourants, against_each_other, against_tea
from aerobe.errors import NotEnoughData, UnusableReading
from aerobe.units import number, span


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourReading:
    """A reading without living cells in it: any signal is bias."""

    kind: str  # "water blank", "filtered blank", "killed control" or "colourant"
    signal: float  # [unit of the result]
    colour: float = 0.0  # of the liquid as tested, in any one unit, for example absorbance at 450 nm
    what: str = ""  # recipe of the tea, or name of the colourant
    below_detection: bool = False  # the signal is the lowest mark of the scale, the true reading lies below

    def __post_init__(self) -> None:
        if self.kind not in ("water blank", "filtered blank", "killed control", "colourant"):
            raise UnusableReading(
                f"'{self.kind}' is no reading without living cells.",
                "Use water blank, filtered blank, killed control or colourant.",
            )
        if not math.isfinite(self.colour) or self.colour < 0:
            raise UnusableReading(
                f"A colour of {self.colour:g} is not possible.", "Give absorbance or colour units against clear water."
            )
        if self.kind != "water blank" and not self.what:
            raise UnusableReading(f"A {self.kind} without recipe or colourant.", "Name the recipe of the tea, or the colourant.")


def weighted_lines(design: Floats, response: Floats, weights: Floats) -> tuple[Floats, Floats, Floats]:
    """Weighted least squares of many studies at once.

    Parameters
    ----------
    design
        Shape (readings, coefficients) or (..., readings, coefficients).
    response, weights
        Shape (..., readings).

    Returns
    -------
    tuple
        coefficients (..., p); covariance (..., p, p) scaled by the scatter found; the scale (...,): 1 when the weights
        are true inverse variances.
    """
    weighted = design * weights[..., None]
    inner = np.swapaxes(weighted, -1, -2) @ design
    inverse = np.linalg.inv(inner)
    beta = (inverse @ (np.swapaxes(weighted, -1, -2) @ response[..., None]))[..., 0]
    residual = response - (design @ beta[..., None])[..., 0]
    n, p = design.shape[-2:]
    scale = (weights * residual**2).sum(axis=-1) / (n - p)
    return beta, inverse * scale[..., None, None], scale


def colour_fit(design: Floats, response: Floats, constant_variance: Floats, cv_squared: Floats) -> tuple[Floats, Floats, Floats]:
    """Background and slopes of colour, reweighted twice by the two-component variance at the fitted signal above background.

    Same shapes as `weighted_lines`; the variances have the leading shape.
    """
    weights = np.ones_like(response)
    found = weighted_lines(design, response, weights)
    for _ in range(3):
        fitted = (design @ found[0][..., None])[..., 0]
        net = np.maximum(fitted - found[0][..., :1], 0.0)
        variance = constant_variance[..., None] + cv_squared[..., None] * net**2
        # A constant part of zero would give a blank infinite weight; a thousandth of the largest variance keeps it finite.
        weights = 1 / np.maximum(variance, 1e-3 * variance.max(axis=-1, keepdims=True) + 1e-300)
        found = weighted_lines(design, response, weights)
    return found


def censored_lines(
    design: Floats, response: Floats, sd: Floats, below: NDArray[np.bool_], start: Floats
) -> tuple[Floats, Floats]:
    """Coefficients and covariance when some responses are only known to lie below their value, sd known: Newton's method.

    Source
    ------
    helsel-2012
    """
    from scipy.special import log_ndtr

    beta = start.copy()
    for _ in range(100):
        z = (response - design @ beta) / sd
        # Hazard of the censored ones; log form keeps it finite far out in the tail.
        hazard = np.exp(-0.5 * z**2 - 0.5 * math.log(2 * math.pi) - log_ndtr(z))
        push = np.where(below, -hazard, z) / sd
        bend = np.where(below, hazard * (z + hazard), 1.0) / sd**2
        information = design.T @ (bend[:, None] * design)
        step = np.linalg.solve(information, design.T @ push)
        beta = beta + step
        if np.all(abs(step) <= 1e-10 * (1 + abs(beta))):
            break
    return beta, np.asarray(np.linalg.inv(information), dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeBias:
    """What colour and background add to a reading of one recipe."""

    recipe: str
    colour: float  # of the tea as tested [colour unit]
    bias: float  # background plus colour [unit of the result]
    sd: float  # standard uncertainty
    low: float
    high: float
    level: float
    colour_alone: float  # what the colour adds to the water blank
    controls_differ: bool  # killed control and filtered blank disagree
    from_controls: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourBias:
    """Signal without cells = background + slope x colour, one slope for each recipe or colourant."""

    background: float
    names: tuple[str, ...]  # recipes and colourants in the order of the slopes
    slopes: tuple[float, ...]  # [unit of the result per colour unit]
    covariance: tuple[tuple[float, ...], ...]  # of background and slopes, in that order
    df: int
    level: float
    between_slopes_sd: float  # of true slopes between colourants and recipes
    recipes: tuple[RecipeBias, ...]
    suspects: tuple[str, ...]

    def slope(self, name: str) -> tuple[float, float]:
        """Bias per unit of colour for a recipe or colourant, with its standard uncertainty."""
        place = self._place(name)
        return self.slopes[place], math.sqrt(self.covariance[place + 1][place + 1])

    def bias_at(self, name: str, colour: float) -> tuple[float, float]:
        """Bias at a colour for a recipe or colourant of the study, covariance of background and slope included."""
        place = self._place(name) + 1
        c = self.covariance
        variance = c[0][0] + 2 * colour * c[0][place] + colour**2 * c[place][place]
        return self.background + colour * self.slopes[place - 1], math.sqrt(max(0.0, variance))

    def _place(self, name: str) -> int:
        try:
            return self.names.index(name)
        except ValueError:
            raise NotEnoughData(
                f"'{name}' had no reading without cells in this study.",
                f"Known: {', '.join(self.names)}. Run its filtered blank and killed control.",
            ) from None


def estimate_colour_bias(
    readings: Sequence[ColourReading],
    *,
    constant_sd: float,
    proportional_cv: float,
    live: dict[str, tuple[float, float]] | None = None,
    level: float = 0.9,
) -> ColourBias:
    """Bias by colour from all readings without living cells.

    Parameters
    ----------
    readings
        Water blanks are needed; filtered blanks and killed controls of teas, and colourants added to water, as they are.
    constant_sd, proportional_cv
        Random error of the test, which weighs the readings.
    live
        For each recipe, mean signal and colour of the living tea, to judge its controls.

    Raises
    ------
    NotEnoughData
        Without water blanks, or without anything coloured.
    """
    water = [item for item in readings if item.kind == "water blank"]
    dark = [item for item in readings if item.kind != "water blank"]
    if len(water) < 2:
        raise NotEnoughData(
            f"{len(water)} water blanks.", "Test clean water at least twice, better four times: it is the zero of all the rest."
        )
    if not any(item.colour > 0 for item in dark):
        raise NotEnoughData(
            "No coloured reading without cells.",
            "Filter some tea through 0.2 um, kill some, or add humic extract or molasses to water, and give their colour.",
        )
    used = [*water, *(item for item in dark if item.colour > 0)]
    names = tuple(dict.fromkeys(item.what for item in used if item.kind != "water blank"))
    design = np.zeros((len(used), 1 + len(names)))
    design[:, 0] = 1.0
    for row, item in enumerate(used):
        if item.kind != "water blank":
            design[row, 1 + names.index(item.what)] = item.colour
    signal = finite((item.signal for item in used), "signals")
    if signal.size <= design.shape[1]:
        raise NotEnoughData("Too few readings without cells for their number of colourants.", "Repeat each at least twice.")
    beta, covariance, _ = colour_fit(design, signal, np.array(constant_sd**2), np.array(proportional_cv**2))
    below = np.array([item.below_detection for item in used])
    if below.any():
        net = np.maximum(design @ beta - beta[0], 0.0)
        beta, covariance = censored_lines(design, signal, np.hypot(max(constant_sd, 1e-9), proportional_cv * net), below, beta)
    df = signal.size - design.shape[1]
    slopes = beta[1:]
    between = _between(slopes, covariance[1:, 1:])
    draft = ColourBias(
        background=float(beta[0]),
        names=names,
        slopes=tuple(map(float, slopes)),
        covariance=tuple(tuple(map(float, row)) for row in covariance),
        df=df,
        level=level,
        between_slopes_sd=between,
        recipes=(),
        suspects=(),
    )
    recipes, suspects = [], []
    for name in names:
        controls = [item for item in used if item.what == name and item.kind in ("filtered blank", "killed control")]
        if controls:
            found, words = _recipe(draft, name, controls, (live or {}).get(name), constant_sd, proportional_cv, used)
            recipes.append(found)
            suspects.extend(words)
    return ColourBias(
        background=draft.background,
        names=names,
        slopes=draft.slopes,
        covariance=draft.covariance,
        df=df,
        level=level,
        between_slopes_sd=between,
        recipes=tuple(recipes),
        suspects=tuple(suspects),
    )


def _between(slopes: Floats, covariance: Floats) -> float:
    """Spread of the true slopes: their scatter beyond what their own errors and covariance explain (moments)."""
    if slopes.size < 2:
        return 0.0
    centring = np.eye(slopes.size) - 1 / slopes.size
    found = float(slopes @ centring @ slopes)
    return math.sqrt(max(0.0, (found - float(np.trace(centring @ covariance))) / (slopes.size - 1)))


def _recipe(
    fit: ColourBias,
    name: str,
    controls: list[ColourReading],
    live: tuple[float, float] | None,
    constant_sd: float,
    cv: float,
    used: list[ColourReading],
) -> tuple[RecipeBias, list[str]]:
    """Bias of a tea from its own controls, and what makes them suspect."""
    colour = live[1] if live is not None else float(np.mean([item.colour for item in controls]))
    bias, sd = fit.bias_at(name, colour)
    kinds: dict[str, tuple[float, float, float]] = {}
    for kind in ("filtered blank", "killed control"):
        own = [item for item in controls if item.kind == kind]
        if own:
            mean = float(np.mean([item.signal for item in own]))
            spread = math.hypot(constant_sd, cv * max(0.0, mean - fit.background)) / math.sqrt(len(own))
            kinds[kind] = (mean, spread, float(np.mean([item.colour for item in own])))
    words = [
        *against_tea(name, kinds, live, constant_sd, cv, fit.level),
        *against_colourants(name, " and ".join(kinds), fit.slope(name), _slopes_of_colourants(fit, used)),
    ]
    differ = False
    if len(kinds) == 2:
        differ, extra, sentence = against_each_other(name, kinds, fit.level)
        if differ:
            words.append(sentence)
            # Either control may be right; the truth lies somewhere between them, so their difference is a rectangle.
            sd = math.hypot(sd, extra)
    t = t_quantile(fit.level, fit.df)
    return RecipeBias(
        recipe=name,
        colour=colour,
        bias=bias,
        sd=sd,
        low=bias - t * sd,
        high=bias + t * sd,
        level=fit.level,
        colour_alone=bias - fit.background,
        controls_differ=differ,
        from_controls=tuple(kinds),
    ), words


def _slopes_of_colourants(fit: ColourBias, used: list[ColourReading]) -> list[tuple[float, float]]:
    names = dict.fromkeys(item.what for item in used if item.kind == "colourant")
    return [fit.slope(name) for name in names]


def describe(recipe: RecipeBias, unit: str) -> str:
    """The bias of a recipe as a sentence."""
    return (
        f"The colour of {recipe.recipe} adds about {number(recipe.colour_alone, 2)} {unit} "
        f"(with the background {span(recipe.low, recipe.high, unit)}, {100 * recipe.level:.0f} % interval)."
    )
