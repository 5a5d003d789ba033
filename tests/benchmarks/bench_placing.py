"""Placing the sets of whole engines: python tests/benchmarks/bench_placing.py

First the command as a whole process, on a sample of eight cylinders; then the search alone, imports left out, on
engines whose weights are drawn from a fixed seed. Times are wall clock.
"""

from __future__ import annotations

import argparse
import random
import subprocess
import sys
from cmath import rect
from math import radians
from pathlib import Path
from time import monotonic

from buildbook.matching.seating import Seats, seat

SAMPLES = Path(__file__).parents[2] / "sample_builds"
PINS = {
    8: (0, 90, 270, 180),
    10: (0, 216, 144, 72, 288),
    12: (0, 240, 120, 120, 240, 0),
    16: (0, 90, 270, 180, 180, 270, 90, 0),
}  # crankpin angles [deg], two rods on each


def engine(cylinders: int, seed: int) -> Seats:
    """Sets 0.6 g apart on their crankpins (standard deviation), throws 100 mm apart, rods of a pin 20 mm; in grams at
    planes 50 mm before the first throw and behind the last, at twice the crank radius."""
    chance = random.Random(f"{cylinders} {seed}")
    weights = [round(chance.gauss(0, 0.6), 2) for _ in range(cylinders)]
    span = 100 * (cylinders // 2 - 1) + 100
    pins = [
        (rect(0.5, radians(angle)), 100 * at + side) for at, angle in enumerate(PINS[cylinders]) for side in (-10, 10)
    ]
    acts = [[pin * (span - 50 - z) / span for pin, z in pins], [pin * (z + 50) / span for pin, z in pins]]
    return Seats(weights, acts, [0j, 0j])


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--each", type=int, default=3, help="engines of each size")
    arguments.add_argument("--seconds", type=float, default=10.0, help="time limit of the search [s]")
    asked = arguments.parse_args()
    out = sys.stdout
    times = []
    for _ in range(5):
        began = monotonic()
        subprocess.run(
            [sys.executable, "-m", "buildbook", "place", "heron-07"], cwd=SAMPLES, check=True, stdout=subprocess.DEVNULL
        )
        times.append(monotonic() - began)
    out.write(f"buildbook place heron-07, whole process: median {sorted(times)[2]:.2f} s of {len(times)}\n\n")
    out.write("cylinders  engine  search [s]  as matched [g]  placed [g]  bound [g]  proven\n")
    for cylinders in PINS:
        for seed in range(asked.each):
            seats = engine(cylinders, seed)
            began = monotonic()
            found = seat(seats, asked.seconds)
            took = monotonic() - began
            out.write(
                f"{cylinders:9}  {seed:6}  {took:10.3f}  {seats.worst(range(cylinders)):14.3f}  {found.worst:10.5f}  "
                f"{found.bound:9.5f}  {'yes' if found.proven else 'no':>6}\n"
            )
            out.flush()


if __name__ == "__main__":
    main()
