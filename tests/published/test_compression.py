"""Swept volume and compression ratio against textbooks.

All of these were read in companions to the books: the book's inputs and its printed result. Where only the air-standard
efficiency is printed, it stands for the ratio: 1 − ratio^(−0.4), the Otto cycle with γ = 1.4.
"""

from math import pow

import pytest

from buildbook.fits.compression import bore_volume, clearance_for, compression_ratio
from buildbook.fits.motion import displacement


def otto(ratio: float) -> float:
    return 1 - pow(ratio, -0.4)


def test_four_cylinders_at_eight_to_one() -> None:
    # Mathur & Sharma, ex. 1.1: bore 6.8 cm, stroke 7.5 cm; companion: 1089.5 cm³; within 0.01 %.
    # 38.911 cm³ is derived.
    swept = displacement(68, 75, 4)
    assert swept == pytest.approx(1089.5, rel=1e-4)
    assert clearance_for(swept / 4, 8) == pytest.approx(38.911, rel=1e-4)


def test_one_cylinder_of_eight_litres() -> None:
    # Gupta, ex. 2.1: bore 20 cm, stroke 25 cm, clearance 1570 cm³; companion: inputs, the ratio used inside the
    # example; 7853.98 cm³ and 6.0025 derived; within 1e-4
    swept = bore_volume(200, 250)
    assert swept == pytest.approx(7853.98, rel=1e-4)
    assert compression_ratio(swept, 1570) == pytest.approx(6.0025, rel=1e-4)


def test_a_long_stroke() -> None:
    # Mathur & Sharma, ex. 2.3: bore 17 cm, stroke 30 cm, clearance 1025 cm³; companion: 55.7 %; the rest derived;
    # within 1e-4
    swept = bore_volume(170, 300)
    ratio = compression_ratio(swept, 1025)
    assert swept == pytest.approx(6809.40, rel=1e-4)
    assert ratio == pytest.approx(7.6433, rel=1e-4)
    assert otto(ratio) == pytest.approx(0.5567, rel=1e-4)
    assert otto(ratio) == pytest.approx(0.557, abs=5e-4)


def test_a_cylinder_of_twenty_two_litres() -> None:
    # Keswani: bore 0.25 m, stroke 0.45 m, clearance 5 l; companion: 49.1 %, with π = 3.14; the rest derived;
    # within 1e-3
    swept = bore_volume(250, 450)
    ratio = compression_ratio(swept, 5000)
    assert swept == pytest.approx(22_089, rel=1e-3)
    assert ratio == pytest.approx(5.4179, rel=1e-3)
    assert otto(ratio) == pytest.approx(0.4913, rel=1e-3)
    assert otto(ratio) == pytest.approx(0.491, rel=1e-3)


def test_eight_cylinders() -> None:
    # Gupta, ch. 16: 80 × 100 mm, clearance 65 cm³; companion: inputs; the rest derived; within 1e-4
    swept = bore_volume(80, 100)
    assert swept == pytest.approx(502.65, rel=1e-4)
    assert compression_ratio(swept, 65) == pytest.approx(8.7332, rel=1e-4)
    assert displacement(80, 100, 8) == pytest.approx(4021.24, rel=1e-4)
