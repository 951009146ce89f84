"""The table of pages in the guide, made from the pages themselves: `python -m tests.house.addresses`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from fastapi.routing import APIRoute

from aerobe.web._app import page_modules

PAGE = Path(__file__).parents[2] / "docs" / "guide" / "app.md"
HEAD = "## Every address\n"
ABOUT = """
What each page and each address for programs answers; forms go to the address of their page or to one below it. Made from the
code: after a change, `python -m tests.house.addresses`. Names in braces are keys. Addresses under `/api/` answer in JSON, see
[answers](answers.md), and like every page they want a paired device.

| address | |
|---|---|
"""


def routes() -> Iterator[APIRoute]:
    """Every address of the app but the static files."""
    for module in page_modules():
        yield from (route for route in module.router.routes if isinstance(route, APIRoute))


def for_people_or_programs(found: Iterable[APIRoute]) -> list[APIRoute]:
    """Those that somebody opens or a program calls: neither the pieces of pages, nor what a form is sent to."""
    return [
        route
        for route in found
        if not route.path.startswith("/parts/") and ("GET" in route.methods or route.path.startswith(("/api/", "/log/")))
    ]


def row(route: APIRoute) -> str:
    """Its line of the table."""
    says = (route.endpoint.__doc__ or "").strip().split("\n")[0].replace("|", "/")
    way = "" if "GET" in route.methods else "POST "
    return f"| `{way}{route.path}` | {says} |"


def with_table(page: str, found: Iterable[APIRoute]) -> str:
    """The guide's page with the table anew, at its end."""
    rows = [row(route) for route in for_people_or_programs(found)]
    return page.split(HEAD)[0].rstrip("\n") + "\n\n" + HEAD + ABOUT + "\n".join(rows) + "\n"


if __name__ == "__main__":
    PAGE.write_text(with_table(PAGE.read_text(encoding="utf-8"), routes()), encoding="utf-8")
