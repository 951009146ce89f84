"""How far a biomass test can be trusted: from signal to biomass with its error, and the certificate that says so."""

from aerobe.assay._assumed import assumed_error
from aerobe.assay._basis import (
    Material,
    Uncertain,
    convert_basis,
)
from aerobe.assay._carbon import (
    CARBON_FACTORS,
    CarbonEstimate,
    CarbonFactor,
    carbon_from_hyphae,
    carbon_from_volume,
    cylinder_um3,
)
from aerobe.assay._censored import METHODS, CensoredSummary, censored_summary
from aerobe.assay._certificate import Certificate, Precision, as_lines, conclusion, meaning_of, typical_reading
from aerobe.assay._characterise import characterise
from aerobe.assay._colour import ColourBias, ColourReading, RecipeBias, colour_fit, estimate_colour_bias
from aerobe.assay._comparison import (
    Agreement,
    Line,
    deming,
    limits_of_agreement,
    passing_bablok,
)
from aerobe.assay._counts import (
    Density,
    density_from_fields,
    hyphal_length_m_per_ml,
    poisson_limits,
)
from aerobe.assay._error_record import error_for
from aerobe.assay._least_squares import Calibration, Fit, calibrate, least_squares, polynomial
from aerobe.assay._limits import Limits, censored_mean, limits_from_blanks, limits_from_model, noncentrality
from aerobe.assay._linearity import Linearity, ValidRange, linearity, valid_range
from aerobe.assay._matrix import Parallelism, Recovery, StandardAddition, parallelism, spike_recovery, standard_addition
from aerobe.assay._mpn import MostProbableNumber, most_probable_number
from aerobe.assay._outliers import Mandel, OutlierTest, cochran, cochran_critical, grubbs, grubbs_critical, mandel
from aerobe.assay._phases import PhaseBias, phase_bias
from aerobe.assay._plainly import ThreeLines, in_three_lines, smallest_change
from aerobe.assay._planning import TestPlan, plan_tests
from aerobe.assay._plates import Plate, PlateCount, crowded_plates, two_digits, weighted_mean
from aerobe.assay._propagation import Input, Linear, PropagationAgreement, Simulated, propagate, propagate_both, simulate
from aerobe.assay._ratios import (
    FungalRatio,
    RatioInterval,
    fieller,
    log_ratio,
    ratio_from_parts,
)
from aerobe.assay._result import Biomass, biomass_from_reading, decision_limit
from aerobe.assay._sampling import SamplingStep, sampling_steps
from aerobe.assay._scale import ASSUMED_GAIN_LOG_SD
from aerobe.assay._simulated import invented_study, study_as_table
from aerobe.assay._study import COLUMNS, STUDY_ROLES, Study, StudyReading, replicate_groups, study_from_table
from aerobe.assay._two_component import (
    TwoComponent,
    fit_two_component,
    fit_variances,
)
from aerobe.assay._variance import Components, Share, components

__all__ = [
    "METHODS",
    "ThreeLines",
    "in_three_lines",
    "smallest_change",
    "ASSUMED_GAIN_LOG_SD",
    "CARBON_FACTORS",
    "COLUMNS",
    "STUDY_ROLES",
    "Agreement",
    "Biomass",
    "Calibration",
    "CarbonEstimate",
    "CarbonFactor",
    "Certificate",
    "ColourBias",
    "ColourReading",
    "Components",
    "Density",
    "Fit",
    "FungalRatio",
    "Input",
    "Limits",
    "Line",
    "Linear",
    "Linearity",
    "Mandel",
    "Material",
    "MostProbableNumber",
    "OutlierTest",
    "Parallelism",
    "PhaseBias",
    "Plate",
    "PlateCount",
    "Precision",
    "PropagationAgreement",
    "RatioInterval",
    "RecipeBias",
    "Recovery",
    "SamplingStep",
    "Share",
    "Simulated",
    "StandardAddition",
    "Study",
    "StudyReading",
    "TestPlan",
    "TwoComponent",
    "Uncertain",
    "ValidRange",
    "as_lines",
    "biomass_from_reading",
    "calibrate",
    "carbon_from_hyphae",
    "carbon_from_volume",
    "CensoredSummary",
    "assumed_error",
    "censored_summary",
    "censored_mean",
    "characterise",
    "cochran",
    "cochran_critical",
    "colour_fit",
    "components",
    "conclusion",
    "convert_basis",
    "crowded_plates",
    "cylinder_um3",
    "decision_limit",
    "deming",
    "density_from_fields",
    "error_for",
    "estimate_colour_bias",
    "fieller",
    "fit_two_component",
    "fit_variances",
    "grubbs",
    "grubbs_critical",
    "hyphal_length_m_per_ml",
    "invented_study",
    "least_squares",
    "limits_from_blanks",
    "limits_from_model",
    "limits_of_agreement",
    "linearity",
    "log_ratio",
    "mandel",
    "meaning_of",
    "most_probable_number",
    "noncentrality",
    "parallelism",
    "passing_bablok",
    "phase_bias",
    "plan_tests",
    "poisson_limits",
    "polynomial",
    "propagate",
    "propagate_both",
    "ratio_from_parts",
    "replicate_groups",
    "sampling_steps",
    "simulate",
    "spike_recovery",
    "standard_addition",
    "study_as_table",
    "study_from_table",
    "two_digits",
    "typical_reading",
    "valid_range",
    "weighted_mean",
]
