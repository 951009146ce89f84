"""The sampler beside a general-purpose one (NumPyro's NUTS) on one posterior: how fast, how much memory, the same answer?

    python -m benchmarks.against_nuts [--python OTHER_PYTHON] [--draws 1000] [--enough 2000]

The posterior has eight unknowns: logistic growth with death, oxygen supplied and used, six biomass readings and a hundred
oxygen readings with unknown noise, made from a seed. Both see the same density: the same Runge-Kutta steps, the same
lognormal priors on standardised scores, both in double precision. Each runs in a process of its own and twice in it: the
first pass holds import and compilation, the second is what a further brew costs.

NUTS is set as it does best here: dense mass matrix, forward-mode slopes (eight of them), two chains side by side, begun
near the prior median.

JAX and NumPyro are not needed by aerobe and may live elsewhere: `pip install jax numpyro` in any environment, and give
its interpreter with --python.

In this posterior biomass climbs to a plateau and has no peak before the end. Two times stand in for the peak time: when
growth is fastest, and when biomass first comes within 5 % of the most it reaches in the 36 h.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

BEGAN = (time.perf_counter(), 0.0)  # processor seconds count from the start of the process

import numpy as np  # noqa: E402  the clock starts before anything is imported

NAMES = ("X0", "mu", "K", "kd", "kLa", "q", "sx", "so")
MEDIAN = np.array([20.0, 0.3, 400.0, 0.03, 5.0, 0.5, 0.25, 0.15])
LOG_SD = np.array([1.0, 0.5, 1.0, 0.7, 0.5, 0.5, 0.5, 0.5])
TRUTH = np.array([15.0, 0.35, 600.0, 0.04, 6.0, 0.6, 0.30, 0.12])
SATURATION, HALF_OXYGEN = 8.74, 0.2  # [mg/L]
READ_H = np.array([0.0, 6.0, 12.0, 18.0, 24.0, 36.0])
LOG_VALUES, END_H, SUBSTEPS = 100, 36.0, 4
STEPS = LOG_VALUES * SUBSTEPS
STEP_H = END_H / STEPS
LOG_H = np.linspace(END_H / LOG_VALUES, END_H, LOG_VALUES)
LEFT = np.minimum(np.floor(READ_H / STEP_H + 1e-9).astype(int), STEPS - 1)
RIGHT_SHARE = READ_H / STEP_H - LEFT
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
TIMES = ("fastest growth", "95 % of the top")


def readings(seed: int = 20240517) -> tuple[np.ndarray, np.ndarray]:
    """Log biomass (6) and oxygen (100) of a course solved tightly at the truth, with noise."""
    from scipy.integrate import solve_ivp

    x0, mu, k, kd, kla, q, sx, so = TRUTH

    def slopes(_: float, y: np.ndarray) -> list[float]:
        made = mu * y[0] * max(1.0 - y[0] / k, 0.0)
        return [made - kd * y[0], kla * (SATURATION - y[1]) - q * made * y[1] / (HALF_OXYGEN + y[1])]

    at = np.unique(np.concatenate([READ_H, LOG_H]))
    course = solve_ivp(slopes, (0.0, END_H), [x0, SATURATION], "LSODA", t_eval=at, rtol=1e-10, atol=1e-12).y
    rng = np.random.default_rng(seed)
    log_x = np.log(np.interp(READ_H, at, course[0])) + sx * rng.standard_normal(len(READ_H))
    oxygen = np.interp(LOG_H, at, course[1]) + so * rng.standard_normal(LOG_VALUES)
    return np.round(log_x, 4), np.round(oxygen, 3)


def times_of(w: np.ndarray) -> dict[str, np.ndarray]:
    """Hours of fastest growth and of reaching 95 % of the top, from the logistic's closed form; shape (draws,)."""
    x0, mu, k, kd = np.exp(np.log(MEDIAN) + LOG_SD * w)[:, :4].T
    rate, ceiling = mu - kd, k * (1.0 - kd / mu)
    left = ceiling / x0 - 1.0
    with np.errstate(all="ignore"):
        fastest = np.clip(np.log(left) / rate, 0.0, END_H)
        goal = 0.95 * ceiling / (1.0 + left * np.exp(-rate * END_H))
        near = np.clip(np.log(left / (ceiling / goal - 1.0)) / rate, 0.0, END_H)
    return {TIMES[0]: np.nan_to_num(fastest), TIMES[1]: np.nan_to_num(near)}


