"""Odd files with something wrong or missing in them: what must come out, and what must be said."""

from __future__ import annotations

from collections.abc import Iterator

from tests.tables._odd import ALL, BREWS, HOURS, OD, Odd, course, long_rows, plain


def dialects_of_trouble() -> Iterator[Odd]:
    body = long_rows()
    head = "treatment,bottle,hours,cells/mL\n"
    renamed = "".join(
        f"{'1' if bottle in 'AC' else '2'},{arm},{bottle if False else 'x'},{hour},{value:.6g}\n"
        for (arm, bottle), values in BREWS.items()
        for hour, value in zip(HOURS, values, strict=True)
    )
    yield Odd(
        id="two experiments, one name", content=("experiment,treatment,bottle,hours,cells/mL\n" + renamed).encode(), courses=ALL
    )
    yield Odd(
        id="a column that nobody knows",
        content=("shelf,treatment,bottle,hours,cells/mL\n" + renamed).encode(),
        reply={"column:shelf": "bottle"},
        courses=ALL,
    )
    killed = "kelp killed,A,0,51000\nkelp killed,A,24,49000\n"
    yield Odd(
        id="killed controls",
        content=(head + body + killed).encode(),
        courses=ALL,
        role_courses=frozenset({course((51000, 49000), (0, 24))}),
    )
    role = (
        head.replace("\n", ",sample type\n")
        + body.replace("\n", ",tea\n")
        + "kelp,A,0,51000,autoclaved\nkelp,A,24,49000,autoclaved\n"
    )
    yield Odd(
        id="a column of roles", content=role.encode(), courses=ALL, role_courses=frozenset({course((51000, 49000), (0, 24))})
    )
    broken = body.replace("kelp,A,24", "kelp,A,18,ERR\nkelp,A,20,#N/A\nkelp,A,21,-9999\nkelp,A,24")
    yield Odd(id="error words and numbers", content=(head + broken).encode(), courses=ALL, says="error word")
    means = "".join(f"{arm},mean,{hour},2e6\n" for arm in ("kelp", "plain") for hour in HOURS)
    yield Odd(id="means among brews", content=(head + body + means).encode(), courses=ALL)
    sums = "Mean,,,3.1e6\nSD,,,2.2e6\n"
    yield Odd(
        id="sums at the foot",
        content=(
            "hours,treatment,bottle,cells/mL\n"
            + "".join(
                f"{hour},{arm},{bottle},{value:.6g}\n"
                for (arm, bottle), values in BREWS.items()
                for hour, value in zip(HOURS, values, strict=True)
            )
            + sums
        ).encode(),
        courses=ALL,
        says="sum others up",
    )
    commas = "treatment,bottle,hours,OD600\n" + "".join(
        f'{arm},{bottle},{hour},"{one:.3f}"\n'.replace(".", ",")
        for (arm, bottle), values in OD.items()
        for hour, one in zip(HOURS, (1.0 + v for v in values), strict=True)
    )
    want = frozenset(course(tuple(float(f"{1 + one:.3f}") for one in values)) for values in OD.values())
    yield Odd(id="1,305 is no thousand", content=commas.encode(), courses=want, unit="OD")
    doubled = body.replace("kelp,A,6,2.5e+06", "kelp,A,6,2.5e+06\nkelp,A,6,7.5e+05")
    yield Odd(
        id="doubles that disagree", content=(head + doubled).encode(), reply={"doubles": "the first one counts"}, courses=ALL
    )
    copied = body.replace("kelp,A,6,2.5e+06", "kelp,A,6,2.5e+06\nkelp,A,6,2.5e+06")
    yield Odd(id="a row pasted twice", content=(head + copied).encode(), courses=ALL)
    several = "treatment,bottle,hours,bacteria (CFU/mL),fungi (CFU/mL)\n" + body.replace("\n", ",1000\n")
    fungi = frozenset({course((1000, 1000, 1000, 1000))})
    yield Odd(id="two columns of values", content=several.encode(), courses=ALL | fungi, unit="CFU/mL")
    spreads = "treatment,bottle,hours,cells/mL,SD,n\n" + body.replace("\n", ",100000,3\n")
    yield Odd(id="SD and n", content=spreads.encode(), courses=ALL, sds=True)
    plus = plain("treatment,bottle,hours,cells/mL", fmt="{:.6g} \u00b1 1e5")
    yield Odd(id="plus and minus", content=plus, courses=ALL, sds=True)
    over = "treatment,hours,mean cells/mL,SD,n\n" + "".join(
        f"{arm},{hour},{value:.6g},1e5,3\n"
        for (arm, bottle), values in BREWS.items()
        if bottle in "AC"
        for hour, value in zip(HOURS, values, strict=True)
    )
    two = frozenset(course(BREWS[key]) for key in (("kelp", "A"), ("plain", "C")))
    yield Odd(id="means of what", content=over.encode(), reply={"means of": "tests of one brew"}, courses=two, sds=True)
    bounds = body.replace("plain,D,0,1.25e+06", "plain,D,0,<1.25e6")
    yield Odd(id="below a bound", content=(head + bounds).encode(), courses=ALL)
    codes = body.replace("plain,D,0,1.25e+06", "plain,D,0,ND")
    yield Odd(id="ND without a limit", content=(head + codes).encode(), reply={"limit below:cells/mL": "1250000"}, courses=ALL)
    lod = "treatment,bottle,hours,cells/mL,LOD\n" + codes.replace("\n", ",1250000\n")
    yield Odd(id="ND with a column of limits", content=lod.encode(), courses=ALL)
    flags = "treatment,bottle,hours,cells/mL,flag\n" + body.replace("\n", ",ok\n").replace(
        "kelp,A,6,2.5e+06,ok", "kelp,A,6,2.5e+06,ok\nkelp,A,6,9.9e+07,suspect"
    )
    yield Odd(id="flagged rows", content=flags.encode(), reply={"flag:suspect": "leave out"}, courses=ALL)
    nominal = "treatment,bottle,hours,cells/mL,temperature (degC)\n" + body.replace("\n", ",20\n")
    yield Odd(id="a nominal temperature", content=nominal.encode(), courses=ALL, says="never changes")
    doses = {("kelp", "A"): 0, ("kelp", "B"): 2, ("plain", "C"): 5, ("plain", "D"): 10}
    dosed = "molasses g/L,hours,cells/mL\n" + "".join(
        f"{doses[key]},{hour},{value:.6g}\n" for key, values in BREWS.items() for hour, value in zip(HOURS, values, strict=True)
    )
    yield Odd(id="doses", content=dosed.encode(), courses=ALL)
    both = "batch,vessel,hours,cells/mL\n" + "".join(
        f"{1 if arm == 'kelp' else 2},{bottle if arm == 'kelp' else chr(ord(bottle) - 2)},{hour},{value:.6g}\n"
        for (arm, bottle), values in BREWS.items()
        for hour, value in zip(HOURS, values, strict=True)
    )
    yield Odd(id="two columns name one brew", content=both.encode(), courses=ALL)
    logs = "treatment,bottle,hours,log10 cells/mL\n" + "".join(
        f"{arm},{bottle},{hour},{__import__('math').log10(value)!r}\n"
        for (arm, bottle), values in BREWS.items()
        for hour, value in zip(HOURS, values, strict=True)
    )
    yield Odd(id="logarithms", content=logs.encode(), courses=ALL)
    letters = plain("treatment,bottle,hours,cells/mL", fmt="{:.6g} a")
    yield Odd(id="letters behind numbers", content=letters, courses=ALL)
