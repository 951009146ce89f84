"""The room's cases of fits: lines, censored results, scatter and its sources, colour, and whole studies."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from aerobe import assay as a
from aerobe.assay import _censored as censored
from aerobe.assay import _characterise as made_of
from aerobe.assay import _colour as colours
from aerobe.assay import _controls as controls
from aerobe.assay import _error_record as record
from aerobe.assay import _scale as scale
from aerobe.assay import _two_component as two
from aerobe.assay import _variance as variance
from aerobe.assay._scale import Notes
from tests.kept_answers import Rough, numbers_in, refused

WHY = "the end of a search, which stops within its tolerance"
FEW = [3.1, 4.4, 2.0, 5.2, 7.9, 2.0, 9.6, 1.4]
HIDDEN = [False, False, True, False, False, True, False, False]
GROUPS = [[4.1, 6.3, 5.0], [23.0, 19.5, 25.2, 21.1], [61.0, 70.5], [118.0, 139.0, 127.0], [6.6, 4.9], [210.0, 262.0, 240.0]]


def rough(answer: object, rtol: float = 2e-4) -> Rough:
    return Rough(answer=answer, rtol=rtol, why=WHY)


def lines_and_limits() -> Rough:
    x = [0.0, 1.5, 3.0, 6.0, 12.0, 13.0]
    y = [2.0, 6.6, 12.4, 22.3, 42.0, 47.1]
    fit = a.polynomial(x, y, 2, weights=[1.0, 0.7, 0.5, 0.3, 0.2, 0.1])
    line = a.calibrate(x, y)
    many = [*np.round(np.exp(np.linspace(0.1, 3.0, 23)), 2)]
    low = [value < 3.0 for value in many]
    deep = [value < 9.0 for value in many]
    summary = a.censored_summary
    values, hidden = np.array(FEW), np.array(HIDDEN)
    return rough(
        [
            [fit, fit.at([1.0, 2.0, 3.0]), fit.interval([1.0, 2.0, 3.0]), fit.interval([1.0, 2.0, 3.0], 0.7), fit.sd(1)],
            [a.polynomial(x, y, 2, through_zero=True), line],
            line.level_at_zero_signal(),
            refused(lambda: a.calibrate(x[:2], y[:2])),
            [refused(lambda: a.calibrate(x, y[:-1])), refused(lambda: a.calibrate([0.0, 1.0, 2.0, 3.0], [2.0, 2.0, 2.0, 2.0]))],
            [
                refused(lambda: a.polynomial(x[:3], y[:3], 2)),
                refused(lambda: a.polynomial([0.0] * 4, y[:4], 1, through_zero=True)),
            ],
            refused(lambda: a.least_squares(np.ones((4, 2)), y[:4])),
            [a.limits_from_blanks(FEW), a.limits_from_blanks(FEW, readings=3, alpha=0.02, beta=0.1, relative_sd=0.3)],
            refused(lambda: a.limits_from_blanks([2.0, 2.0, 2.0])),
            a.limits_from_model(2.3, 0.11, readings=2, blanks=5.0, bias_sd=0.8, alpha=0.03, beta=0.08, relative_sd=0.21),
            [a.limits_from_model(2.3, cv) for cv in (0.05, 0.11, 0.7)],
            [refused(lambda: a.limits_from_model(0.0, 0.1)), a.noncentrality(7.0), a.noncentrality(7.0, 0.02, 0.1)],
            [a.censored_mean(FEW, HIDDEN), a.censored_mean(FEW, HIDDEN, level=0.7), a.censored_mean([4.0, 4.0, 3.0], [0, 0, 1])],
            refused(lambda: a.censored_mean(FEW[:3], [True, True, False])),
            [summary(FEW, HIDDEN, method=way) for way in ("normal likelihood", "lognormal likelihood")],
            [summary(FEW, HIDDEN, method=way, level=0.8, seed=4) for way in ("Kaplan-Meier", "regression on order statistics")],
            [censored._choose(np.array(many), np.array(marks)) for marks in (low, deep, [False] * 23)],
            [censored._choose(np.array(many[:19]), np.array(low[:19])), censored._choose(values - 2.0, hidden)],
            [censored._choose(values - 2.0, ~hidden), censored._choose(values - 2.0, hidden & False)],
            [censored._choose(np.array(many[:20]), np.array(low[:20])), censored._choose(10.0 + values**0.2, hidden)],
            [censored.kaplan_meier(values, hidden), censored.order_statistics(values, hidden)],
            [censored.order_statistics(np.array(many), np.array(deep)), censored.kaplan_meier(np.array(many), np.array(deep))],
            [refused(partial(summary, FEW[:4], marks)) for marks in ([True, True, False, False], [True] * 4)],
            [refused(lambda: summary(many, [value < 18.0 for value in many])), summary(FEW[:5], HIDDEN[:5]).method],
        ]
    )


def scatter() -> Rough:
    x = np.array([2.0, 20.0, 60.0, 130.0])
    seen = np.array([1.1, 5.0, 50.0, 130.0]), np.array([2.0, 3.0, 1.0, 4.0])
    logs = np.array([0.1, 0.3, 0.25, 0.62, 0.5, 0.71, 0.2, 0.44, 0.9, 1.1, 0.77, 0.95])
    days = list("aaabbbcccddd")
    people = list("uvwuvwuvwuvw")
    design = np.column_stack([np.ones(12), np.arange(12.0) % 2])
    model = variance._Restricted(logs, design, variance._indicators({"day": days, "operator": people}, 12)[0])
    sd = np.array([0.21, 0.07, 0.11])
    groups = [np.array(group) for group in GROUPS]
    marks = [np.zeros(3, dtype=bool), np.array([False, True, False, False])]
    return rough(
        [
            a.fit_two_component(GROUPS, background=3.3),
            a.fit_two_component(GROUPS[:4], level=0.7, below=[[False, False, True], [False] * 4, [True, True], [False] * 3]),
            a.fit_variances(x, *seen),
            [a.fit_variances(np.array(means), *seen) for means in ([0.0, 0.0, 60.0, 130.0], [-3.0, 20.0, 20.0, 20.0])],
            a.fit_variances(np.array([0.0, 10.0, 20.0]), np.array([0.0, 1.0, 4.1]), np.array([2.0, 2.0, 2.0])),
            [two._moments(group, mark) for group, mark in zip(groups[:2], marks, strict=True)],
            [
                refused(lambda: a.fit_two_component([[1.0, 2.0, 1.4], [3.0, 4.0]])),
                a.fit_two_component([[1.0, 2.0, 1.4], [9.0, 11.0, 10.4]]),
            ],
            refused(lambda: a.fit_two_component([[1.0, 2.0, 3.0, 2.2, 1.1, 1.3]])),
            refused(lambda: a.fit_two_component([[1.0, 1.0, 1.0], [3.0, 3.0, 3.0]])),
            [model.deviance(sd), model.fixed_part(sd), model.fit()[1]],
            a.components(list(logs), {"day": days, "operator": people}, fixed=design, intervals=False),
            a.components(list(logs), {"day": days}, level=0.7),
            a.components(list(3.0 * logs), {}, level=0.9).shares,
            a.components(list(logs), {"day": days, "operator": people}, intervals=False).deviance,
            [refused(partial(a.components, list(logs), {"day": bad})) for bad in (days[:3], ["a"] * 12, list(range(12)))],
            refused(lambda: a.components(list(logs), {"day": days, "run": days})),
        ]
    )


def odd_ones() -> list[object]:
    named = {f"r{place}": value for place, value in enumerate([3.1, 3.4, 2.9, 3.3, 4.9, 3.0])}
    groups = {"a": [3.1, 3.4, 2.9], "b": [3.3, 4.9], "c": [3.0, 3.2, 3.1, 3.15], "d": [5.9, 6.0]}
    found = a.mandel(groups)
    return [
        [a.grubbs(named), a.grubbs(named).verdict, a.grubbs({"a": 1.0, "b": 1.0, "c": 1.0})],
        [a.grubbs_critical(9, 0.03), a.cochran(groups), a.cochran(groups).verdict, a.cochran_critical(7, 3.5, 0.02)],
        a.cochran({"a": [1.0, 1.0], "b": [2.0, 2.0], "c": [5.0]}),
        [found, [numbers_in(said) for said in found.flagged()]],
        a.mandel({"a": [1.0, 1.0], "b": [1.0, 1.0], "c": [1.0, 1.0]}),
        [replace(a.grubbs(named), statistic=value).verdict for value in (1.8, 1.9, 2.0)],
        [refused(lambda: a.grubbs({"a": 1.0, "b": 2.0})), refused(lambda: a.cochran({"a": [1.0, 2.0], "b": [1.0]}))],
        [refused(lambda: a.mandel({"a": [1.0, 2.0], "b": [1.0, 2.0]})), refused(lambda: a.mandel({**groups, "e": [1.0]}))],
    ]


def without_cells() -> list[a.ColourReading]:
    water = [a.ColourReading(kind="water blank", signal=value) for value in (7.0, 8.9, 6.1, 8.2)]
    given = (
        ("filtered blank", "leaf", ((0.4, 27.0), (0.4, 31.0))),
        ("killed control", "leaf", ((0.46, 43.0), (0.45, 39.0))),
        ("colourant", "humic", ((0.2, 19.0), (0.4, 33.0), (0.8, 55.0))),
        ("colourant", "molasses", ((0.2, 12.0), (0.8, 30.0))),
        ("killed control", "worm", ((0.2, 60.0), (0.2, 66.0))),
    )
    return water + [
        a.ColourReading(kind=kind, what=what, colour=colour, signal=signal)
        for kind, what, seen in given
        for colour, signal in seen
    ]


def colour() -> Rough:
    readings = without_cells()
    live = {"leaf": (130.0, 0.39), "worm": (63.0, 0.3)}
    fit = a.estimate_colour_bias(readings, constant_sd=2.1, proportional_cv=0.08, live=live)
    below = [replace(item, below_detection=item.signal < 6.5) for item in readings]
    marked = a.estimate_colour_bias(below, constant_sd=2.1, proportional_cv=0.08, level=0.8)
    kinds = {"filtered blank": (30.0, 2.0, 0.40), "killed control": (41.0, 3.0, 0.43)}
    swapped = {"filtered blank": kinds["killed control"], "killed control": kinds["filtered blank"]}
    near = {"filtered blank": (30.0, 2.0, 0.40), "killed control": (34.0, 3.0, 0.45)}
    dark = {"filtered blank": (30.0, 2.0, 0.40), "killed control": (41.0, 3.0, 0.45)}

    def told(found: list[str]) -> list[object]:
        return [[numbers_in(one), one[-30:]] for one in found]

    against = partial(controls.against_tea, "leaf", constant_sd=3.0, cv=0.1, level=0.9)
    return rough(
        [
            [replace(fit, suspects=()), told(list(fit.suspects)), replace(marked, suspects=())],
            [fit.slope("humic"), fit.bias_at("molasses", 0.33)],
            [controls.against_each_other("leaf", one, 0.9)[:2] for one in (kinds, swapped, near, dark)],
            [numbers_in(controls.against_each_other("leaf", one, 0.9)[2]) for one in (kinds, swapped, near, dark)],
            [len(controls.against_each_other("leaf", one, 0.9)[2]) for one in (kinds, swapped, near, dark)],
            [told(against(kinds, one)) for one in (None, (20.0, 0.4), (38.0, 0.4), (50.0, 0.38), (90.0, 0.36), (90.0, 0.5))],
            [told(against(kinds, one)) for one in ((90.0, 0.445), (90.0, 0.48), (90.0, 0.0))],
            [
                told(controls.against_colourants("leaf", "x", one, [(40.0, 3.0), (30.0, 9.0)]))
                for one in ((80.0, 9.0), (80.0, 6.0))
            ],
            [told(controls.against_colourants("leaf", "x", (90.0, 3.0), [])), colours._between(np.array([3.0]), np.eye(1))],
            refused(lambda: a.estimate_colour_bias(readings[3:], constant_sd=2.1, proportional_cv=0.08)),
            refused(lambda: a.estimate_colour_bias(readings[:4], constant_sd=2.1, proportional_cv=0.08)),
            [refused(lambda: fit.slope("nothing")), refused(lambda: replace(readings[4], colour=-0.1))],
            [refused(lambda: replace(readings[4], what="")), refused(lambda: replace(readings[4], kind="tea"))],
        ]
    )


def studied() -> Rough:
    study = a.invented_study()
    found = shown()
    records = [a.error_for(found, name) for name in (None, "leaf-mould brew", "worm-cast brew")]
    bare = replace(found, colour=None)
    return rough(
        [
            [[item.signal, item.dilution, item.below_detection, item.colour] for item in study.readings[::9]],
            [len(study.readings), sum(item.signal for item in a.invented_study(3).readings), study.price, study.scale_low],
            [found.background, found.scatter, found.limits_blanks, found.limits_model, found.valid_range],
            [found.precision.single_cv, found.precision.sample_cv, found.precision.day_cv, found.precision.lot_log_sd],
            [found.linearity and found.linearity.deviations, found.parallelism, found.recoveries[0][1].fraction],
            [found.gain_log_sd, found.censored, len(found.missing), len(found.outliers), len(found.odd_groups)],
            [[item.test, item.statistic, item.verdict] for item in found.outliers],
            records,
            [a.typical_reading(found), a.typical_reading(found, "worm-cast brew"), a.typical_reading(found, "nothing")],
            [numbers_in(a.conclusion(found, records[1], "leaf-mould brew", reading=value)) for value in (9.0, 40.0, 300.0)],
            [numbers_in(text) for _, text in a.as_lines(found, records[1], "leaf-mould brew")],
            [a.meaning_of(found, records[0], 61.0, readings=2, with_scale=True), a.smallest_change(found)],
            [refused(lambda: a.meaning_of(found, records[0], 601.0)), a.meaning_of(found, records[0], 600.0).high],
            [refused(lambda: a.error_for(found, "nothing")), refused(lambda: a.error_for(bare, "leaf-mould brew"))],
            [
                record._background_sd(found),
                record._error(found, -40.0, 1.1, -3.0, -39.0, "x"),
                record._error(found, 9.0, 1.0, 30.0, 9.5, "x"),
            ],
            [
                len(a.study_as_table(study)),
                a.study_from_table(a.study_as_table(study), name="x", method="colour test").readings[-1],
            ],
        ],
        2e-3,
    )


_KEPT: list[a.Certificate] = []


def shown() -> a.Certificate:
    """The certificate of a part of the invented study, computed once."""
    if not _KEPT:
        study = a.invented_study()
        _KEPT.append(a.characterise(replace(study, readings=tuple(item for item in study.readings if item.kit_lot == "A"))))
    return _KEPT[0]


def lacking() -> Rough:
    def reading(role: str, signal: float, what: str = "", **given: object) -> a.StudyReading:
        return a.StudyReading(role=role, signal=signal, unit="x", what=what, **given)  # type: ignore[arg-type]

    def study_of(*readings: a.StudyReading) -> a.Study:
        return a.Study(name="s", method="colour test", readings=readings)

    water = [reading("water blank", value) for value in (5.0, 7.0, 6.4)]
    under = [reading("water blank", 3.0, below_detection=True), reading("water blank", 4.0), reading("water blank", 5.2)]
    tea = [reading("sample", value, "t", colour=0.2) for value in (90.0, 101.0, 97.0, 140.0)]
    thin = [reading("sample", value / 2.0, "t", dilution=2.0) for value in (88.0, 99.0)]
    strong = [reading("standard", value, added=90.0) for value in (92.0, 101.0)]
    more = [reading("standard", value, added=30.0) for value in (36.0, 41.0, 39.0)]
    spiked = [reading("spike", value, "t", added=70.0) for value in (160.0, 171.0)]
    other = [reading("sample", value, "u", day=day) for day, value in (("1", 50.0), ("1", 55.0), ("2", 61.0), ("2", 58.0))]
    third = [reading("sample", value, "u", day="3") for value in (90.0, 99.0)]
    notes = Notes(missing=[])
    precision = replace(shown().precision, lot_log_sd=0.07, operator_log_sd=0.11)
    made = scale.find_recoveries(study_of(*water, *tea, *spiked, *strong, *more), 0.9, notes)
    parts = [made_of.characterise(study_of(*water, *tea, *thin))]
    head = "role;signal;unit;what;colour;added;dilution;mark\n"
    table = partial(a.study_from_table, name="n", method="m")
    row = "sample;<5,5;ug;t;0,2;;4;\nblank;7;ug;;;;;\nspike;90;ug;t;;12,5;;above\n"
    return rough(
        [
            [
                made_of._background(study_of(*one), notes)
                for one in (water, under, tea, [under[0]] * 3, [under[1], under[1], replace(under[0], signal=4.0)])
            ],
            [made_of._censored(study_of(*one)) for one in (water, under)],
            [refused(lambda: made_of._refuse_swapped([99.0, 120.0], tea[:3])), made_of._refuse_swapped([99.0, 102.9], tea[:3])],
            [[item.suspect, item.statistic] for item in made_of._outliers(a.replicate_groups([*tea, *thin, *water, *other]))],
            [[numbers_in(said) for said in made_of._odd_groups(study_of(*other, *third, *tea))], len(notes.missing)],
            [
                made_of._label(key)
                for key in a.replicate_groups([*thin, *spiked, *strong, *other, reading("colourant", 3.0, "h", colour=0.4)])
            ],
            [[name, item.fraction, item.low, item.high] for name, item in made],
            [scale.gain_of(precision, some)[0] for some in ((), made, made[:1])],
            [numbers_in(scale.gain_of(precision, some)[1]) for some in ((), made)],
            made_of._parallel(study_of(*water, *tea, *thin, *strong, *more), 6.1, notes),
            made_of._linear(study_of(*water, *tea), shown().scatter, 6.1, notes),
            [[one.background, one.scatter.constant_sd, one.valid_range, one.gain_log_sd, len(one.missing)] for one in parts],
            [a.typical_reading(parts[0]), a.typical_reading(replace(parts[0], study=study_of(*water))), a.error_for(parts[0])],
            [made_of._estimable(np.ones((4, 1)), list(labels), {}) for labels in ("aabb", "aaaa", "abcd", "aaab")],
            made_of._estimable(np.ones((4, 1)), list("aabb"), {"day": list("xxyy")}),
            [table(head + row).readings, len(table(head + "blank;7;ug;;;;;\n" * 3000).readings)],
            refused(lambda: table(head + "blank;7;ug;;;;;\n" * 3001)),
            [refused(partial(table, head + bad)) for bad in ("", "blank;;ug;;;;;\n", "blank;7;;;;;;\n", "blank;7;ug;;;;;up\n")],
            [refused(partial(table, head + bad)) for bad in ("blank;x;ug;;;;;\n", "blank;7;ug;;;;;;;\n", "blank;7;ug;;;;0,5;\n")],
            [refused(partial(table, bad)) for bad in ("role;signal\nblank;7\n", "role;signal;unit;size\nblank;7;ug;3\n")],
            [
                refused(partial(replace, tea[0], **bad))
                for bad in ({"colour": -0.1}, {"dilution": 0.9}, {"dilution": 2e12}, {"added": -1.0})
            ],
            [
                refused(partial(replace, tea[0], **bad))
                for bad in ({"role": "x"}, {"signal": -1.0}, {"what": ""}, {"role": "spike"})
            ],
            refused(lambda: replace(tea[0], below_detection=True, above_range=True)),
            [refused(lambda: study_of()), refused(lambda: study_of(tea[0], replace(tea[1], unit="y")))],
            [len(group) for group in a.replicate_groups([*tea, *thin, replace(tea[0], above_range=True), *other]).values()],
        ],
        2e-3,
    )
