"""Measured coverage of every interval and bound of the calibration, by simulation with fixed seeds.

    python -m tests.benchmarks.calibration_coverage [RUNS]        default 1000

Prints one line an interval: stated rate, measured rate, three standard deviations of the binomial. Ends with
status 1 if a measured rate lies lower than the stated one by more than these and one point of the hundred
(curves are not straight lines, so a rate is right only nearly). Lines "by standard error" and "delta only"
are for comparison: they are known to fall short where the plug is fitted to scattered readings, which is why
`interval` goes by the profile and the larger of both bounds is printed.
"""

import math
import random
import sys
import time
from collections.abc import Iterator

import numpy as np
from msgspec.structs import replace
from scipy import special, stats

from floorterm.flush import LineModel, Unit, washout
from floorterm.flush.calibrate import (
    NotFallingError,
    Samples,
    fit,
    interval,
    propose_figures,
    samples,
    tail,
    upper_bound,
)
from floorterm.flush.calibration_errors import NotIdentifiableError
from floorterm.flush.progress import Spread, learn, revise
from floorterm.flush.samples import Sample

KG = (150.0, 220.0, 300.0, 380.0, 460.0, 560.0, 700.0)
HOLDUP, TANKS, PLUG, LIMIT = 216.0, 2.9, 80.0, 0.002
NEARLY = 0.01
COMPARED = ("by standard error", "delta only")

Rate = tuple[str, float, int, int]


def tanks_in_series(rng: random.Random, sd: float) -> Samples:
    clean = special.gammaincc(TANKS, TANKS * np.maximum(np.array(KG) - PLUG, 0) / HOLDUP)
    return samples(
        tuple((m, min(0.999, float(r) * math.exp(rng.gauss(0, sd)))) for m, r in zip(KG, clean, strict=True))
    )


def whole_curve(runs: int) -> Iterator[Rate]:
    crossing = PLUG + HOLDUP * float(special.gammainccinv(TANKS, LIMIT)) / TANKS
    for sd in (0.01, 0.03, 0.1):
        for known in (PLUG, None):
            rng = random.Random(21)
            true = {"holdup_kg": HOLDUP, "tanks": TANKS} | ({} if known else {"plug_kg": PLUG})
            inside, profiled = dict.fromkeys(true, 0), dict.fromkeys(true, 0)
            delta = both = 0
            used = 0
            for _ in range(runs):
                try:
                    found = fit(tanks_in_series(rng, sd), plug_kg=known)
                except NotIdentifiableError:
                    continue
                used += 1
                wide = float(stats.t.ppf(0.975, found.degrees))
                for name, value in true.items():
                    error = wide * found.standard_error(name)
                    inside[name] += abs(getattr(found, name) - value) < error
                    low, high = interval(found, name)
                    profiled[name] += low <= value <= high
                bound = upper_bound(found, LIMIT)
                delta += bound.delta_kg >= crossing
                both += bound.kg >= crossing
            plug = "plug known" if known else "plug fitted"
            for name, count in inside.items():
                yield f"{name}, by standard error, error {sd:g}, {plug}", 0.95, count, used
                yield f"{name}, interval, error {sd:g}, {plug}", 0.95, profiled[name], used
            yield f"crossing, delta only, error {sd:g}, {plug}", 0.95, delta, used
            yield f"crossing, as printed, error {sd:g}, {plug}", 0.95, both, used


def tail_alone(runs: int) -> Iterator[Rate]:
    rng, true = random.Random(22), (math.log(0.05) - math.log(0.001)) / 0.006 + 500
    above = used = 0
    for _ in range(10 * runs):
        pairs = [(m, 0.05 * math.exp(-0.006 * (m - 500) + rng.gauss(0, 0.05))) for m in range(500, 1001, 100)]
        try:
            above += tail(samples(tuple(pairs)), 0.001).kg >= true
            used += 1
        except NotFallingError:
            continue
    yield "tail alone (Fieller)", 0.95, above, used


def whole_line(runs: int) -> Iterator[Rate]:
    line = LineModel(
        units=(
            Unit(name="mixer", mixed_kg=90, plug_kg=20),
            Unit(name="plodder", mixed_kg=110, tanks=3, dead_fraction=0.05, exchange_ratio=0.1),
        ),
        flash_fraction=0.18,
        flash_to="mixer",
    )
    units = tuple(replace(one, mixed_kg=one.mixed_kg * 1.1, plug_kg=one.plug_kg * 1.1) for one in line.units)
    curve, rng = washout(replace(line, units=units)), random.Random(23)
    above = safe = 0
    crossing = curve.kg_to_reach(0.01)
    for _ in range(runs):
        read = samples(
            tuple(
                (m, min(0.999, curve.residual(m) * math.exp(rng.gauss(0, 0.05))))
                for m in (120.0, 200.0, 280.0, 380.0, 500.0, 650.0)
            )
        )
        found = propose_figures(line, [read])
        above += found.factor_high >= 1.1
        safe += found.change(0.01).upper_kg >= crossing
    yield "factor on a line", 0.95, above, runs
    yield "flush of the proposed line", 0.95, safe, runs


def early_check(runs: int) -> Iterator[Rate]:
    curve = washout(LineModel(units=(Unit(name="tank", mixed_kg=260),)))
    rng, before = random.Random(24), Spread(sd_log=0.1)
    kept = 0
    for _ in range(5 * runs):
        factor = math.exp(rng.gauss(0, 0.1))
        read = math.exp(-450 / (260 * factor) + rng.gauss(0, 0.05))
        after = learn(curve, [Sample(450, min(read, 0.99))], before, relative_error=0.05)
        kept += revise(curve, 0.02, 0.0, after.spread).promise_kg >= 260 * factor * math.log(50)
    yield "promise after an early check", 0.95, kept, 5 * runs


def main() -> int:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    started, short = time.perf_counter(), 0
    print(f"{'interval':58} stated  measured  3 sd")  # noqa: T201  a script that prints
    for source in (whole_curve, tail_alone, whole_line, early_check):
        for name, stated, count, used in source(runs):
            rate, sd3 = count / used, 3 * math.sqrt(stated * (1 - stated) / used)
            low = rate < stated - sd3 - NEARLY
            short += low and not any(word in name for word in COMPARED)
            print(f"{name:58} {stated:6.3f}  {rate:8.4f}  {sd3:.4f}{'  SHORT' if low else ''}")  # noqa: T201
    print(f"{runs} runs, {time.perf_counter() - started:.0f} s")  # noqa: T201
    return 1 if short else 0


if __name__ == "__main__":
    sys.exit(main())
