"""What every report carries beside its answer: its moment, what computed it, cautions, and the tables its data came from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from aerobe.reports._blocks import Warned
from aerobe.reports._origin import FromTable, origin_block


@dataclass(frozen=True, slots=True, kw_only=True)
class Imprint:
    """The same for reports of brews, trials and assays; see `Report`."""

    made_at: datetime
    versions: dict[str, str]
    cautions: Sequence[str]  # short ones, for people's health
    tables: Sequence[FromTable] = ()  # that data came in from
    invented: bool = False

    def blocks(self) -> tuple[Warned, ...]:
        """What of it stands on the first pages."""
        return (*origin_block(self.tables), health_cautions(self.cautions))


def health_cautions(cautions: Sequence[str]) -> Warned:
    """Cautions with the sentence that no report goes without."""
    return Warned(
        title="For your health and others'",
        items=(*cautions, "Local codes and licensed practice decide what may be used, where and when."),
    )
