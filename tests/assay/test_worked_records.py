"""The error that a certificate hands on, and the interval of one reading by it: by what defines them, and by numpy's roots."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from pytest import approx
from scipy import stats

from aerobe.assay import biomass_from_reading, decision_limit
from aerobe.assay._error_record import _as_normal, _error
from aerobe.assay._result import _inverted
from aerobe.records import AssayError


def handed_on(typical: float, *, bias_sd: float = 1.2, lowest: float | None = None, colour: float = 18.0) -> AssayError:
    certificate: Any = SimpleNamespace(
        scatter=SimpleNamespace(constant_sd=4.0, proportional_cv=0.1, df=9),
        precision=SimpleNamespace(single_cv=0.1),
        study=SimpleNamespace(scale_low=lowest, scale_high=600.0),
        level=0.9,
        gain_log_sd=0.07,
    )
    return _error(certificate, 26.0, bias_sd, colour, typical, "here")


def test_the_scatter_handed_on_is_that_of_the_whole_signal_at_the_usual_result_and_never_less() -> None:
    # On paper: constant^2 + cv^2 (x + colour)^2, widened by Student's t of nine degrees over the normal quantile.
    error, wide = handed_on(146.0), stats.t.ppf(0.95, 9) / stats.norm.ppf(0.95)
    for x, exact in ((120.0, True), (30.0, False), (400.0, False)):
        handed = error.constant_sd**2 + (error.proportional_cv * x) ** 2
        whole = wide**2 * (4.0**2 + 0.1**2 * (x + 18.0) ** 2)
        assert handed == approx(whole) if exact else handed > whole * 1.001
    # A usual result under three constant scatters counts as three; a colour below nothing as none.
    weak = handed_on(30.0)
    assert weak == handed_on(26.0 + 12.0) == handed_on(20.0)
    assert weak.constant_sd**2 + (weak.proportional_cv * 12.0) ** 2 == approx(wide**2 * (4.0**2 + 0.1**2 * 30.0**2))
    assert handed_on(146.0, colour=-3.0).constant_sd == approx(4.0 * wide)
    assert (error.bias, error.bias_sd, error.gain_log_sd, error.upper_limit, error.origin) == (26.0, 1.2, 0.07, 600.0, "here")


def test_nothing_is_told_up_to_the_limit_of_false_alarms_or_the_lowest_mark() -> None:
    wide = stats.t.ppf(0.95, 9) / stats.norm.ppf(0.95)
    limit = stats.norm.ppf(0.95) * math.sqrt(wide**2 * (4.0**2 + 1.8**2) + 1.2**2)
    assert handed_on(146.0).detection_limit == approx(limit)
    assert handed_on(146.0, lowest=26.0 + 0.9 * limit).detection_limit == approx(limit)
    assert handed_on(146.0, lowest=26.0 + 1.1 * limit).detection_limit == approx(1.1 * limit)


def test_an_interval_of_student_is_handed_on_as_a_normal_one() -> None:
    found: Any = SimpleNamespace(low=22.0, high=31.0, level=0.9)
    assert _as_normal(found) == approx(4.5 / stats.norm.ppf(0.95))


@pytest.mark.parametrize("value", [40.0, 8.0, 0.0, -3.0])
@pytest.mark.parametrize("relative", [0.01, 0.16])
def test_the_ends_of_a_result_are_roots_of_its_own_scatter(value: float, relative: float) -> None:
    # numpy: x where (value - x)^2 = z^2 (base + relative x^2).
    z, base = 1.645, 9.0
    roots = np.sort(np.roots([1.0 - z**2 * relative, -2.0 * value, value**2 - z**2 * base]).real)
    assert _inverted(value, z, base, relative) == approx(tuple(roots))


def test_a_scatter_that_outgrows_the_result_has_no_upper_end() -> None:
    z, base, relative = 1.645, 9.0, 0.5
    roots = np.roots([1.0 - z**2 * relative, -80.0, 1600.0 - z**2 * base])
    assert _inverted(40.0, z, base, relative) == approx((float(roots[np.abs(roots).argmin()]), math.inf))
    # Where nought itself is not excluded, neither is any result.
    assert _inverted(4.0, z, base, relative) == (0.0, math.inf)


def test_a_bias_that_is_not_sure_widens_a_result_and_its_limit() -> None:
    error = AssayError(constant_sd=3.0, proportional_cv=0.1, bias=5.0, bias_sd=0.7, gain_log_sd=0.2)
    assert decision_limit(error, readings=4) == approx(1.644854 * math.sqrt(9.0 / 4.0 + 0.49))
    found = biomass_from_reading(error, 45.0, readings=4, level=0.9, with_scale=True)
    z, relative = stats.norm.ppf(0.95), 0.01 / 4.0 + math.expm1(0.04)
    roots = np.sort(np.roots([1.0 - z**2 * relative, -80.0, 1600.0 - z**2 * (9.0 / 4.0 + 0.49)]))
    assert (found.value, found.low, found.high) == approx((40.0, *roots))
