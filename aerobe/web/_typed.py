"""What a form was filled with, as the use cases take it."""

from __future__ import annotations

from aerobe import usecases
from aerobe.web._frame import Fields


def brew_start_of(sent: Fields) -> usecases.brews.BrewStart:
    """A new brew, or one of its parts written in on the shelf."""
    foods = tuple(
        usecases.brews.FoodTyped(
            food=sent.text(f"food_{place}"),
            amount=sent.text(f"food_{place}_amount"),
            unit=sent.text(f"food_{place}_amount_unit", "g"),
        )
        for place in range(1, 5)
    )
    return usecases.brews.BrewStart(
        name=sent.text("name"),
        started_at=sent.text("started_at"),
        temperature=sent.quantity("temperature"),
        tests=sent.text("tests"),
        vessel=sent.text("vessel", "(new)"),
        vessel_name=sent.text("vessel_name"),
        volume=sent.quantity("volume"),
        depth=sent.quantity("depth"),
        flow=sent.quantity("flow"),
        flow_is=sent.text("flow_is"),
        diffuser=sent.text("diffuser"),
        altitude=sent.quantity("altitude", "0 m"),
        recipe=sent.text("recipe", "(new)"),
        recipe_name=sent.text("recipe_name"),
        compost=sent.text("compost", "(new)"),
        compost_name=sent.text("compost_name"),
        animal=sent.text("animal", "not known"),
        compost_amount=sent.text("compost_amount"),
        compost_unit=sent.text("compost_amount_unit", "g"),
        foods=foods,
        water=sent.text("water"),
        assay=sent.text("assay"),
        assay_name=sent.text("assay_name"),
        method=sent.text("method", "other"),
        assay_unit=sent.text("assay_unit", "ug C/mL"),
        price=sent.text("price"),
        token=sent.text("entry"),
    )
