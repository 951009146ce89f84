"""What is due: on the page, and as a calendar file."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response

from aerobe import usecases
from aerobe.web._frame import Fields, access_of, clock_of, fields, go_to, menu_entry, notebook_of, page
from aerobe.web._roles import HELPER, OWNER
from aerobe.web._views import call_of
from aerobe.web._watch import Watch

router = APIRouter()
nav = menu_entry("Reminders", "/reminders", order=70, icon="bell", more=True)


@router.get("/reminders")
def reminders(request: Request) -> Response:
    """Next tests and harvests of all brews under way."""
    found, working = _due(request)
    watch: Watch = request.app.state.watch
    key = watch.notices.public_key() if access_of(request).role in (OWNER, HELPER) else ""
    return page(request, "reminders/reminders.html", title="Reminders", due=found, working=working, notice_key=key)


@router.get("/reminders.ics")
def calendar(request: Request) -> Response:
    """The same as a calendar file with alarms."""
    made = usecases.brews.calendar_of(_due(request)[0], now=clock_of(request))
    return Response(
        made, media_type="text/calendar; charset=utf-8", headers={"Content-Disposition": 'attachment; filename="aerobe.ics"'}
    )


@router.get("/parts/alarms")
def alarms(request: Request) -> Response:
    """The alarms that stand, for a live change."""
    return page(request, "reminders/alarms.html", title="")


@router.post("/alarms/seen")
def seen(request: Request, sent: Annotated[Fields, Depends(fields)]) -> Response:
    """Put an alarm away until something new is wrong; what goes out by mail does not change."""
    watch: Watch = request.app.state.watch
    watch.put_away(sent.text("mark"))
    back = sent.text("back", "/")
    return go_to(back if back.startswith("/") and not back.startswith(("//", "/\\", "/parts/")) else "/")


def _due(request: Request) -> tuple[list[usecases.brews.Reminder], bool]:
    found: list[usecases.brews.Reminder] = []
    working = False
    for brew in usecases.brews.brews_under_way(notebook_of(request), now=clock_of(request)):
        call = call_of(request, brew)
        working = working or call.thought.working
        if call.call is not None:
            found += usecases.brews.reminders_of(brew, call.call)
        found += usecases.trials.sheet_reminders(notebook_of(request), brew)
    return sorted(found, key=lambda item: item.at), working
