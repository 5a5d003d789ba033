"""Compression: the volume above the piston at both ends of its stroke, and what their ratio is worth.

Lengths in mm, volumes in cc, angles in degrees of crankshaft. "Swept" is what one piston sweeps; "clearance" is the
volume left above it at top dead centre.
"""

from math import fsum, isfinite, pi
from typing import NamedTuple

from buildbook.fits.motion import check_above_zero, check_not_below_zero, piston_travel
from buildbook.uncertainty import combined


def bore_volume(diameter: float, length: float) -> float:
    """A cylinder of a diameter and a length [mm], in cc: π/4 diameter² length.

    A length below zero gives a volume below zero: so stands a piston above its deck. Raises ValueError for a diameter
    that is not above zero and for a length that is no number.
    """
    check_above_zero("diameter", diameter, "mm")
    if not isfinite(length):
        raise ValueError(f"a length of {length:g} mm gives no volume")
    return pi / 4 * diameter**2 * length / 1000


class ClearanceVolume(NamedTuple):
    """What is left above a piston at top dead centre, part by part [cc].

    The `chamber` in the head; the `dish` of the piston with its valve pockets, below zero for a dome; the hole of the
    `gasket` at its pressed thickness; the `deck` from piston to deck, below zero where the piston stands above it; and
    the `ring_land`, the gap round the piston above the top ring.
    """

    chamber: float
    dish: float
    gasket: float
    deck: float
    ring_land: float

    @property
    def total(self) -> float:
        """All of it [cc]."""
        return fsum(self)


def compression_ratio(swept: float, clearance: float) -> float:
    """The volume above the piston at bottom dead centre over that at top dead centre: (Vs + Vc)/Vc.

    `swept` Vs and `clearance` Vc [cc]. Raises ValueError for either that is not above zero.
    """
    _check_volumes(swept, clearance)
    return 1 + swept / clearance


def ratio_uncertainty(swept: float, clearance: float, u_swept: float, u_clearance: float) -> float:
    """Standard uncertainty of a compression ratio: √((u_s/Vc)² + (Vs u_c/Vc²)²) (GUM 5.1.2, from memory).

    `swept` Vs and `clearance` Vc [cc] with their standard uncertainties u_s and u_c [cc]; the sensitivities are the
    partial derivatives 1/Vc and Vs/Vc², and the two volumes are taken as independent. Raises ValueError for a volume
    that is not above zero and an uncertainty below zero.
    """
    _check_volumes(swept, clearance)
    check_not_below_zero("uncertainty of the swept volume", u_swept, "cc")
    check_not_below_zero("uncertainty of the clearance volume", u_clearance, "cc")
    return combined(u_swept / clearance, swept / clearance**2 * u_clearance)


def clearance_for(swept: float, ratio: float) -> float:
    """The clearance volume [cc] that gives a wanted compression ratio: Vs/(ratio − 1).

    `swept` Vs [cc]. Raises ValueError for a swept volume that is not above zero and a ratio that is not above one.
    """
    check_above_zero("swept volume", swept, "cc")
    if not (isfinite(ratio) and ratio > 1):
        raise ValueError(f"a compression ratio of {ratio:g} cannot be had: it must be above one")
    return swept / (ratio - 1)


def effective_stroke(stroke: float, rod_length: float, intake_closes: float) -> float:
    """What is left of the stroke [mm] above the piston when the intake valve closes, by the exact slider-crank.

    `intake_closes` [deg] counts from bottom dead centre on, and is below zero where the valve closes before it.
    Camshaft makers state it at a lift of their own choosing, and the figure depends on that lift.

    Raises ValueError for a stroke that is not above zero, a rod no longer than the crank radius, and an angle that is
    half a turn or more.
    """
    if not -180 < intake_closes < 180:
        raise ValueError(
            f"an intake valve that closes {intake_closes:g} degrees after bottom dead centre leaves no stroke: "
            "the angle must be less than 180"
        )
    return piston_travel(180 + intake_closes, stroke, rod_length)


def dynamic_ratio(bore: float, stroke: float, rod_length: float, clearance: float, intake_closes: float) -> float:
    """The compression ratio of what is left of the stroke when the intake valve closes: common practice, from memory.

    Geometry alone: what the moving air carries in after bottom dead centre is not in it. `clearance` [cc],
    `intake_closes` [deg] after bottom dead centre. Raises ValueError as `effective_stroke` does, and for a bore or a
    clearance volume that is not above zero.
    """
    return compression_ratio(bore_volume(bore, effective_stroke(stroke, rod_length, intake_closes)), clearance)


def _check_volumes(swept: float, clearance: float) -> None:
    check_above_zero("swept volume", swept, "cc")
    check_above_zero("clearance volume", clearance, "cc")
