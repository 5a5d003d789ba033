"""Balancing by influence coefficients: with a vibration pickup and trial weights, without a balancing machine.

Readings and weights are complex: an amount at an angle, all angles counted the same way round. Readings are in any
unit of vibration, weights in any unit at their planes' radii, grams as a rule; both are kept throughout. A reading is
named after its pickup and speed, say `front bearing, 900 rpm`, so that a stored coefficient finds its own again.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

from buildbook.balance.unbalance import BalancingError

Readings = Mapping[str, complex]
Coefficients = Mapping[str, Readings]
"""Plane → reading → influence coefficient [reading per weight]."""

WORST_CONDITION = 100.0
"""Readings are seldom better than 1 %: from here on that alone may turn a correction into its opposite."""


@dataclass(frozen=True, slots=True)
class Trial:
    """A run with a trial `weight` set on one plane, and taken off again after it."""

    weight: complex
    readings: Readings


@dataclass(frozen=True, slots=True)
class Correction:
    """The `weights` to add at each plane, and what the readings should be then.

    `condition` says how far the planes can be told apart: 1 is best, and an error of the readings may grow by this
    factor on the way to the weights.
    """

    weights: Mapping[str, complex]
    expected: Readings
    condition: float

    @property
    def expected_residual(self) -> float:
        """Root mean square of the amounts still expected [reading]; nothing where there are as many planes."""
        return sqrt(sum(abs(reading) ** 2 for reading in self.expected.values()) / len(self.expected))


def influence_coefficients(first: Readings, trials: Mapping[str, Trial], repeatability: float = 0.0) -> Coefficients:
    """Influence coefficients αⱼₖ = (Vⱼₖ − Vⱼ₀)/Tₖ from a first run and one trial run for each plane.

    `repeatability` is the standard uncertainty of one reading per component [reading]. Raises BalancingError for no
    trials, a trial weight of nothing, readings that differ in name from the first run's, and a trial that changed no
    reading by more than 2·√2 times the repeatability.
    """
    if not first or not trials:
        raise BalancingError(
            "influence coefficients take a first run and a trial run", "spin once as it is, then with a trial weight"
        )
    for plane, trial in trials.items():
        if trial.weight == 0:
            raise BalancingError(
                f"the trial weight at the {plane} plane is nothing", "give its weight and angle, and spin with it on"
            )
        if trial.readings.keys() != first.keys():
            odd = ", ".join(sorted(trial.readings.keys() ^ first.keys()))
            raise BalancingError(
                f"the first run and the trial run at the {plane} plane do not have the same readings: {odd}",
                "read every pickup at every speed in each run",
            )
        scatter = max(2 * sqrt(2) * repeatability, 1e-9 * max(map(abs, first.values())))
        if all(abs(trial.readings[name] - first[name]) <= scatter for name in first):
            raise BalancingError(
                f"the trial run at the {plane} plane changed nothing",
                "use a heavier trial weight or another angle, and check that it was on for that run",
            )
    return {
        plane: {name: (trial.readings[name] - first[name]) / trial.weight for name in first}
        for plane, trial in trials.items()
    }


def balance_by_influence(readings: Readings, coefficients: Coefficients) -> Correction:
    """Weights Wₖ that make the readings smallest: least squares of Vⱼ + Σ αⱼₖ Wₖ over complex numbers.

    `readings` are of the crankshaft as it is; the coefficients may be its own or kept from one of its family. With as
    many readings as planes nothing is left over. The condition is that of the coefficients with each plane's scaled
    to one length, so that a plane that merely answers less does not count against them. Raises BalancingError for no
    coefficients, fewer readings than planes, a reading without one, a plane whose coefficients are all nothing, and
    planes that the readings cannot tell apart (a condition above `WORST_CONDITION`).
    """
    import numpy as np

    for plane, column in coefficients.items():
        if column.keys() != readings.keys():
            odd = ", ".join(sorted(column.keys() ^ readings.keys()))
            raise BalancingError(
                f"the readings and the coefficients of the {plane} plane do not match: {odd}",
                "take the same readings, at the same speeds, as when the coefficients were found",
            )
        if not any(column.values()):
            raise BalancingError(
                f"weight at the {plane} plane changes no reading",
                "make the trial run again with a heavier trial weight, or choose another plane",
            )
    if not coefficients:
        raise BalancingError("no plane has influence coefficients", "make a trial run with a weight on each plane")
    if len(readings) < len(coefficients):
        raise BalancingError(
            f"there are fewer readings ({len(readings)}) than planes to correct in ({len(coefficients)})",
            "take at least one reading for each plane: more pickups, or more speeds",
        )

    alpha = np.array([[column[name] for column in coefficients.values()] for name in readings])
    first = np.array(list(readings.values()))
    lengths = np.linalg.norm(alpha, axis=0)
    condition = float(np.linalg.cond(alpha / lengths))
    if condition > WORST_CONDITION:
        raise BalancingError(
            f"the readings cannot tell the {' and the '.join(coefficients)} plane apart (condition {condition:.3g})",
            "read at another place along the crankshaft or at another speed, or correct in one plane only",
        )
    weights = np.linalg.lstsq(alpha / lengths, -first, rcond=None)[0] / lengths
    return Correction(
        weights={plane: complex(weight) for plane, weight in zip(coefficients, weights, strict=True)},
        expected={name: complex(reading) for name, reading in zip(readings, first + alpha @ weights, strict=True)},
        condition=condition,
    )
