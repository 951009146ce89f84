"""One file a step. A released step is history: mend it with a new one."""
