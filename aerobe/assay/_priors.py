"""What other laboratories found for the scatter of such tests: a starting point until a test is characterised."""

from __future__ import annotations

import math
from dataclasses import dataclass

from aerobe.assay._two_component import log_sd_of_cv
from aerobe.errors import NotFound


@dataclass(frozen=True, slots=True, kw_only=True)
class PriorScatter:
    """A range of coefficients of variation, and the lognormal prior that has it as its 5 % and 95 % points."""

    method: str
    level: str  # "between laboratories" or "within a laboratory"
    cv_low: float
    cv_high: float
    source: str

    @property
    def median_cv(self) -> float:
        """Middle of the range on the log scale."""
        return math.sqrt(self.cv_low * self.cv_high)

    @property
    def log_sd(self) -> float:
        """Standard deviation of ln(cv): the range is taken as 90 %."""
        return math.log(self.cv_high / self.cv_low) / (2 * 1.6448536269514722)

    @property
    def gain_log_sd(self) -> float:
        """Standard deviation of the log of a result between laboratories, at the middle of the range."""
        return log_sd_of_cv(self.median_cv)


PRIOR_SCATTER = (
    # Biomass signal = fumigated less non-fumigated, 25 laboratories.
    PriorScatter(
        method="fumigation extraction", level="between laboratories", cv_low=0.12, cv_high=0.24, source="joergensen-olfs-1998"
    ),
    PriorScatter(
        method="fumigation extraction", level="within a laboratory", cv_low=0.045, cv_high=0.128, source="joergensen-olfs-1998"
    ),
    PriorScatter(
        method="plate count", level="within a laboratory", cv_low=0.073, cv_high=0.089, source="shigella-plate-precision"
    ),
)


def prior_scatter(method: str, level: str = "between laboratories") -> PriorScatter:
    """The published scatter of a method.

    Raises
    ------
    NotFound
        If there is none on file.

    Source
    ------
    joergensen-olfs-1998, shigella-plate-precision
    """
    for item in PRIOR_SCATTER:
        if item.method == method and item.level == level:
            return item
    raise NotFound(
        f"There is no published scatter on file for {method}, {level}.",
        "Characterise the test, or use fumigation extraction as a stand-in.",
    )
