"""Foreign worlds: simulators of brews whose laws are not those of the brew model, to play the harvest call against.

No room of the model may be imported here. Every world grows, starves and dies by published laws named in its file. The oldest,
`guilds`, has saturation curves like the model's in another arrangement; the others take up food by other laws. What all share
with the model is physics: oxygen passes in by transfer times deficit, and a carbon burnt takes an O2.

Numbers are invented, of the order that the trade reports; nothing is fitted.

The worlds in `TUNING` may be looked at while the call is built. Those in `HELD_OUT` are played once, when it is done.
"""

from __future__ import annotations

from aerobe.worlds import (
    _crowded,
    _dormant,
    _grazed,
    _guilds,
    _lysed,
    _meals,
    _nights,
    _particles,
    _poisoned,
    _quota,
    _stuffy,
    _walls,
)
from aerobe.worlds._law import Known, Law, Spread
from aerobe.worlds._make import (
    TEST_CONSTANT,
    TEST_ERROR,
    TEST_SCALE,
    World,
    draw_known,
    ensemble,
    make_people,
    make_world,
    watched,
    with_pump_stop,
)
from aerobe.worlds._march import END_H, TrueCourses, march

TUNING = {law.key: law for law in (_guilds.LAW, _crowded.LAW, _particles.LAW, _meals.LAW, _stuffy.LAW, _poisoned.LAW)}
HELD_OUT = {law.key: law for law in (_lysed.LAW, _quota.LAW, _grazed.LAW, _nights.LAW, _dormant.LAW, _walls.LAW)}
WORLDS = TUNING | HELD_OUT

__all__ = [
    "END_H",
    "HELD_OUT",
    "TEST_CONSTANT",
    "TEST_ERROR",
    "TEST_SCALE",
    "TUNING",
    "WORLDS",
    "TrueCourses",
    "Known",
    "Law",
    "Spread",
    "World",
    "draw_known",
    "ensemble",
    "make_people",
    "make_world",
    "march",
    "watched",
    "with_pump_stop",
]
