"""The table of results: one line a world and way."""

from __future__ import annotations

import numpy as np

PEER = {
    "recipe": "knowing-recipe",
    "tests3": "knowing-tests3",
    "tests6": "knowing-tests3",
    "log": "knowing-log",
    "log+tests3": "knowing-log",
    "plain-tests3": "knowing-tests3",
}
COLUMNS = ("expected", "in_time", "in_biomass", "tests", "hour", "noticed")
AGAINST = {"dense2": "drop2", "dense4": "drop4"}  # everything else is held against the recipe alone


def _by_brew(rows: list[dict], way: str, name: str) -> dict[tuple, float]:
    return {(r["seed"], r["brew"]): float(r[name]) for r in rows if r["way"] == way}


def mean_and_error(values: np.ndarray) -> tuple[float, float]:
    """Mean and standard error, in per cent."""
    return 100.0 * float(values.mean()), 100.0 * float(values.std(ddof=1) / np.sqrt(len(values))) if len(values) > 1 else np.nan


def paired(rows: list[dict], way: str, other: str) -> str:
    """Mean difference of losses of the same brews, with its standard error."""
    mean, error = _difference(rows, way, other)
    return "" if way == other or not np.isfinite(mean) else f"{mean:+.1f} +- {error:.1f} to {other}"


def ratio(rows: list[dict], way: str) -> str:
    """Loss over that of the agent that knows the world, over the same brews."""
    peer = PEER.get(way, "")
    one, two = _by_brew(rows, way, "lost"), _by_brew(rows, peer, "lost")
    both = one.keys() & two.keys()
    if not both:
        return ""
    return f"{np.mean([one[key] for key in both]) / np.mean([two[key] for key in both]):.2f}"


def show(rows: list[dict], worlds: list[str], label: str) -> None:
    """Print the table of some worlds."""
    print(f"# {label}; lost, expected and inside in per cent; inside: 90 % intervals at harvest that hold the truth")
    print(
        f"{'world':10s} {'way':15s} {'brews':>5s} {'lost':>6s} {'s.e.':>5s} {'/knowing':>8s} {'expected':>8s} "
        f"{'time in':>7s} {'peak in':>7s} {'tests':>5s} {'hour':>5s} {'noticed':>7s} {'s/brew':>6s}  difference, paired"
    )
    for world in worlds:
        here = [r for r in rows if r["world"] == world]
        for way in dict.fromkeys(sorted((r["way"] for r in here), key=_order)):
            some = [r for r in here if r["way"] == way]
            mean, error = mean_and_error(np.array([r["lost"] for r in some]))
            column = {name: np.array([r.get(name, np.nan) for r in some], float) for name in COLUMNS}

            def per_cent(name: str, width: int, column: dict = column) -> str:
                known = column[name][np.isfinite(column[name])]
                return f"{100.0 * known.mean():{width}.1f}" if len(known) else " " * width

            print(
                f"{world:10s} {way:15s} {len(some):5d} {mean:6.1f} {error:5.1f} {ratio(here, way):>8s} {per_cent('expected', 8)} "
                f"{per_cent('in_time', 7)} {per_cent('in_biomass', 7)} "
                f"{column['tests'].mean():5.1f} {column['hour'].mean():5.1f} "
                f"{per_cent('noticed', 7)} {np.mean([r['seconds'] for r in some]):6.1f}  "
                f"{paired(here, way, AGAINST.get(way, 'recipe'))}",
                flush=True,
            )


def show_over_worlds(rows: list[dict], worlds: list[str]) -> None:
    """Print for each way of aerobe how the worlds compare: what is asked of the call is asked of the median and the worst."""
    print(
        f"{'over worlds':15s} {'worlds':>6s} {'/knowing: median, worst':>24s} {'less the best fixed: worst':>27s} "
        f"{'less recipe, in s.e.: worst':>28s} {'lost/expected':>14s} {'time in':>12s} {'peak in':>12s}"
    )
    for way in PEER:
        here = {world: [r for r in rows if r["world"] == world] for world in worlds}
        here = {world: some for world, some in here.items() if _by_brew(some, way, "lost")}
        if not here or way.startswith("plain"):
            continue
        ratios = [float(ratio(some, way)) for some in here.values() if ratio(some, way)]
        clock = [_difference(some, way, "best-fixed") for some in here.values()]
        recipe = [_difference(some, way, "recipe") for some in here.values()]
        mine = [[r for r in some if r["way"] == way] for some in here.values()]
        meant = [np.mean([r["lost"] for r in some]) / np.nanmean([r["expected"] for r in some]) for some in mine]
        inside = [[100.0 * np.nanmean([r[name] for r in some]) for some in mine] for name in ("in_time", "in_biomass")]
        worst_in_errors = max((mean / error for mean, error in recipe if error > 0.0), default=np.nan)
        print(
            f"{way:15s} {len(here):6d} "
            + (f"{np.median(ratios):15.2f}, {max(ratios):7.2f} " if ratios else " " * 25)
            + f"{max(mean for mean, _ in clock):27.1f} {worst_in_errors:28.1f} {min(meant):6.2f} to {max(meant):4.2f} "
            + " ".join(f"{min(some):5.0f} to {max(some):3.0f}" for some in inside)
        )


def _difference(rows: list[dict], way: str, other: str) -> tuple[float, float]:
    one, two = _by_brew(rows, way, "lost"), _by_brew(rows, other, "lost")
    both = sorted(one.keys() & two.keys())
    return mean_and_error(np.array([one[key] - two[key] for key in both])) if len(both) > 1 else (np.nan, np.nan)


def show_curves(rows: list[dict], cultures: list) -> None:
    """Print what each way loses on measured cultures, by where they come from."""
    best = _best_fixed(cultures)
    print(f"# best fixed hour over all cultures: {best:.1f} h; lost in per cent, in brackets what was expected at the harvest")
    for source in (*dict.fromkeys(curve.source for curve in cultures), ""):
        places = [i for i, curve in enumerate(cultures) if source in ("", curve.source)]
        cells = [f"best fixed {100.0 * np.mean([cultures[i].forgone(0, best) for i in places]):.1f}"]
        for way in ("drop", "plain-dense", "dense", "plain-tests3", "tests3"):
            some = [r for r in rows if r["way"] == f"curve-{way}" and r["brew"] in places]
            if some:
                mean, error = mean_and_error(np.array([r["lost"] for r in some]))
                expected = [r["expected"] for r in some if np.isfinite(r["expected"])]
                cells.append(f"{way} {mean:.1f} +- {error:.1f}" + (f" ({100.0 * np.mean(expected):.1f})" if expected else ""))
        print(f"{source or 'all':42s} {len(places):3d}  " + "; ".join(cells), flush=True)


def _best_fixed(cultures: list) -> float:
    hours = np.arange(0.0, max(curve.times_h[-1] for curve in cultures) + 1e-9, 0.5)
    return float(hours[np.argmin([np.mean([curve.forgone(0, hour) for curve in cultures]) for hour in hours])])


def _order(way: str) -> tuple[int, str]:
    first = ("best-fixed", "fixed24", "drop4", "drop2", "plain", "knowing")
    place = next((i for i, name in enumerate(first) if way.startswith(name)), len(first))
    return place, way
