"""What stands on the shelf of the invented notebook: heap, recipes, buckets, test and probe. All of it is made up."""

from __future__ import annotations

from aerobe.inference import Probe
from aerobe.records import AirSupply, Assay, AssayError, Compost, FoodDose, HeatLog, Recipe, Vessel

INVENTED = "Invented for the demo: no such place, brew or reading exists."
COLOUR = 6.0  # what the tea's colour adds to the colour test [ug C/mL]

COMPOST = Compost(
    key="orchard-heap",
    name="Orchard heap (invented)",
    origin="leaves, straw and grass of an invented orchard",
    process="windrow",
    animal_origin=False,
    age_days=190.0,
    moisture=0.55,
    bulk_density_kg_per_l=0.6,
    carbon_to_nitrogen=29.0,
    heat=HeatLog(
        days=tuple(float(day) for day in range(0, 24)),
        temperatures_degc=(
            18.0,
            34.0,
            48.0,
            56.0,
            60.0,
            61.0,
            62.0,
            61.0,
            60.0,
            61.0,
            60.0,
            59.0,
            60.0,
            59.0,
            58.0,
            59.0,
            58.0,
            57.0,
            58.0,
            57.0,
            56.0,
            50.0,
            44.0,
            39.0,
        ),
        turned_on_days=(4.0, 7.0, 10.0, 13.0, 16.0, 19.0),
    ),
)
RECIPES = {
    "plain": Recipe(
        key="plain",
        name="Plain (invented)",
        compost=COMPOST.key,
        compost_g_per_l=50.0,
        water="rain",
        notes=INVENTED,
        foods=(FoodDose(food="molasses", g_per_l=0.8),),
    ),
    "bare": Recipe(
        key="bare",
        name="Compost only (invented)",
        compost=COMPOST.key,
        compost_g_per_l=50.0,
        water="rain",
        notes=INVENTED,
        foods=(),
    ),
    "kelp": Recipe(
        key="kelp",
        name="With kelp (invented)",
        compost=COMPOST.key,
        compost_g_per_l=50.0,
        water="rain",
        notes=INVENTED,
        foods=(FoodDose(food="molasses", g_per_l=0.8), FoodDose(food="kelp-extract", g_per_l=1.0)),
    ),
}
VESSELS = {
    f"bucket-{letter}": Vessel(
        key=f"bucket-{letter}",
        name=f"Bucket {letter.upper()} (invented)",
        volume_l=20.0,
        depth_m=0.32,
        altitude_m=120.0,
        air=AirSupply(flow_l_per_min=12.0, diffuser="coarse bubble", power_w=8.0),
    )
    for letter in "abcd"
}
ASSAY = Assay(
    key="colour-test",
    name="Colour test (invented)",
    method="colour test",
    price=9.0,
    error=AssayError(
        constant_sd=4.0,
        proportional_cv=0.18,
        gain_log_sd=0.25,
        detection_limit=8.0,
        upper_limit=2000.0,
        origin="invented for the demo",
    ),
)
PROBE = Probe(noise_mg_per_l=0.08)
PROBE_NAME = "demo"
