"""Alarms as the pages show them: one box for each brew, which a person can put away."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from aerobe.web._alarms import Alarm


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmBox:
    """What stands of one brew, in one box."""

    brew: str
    brew_name: str
    says: tuple[str, ...]
    mark: str  # changes with the kinds of alarms in the box: what was put away comes back with news
    urgent: bool


def boxes_of(alarms: Iterable[Alarm]) -> tuple[AlarmBox, ...]:
    """One box for each brew, urgent ones first."""
    by_brew: dict[tuple[str, str], list[Alarm]] = {}
    for alarm in alarms:
        by_brew.setdefault((alarm.brew, alarm.brew_name), []).append(alarm)
    boxes = [
        AlarmBox(
            brew=brew,
            brew_name=name,
            says=tuple(dict.fromkeys(alarm.says for alarm in found)),
            mark=f"{brew or name}: {', '.join(sorted({alarm.kind for alarm in found}))}",
            urgent=any(alarm.urgent for alarm in found),
        )
        for (brew, name), found in by_brew.items()
    ]
    return tuple(sorted(boxes, key=lambda box: not box.urgent))
