"""Plans that tests ask for again: the same question has the same answer, and working it out simulates hundreds of trials."""

from __future__ import annotations

import pytest

from aerobe.trials import Plan, plan_trial
from aerobe.usecases.trials import _planning

_made: dict[str, Plan] = {}


def keep_plans(patch: pytest.MonkeyPatch) -> None:
    """Have the use cases ask for each plan once a process. All that a plan hangs on is in what is asked, the seed too."""

    def asked(*given: object, **more: object) -> Plan:
        question = repr((given, sorted(more.items())))
        if question not in _made:
            _made[question] = plan_trial(*given, **more)  # type: ignore[arg-type]
        return _made[question]

    patch.setattr(_planning, "plan_trial", asked)
