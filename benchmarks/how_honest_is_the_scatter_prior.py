"""How often the answer beside a verdict holds, which lets in what is published of the scatter between brews.

Trials of two recipes that do not differ, n brews of each, whose brews scatter by a known SD of the log. The plain interval
(pooled t) and the one with the prior `BESIDE` are both of 90 %: the share that holds the truth should be 90 %, and one
that leaves it out would be taken for a difference. Nothing is claimed by the second; its rates say what it is worth.

    python -m benchmarks.how_honest_is_the_scatter_prior
"""

from __future__ import annotations

import math

import numpy as np
from scipy import special

from aerobe.trials import BESIDE, informed_interval

TRIALS = 4000
SCATTERS = (0.1, 0.2, 0.3, 0.5, 0.8, 1.2)
BREWS = (2, 3, 4)


def rates(brews: int, sd: float, rng: np.random.Generator) -> tuple[float, float, float]:
    """Shares of trials whose plain and whose informed interval hold, and the median width of the second over the first."""
    first, second = rng.normal(0.0, sd, (2, TRIALS, brews))
    pooled = np.sqrt((first.var(axis=1, ddof=1) + second.var(axis=1, ddof=1)) / 2.0)
    effect, df = first.mean(axis=1) - second.mean(axis=1), 2 * (brews - 1)
    reach = float(special.stdtrit(df, 0.95)) * pooled * math.sqrt(2.0 / brews)
    ends = np.array(
        [
            informed_interval(float(e), float(e - r), float(e + r), df=df, brew_sd=float(s))
            for e, r, s in zip(effect, reach, pooled, strict=True)
        ]
    )
    plain = float((np.abs(effect) <= reach).mean())
    informed = float(((ends[:, 0] <= 0.0) & (ends[:, 1] >= 0.0)).mean())
    return plain, informed, float(np.median((ends[:, 1] - ends[:, 0]) / (2.0 * reach)))


def main() -> None:
    """Print the table."""
    rng = np.random.default_rng(17)
    print(f"prior: SD {BESIDE.brew_log_sd:g}, {BESIDE.df:g} degrees of freedom; {TRIALS} trials each")
    print("brews of each  true SD  plain holds  with the prior  its width over the plain one")
    for brews in BREWS:
        for sd in SCATTERS:
            plain, informed, width = rates(brews, sd, rng)
            print(f"{brews:13d}  {sd:7.1f}  {plain:11.1%}  {informed:14.1%}  {width:28.2f}")


if __name__ == "__main__":
    main()
