"""What many people found: taken in, weighed with one"s own, pooled."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.usecases.evidence._pooling import (
        TakenEvidence,
        all_evidence,
        evidence_pairs,
        flags_by_words,
        kept_evidence,
        pool_all_brews,
        take_evidence,
        weigh_evidence,
    )
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_pooling": (
                "TakenEvidence",
                "all_evidence",
                "evidence_pairs",
                "flags_by_words",
                "kept_evidence",
                "pool_all_brews",
                "take_evidence",
                "weigh_evidence",
            ),
        },
    )

__all__ = [
    "TakenEvidence",
    "all_evidence",
    "evidence_pairs",
    "flags_by_words",
    "kept_evidence",
    "pool_all_brews",
    "take_evidence",
    "weigh_evidence",
]
