"""What may be reckoned of a brew whose recipe is behind a code: as if it had all that any recipe of its trial brings.

Calls, food and safe use rest on the recipe, so each would tell it. The stand-in is one and the same for all brews of a trial, and
heavier than any of them: what is let pass for it is let pass for each.
"""

from __future__ import annotations

from dataclasses import replace

from aerobe.notebook import BrewHistory, Notebook, brew_history
from aerobe.records import Brew, Compost, FoodDose, Recipe, Trial
from aerobe.usecases.trials._blinding import HIDDEN, is_hidden

BEHIND_CODE = "Its recipe is behind a code: this is reckoned as if it had all that any recipe of the trial brings."


def recipe_and_compost(notebook: Notebook, brew: Brew) -> tuple[Recipe, Compost]:
    """Recipe and compost of a brew as answers about it may use them."""
    if not is_hidden(notebook, brew):
        recipe = notebook.get(Recipe, brew.recipe)
        return recipe, notebook.get(Compost, recipe.compost)
    recipes = _recipes_of_trial(notebook, brew)
    compost = _strictest([notebook.get(Compost, key) for key in dict.fromkeys(recipe.compost for recipe in recipes)])
    return _heaviest(recipes, compost.key), compost


def stand_in_words(notebook: Notebook, key: str) -> str:
    """What must be said wherever something was reckoned of a brew behind a code; empty for any other brew."""
    return BEHIND_CODE if is_hidden(notebook, notebook.get(Brew, key)) else ""


def composts_in_question(notebook: Notebook, brew: Brew) -> set[str]:
    """Keys of the composts that may be in a brew: one, or behind a code those of every arm."""
    return {notebook.get(Recipe, key).compost for key in recipes_in_question(notebook, brew)}


def recipes_in_question(notebook: Notebook, brew: Brew) -> set[str]:
    """Keys of the recipes that a brew may be of: one, or behind a code those of every arm."""
    return {recipe.key for recipe in _recipes_of_trial(notebook, brew)} if is_hidden(notebook, brew) else {brew.recipe}


def history_to_reckon(notebook: Notebook, key: str) -> BrewHistory:
    """All that the notebook holds of one brew, with the stand-in for a recipe behind a code."""
    history = brew_history(notebook, key)
    if not is_hidden(notebook, history.brew):
        return history
    recipe, compost = recipe_and_compost(notebook, history.brew)
    return replace(history, brew=replace(history.brew, recipe=HIDDEN, arm=HIDDEN), recipe=recipe, compost=compost)


def _recipes_of_trial(notebook: Notebook, brew: Brew) -> tuple[Recipe, ...]:
    keys = dict.fromkeys(arm.recipe for arm in notebook.get(Trial, brew.trial).arms if arm.recipe)
    # A brew whose recipe is none of the plan's has given itself away; its own still counts.
    known = {recipe.key: recipe for recipe in notebook.find(Recipe)}
    return tuple(known[key] for key in (keys if brew.recipe in keys else {**keys, brew.recipe: None}) if key in known)


def _heaviest(recipes: tuple[Recipe, ...], compost: str) -> Recipe:
    doses: dict[tuple[str, float], FoodDose] = {}
    for dose in (dose for recipe in recipes for dose in recipe.foods):
        place = (dose.food, dose.at_h)
        if place not in doses or doses[place].g_per_l < dose.g_per_l:
            doses[place] = dose
    waters = {recipe.water for recipe in recipes}
    return Recipe(
        key=HIDDEN,
        name=HIDDEN,
        compost=compost,
        compost_g_per_l=max(recipe.compost_g_per_l for recipe in recipes) if all(one.is_known for one in recipes) else 0.0,
        foods=tuple(doses[place] for place in sorted(doses)) if all(recipe.is_known for recipe in recipes) else (),
        water=waters.pop() if len(waters) == 1 else "unknown",
        guessed=tuple(dict.fromkeys(guess for recipe in recipes for guess in recipe.guessed)),
    )


def _strictest(composts: list[Compost]) -> Compost:
    """The one compost of all recipes; of several, one of which nothing good is shown."""
    if len(composts) == 1:
        return composts[0]
    animal = {compost.animal_origin for compost in composts}
    return Compost(key=HIDDEN, name=HIDDEN, animal_origin=True if True in animal else None if None in animal else False)
