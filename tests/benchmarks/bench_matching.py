"""Our matching beside a general MILP on the same engines, in one run: python tests/benchmarks/bench_matching.py

Both get the same weights. The MILP is scipy.optimize.milp (HiGHS) with one 0/1 variable for each possible set, and
the same time limit. Times are wall clock, imports left out. The engines are drawn from a fixed seed.
"""

from __future__ import annotations

import argparse
import random
import sys
from fractions import Fraction
from pathlib import Path
from time import monotonic

from buildbook.matching import Pool, Problem, match

ENGINES = [(8, 10), (12, 100), (16, 100), (16, 10)]  # cylinders, weighing steps to the gram
WIDTHS = {"rod": 4.0, "piston": 6.0, "pin": 2.0}  # [g], lightest to heaviest of each pool


def engine(cylinders: int, steps: int, seed: int) -> Problem:
    chance = random.Random(f"{cylinders} {steps} {seed}")
    names = [str(c) for c in range(1, cylinders + 1)]
    return Problem(
        cylinders=tuple(names),
        pools=tuple(
            Pool(what, {f"{what}{c}": Fraction(round(chance.uniform(150, 150 + width) * steps), steps) for c in names})
            for what, width in WIDTHS.items()
        ),
    )


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--each", type=int, default=3, help="engines of each size")
    arguments.add_argument("--seconds", type=float, default=10.0, help="time limit for either solver [s]")
    asked = arguments.parse_args()
    sys.path.insert(0, str(Path(__file__).parents[1] / "matching"))
    from matching_solvers import smallest_spread_by_milp

    smallest_spread_by_milp(engine(3, 10, 0))  # loads the solver, so that its import is not timed
    out = sys.stdout
    out.write(
        "cylinders  step [g]  engine |  match [s]  spread [g]   bound [g]  proven |   MILP [s]  spread [g]  proven\n"
    )
    for cylinders, steps in ENGINES:
        for seed in range(asked.each):
            problem = engine(cylinders, steps, seed)
            began = monotonic()
            ours = match(problem, seconds=asked.seconds)
            between = monotonic()
            try:
                spread, optimal = smallest_spread_by_milp(problem, asked.seconds)
                theirs = f"{float(spread):10.3f}  {'yes' if optimal else 'no':>6}"
            except RuntimeError:
                theirs = f"{'none found':>10}  {'no':>6}"
            ended = monotonic()
            out.write(
                f"{cylinders:9}  {1 / steps:8.2f}  {seed:6} | {between - began:10.3f}  {float(ours.spread):10.3f}  "
                f"{float(ours.bound):10.3f}  {'yes' if ours.proven else 'no':>6} | {ended - between:10.3f}  {theirs}\n"
            )
            out.flush()


if __name__ == "__main__":
    main()
