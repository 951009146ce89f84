"""The assay, and the error that its characterisation found."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.records._checks import require_between, require_key, require_one_of

METHODS = (
    "colour test",
    "direct microscopy",
    "plate count",
    "most probable number",
    "respiration",
    "oxygen uptake",
    "turbidity",
    "flow cytometry",
    "fumigation extraction",
    "other",
)
QUANTITIES = ("biomass", "bacteria", "fungi", "fungal to bacterial ratio", "grazers")
BASES = ("per mL", "per g wet", "per g dry", "ratio")
RATIO_KINDS = ("mass", "count", "plate", "marker", "unknown")


@dataclass(frozen=True, slots=True, kw_only=True)
class AssayError:
    """What is known of an assay's error, in the unit of its results.

    A result y of a true value x is taken to follow
    y = gain * x + bias + e,  sd(e)^2 = constant_sd^2 + (proportional_cv * x)^2,
    ln(gain) ~ N(0, gain_log_sd^2) and bias ~ N(bias, bias_sd^2), both shared by all readings of one brew.
    Source: rocke-lorenzato-1995 for the two components of the random part.
    """

    constant_sd: float  # random, at zero [unit of the result]
    proportional_cv: float  # random, far above zero [-]
    bias: float = 0.0  # additive, for example colour [unit of the result]
    bias_sd: float = 0.0  # its standard uncertainty [unit of the result]
    gain_log_sd: float = 0.3  # common scale, standard uncertainty of its log [-]
    detection_limit: float | None = None  # net result, bias taken off, up to which nothing is told [unit of the result]
    upper_limit: float | None = None  # highest mark of the scale, bias included [unit of the result]
    origin: str = "assumed"  # the certificate, or "assumed"

    def __post_init__(self) -> None:
        for name in ("constant_sd", "proportional_cv", "bias_sd", "gain_log_sd"):
            require_between(getattr(self, name), 0.0, 1e12, name.replace("_", " "), "")
        if self.constant_sd == 0.0 and self.proportional_cv == 0.0:
            raise UnusableRecord("An assay without any random error does not exist.", "Give a constant sd, a CV, or both.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Assay:
    """A way of measuring microbes, with the basis of its results."""

    key: str
    name: str
    method: str  # one of METHODS
    quantity: str = "biomass"  # one of QUANTITIES
    unit: str = "ug C/mL"  # of the signal as entered
    basis: str = "per mL"  # one of BASES
    ratio_kind: str = "unknown"  # for fungal to bacterial ratios, one of RATIO_KINDS
    to_house: float = 1.0  # house value per unit of signal: ug C/mL, or a bare ratio [-]
    price: float = 0.0  # of one test [money]
    error: AssayError | None = None

    def __post_init__(self) -> None:
        require_key(self.key, "assay")
        require_one_of(self.method, METHODS, "method")
        require_one_of(self.quantity, QUANTITIES, "quantity")
        require_one_of(self.basis, BASES, "basis")
        require_one_of(self.ratio_kind, RATIO_KINDS, "kind of ratio")
        require_between(self.price, 0.0, 1e9, "A price", "")
        require_between(self.to_house, 1e-15, 1e15, "A conversion factor", "")
