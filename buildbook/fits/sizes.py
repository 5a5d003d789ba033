"""Form and size: taper, out-of-round, and what a length is at 20 °C.

Lengths are in mm and may be Fractions, which stay exact. A section is the diameters read at one place along a journal
or a bore, turning round it.
"""

from collections.abc import Sequence
from fractions import Fraction
from math import sqrt
from typing import NamedTuple

# ISO 1:2022, the temperature at which a size is what it is said to be [°C].
REFERENCE = Fraction(20)

Section = Sequence[Fraction]


def mean(readings: Section) -> Fraction:
    """The mean diameter [mm] of a section. Raises ValueError where nothing was read."""
    if not readings:
        raise ValueError("there is no reading")
    return sum(readings, Fraction(0)) / len(readings)


def taper(sections: Sequence[Section]) -> Fraction | None:
    """How much the mean diameter changes from one end section to the other [mm], never below zero.

    Common practice (no standard defines it): the difference of the mean diameters of the two end sections. None where
    fewer than two sections were read.
    """
    return abs(mean(sections[0]) - mean(sections[-1])) if len(sections) > 1 else None


def largest_taper(sections: Sequence[Section]) -> Fraction | None:
    """The largest difference between the mean diameters of any two sections [mm], as a bore that is worn or
    bell-mouthed in the middle of its travel shows it; None where fewer than two sections were read."""
    means = [mean(section) for section in sections]
    return max(means) - min(means) if len(means) > 1 else None


def out_of_round(section: Section) -> Fraction | None:
    """Largest less smallest diameter of one section [mm], as two points measure it; None for fewer than two readings.

    It is a difference of diameters: on an ellipse it is twice the roundness deviation of ISO 12181-1, which is a
    difference of radii. A form with an odd number of lobes hides from two points altogether (ISO 4292, from memory).
    """
    return max(section) - min(section) if len(section) > 1 else None


class Expansion(NamedTuple):
    """How much a material grows with heat [1e-6/K], and what it is taken for."""

    material: str
    coefficient: Fraction


# Mean coefficients near room temperature, from memory of common handbook tables, by the words that name a material.
_METALS = {
    "steel": ("steel", "11.5"),
    "cast iron": ("cast iron", "10.8"),
    "grey iron": ("cast iron", "10.8"),
    "gray iron": ("cast iron", "10.8"),
    "ductile iron": ("cast iron", "10.8"),
    "nodular iron": ("cast iron", "10.8"),
    "compacted graphite": ("cast iron", "10.8"),
    "aluminium bronze": ("bronze", "18"),
    "aluminum bronze": ("bronze", "18"),
    "bronze": ("bronze", "18"),
    "aluminium": ("aluminium alloy", "21"),
    "aluminum": ("aluminium alloy", "21"),
    "2618": ("aluminium alloy 2618", "22.3"),
    "4032": ("aluminium alloy 4032", "19.4"),
    "hypereutectic": ("high-silicon aluminium", "18.5"),
    "high-silicon": ("high-silicon aluminium", "18.5"),
    "magnesium": ("magnesium alloy", "26"),
    "titanium": ("titanium alloy", "8.6"),
}
# These say more than the metal they are alloys of, wherever they stand.
_ALLOYS = ("2618", "4032", "hypereutectic", "high-silicon")

# Micrometers, and the standards that bore gauges are set by, are of steel.
GAUGE = Fraction("11.5")

# How well a coefficient out of a table is known: within ± 1e-6/K, any value as likely as another (GUM 4.3.7).
_KNOWN_WITHIN = 1.0


def expansion_of(description: str | None) -> Expansion | None:
    """How a piece grows, by the words that say what it is made of; None where they say nothing that is known.

    The metal that is named first decides, `forged steel, bronze bush`: the rest is a part of it.
    """
    said = (description or "").lower().replace("high silicon", "high-silicon")
    named = [word for word in _METALS if word in said]
    if not named or "stainless" in said:  # one stainless steel grows half as much again as another
        return None
    alloys = [word for word in _ALLOYS if word in named]
    first = min(named, key=lambda word: (said.index(word), -len(word)))
    material, coefficient = _METALS[alloys[0] if alloys else first]
    return Expansion(material, Fraction(coefficient))


def at_reference(length: Fraction, temperature: Fraction, coefficient: Fraction, gauge: Fraction = GAUGE) -> Fraction:
    """What a length [mm] read at a temperature [°C] is at 20 °C: L (1 + αg ΔT) / (1 + α ΔT), ΔT = T − 20.

    `coefficient` α and `gauge` αg [1e-6/K]; piece and gauge have the same temperature, so that only the difference of
    the two shows: steel read with a steel gauge needs no correction, and an aluminium piston read warm is smaller than
    it reads. With αg = 0 it is the usual L / (1 + α ΔT). The law ΔL = α L ΔT is that of any handbook; ISO 1 says 20 °C.
    """
    rise = temperature - REFERENCE
    return length * (1 + gauge * rise / 1_000_000) / (1 + coefficient * rise / 1_000_000)


def correction_uncertainty(length: float, temperature: float) -> float:
    """Standard uncertainty [mm] that the correction to 20 °C brings: L |ΔT| √2 a/√3, a = 1e-6/K for each of the two
    coefficients (GUM 4.3.7, 5.1.2). `length` [mm], `temperature` [°C]."""
    return length * abs(temperature - float(REFERENCE)) * sqrt(2 / 3) * _KNOWN_WITHIN * 1e-6
