"""Fasteners: torque, preload, stretch and heat. The maker's own figures come before any of these.

Torques in N·m, forces in N, lengths and diameters in mm.
"""

from math import isfinite

from buildbook.fits.motion import check_above_zero, check_not_below_zero


def preload_from_torque(torque: float, diameter: float, nut_factor: float) -> float:
    """The preload [N] that a torque leaves in a bolt: F = T/(K d).

    `torque` T [N·m], nominal thread `diameter` d [mm]. The `nut_factor` K holds all friction, so it belongs to one
    finish and one lubricant: about 0.2 for dry steel (common practice, from memory). A torque tells a preload no better
    than within about a quarter (common practice, from memory). Raises ValueError for any that is not above zero.
    """
    check_above_zero("torque", torque, "N·m")
    _check_bolt(diameter, nut_factor)
    return 1000 * torque / (nut_factor * diameter)


def torque_for(preload: float, diameter: float, nut_factor: float) -> float:
    """The torque [N·m] for a wanted preload: T = K d F, the inverse of `preload_from_torque`.

    `preload` F [N], `diameter` d [mm], `nut_factor` K. Raises ValueError for any that is not above zero.
    """
    check_above_zero("preload", preload, "N")
    _check_bolt(diameter, nut_factor)
    return nut_factor * diameter * preload / 1000


def load_from_stretch(stretch: float, modulus: float, area: float, length: float) -> float:
    """The load [N] in a bolt that was stretched: Hooke's law, F = E A ΔL/L.

    `stretch` ΔL [mm], `modulus` E [GPa, the same as kN/mm²], `area` A [mm²], one all along the `length` L [mm] that is
    stretched. It holds up to the proof load. Raises ValueError for a stretch below zero and any other that is not above
    zero.
    """
    check_not_below_zero("stretch", stretch, "mm")
    check_above_zero("modulus", modulus, "GPa")
    check_above_zero("area", area, "mm²")
    check_above_zero("length", length, "mm")
    return 1000 * modulus * area * stretch / length


def stretch_from_heat(expansion: float, length: float, rise: float) -> float:
    """How much longer [mm] a part becomes when it is heated: ΔL = α L ΔT, below zero when it is cooled.

    `expansion` α [1e-6/K], `length` L [mm], `rise` ΔT of temperature [K]. Raises ValueError for an expansion or a
    length that is not above zero and a rise that is no number.
    """
    check_above_zero("expansion", expansion, "millionths per K")
    check_above_zero("length", length, "mm")
    if not isfinite(rise):
        raise ValueError(f"a rise of {rise:g} K is no temperature difference")
    return expansion * 1e-6 * length * rise


def _check_bolt(diameter: float, nut_factor: float) -> None:
    check_above_zero("diameter", diameter, "mm")
    check_above_zero("nut factor", nut_factor)