def clock() -> np.ndarray:
    """Seconds on the wall and of processor (all threads)."""
    return np.array([time.perf_counter(), time.process_time()])


def answer(w: np.ndarray, effective: float, cold: np.ndarray, warm: np.ndarray, **more: object) -> dict:
    """What a process hands back; `w` holds the draws of both passes, `effective` is that of the second."""
    times = times_of(w)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    return {
        "cold": cold.tolist(),
        "warm": warm.tolist(),
        "effective": effective,
        "memory_mb": memory,
        "quantiles": {name: np.quantile(t, QUANTILES).tolist() for name, t in times.items()},
        "sd": {name: float(t.std()) for name, t in times.items()},
        "terms": {name: [float(w[:, i].mean()), float(w[:, i].std())] for i, name in enumerate(NAMES)},
        **more,
    }


def by_aerobe(args: argparse.Namespace) -> dict:
    """The posterior by `inference.sample`."""
    from numba import njit, prange

    from aerobe.inference import Effort, sample

    @njit(parallel=True, error_model="numpy")
    def courses(p, log_x, oxygen):  # type: ignore[no-untyped-def]
        for i in prange(len(p)):
            x0, mu, k, kd, kla, q = p[i, 0], p[i, 1], p[i, 2], p[i, 3], p[i, 4], p[i, 5]
            x, c = x0, SATURATION
            log_x[i, 0] = np.log(x)
            for n in range(STEPS):
                sum_x, sum_c, dx, dc = 0.0, 0.0, 0.0, 0.0
                for stage in range(4):
                    far = 0.0 if stage == 0 else (1.0 if stage == 3 else 0.5)
                    xs, cs = x + far * STEP_H * dx, c + far * STEP_H * dc
                    made = mu * xs * max(1.0 - xs / k, 0.0)
                    dx = made - kd * xs
                    dc = kla * (SATURATION - cs) - q * made * cs / (HALF_OXYGEN + cs)
                    share = 2.0 if stage == 1 or stage == 2 else 1.0
                    sum_x, sum_c = sum_x + share * dx, sum_c + share * dc
                x, c = x + STEP_H / 6.0 * sum_x, c + STEP_H / 6.0 * sum_c
                log_x[i, n + 1] = np.log(max(x, 1e-9))
                if (n + 1) % SUBSTEPS == 0:
                    oxygen[i, (n + 1) // SUBSTEPS - 1] = c

    seen_x, seen_o = readings()

    class Posterior:
        """Eight scores; noise sizes enter least squares as r / s and one value whose half square is n ln s + C."""

        size = len(NAMES)

        def _parts(self, w: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
            p = np.exp(np.log(MEDIAN) + LOG_SD * np.clip(w, -12.0, 12.0))
            log_x, oxygen = np.empty((len(w), STEPS + 1)), np.empty((len(w), LOG_VALUES))
            courses(p, log_x, oxygen)
            at = log_x[:, LEFT] * (1.0 - RIGHT_SHARE) + log_x[:, LEFT + 1] * RIGHT_SHARE
            return (seen_x - at) / p[:, [6]], (seen_o - oxygen) / p[:, [7]], np.log(p[:, 6:])

        def log_likelihood(self, w: np.ndarray) -> np.ndarray:
            with np.errstate(all="ignore"):
                rx, ro, log_s = self._parts(w)
                like = -0.5 * (rx**2).sum(axis=1) - 0.5 * (ro**2).sum(axis=1)
                like -= len(READ_H) * log_s[:, 0] + LOG_VALUES * log_s[:, 1]
            return np.where(np.isfinite(like), like, -np.inf)

        def residuals(self, w: np.ndarray) -> np.ndarray:
            with np.errstate(all="ignore"):
                rx, ro, log_s = self._parts(w)
            count = np.array([len(READ_H), LOG_VALUES])
            return np.concatenate([w, rx, ro, np.sqrt(2.0 * count * (log_s + 9.0))], axis=1)

    effort = Effort(batch=256, most_rounds=80, enough=args.enough, draws=4 * int(args.enough))

    first = sample(Posterior(), seed=args.seed, effort=effort)
    middle = clock()
    draws = sample(Posterior(), seed=args.seed + 1, effort=effort)
    warm = clock() - middle
    both = np.concatenate([first.w, draws.w])
    return answer(both, draws.effective, middle - BEGAN, warm, khat=draws.khat, runs=draws.runs)


def by_nuts(args: argparse.Namespace) -> dict:
    """The posterior by NumPyro's NUTS."""
    os.environ["XLA_FLAGS"] = "--xla_force_host_platform_device_count=2"
    import jax
    import jax.numpy as jnp
    import numpyro
    from numpyro import distributions as dist
    from numpyro.diagnostics import effective_sample_size
    from numpyro.infer import MCMC, NUTS

    jax.config.update("jax_enable_x64", True)
    seen_x, seen_o = readings()

    def course(p: jax.Array) -> tuple[jax.Array, jax.Array]:
        _, mu, k, kd, kla, q = p[:6]

        def slopes(y: jax.Array) -> jax.Array:
            x, c = y
            made = mu * x * jnp.maximum(1.0 - x / k, 0.0)
            return jnp.array([made - kd * x, kla * (SATURATION - c) - q * made * c / (HALF_OXYGEN + c)])

        def step(y: jax.Array, _: None) -> tuple[jax.Array, jax.Array]:
            a = slopes(y)
            b = slopes(y + STEP_H / 2 * a)
            c = slopes(y + STEP_H / 2 * b)
            d = slopes(y + STEP_H * c)
            y = y + STEP_H / 6 * (a + 2 * b + 2 * c + d)
            return y, y

        start = jnp.array([p[0], SATURATION])
        _, ys = jax.lax.scan(step, start, None, length=STEPS)
        log_x = jnp.log(jnp.maximum(jnp.append(start[0], ys[:, 0]), 1e-9))
        return log_x[LEFT] * (1 - RIGHT_SHARE) + log_x[LEFT + 1] * RIGHT_SHARE, ys[SUBSTEPS - 1 :: SUBSTEPS, 1]

    def model() -> None:
        w = numpyro.sample("w", dist.Normal(0.0, 1.0).expand([len(NAMES)]).to_event(1))
        p = jnp.exp(jnp.log(MEDIAN) + LOG_SD * w)
        log_x, oxygen = course(p)
        numpyro.sample("biomass", dist.Normal(log_x, p[6]), obs=seen_x)
        numpyro.sample("oxygen", dist.Normal(oxygen, p[7]), obs=seen_o)

    kernel = NUTS(model, dense_mass=True, forward_mode_differentiation=True, target_accept_prob=0.8, max_tree_depth=8)
    chains = MCMC(kernel, num_warmup=args.warmup, num_samples=args.draws, num_chains=2, progress_bar=False)
    begin = {"w": jnp.array(0.1 * np.random.default_rng(args.seed).standard_normal((2, len(NAMES))))}

    def once(seed: int) -> np.ndarray:
        chains.run(jax.random.PRNGKey(seed), init_params=begin, extra_fields=("diverging",))
        return np.asarray(chains.get_samples(group_by_chain=True)["w"])

    first = once(args.seed)
    middle = clock()
    w = once(args.seed + 1)
    warm = clock() - middle
    per_term = effective_sample_size(w)
    # The worst term decides, as for weights, which are one set for all terms.
    return answer(
        np.concatenate([first, w]).reshape(-1, len(NAMES)),
        float(per_term.min()),
        middle - BEGAN,
        warm,
        diverging=int(np.asarray(chains.get_extra_fields()["diverging"]).sum()),
        effective_by_term=per_term.round().tolist(),
    )


def in_its_own_process(python: str, way: str, args: argparse.Namespace) -> dict | None:
    """Run one way with an interpreter and read its answer."""
    command = [python, str(Path(__file__).resolve()), "--way", way]
    for name in ("draws", "warmup", "enough", "seed"):
        command += [f"--{name}", str(getattr(args, name))]
    root = str(Path(__file__).resolve().parents[1])
    done = subprocess.run(command, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": root}, cwd=root)
    if done.returncode == 0:
        return json.loads(done.stdout.splitlines()[-1])
    if "No module named" in done.stderr:
        print(
            f"{done.stderr.strip().splitlines()[-1]}\n'{way}' needs what {python} lacks. In an environment of its own:\n"
            "    python -m venv /tmp/jax && /tmp/jax/bin/pip install jax numpyro scipy\n"
            "    python -m benchmarks.against_nuts --python /tmp/jax/bin/python"
        )
    else:
        print(f"{way} failed:\n{done.stderr[-2000:]}")
    return None


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--python", default=sys.executable, help="an interpreter that has jax and numpyro")
    parser.add_argument("--draws", type=int, default=1000, help="kept draws of each of the two chains")
    parser.add_argument("--warmup", type=int, default=500)
    parser.add_argument("--enough", type=float, default=2000.0, help="effective draws asked of aerobe")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--way", choices=["aerobe", "nuts"], help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.way:
        print(json.dumps((by_nuts if args.way == "nuts" else by_aerobe)(args)))
        return
    print(f"{os.cpu_count()} cores, load average before {os.getloadavg()[0]:.1f}", flush=True)
    ours = in_its_own_process(sys.executable, "aerobe", args)
    peer = in_its_own_process(args.python, "nuts", args)
    if ours is None or peer is None:
        sys.exit(1)
    print(f"load average after {os.getloadavg()[0]:.1f}")
    heads = ("cold s", "warm s", "cold CPU s", "warm CPU s", "effective", "peak MB")
    print(f"{'':10s} " + " ".join(f"{head:>10s}" for head in heads))
    for name, got in (("aerobe", ours), ("NUTS", peer)):
        numbers = (got["cold"][0], got["warm"][0], got["cold"][1], got["warm"][1])
        ends = f"{got['effective']:10.0f} {got['memory_mb']:10.0f}"
        print(f"{name:10s} " + " ".join(f"{number:10.2f}" for number in numbers) + " " + ends)
    print(f"aerobe: tail shape {ours['khat']:.2f}, {ours['runs']} model runs; NUTS: {peer['diverging']} diverging draws")
    print(f"NUTS effective draws by term: {dict(zip(NAMES, peer['effective_by_term'], strict=True))}")
    even = ours["effective"] / peer["effective"]
    for place, what in enumerate(("wall time", "CPU time")):
        cold, warm = (peer[key][place] / ours[key][place] for key in ("cold", "warm"))
        print(f"NUTS over aerobe, {what}: cold {cold:.1f}, warm {warm:.1f}; per effective draw, warm {warm * even:.1f}")
    # By chance alone quantiles of two samples differ by so much (both passes counted, normal shape).
    size = 1.0 / (2.0 * ours["effective"]) + 1.0 / (2.0 * peer["effective"])
    chance = [float(np.sqrt(p * (1 - p) * size) / height) for p, height in ((0.05, 0.103), (0.5, 0.399))]
    print(f"standard error of a gap from the draws alone: {chance[1]:.3f} sd at 50 %, {chance[0]:.3f} sd at 5 and 95 %")
    for name in TIMES:
        a, b = np.array(ours["quantiles"][name]), np.array(peer["quantiles"][name])
        gap = (a - b) / peer["sd"][name]
        print(f"{name}, quantiles 5 25 50 75 95 % [h]: aerobe {a.round(2)}, NUTS {b.round(2)}")
        print(f"    gaps in sd ({peer['sd'][name]:.2f} h): {gap.round(3)}, largest {np.abs(gap).max():.3f}")
    gaps = [abs(ours["terms"][n][0] - peer["terms"][n][0]) / peer["terms"][n][1] for n in NAMES]
    print(f"means of the eight terms differ by at most {max(gaps):.3f} sd")


if __name__ == "__main__":
    main()
