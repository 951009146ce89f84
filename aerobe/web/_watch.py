"""Looking after brews while nobody looks: changes made elsewhere, calls that age, alarms."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from aerobe import usecases
from aerobe.errors import AerobeError, Damaged, NotebookFault
from aerobe.units import display_units, shown_in, shown_text
from aerobe.web._alarm_boxes import AlarmBox, boxes_of
from aerobe.web._alarm_settings import AlarmSettings
from aerobe.web._alarms import AGAIN_AFTER, Alarm, Dispatch, alarms_for
from aerobe.web._live import Live
from aerobe.web._memory import give_back_memory
from aerobe.web._push import Notices
from aerobe.web._state import WebState
from aerobe.web._thinker import Thinker

LOG = logging.getLogger("aerobe.web")
CHANGES_EVERY_S = 2.0
LOOK_EVERY_S = 20.0
LINES_AT_MOST = 200
CARE_EVERY_S = 3600.0
CARE_FIRST_S = 20.0  # the first pages after a start go before the reading of every row [s]


class Watch:
    """The loop of the app. `alarms()` is what stands now."""

    def __init__(
        self,
        notebook: usecases.notebook.Notebook,
        state: WebState,
        live: Live,
        thinker: Thinker[usecases.brews.Advice],
        clock: Callable[[], datetime],
    ) -> None:
        self.notebook, self.state, self.live, self.thinker, self.clock = notebook, state, live, thinker, clock
        self.notices = Notices(state, clock)
        self.dispatch = Dispatch(self.notices.ways)
        self._standing: tuple[Alarm, ...] = ()
        self._put_away: dict[str, datetime] = {}
        self._seen = -1
        self._care_says = ""
        self._cared = False  # since this start

    def alarms(self) -> tuple[Alarm, ...]:
        """What stands now."""
        return self._standing

    def boxes(self) -> tuple[AlarmBox, ...]:
        """What the pages show of it: one box a brew, without those put away. An urgent one comes back after a while."""
        now = self.clock()
        return tuple(
            box
            for box in boxes_of(self._standing)
            if (away := self._put_away.get(box.mark)) is None or (box.urgent and abs(now - away) >= AGAIN_AFTER)
        )

    def put_away(self, mark: str) -> None:
        """A person has seen this box. It stays away until something new is wrong; nothing that is sent changes by it."""
        standing = {box.mark for box in boxes_of(self._standing)}
        self._put_away = {name: at for name, at in self._put_away.items() if name in standing}
        if mark in standing:
            self._put_away[mark] = self.clock()
            self.live.tell("alarm")

    def care(self) -> None:
        """The notebook is checked and copied once a day; what is found stands as an alarm until the next look."""
        try:
            done = usecases.notebook.care_for_the_day(
                self.notebook,
                now=self.clock(),
                second=usecases.notebook.second_folder(self.notebook),
                look=not self._cared,
            )
            self._cared = True
        except AerobeError as fault:
            self._care_says = f"No copy could be made today: {fault}"
            return
        if done.faults:
            self._care_says = f"The notebook is damaged: {done.faults[0]} Look at it with `aerobe doctor`."
            self.show_whole_part()
        elif done.copy is not None:
            self._care_says = ""

    def show_whole_part(self) -> None:
        """The notebook is damaged: pages show what is whole from now on, and nothing is written."""
        try:
            self.notebook.show_whole_part()
        except NotebookFault as fault:
            LOG.error("the notebook is damaged and nothing of it can be read: %s", fault)
            return
        if self.notebook.damaged:
            LOG.error("the notebook is damaged; shown is what is whole, and nothing is written until it is put right")
            self.live.tell("everything")

    async def run(self) -> None:
        """Look, wait, look again; a fault of one look never ends the loop."""
        looked, loop = 0.0, asyncio.get_running_loop()
        care_at = loop.time() + CARE_FIRST_S
        while True:
            try:
                await asyncio.to_thread(self.tell_changes)
                if loop.time() - looked >= LOOK_EVERY_S or not looked:
                    looked = loop.time()
                    await asyncio.to_thread(self.look)
                    await asyncio.to_thread(give_back_memory)
                if loop.time() >= care_at:
                    care_at = loop.time() + CARE_EVERY_S
                    await asyncio.to_thread(self.care)
            except Damaged:
                await asyncio.to_thread(self.show_whole_part)
            except AerobeError as fault:
                LOG.warning("watching: %s", fault)
            except Exception:
                LOG.exception("watching failed; the next look comes soon")
            await asyncio.sleep(CHANGES_EVERY_S)

    def tell_changes(self) -> None:
        """Tell open pages what another program (a command, another server) has written."""
        newest = self.notebook.last_change()
        if newest != self._seen and self._seen >= 0:
            lines = [line for line in self.notebook.audit(newest=LINES_AT_MOST) if line.id > self._seen]
            if newest - self._seen > LINES_AT_MOST:  # more was written than is read here
                self.live.tell("everything")
            for brew in {line.brew for line in lines if line.noun not in usecases.brews.WORKED_OUT}:
                self.live.tell(*(("brew", brew) if brew else ("brews",)))
            if any(line.noun in ("brews", "harvests") for line in lines):
                self.live.tell("brews")
        self._seen = newest

    def look(self) -> None:
        """One round over the brews under way."""
        now = self.clock()
        usecases.notebook.keep_demo_alive(self.notebook, now=now)
        found: list[Alarm] = []
        behind = usecases.notebook.clock_trouble(self.notebook, now=now)
        if behind:
            found.append(Alarm(brew="", brew_name="The clock", kind="clock", says=behind, at=now, urgent=True))
        for card in usecases.brews.brews_overview(self.notebook, now=now, earlier=0).under_way:
            thought = self.thinker.look(card.brew.key)
            call = usecases.brews.call_in_words(card.brew, thought.advice, now=now) if thought.advice is not None else None
            troubles = usecases.brews.live_troubles(self.notebook, card.brew, now=now)
            found += alarms_for(card.brew, call=call, oxygen=card.oxygen, troubles=troubles, now=now)
        if self.dispatch.says:
            words = f"An alarm could not be sent: {self.dispatch.says}. Look under Settings."
            found.append(Alarm(brew="", brew_name="Alarms", kind="sending", says=words, at=now, urgent=False))
        if self._care_says:
            found.append(Alarm(brew="", brew_name="The notebook", kind="care", says=self._care_says, at=now, urgent=False))
        alarms = tuple(found)
        if {(item.brew, item.kind, item.says) for item in alarms} != {
            (item.brew, item.kind, item.says) for item in self._standing
        }:
            self._standing = alarms
            self.live.tell("alarm")
        settings = AlarmSettings(**self.state.get("alarms"))
        self.dispatch.send_beside(self.dispatch.due(self._in_display_units(alarms), settings, now=now), settings, now=now)

    def _in_display_units(self, alarms: tuple[Alarm, ...]) -> tuple[Alarm, ...]:
        """As they are sent: pages show units by themselves, a mail or a notice cannot."""
        with shown_in(usecases.notebook.display_units_of(self.notebook)):
            units = {
                brew: usecases.notebook.display_units_for(self.notebook, brew) if brew else display_units()
                for brew in {alarm.brew for alarm in alarms}
            }
        return tuple(replace(alarm, says=shown_text(units[alarm.brew], alarm.says)) for alarm in alarms)
