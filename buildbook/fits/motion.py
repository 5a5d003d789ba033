"""The motion of a piston: where it is, how fast it goes, and what that asks of the rod bolts.

The exact slider-crank. With crank radius r (half the stroke), rod length l, λ = r/l and the crankshaft turned by t
from top dead centre, the piston pin stands x = r cos t + l √(1 − λ² sin² t) from the crank axis. The pin moves on a
line through that axis: neither a pin offset in the piston nor an offset bore is in these figures. Speed and
acceleration are the derivatives at a steady speed. The formulas follow from geometry; textbooks give them too (Taylor,
The Internal-Combustion Engine in Theory and Practice, vol. 2, from memory).

Lengths in mm, angles in degrees of crankshaft from top dead centre, speeds of rotation in rpm, masses in g, forces
in N.
"""

from math import cos, inf, isfinite, pi, radians, sin, sqrt


def check_above_zero(what: str, value: float, unit: str = "") -> None:
    """Raises ValueError for a value that is not a finite number above zero."""
    if not 0 < value < inf:
        raise ValueError(f"the {what} is {f'{value:g} {unit}'.strip()}, where a number above zero is needed")


def check_not_below_zero(what: str, value: float, unit: str) -> None:
    """Raises ValueError for a value that is not a finite number of zero or more."""
    if not 0 <= value < inf:
        raise ValueError(f"the {what} is {value:g} {unit}, where a number of zero or more is needed")


def displacement(bore: float, stroke: float, cylinders: int) -> float:
    """What the pistons of an engine sweep [cc]: cylinders × π/4 bore² stroke.

    Raises ValueError for a bore, stroke or number of cylinders that is not above zero.
    """
    check_above_zero("bore", bore, "mm")
    check_above_zero("stroke", stroke, "mm")
    check_above_zero("number of cylinders", cylinders)
    return cylinders * pi / 4 * bore**2 * stroke / 1000


def rod_ratio(stroke: float, rod_length: float) -> float:
    """Rod length over stroke, 1/(2λ). The length is from centre to centre.

    Raises ValueError for a stroke that is not above zero and for a rod no longer than the crank radius.
    """
    _check_crank(stroke, rod_length)
    return rod_length / stroke


def piston_travel(angle: float, stroke: float, rod_length: float) -> float:
    """How far the piston is below top dead centre [mm]: r + l − x.

    Written as 2r sin²(t/2) + l λ² sin² t/(1 + √(1 − λ² sin² t)), which is the same and keeps its digits near top dead
    centre. Raises ValueError for an angle that is no number, a stroke that is not above zero and a rod no longer than
    the crank radius.
    """
    radius, ratio, turned = _crank(angle, stroke, rod_length)
    across = ratio * sin(turned)
    return 2 * radius * sin(turned / 2) ** 2 + rod_length * across**2 / (1 + sqrt(1 - across**2))


def piston_speed(angle: float, stroke: float, rod_length: float, speed: float) -> float:
    """How fast the piston moves towards the crankshaft [m/s]: r ω sin t (1 + λ cos t/√(1 − λ² sin² t)), ω = 2πn/60.

    Below zero on the way up. Raises ValueError as `piston_travel` does, and for a speed n that is not above zero.
    """
    radius, ratio, turned = _crank(angle, stroke, rod_length)
    across = ratio * sin(turned)
    return radius / 1000 * _turning(speed) * sin(turned) * (1 + ratio * cos(turned) / sqrt(1 - across**2))


def piston_acceleration(angle: float, stroke: float, rod_length: float, speed: float) -> float:
    """How hard the piston is accelerated towards the crankshaft [m/s²], exactly.

    r ω² (cos t + (λ cos 2t + λ³ sin⁴ t)/(1 − λ² sin² t)^(3/2)). Raises ValueError as `piston_speed` does.
    """
    radius, ratio, turned = _crank(angle, stroke, rod_length)
    across = ratio * sin(turned)
    rod = (ratio * cos(2 * turned) + across**3 * sin(turned)) / sqrt(1 - across**2) ** 3
    return radius / 1000 * _turning(speed) ** 2 * (cos(turned) + rod)


