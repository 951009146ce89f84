"""The error of a test that nobody has characterised: by its method, on its own scale. A start, and no more."""

from __future__ import annotations

from aerobe.errors import NotAQuantity
from aerobe.records import Assay, AssayError
from aerobe.units import COUNT

# Method: CV far above zero; scatter near zero, in cells or colonies a millilitre; uncertainty of the common scale (log).
# Plates within a laboratory 7.3 to 8.9 % (shigella-plate-precision), to which the sampling of a tea comes; tubes of five have a
# standard deviation of 0.24 in log10 (fda-bam-app2), 55 %. The others are common practice, no source.
_COUNTS: dict[str, tuple[float, float, float]] = {
    "plate count": (0.20, 10.0, 0.4),
    "most probable number": (0.55, 0.3, 0.4),
    "flow cytometry": (0.10, 1000.0, 0.4),
    "direct microscopy": (0.25, 1.0e4, 0.5),
}
_OTHER_COUNT = (0.30, 100.0, 0.5)
# Of tests that are no counts, in ug C/mL, and of optical density in its own unit.
_TURBIDITY = (0.10, 0.01, 0.74)
_MASS = (0.25, 5.0, 0.4)
_RATIO = (0.30, 0.02, 0.3)
_OPTICAL = ("OD", "absorbance", "NTU", "FNU", "FTU", "AU")


def assumed_error(assay: Assay) -> AssayError:
    """The error taken for a test without one of its own, in the unit of its results.

    Parameters
    ----------
    assay
        Its method, unit and conversion to carbon.

    Source
    ------
    shigella-plate-precision, fda-bam-app2

    Examples
    --------
    >>> from aerobe.records import Assay
    >>> assumed_error(Assay(key="c", name="c", method="flow cytometry", unit="cells/mL", to_house=2e-8)).constant_sd
    1000.0
    """
    if assay.quantity == "fungal to bacterial ratio":
        cv, near_zero, scale = _RATIO
    elif assay.unit in _OPTICAL:
        cv, near_zero, scale = _TURBIDITY
    else:
        per_ml = _count_per_ml(assay.unit)
        if per_ml is not None:
            cv, near_zero, scale = _COUNTS.get(assay.method, _OTHER_COUNT)
            near_zero /= per_ml
        else:
            cv, near_zero, scale = _MASS
            near_zero /= assay.to_house  # from ug C/mL to the test's unit
    return AssayError(constant_sd=near_zero, proportional_cv=cv, gain_log_sd=scale, origin=f"assumed for {assay.method}")


def _count_per_ml(unit: str) -> float | None:
    """Counts a millilitre in one unit of a result; None if it is no count."""
    try:
        return COUNT.convert(1.0, unit)
    except NotAQuantity:
        return None
