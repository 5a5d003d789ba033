"""Permissible residual unbalance by ISO 21940-11 (formerly ISO 1940-1).

Formulas and sharing rules are from memory, and so are the grades below G 16; the grades from G 4000 down to G 16 were
read in GOST ISO 1940-1-2007, an identical adoption of ISO 1940-1:2003.
"""

from dataclasses import dataclass
from math import isfinite, pi
from typing import Literal

from buildbook.balance.unbalance import BalancingError, check_apart

GRADES = (0.4, 1.0, 2.5, 6.3, 16.0, 40.0, 100.0, 250.0, 630.0, 1600.0, 4000.0)

_SMALLER_AT_LEAST = 0.3
_LARGER_AT_MOST = {"inboard": 0.7, "outboard": 1.3}


def grade_value(name: str) -> float:
    """The product of eccentricity and angular speed [mm/s] that a grade such as `G16` or `G 6.3` stands for.

    Raises BalancingError for anything that is not a grade of the standard.
    """
    for value in GRADES:
        if name.replace(" ", "") == grade_name(value):
            return value
    raise BalancingError(
        f"{name!r} is not a balance quality grade", f"choose one of {', '.join(map(grade_name, GRADES))}"
    )


def grade_name(value: float) -> str:
    """The name of a grade [mm/s]: 6.3 is `G6.3`."""
    return f"G{value:g}"


def permissible_eccentricity(grade: float, speed: float) -> float:
    """How far the centre of mass may lie off the axis [µm, the same as g·mm per kg]: G/Ω, Ω = 2πn/60.

    e_per = 9549.2966 G/n for a grade G [mm/s] and the highest service speed n [rpm]. Raises BalancingError for a
    grade or speed that is not above zero.
    """
    _check_positive("grade", grade, "mm/s", "choose a grade, such as G16")
    _check_positive("speed", speed, "rpm", "give the highest speed the engine will be run at")
    return 1000 * grade / (2 * pi * speed / 60)


def permissible_total(grade: float, mass: float, speed: float) -> float:
    """Permissible residual unbalance of the whole rotor [g·mm]: U_per = 9549.2966 G m/n.

    `grade` G [mm/s], `mass` m of all that spins [kg], `speed` n [rpm]. Raises BalancingError for any that is not
    above zero.
    """
    _check_positive("mass", mass, "kg", "weigh what spins")
    return permissible_eccentricity(grade, speed) * mass


def _check_positive(what: str, value: float, unit: str, remedy: str) -> None:
    if not (isfinite(value) and value > 0):
        raise BalancingError(f"a {what} of {value:g} {unit} gives no tolerance", remedy)


@dataclass(frozen=True, slots=True)
class Shares:
    """The permissible residual unbalance of two planes [g·mm], and the rule that shared it out.

    `halves` where the centre of mass is not known, `inboard` where it lies between the planes, `outboard` where it
    lies beyond one. `limited` says that a bound of the rule replaced a share the levers alone would give.
    """

    front: float
    rear: float
    rule: Literal["halves", "inboard", "outboard"]
    limited: bool


def share(total: float, front: float, rear: float, mass_centre: float | None) -> Shares:
    """Share a permissible total [g·mm] between two planes, the bearings as a rule, at `front` and `rear` [mm].

    Each plane gets the total times the distance from `mass_centre` [mm] to the *other* plane, over the distance
    between the planes. Inboard, the larger share is at most 0.7 and the smaller at least 0.3 of the total; outboard,
    at most 1.3 and at least 0.3; there the two act against each other and add up to more than the total. Without
    a centre of mass each plane gets half (Bloch & Geitner, Machinery Component Maintenance and Repair, p. 301, for two
    arbitrary planes). Raises BalancingError for planes at the same place.
    """
    _check_positive("permissible total", total, "g·mm", "work it out from the grade, the mass and the speed")
    if mass_centre is None:
        return Shares(total / 2, total / 2, "halves", False)
    check_apart(front, rear)
    span = abs(rear - front)
    to_front, to_rear = abs(mass_centre - front), abs(mass_centre - rear)
    rule: Literal["inboard", "outboard"] = (
        "inboard" if min(front, rear) <= mass_centre <= max(front, rear) else "outboard"
    )
    at_most = _LARGER_AT_MOST[rule]
    levers = to_rear / span, to_front / span
    limited = [min(max(lever, _SMALLER_AT_LEAST), at_most) for lever in levers]
    return Shares(total * limited[0], total * limited[1], rule, tuple(limited) != levers)
