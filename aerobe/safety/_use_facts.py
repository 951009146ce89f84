"""What is known of a tea and of the place it is to go to. None, "" and () mean not answered, and never count as a yes."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.safety._findings import NOT_SHOWN, STATES
from aerobe.safety._mist import MistFacts

# What the material counts as by its process, before water and additives are looked at.
PLANTS, UNTREATED, TREATED, TREATED_A = "plants only", "untreated", "treated", "treated to 112.55(a)"
SLUDGE_A, SLUDGE_B, HUMAN, UNKNOWN = "sewage sludge, class A", "sewage sludge, class B", "human waste", "not known"
KINDS = (PLANTS, UNTREATED, TREATED, TREATED_A, SLUDGE_A, SLUDGE_B, HUMAN, UNKNOWN)
# What it was made of, as a person says it.
MADE_OF = ("plants", "manure", "food waste", "fish or animal", "sewage sludge", "human waste")


@dataclass(frozen=True, slots=True, kw_only=True)
class UseFacts(MistFacts):
    """What is known of where a tea is to go; what is not answered keeps every gate shut that it could shut."""

    # Whose rules.
    jurisdiction: str = ""  # whose rules the person chose; "" for none
    certified_organic: bool | None = None  # grown under an organic certificate
    own_days: float | None = None  # a stricter rule of the person's own: days before harvest, grazing or people [d]
    own_test: bool | None = None  # a stricter rule of the person's own: no use without a passed test

    # What is it.
    tea: str = UNKNOWN  # what the material counts as by its process, one of KINDS
    organic_tea: str = ""  # the same under the organic rule of heating, where that is another; "" for the same
    tea_why: str = "Nothing is recorded of its compost, water and additives."
    made_of: tuple[str, ...] = ()  # some of MADE_OF
    soiled_again: bool | None = None  # soiled after its heating, or mixed with raw manure
    has_additives: bool | None = None  # foods in the brew: molasses, kelp, fish ...
    animal_additive: bool | None = None  # fish, shellfish, blood, bone or milk among them
    water: str = NOT_SHOWN  # finding on the water, one of STATES
    held_over_an_hour: bool | None = None  # from wetting the material to the use
    e_coli: str = NOT_SHOWN  # finding of the indicator test, one of STATES
    enterococci: str = NOT_SHOWN  # the same
    salmonella: str = NOT_SHOWN  # the same, of the tea or of its compost
    listeria: str = NOT_SHOWN
    e_coli_o157: str = NOT_SHOWN

    # Where does it go.
    crop: str = ""  # free text
    edible: bool | None = None  # is anything eaten from this place
    seedling: bool | None = None  # eaten as sprout, shoot, seedling, microgreen or germinated seed
    eaten_raw: bool | None = None
    rarely_raw: bool | None = None  # the person finds it on the list of 21 CFR 112.2(a)(1)
    smoked_or_steeped: bool | None = None  # hops, cannabis, tobacco, tea, herbs
    grazed: bool | None = None  # grazed, or cut as fodder
    pigs: bool | None = None  # are there pigs among what grazes
    people_on_it: bool | None = None  # children, pets or others sit, play or work on it with bare hands
    weak_immunity: bool | None = None  # somebody among them has weak immunity
    garden: bool | None = None  # house, kitchen or allotment garden
    in_water: bool | None = None  # it goes into water that feeds plants (hydroponic, aquaponic)
    fish_in_water: bool | None = None
    names_checked: bool | None = None  # the person looked again at answers that differ from what the name suggests

    # What it touches.
    part_is_there: bool | None = None  # is the part that is eaten (smoked, steeped) there when it goes on
    touches_edible_part: bool | None = None  # does tea reach that part when it goes on
    touches_later: bool | None = None  # can that part touch the tea or the wetted soil later: splash, lodging, picking up
    edible_part_touches_soil: bool | None = None  # roots, lettuce, fallen fruit ...
    grows_in_soil: bool | None = None  # that part grows inside soil or substrate: roots, tubers, mushrooms

    # When.
    days_to_harvest: float | None = None  # from the use to the first harvest [d]
    days_to_grazing: float | None = None  # to the first grazing or cutting [d]
    days_to_people: float | None = None  # to the first people, children or pets on it [d]

    def __post_init__(self) -> None:
        MistFacts.__post_init__(self)
        for name in ("e_coli", "enterococci", "salmonella", "listeria", "e_coli_o157", "water"):
            if getattr(self, name) not in STATES:
                raise UnusableRecord(f"'{getattr(self, name)}' is no finding ({name}).", f"Use one of: {', '.join(STATES)}.")
        if self.organic_tea not in ("", *KINDS):
            raise UnusableRecord(f"'{self.organic_tea}' is no kind of tea.", f"Use one of: {', '.join(KINDS)}.")
        if self.tea not in KINDS:
            raise UnusableRecord(f"'{self.tea}' is no kind of tea.", f"Use one of: {', '.join(KINDS)}.")
        for word in self.made_of:
            if word not in MADE_OF:
                raise UnusableRecord(f"'{word}' is no material on file.", f"Use some of: {', '.join(MADE_OF)}.")
