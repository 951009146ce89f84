"""Reading what a stranger made, in a process of its own with limits of memory and time: this one lives whatever happens."""

from aerobe.isolation._apart import READING, WorkLimits, run_apart

__all__ = ["READING", "WorkLimits", "run_apart"]
