"""How far a test can be trusted: its certificate, counts, comparisons, how many tests to make."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.assay import biomass_from_reading, plan_tests
    from aerobe.usecases.assay._certificate import (
        ASSAY_CAUTION,
        STUDY_COLUMNS,
        STUDY_METHODS,
        AssayAnswer,
        StudyForm,
        certificate_pictures,
        certify,
        certify_study,
        example_study,
        keep_certificate,
    )
    from aerobe.usecases.assay._counts import (
        carbon_of_cells,
        count_fields,
        count_plates,
        count_tubes,
        hyphae_of_crossings,
        mean_of_censored,
        numbers_typed,
        ratio_of_parts,
        result_on_basis,
    )
    from aerobe.usecases.assay._steps import STEPS, StudyStep, StudySteps, table_of_steps
    from aerobe.usecases.assay._use import (
        assays_with_error,
        compare_by_phase,
        compare_tests,
        content_by_addition,
        error_of_assay,
        picture_of_phases,
        picture_of_tests,
    )
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_certificate": (
                "ASSAY_CAUTION",
                "AssayAnswer",
                "STUDY_COLUMNS",
                "STUDY_METHODS",
                "StudyForm",
                "certificate_pictures",
                "certify",
                "certify_study",
                "example_study",
                "keep_certificate",
            ),
            "_counts": (
                "carbon_of_cells",
                "count_fields",
                "count_plates",
                "count_tubes",
                "hyphae_of_crossings",
                "mean_of_censored",
                "numbers_typed",
                "ratio_of_parts",
                "result_on_basis",
            ),
            "_steps": ("STEPS", "StudyStep", "StudySteps", "table_of_steps"),
            "_use": (
                "assays_with_error",
                "compare_by_phase",
                "compare_tests",
                "content_by_addition",
                "error_of_assay",
                "picture_of_phases",
                "picture_of_tests",
            ),
            "aerobe.assay": ("biomass_from_reading", "plan_tests"),
        },
    )

__all__ = [
    "ASSAY_CAUTION",
    "AssayAnswer",
    "STEPS",
    "STUDY_COLUMNS",
    "STUDY_METHODS",
    "StudyForm",
    "StudyStep",
    "StudySteps",
    "assays_with_error",
    "biomass_from_reading",
    "carbon_of_cells",
    "certificate_pictures",
    "certify",
    "certify_study",
    "compare_by_phase",
    "compare_tests",
    "content_by_addition",
    "count_fields",
    "count_plates",
    "count_tubes",
    "error_of_assay",
    "example_study",
    "hyphae_of_crossings",
    "keep_certificate",
    "mean_of_censored",
    "numbers_typed",
    "picture_of_phases",
    "picture_of_tests",
    "plan_tests",
    "ratio_of_parts",
    "result_on_basis",
    "table_of_steps",
]
