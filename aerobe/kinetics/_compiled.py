# mypy: disable-error-code="no-untyped-def"
"""The equations of a brew and their solver, compiled.

State, in mg C/L unless said:
bacteria, fungi, grazers, readily used food, slowly released food, dissolved oxygen [mg/L], readiness [-].

What is published: growth by Monod on food and oxygen with a yield and hydrolysis of slow food after ASM1
(henze-2000), the lag as a readiness that itself grows (baranyi-roberts-1994), endogenous decay that quickens when food is
gone (herbert-1958, pirt-1982), and grazers with a saturating appetite (holling-1959, fenchel-1982).
Carbon is the currency: oxygen used is 32/12 mg per mg of carbon respired.

The solver is RODAS, order 4 with an embedded order 3, L-stable (hairer-wanner-1996, section IV.7): oxygen answers within
minutes or seconds, biomass within hours, and an explicit method would crawl. Steps end at every output time, so that no
interpolation enters the answer.

The functions are scalar and free of allocation, so that the same source is compiled for processor and graphics card.
They stand in one file because the cache of compiled code watches one file only: a constant changed elsewhere would be missed.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
from numba import njit, prange

STATES = ("bacteria", "fungi", "grazers", "readily_used_food", "slowly_released_food", "oxygen", "readiness")
N_STATES = len(STATES)
BACTERIA, FUNGI, GRAZERS, FOOD, SLOW, OXYGEN, READINESS = range(N_STATES)
# Beside the states, what a logger sees: the mean oxygen since the output time before. Where oxygen snaps back within
# minutes, its value at a time jumps as a parameter moves, its mean does not.
OXYGEN_MEAN = N_STATES
N_OUT = N_STATES + 1

PARAMETERS = (
    "bacteria_growth_per_h",  # largest specific growth rate at 20 degC [1/h]
    "fungi_growth_per_h",  # the same of fungi [1/h]
    "yield_fraction",  # biomass carbon made per food carbon taken up [-]
    "half_food_mg_c_per_l",  # food at half growth, bacteria and fungi [mg C/L]
    "half_oxygen_mg_per_l",  # oxygen at half growth [mg/L]
    "release_per_h",  # largest release of slow food per biomass [mg C/mg C/h]
    "decay_per_h",  # endogenous decay while food lasts, at 20 degC [1/h]
    "starvation_per_h",  # what decay gains when food is gone, at 20 degC [1/h]
    "grazer_growth_per_h",  # largest specific growth rate of grazers at 20 degC [1/h]
    "kla_per_h",  # oxygen transfer at 20 degC [1/h]
)
N_PARAMETERS = len(PARAMETERS)

OXYGEN_PER_CARBON = 32.0 / 12.0  # respiration of carbohydrate: one O2 a carbon (stoichiometry)
RELEASE_HALF = 0.03  # slow food over biomass at half release, ASM1 K_X at 20 degC (henze-2000) [-]
FUNGAL_DECAY = 0.5  # fungi decay at half the bacterial rate; from memory, hyphae outlast cells [-]
LYSIS_TO_FOOD = 0.5  # of decayed biomass that becomes slow food; the rest is respired (assumed) [-]
GRAZER_YIELD = 0.3  # grazer carbon made per carbon eaten (fenchel-1982, from memory: 0.2 to 0.4) [-]
GRAZER_HALF = 30.0  # bacteria at half appetite [mg C/L]; order of fenchel-1982, from memory
GRAZER_DEATH = 0.02  # [1/h], assumed


@njit(cache=True, error_model="numpy")
def slopes(y, p, growth, decay, transfer, saturation, out):
    """Write dy/dt into `out`.

    `growth`, `decay` and `transfer` are the temperature factors relative to 20 degC [-], `saturation` the oxygen
    in balance with air [mg/L].
    """
    food = max(y[3], 0.0)
    oxygen = max(y[5], 0.0)
    slow = max(y[4], 0.0)
    living = y[0] + y[1]
    fed = food / (p[3] + food)
    aerobic = oxygen / (p[4] + oxygen)

    bacteria_made = p[0] * growth * y[6] * fed * aerobic * y[0]
    fungi_made = p[1] * growth * y[6] * fed * aerobic * y[1]
    eaten_food = (bacteria_made + fungi_made) / p[2]
    released = p[5] * growth * slow * living / (RELEASE_HALF * living + slow + 1e-12)

    rate = (p[6] + p[7] * (1.0 - fed)) * decay
    bacteria_lost = rate * y[0]
    fungi_lost = FUNGAL_DECAY * rate * y[1]
    decayed = bacteria_lost + fungi_lost + GRAZER_DEATH * decay * y[2]

    grazer_made = p[8] * growth * aerobic * y[0] / (GRAZER_HALF + y[0]) * y[2]
    grazed = grazer_made / GRAZER_YIELD
    # Half of what grazers do not keep is respired, half is spilt as slow food.
    spilt = 0.5 * (grazed - grazer_made)

    respired = (eaten_food - bacteria_made - fungi_made) + (1.0 - LYSIS_TO_FOOD) * decayed * aerobic + spilt
    out[0] = bacteria_made - bacteria_lost - grazed
    out[1] = fungi_made - fungi_lost
    out[2] = grazer_made - GRAZER_DEATH * decay * y[2]
    out[3] = released - eaten_food
    # Without oxygen the part that would be respired stays in the brew as slow food: carbon is not lost.
    out[4] = LYSIS_TO_FOOD * decayed + (1.0 - LYSIS_TO_FOOD) * decayed * (1.0 - aerobic) + spilt - released
    out[5] = p[9] * transfer * (saturation - y[5]) - OXYGEN_PER_CARBON * respired
    out[6] = p[0] * growth * y[6] * (1.0 - y[6])


GAMMA = 0.25
A21 = 1.544
A31, A32 = 0.9466785280815826, 0.2557011698983284
A41, A42, A43 = 3.314825187068521, 2.896124015972201, 0.9986419139977817
A51, A52, A53, A54 = 1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950
C21 = -5.6688
C31, C32 = -2.430093356833875, -0.2063599157091915
C41, C42, C43 = -0.1073529058151375, -9.594562251023355, -20.47028614809616
C51, C52, C53, C54 = 7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160
C61, C62, C63, C64, C65 = (
    8.083246795921522,
    -7.981132988064893,
    -31.52159432874371,
    16.31930543123136,
    -6.058818238834054,
)
D1, D2, D3, D4 = 0.25, -0.1043, 0.1035, -0.0362
T2, T3, T4 = 0.386, 0.21, 0.63
FLOOR = 1e-3  # below this a state is small in absolute terms [mg/L]: error is judged against it
FIRST_STEP_H = 0.01


@njit(cache=True, error_model="numpy")
def factorise(m, pivots):
    """LU factors of `m` in place, with partial pivoting."""
    for k in range(N_STATES):
        best = k
        for i in range(k + 1, N_STATES):
            if abs(m[i, k]) > abs(m[best, k]):
                best = i
        pivots[k] = best
        if best != k:
            for j in range(N_STATES):
                swap = m[k, j]
                m[k, j] = m[best, j]
                m[best, j] = swap
        inverse = 1.0 / m[k, k]
        m[k, k] = inverse  # what `solve` needs of it: six solutions share one division
        for i in range(k + 1, N_STATES):
            factor = m[i, k] * inverse
            m[i, k] = factor
            if factor != 0.0:
                for j in range(k + 1, N_STATES):
                    m[i, j] -= factor * m[k, j]


@njit(cache=True, error_model="numpy")
def solve(m, pivots, x):
    """Solve in place with the factors of `factorise`, whose diagonal holds inverses."""
    for k in range(N_STATES):
        other = pivots[k]
        if other != k:
            swap = x[k]
            x[k] = x[other]
            x[other] = swap
    for i in range(1, N_STATES):
        total = x[i]
        for j in range(i):
            total -= m[i, j] * x[j]
        x[i] = total
    for i in range(N_STATES - 1, -1, -1):
        total = x[i]
        for j in range(i + 1, N_STATES):
            total -= m[i, j] * x[j]
        x[i] = total * m[i, i]


@njit(cache=True, error_model="numpy")
def advance(y, p, start, end, left, right, tolerance, step, work, matrix, pivots):
    """Carry `y` from `start` to `end` hours; the four forcings run straight from `left` to `right`.

    Returns the step to try next, or a negative number if the brew could not be carried on.
    `work` has shape (12, states), `matrix` (states, states).
    """
    span = end - start
    # work rows: 0 slope, 1 time slope, 2 stage state, 3 stage slope, 4 to 9 stages, 10 trial,
    # 11 the oxygen summed so far [mg/L h]
    t = start
    h = min(step, span)
    tries = 0
    while t < end - 1e-12 * (1.0 + abs(end)):
        tries += 1
        if tries > 20000:
            return -1.0
        if t + h > end:
            h = end - t
        w = (t - start) / span
        g = left[0] + w * (right[0] - left[0])
        d = left[1] + w * (right[1] - left[1])
        k = left[2] + w * (right[2] - left[2])
        s = left[3] + w * (right[3] - left[3])
        slopes(y, p, g, d, k, s, work[0])
        jacobian(y, p, g, d, k, matrix)
        _time_slope(y, p, left, right, start, span, t, h, work)
        for i in range(N_STATES):
            for j in range(N_STATES):
                matrix[i, j] = -matrix[i, j]
            matrix[i, i] += 1.0 / (GAMMA * h)
        factorise(matrix, pivots)
        error = _stages(y, p, left, right, start, span, t, h, work, matrix, pivots, tolerance)
        if error <= 1.0:
            t += h
            work[11, 0] += 0.5 * h * (y[OXYGEN] + work[10, OXYGEN])
            for i in range(N_STATES):
                y[i] = work[10, i]
        # A nan compares false everywhere: it is no small error, and shrinks the step below.
        grow = 6.0 if error <= 1e-8 else 0.9 / sqrt(sqrt(error))
        if not grow >= 0.2:
            grow = 0.2
        if grow > 6.0:
            grow = 6.0
        h *= grow
        if h < 1e-10:
            return -1.0
    return h


@njit(cache=True, error_model="numpy")
def jacobian(y, p, growth, decay, transfer, m):
    """Write the derivatives of `slopes` by the states into `m`, row by row: each slope by each state."""
    food, oxygen, slow = max(y[3], 0.0), max(y[5], 0.0), max(y[4], 0.0)
    living = y[0] + y[1]
    to_food, to_oxygen = 1.0 / (p[3] + food), 1.0 / (p[4] + oxygen)
    fed, aerobic = food * to_food, oxygen * to_oxygen
    fed_by = p[3] * to_food * to_food if y[3] >= 0.0 else 0.0
    aerobic_by = p[4] * to_oxygen * to_oxygen if y[5] >= 0.0 else 0.0

    per_yield = 1.0 / p[2]
    pace = growth * y[6] * fed * aerobic
    quick = p[0] * y[0] + p[1] * y[1]
    by_food, by_oxygen = growth * y[6] * fed_by * aerobic, growth * y[6] * fed * aerobic_by
    by_readiness = growth * fed * aerobic

    share = 1.0 / (RELEASE_HALF * living + slow + 1e-12)
    released = p[5] * growth * share * share
    released_by_living = released * slow * (slow + 1e-12)
    released_by_slow = released * living * (RELEASE_HALF * living + 1e-12) if y[4] >= 0.0 else 0.0

    rate = (p[6] + p[7] * (1.0 - fed)) * decay
    rate_by_food = -p[7] * decay * fed_by
    loss = y[0] + FUNGAL_DECAY * y[1]
    decayed = rate * loss + GRAZER_DEATH * decay * y[2]

    met = 1.0 / (GRAZER_HALF + y[0])
    grazer = p[8] * growth * aerobic * y[0] * met
    grazed_by_bacteria = p[8] * growth * aerobic * y[2] * GRAZER_HALF * met * met
    grazed_by_oxygen = p[8] * growth * aerobic_by * y[0] * met * y[2]
    eaten, spilt = 1.0 / GRAZER_YIELD, 0.5 * (1.0 / GRAZER_YIELD - 1.0)

    m[0, 0] = p[0] * pace - rate - eaten * grazed_by_bacteria
    m[0, 1] = 0.0
    m[0, 2] = -eaten * grazer
    m[0, 3] = p[0] * by_food * y[0] - rate_by_food * y[0]
    m[0, 4] = 0.0
    m[0, 5] = p[0] * by_oxygen * y[0] - eaten * grazed_by_oxygen
    m[0, 6] = p[0] * by_readiness * y[0]

    m[1, 0] = 0.0
    m[1, 1] = p[1] * pace - FUNGAL_DECAY * rate
    m[1, 2] = 0.0
    m[1, 3] = (p[1] * by_food - FUNGAL_DECAY * rate_by_food) * y[1]
    m[1, 4] = 0.0
    m[1, 5] = p[1] * by_oxygen * y[1]
    m[1, 6] = p[1] * by_readiness * y[1]

    m[2, 0] = grazed_by_bacteria
    m[2, 1] = 0.0
    m[2, 2] = grazer - GRAZER_DEATH * decay
    m[2, 3] = 0.0
    m[2, 4] = 0.0
    m[2, 5] = grazed_by_oxygen
    m[2, 6] = 0.0

    m[3, 0] = released_by_living - per_yield * p[0] * pace
    m[3, 1] = released_by_living - per_yield * p[1] * pace
    m[3, 2] = 0.0
    m[3, 3] = -per_yield * by_food * quick
    m[3, 4] = released_by_slow
    m[3, 5] = -per_yield * by_oxygen * quick
    m[3, 6] = -per_yield * by_readiness * quick

    stays = LYSIS_TO_FOOD + (1.0 - LYSIS_TO_FOOD) * (1.0 - aerobic)
    m[4, 0] = stays * rate + spilt * grazed_by_bacteria - released_by_living
    m[4, 1] = stays * FUNGAL_DECAY * rate - released_by_living
    m[4, 2] = stays * GRAZER_DEATH * decay + spilt * grazer
    m[4, 3] = stays * rate_by_food * loss
    m[4, 4] = -released_by_slow
    m[4, 5] = spilt * grazed_by_oxygen - (1.0 - LYSIS_TO_FOOD) * aerobic_by * decayed
    m[4, 6] = 0.0

    burnt, respired = per_yield - 1.0, (1.0 - LYSIS_TO_FOOD) * aerobic
    m[5, 0] = -OXYGEN_PER_CARBON * (burnt * p[0] * pace + respired * rate + spilt * grazed_by_bacteria)
    m[5, 1] = -OXYGEN_PER_CARBON * (burnt * p[1] * pace + respired * FUNGAL_DECAY * rate)
    m[5, 2] = -OXYGEN_PER_CARBON * (respired * GRAZER_DEATH * decay + spilt * grazer)
    m[5, 3] = -OXYGEN_PER_CARBON * (burnt * by_food * quick + respired * rate_by_food * loss)
    m[5, 4] = 0.0
    m[5, 5] = -p[9] * transfer - OXYGEN_PER_CARBON * (
        burnt * by_oxygen * quick + (1.0 - LYSIS_TO_FOOD) * aerobic_by * decayed + spilt * grazed_by_oxygen
    )
    m[5, 6] = -OXYGEN_PER_CARBON * burnt * by_readiness * quick

    for j in range(6):
        m[6, j] = 0.0
    m[6, 6] = p[0] * growth * (1.0 - 2.0 * y[6])


@njit(cache=True, error_model="numpy")
def _time_slope(y, p, left, right, start, span, t, h, work):
    if left[0] == right[0] and left[1] == right[1] and left[2] == right[2] and left[3] == right[3]:
        for i in range(N_STATES):
            work[1, i] = 0.0
        return
    _slopes_at(y, p, left, right, (t + 0.01 * h - start) / span, work[3])
    for i in range(N_STATES):
        work[1, i] = (work[3, i] - work[0, i]) / (0.01 * h)


@njit(cache=True, error_model="numpy")
def _slopes_at(y, p, left, right, w, out):
    slopes(
        y,
        p,
        left[0] + w * (right[0] - left[0]),
        left[1] + w * (right[1] - left[1]),
        left[2] + w * (right[2] - left[2]),
        left[3] + w * (right[3] - left[3]),
        out,
    )


@njit(cache=True, error_model="numpy")
def _stages(y, p, left, right, start, span, t, h, work, matrix, pivots, tolerance):
    """The six stages; the new state goes to row 10, the return is the scaled error."""
    n = N_STATES
    u1, u2, u3, u4, u5, u6 = work[4], work[5], work[6], work[7], work[8], work[9]
    at, f, ft = work[2], work[3], work[1]
    for i in range(n):
        u1[i] = work[0, i] + h * D1 * ft[i]
    solve(matrix, pivots, u1)
    for i in range(n):
        at[i] = y[i] + A21 * u1[i]
    _slopes_at(at, p, left, right, (t + T2 * h - start) / span, f)
    for i in range(n):
        u2[i] = f[i] + C21 * u1[i] / h + h * D2 * ft[i]
    solve(matrix, pivots, u2)
    for i in range(n):
        at[i] = y[i] + A31 * u1[i] + A32 * u2[i]
    _slopes_at(at, p, left, right, (t + T3 * h - start) / span, f)
    for i in range(n):
        u3[i] = f[i] + (C31 * u1[i] + C32 * u2[i]) / h + h * D3 * ft[i]
    solve(matrix, pivots, u3)
    for i in range(n):
        at[i] = y[i] + A41 * u1[i] + A42 * u2[i] + A43 * u3[i]
    _slopes_at(at, p, left, right, (t + T4 * h - start) / span, f)
    for i in range(n):
        u4[i] = f[i] + (C41 * u1[i] + C42 * u2[i] + C43 * u3[i]) / h + h * D4 * ft[i]
    solve(matrix, pivots, u4)
    for i in range(n):
        at[i] = y[i] + A51 * u1[i] + A52 * u2[i] + A53 * u3[i] + A54 * u4[i]
    _slopes_at(at, p, left, right, (t + h - start) / span, f)
    for i in range(n):
        u5[i] = f[i] + (C51 * u1[i] + C52 * u2[i] + C53 * u3[i] + C54 * u4[i]) / h
    solve(matrix, pivots, u5)
    for i in range(n):
        at[i] += u5[i]
    _slopes_at(at, p, left, right, (t + h - start) / span, f)
    for i in range(n):
        u6[i] = f[i] + (C61 * u1[i] + C62 * u2[i] + C63 * u3[i] + C64 * u4[i] + C65 * u5[i]) / h
    solve(matrix, pivots, u6)
    total = 0.0
    for i in range(n):
        work[10, i] = at[i] + u6[i]
        scale = tolerance * (max(abs(y[i]), abs(work[10, i])) + FLOOR)
        total += (u6[i] / scale) ** 2
    return sqrt(total / n)


@njit(cache=True, error_model="numpy")
def carry_one(start, p, growth, shared, scale, times, tolerance, out, y, work, matrix, pivots, left, right):
    """One brew through all output times, into `out` of shape (times, states + 1)."""
    for j in range(N_STATES):
        y[j] = start[j]
        out[0, j] = start[j]
    out[0, OXYGEN_MEAN] = start[OXYGEN]
    step = FIRST_STEP_H
    for i in range(len(times) - 1):
        kept = shared[6, i]
        if kept != 1.0:
            for j in range(5):
                y[j] *= kept
            y[OXYGEN] = kept * y[OXYGEN] + (1.0 - kept) * shared[2, i]
            step = FIRST_STEP_H
        fed = shared[4, i] * scale + shared[5, i]
        if fed > 0.0:
            y[3] += shared[4, i] * scale
            y[4] += shared[5, i]
            step = FIRST_STEP_H
        if i > 0 and shared[3, i] != shared[3, i - 1]:
            step = FIRST_STEP_H
        left[0], right[0] = growth[i], growth[i + 1]
        left[1], right[1] = shared[0, i], shared[0, i + 1]
        left[2], right[2] = shared[1, i] * shared[3, i], shared[1, i + 1] * shared[3, i]
        left[3], right[3] = shared[2, i], shared[2, i + 1]
        work[11, 0] = 0.0
        step = advance(y, p, times[i], times[i + 1], left, right, tolerance, step, work, matrix, pivots)
        if not step > 0.0:
            for k in range(i + 1, len(times)):
                for j in range(N_OUT):
                    out[k, j] = np.nan
            return
        for j in range(N_STATES):
            out[i + 1, j] = y[j]
        out[i + 1, OXYGEN_MEAN] = work[11, 0] / (times[i + 1] - times[i])


@njit(cache=True, parallel=True, nogil=True, error_model="numpy")
def run_all(start, parameters, growth, shared, scale, times, tolerance, out):
    for n in prange(len(start)):
        y = np.empty(N_STATES)
        work = np.empty((12, N_STATES))
        matrix = np.empty((N_STATES, N_STATES))
        pivots = np.empty(N_STATES, np.int64)
        left, right = np.empty(4), np.empty(4)
        carry_one(
            start[n],
            parameters[n],
            growth[n],
            shared,
            scale[n],
            times,
            tolerance,
            out[n],
            y,
            work,
            matrix,
            pivots,
            left,
            right,
        )
