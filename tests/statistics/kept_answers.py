"""Cases of the room whose exact answer no table holds: where halving stops, and what each end gives."""

from __future__ import annotations

import numpy as np

from aerobe.statistics import normal_mixture_quantile, quantile
from tests.kept_answers.parts import settings_of

WEIGHT, MEAN, SD = np.array([0.2, 0.5, 0.3]), np.array([-1.5, 0.7, 4.2]), np.array([0.4, 1.3, 2.1])


def answers() -> dict[str, object]:
    """By what each case holds."""
    return {
        **settings_of("statistics"),
        "quantiles of a mixture of three unlike normal parts, from one in a million up": lambda: [
            float(normal_mixture_quantile(share, WEIGHT, MEAN, SD)) for share in (1e-6, 0.01, 0.3, 0.77, 0.999)
        ],
        "the nearer end of a stretch that does not reach the share": lambda: quantile(
            lambda at: 0.2 + 0.5 * at, 0.9, np.array([0.0, -1.0]), np.array([1.1, 1.3])
        ),
    }
