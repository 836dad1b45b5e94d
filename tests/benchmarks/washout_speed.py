"""The washout against a general ODE integrator on random lines: agreement, and how much faster it is.

Run apart: python -m tests.benchmarks.washout_speed [lines]. 2 to 12 units, dead parts, returned flash, plugs
outside the loop. The integrator is scipy's explicit Runge-Kutta pair of order 8, once at the tolerance that
the comparison needs and once at an everyday one. Ends with status 1 if a figure disagrees.
"""

import sys
import time
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from floorterm.flush import LineModel, Unit, washout
from tests.flush.test_washout_integrator import kg_balance

LIMITS = (0.05, 0.01, 0.001)
SHARES = (0.2, 0.6, 1.0, 2.0, 3.5)  # of the content: where residuals are compared
SEED = 20261125


@dataclass
class Times:
    """Seconds of processor time, summed over all lines."""

    ours: float = 0.0
    strict: float = 0.0
    everyday: float = 0.0


def random_line(rng: np.random.Generator) -> LineModel:
    """2 to 12 units; plugs only ahead of the flash return, or anywhere where no flash returns."""
    count = int(rng.integers(2, 13))
    p = float(rng.choice((0.0, 0.1, 0.18, 0.3)))
    flash = int(rng.integers(0, count)) if p else count
    units = []
    for place in range(count):
        dead = float(rng.choice((0.0, 0.0, 0.06, 0.15)))
        units.append(
            Unit(
                name=f"u{place}",
                mixed_kg=float(rng.uniform(15, 200)),
                tanks=int(rng.integers(1, 4)),
                plug_kg=float(rng.choice((0.0, 8.0, 35.0))) if place < flash else 0.0,
                dead_fraction=dead,
                exchange_ratio=float(rng.uniform(0.01, 0.2)) if dead else 0.0,
            )
        )
    return LineModel(
        units=tuple(units),
        flash_fraction=p,
        flash_to=f"u{flash}" if p else None,
        dose_at=f"u{int(rng.integers(0, count))}",
    )


def shift_of(model: LineModel) -> float:
    """From the steady start plugs outside the loop only delay."""
    p = model.returned_fraction
    return sum(
        unit.plug_kg / (1 - p if p and place < model.flash_index else 1)
        for place, unit in enumerate(model.units)
        if place >= model.dose_index
    )


def crossing_event(limit: float):
    def event(_: float, x: np.ndarray) -> float:
        return float(np.log(max(x[len(x) // 2 - 1], 1e-300)) - np.log(limit))

    event.direction = -1  # type: ignore[attr-defined]
    event.terminal = False  # type: ignore[attr-defined]
    return event


def integrated(model: LineModel, end: float, rtol: float, atol: float) -> tuple[list[float], list[float]]:
    """Residuals at the shares of the content and the crossings, in kg behind all plugs."""
    a, x = kg_balance(model, divert=False)
    marks = [share * model.content_kg for share in SHARES]
    values, crossings, kg = [], [np.nan] * len(LIMITS), 0.0
    for mark in (*marks, end):
        found = solve_ivp(
            lambda _, x: a @ x,
            (kg, mark),
            x,
            method="DOP853",
            rtol=rtol,
            atol=atol,
            events=[crossing_event(limit) for limit in LIMITS],
        )
        for number, at in enumerate(found.t_events):
            if len(at):
                crossings[number] = float(at[-1])
        x, kg = found.y[:, -1], mark
        values.append(float(x[len(x) // 2 - 1]))
    return values[:-1], crossings


def compare(model: LineModel, times: Times) -> tuple[float, float]:
    """Largest relative disagreement of residuals (above 1e-9) and of crossings on one line."""
    shift = shift_of(model)
    marks = [shift + share * model.content_kg for share in SHARES]
    before = time.process_time()
    curve = washout(model)
    ours = [curve.residual(kg) for kg in marks]
    reached = [curve.kg_to_reach(limit) for limit in LIMITS]
    times.ours += time.process_time() - before
    end = max(reached) - shift + model.content_kg + marks[-1] - shift
    before = time.process_time()
    values, crossings = integrated(model, end, 3e-13, 1e-24)
    times.strict += time.process_time() - before
    before = time.process_time()
    integrated(model, end, 1e-8, 1e-12)
    times.everyday += time.process_time() - before
    residuals = max((abs(x / y - 1) for x, y in zip(ours, values, strict=True) if y > 1e-9), default=0.0)
    return residuals, max(abs(x / (y + shift) - 1) for x, y in zip(reached, crossings, strict=True))


def named_lines() -> dict[str, tuple[LineModel, dict[str, float] | None]]:
    """Lines whose seconds are worth watching, with the start where it is not the steady one."""
    twelve = tuple(
        Unit(name=f"u{k}", mixed_kg=20 + 7 * k, tanks=2, dead_fraction=0.05, exchange_ratio=0.03)
        for k in range(12)
    )
    tiny = Unit(name="nose", mixed_kg=0.4)
    stiff = (Unit(name="mixer", mixed_kg=1200, dead_fraction=0.1, exchange_ratio=0.01), tiny)
    plugged = (*stiff[:1], Unit(name="worm", plug_kg=30, mixed_kg=60, tanks=3), tiny)
    return {
        "12 units, 24 tanks": (LineModel(units=twelve, flash_fraction=0.18, flash_to="u2"), None),
        "a cell of 0.4 kg": (LineModel(units=stiff, flash_fraction=0.18, flash_to="mixer"), None),
        "the same, cleaned": (LineModel(units=stiff, flash_fraction=0.18, flash_to="mixer"), {"nose": 0.0}),
        "the same, plug in the loop": (
            LineModel(units=plugged, return_kg=12, flash_fraction=0.18, flash_to="mixer"),
            None,
        ),
    }


def seconds(model: LineModel, start: dict[str, float] | None) -> float:
    """Processor time of one last crossing at 0.01."""
    before = time.process_time()
    washout(model, start=start).kg_to_reach(0.01)
    return time.process_time() - before


def main(count: int = 500) -> int:
    """Print the comparison; 0 where everything agrees to 1e-8 (residuals) and 1e-6 (crossings)."""
    rng = np.random.default_rng(SEED)
    times = Times()
    found = [compare(random_line(rng), times) for _ in range(count)]
    residuals, crossings = (max(column) for column in zip(*found, strict=True))
    wrong = sum(not (x <= 1e-8 and y <= 1e-6) for x, y in found)
    sys.stdout.write(
        f"{count} lines, {len(SHARES)} residuals and {len(LIMITS)} crossings each\n"
        f"largest relative disagreement: residuals {residuals:.1e}, crossings {crossings:.1e}\n"
        f"washout {times.ours / count * 1e3:.2f} ms a line; integrator {times.strict / count * 1e3:.1f} ms at "
        f"3e-13 ({times.strict / times.ours:.0f} times as long), {times.everyday / count * 1e3:.1f} ms at 1e-8 "
        f"({times.everyday / times.ours:.0f} times as long)\n"
        f"{'all agree' if not wrong else f'{wrong} lines disagree'}\n"
    )
    for name, (model, start) in named_lines().items():
        sys.stdout.write(f"{name}: last crossing in {seconds(model, start) * 1e3:.0f} ms\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 500))