def two_term_acceleration(angle: float, stroke: float, rod_length: float, speed: float) -> float:
    """The usual series for the same acceleration, broken off after the second order [m/s²]: r ω² (cos t + λ cos 2t).

    It is exact at both dead centres. Shown beside the exact figure, because textbooks and tables of free forces use it.
    Raises ValueError as `piston_speed` does.
    """
    radius, ratio, turned = _crank(angle, stroke, rod_length)
    return radius / 1000 * _turning(speed) ** 2 * (cos(turned) + ratio * cos(2 * turned))


def mean_piston_speed(stroke: float, speed: float) -> float:
    """Two strokes in every turn [m/s]: 2 stroke n/60.

    Raises ValueError for a stroke or a speed n that is not above zero.
    """
    check_above_zero("stroke", stroke, "mm")
    check_above_zero("speed", speed, "rpm")
    return 2 * stroke / 1000 * speed / 60


def fastest(stroke: float, rod_length: float, speed: float) -> tuple[float, float]:
    """Where the piston is fastest on its way down [deg], and how fast it is there [m/s].

    There the exact acceleration is zero: it is r ω² (1 + λ) at top dead centre and below zero at 90°. On the way up the
    piston is as fast at 360° less the angle. Raises ValueError as `piston_speed` does.
    """
    before, after = 0.0, 90.0
    for _ in range(60):  # halves 90° to less than the last digit of a float
        middle = (before + after) / 2
        if piston_acceleration(middle, stroke, rod_length, speed) > 0:
            before = middle
        else:
            after = middle
    return before, piston_speed(before, stroke, rod_length, speed)


def rod_bolt_load(
    mass: float, stroke: float, rod_length: float, speed: float, bolts: int = 2, big_end: float = 0.0
) -> float:
    """What inertia pulls on each rod bolt [N]: m r ω² (1 + λ), shared evenly by the bolts of one rod.

    That is at top dead centre of the exhaust stroke, where nothing presses on the piston, and it is exact there.
    `mass` m [g] is all that goes up and down: piston, pin, locks, rings and the rod's small end. `big_end` m_b [g] is
    the rotating end of the rod, bearing included, and adds m_b r ω². With it the figure is an upper bound, because the
    cap with its half of the bearing is carried by the crankpin and does not pull on the bolts.

    Left out: gas pressure, friction, the preload and the stiffness of the joint, which decide how much of this load a
    bolt feels, and the bending of the big end, which shares it unevenly. It is a load to compare builds by; a bolt is
    chosen and tightened by its maker's figures, which come first.

    Raises ValueError as `piston_speed` does, and for a mass that is not above zero, fewer than one bolt, or a big end
    below zero.
    """
    check_above_zero("mass", mass, "g")
    check_not_below_zero("big end", big_end, "g")
    check_above_zero("number of bolts", bolts)
    up_and_down = mass / 1000 * piston_acceleration(0, stroke, rod_length, speed)
    around = big_end / 1000 * stroke / 2000 * _turning(speed) ** 2
    return (up_and_down + around) / bolts


def _crank(angle: float, stroke: float, rod_length: float) -> tuple[float, float, float]:
    """Crank radius r [mm], λ = r/l, and the angle t [rad]."""
    _check_crank(stroke, rod_length)
    if not isfinite(angle):
        raise ValueError(f"an angle of {angle:g} degrees is no place of the crankshaft")
    return stroke / 2, stroke / 2 / rod_length, radians(angle)


def _check_crank(stroke: float, rod_length: float) -> None:
    check_above_zero("stroke", stroke, "mm")
    check_above_zero("rod length", rod_length, "mm")
    if rod_length <= stroke / 2:
        raise ValueError(
            f"a rod of {rod_length:g} mm cannot go round a crank radius of {stroke / 2:g} mm: it must be longer"
        )


def _turning(speed: float) -> float:
    """ω = 2πn/60 [rad/s] of a speed n [rpm]."""
    check_above_zero("speed", speed, "rpm")
    return 2 * pi * speed / 60
