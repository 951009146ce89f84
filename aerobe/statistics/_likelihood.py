"""The likelihood by which variances are judged, restricted or full. Who calls brings the algebra that suits its data."""

from __future__ import annotations

import math


def gaussian_deviance(*, log_det: float, rss: float, count: int, log_det_information: float = 0.0) -> float:
    """-2 log likelihood of a linear model with normal errors of covariance V, the fixed effects at their best.

    Restricted where the information on the fixed effects is given, full where it is left out. A constant that hangs on the
    design alone, log |X'X|, is left off, as is usual.

    Parameters
    ----------
    log_det
        log |V|. [-]
    rss
        Residuals weighed by the inverse of V: r' V^-1 r. [-]
    count
        Observations; restricted: less the fixed effects.
    log_det_information
        log |X' V^-1 X|; left out for the full likelihood. [-]

    Returns
    -------
    float
        Smaller is better. [-]

    Source
    ------
    harville-1977

    Examples
    --------
    >>> round(gaussian_deviance(log_det=0.0, rss=1.0, count=1), 4)  # one reading, one standard deviation off
    2.8379
    """
    return count * math.log(2.0 * math.pi) + log_det + log_det_information + rss
