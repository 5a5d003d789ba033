"""Form and size: sections by hand, expansion against its own law turned round, and what materials are taken for."""

from fractions import Fraction
from math import sqrt
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import uniform

from buildbook.fits.sizes import (
    GAUGE,
    REFERENCE,
    at_reference,
    correction_uncertainty,
    expansion_of,
    largest_taper,
    mean,
    out_of_round,
    taper,
)

diameters = st.integers(20_000, 120_000).map(lambda number: Fraction(number, 1000))
section_lists = st.lists(st.lists(diameters, min_size=1, max_size=4), min_size=1, max_size=5)
temperatures = st.integers(-200, 600).map(lambda number: Fraction(number, 10))
coefficients = st.integers(0, 300).map(lambda number: Fraction(number, 10))


def mm(*readings: str) -> list[Fraction]:
    return [Fraction(reading) for reading in readings]


def test_mean_is_exact() -> None:
    # 62.180 + 62.180 + 62.178 over three: a third of a thousandth is kept
    assert mean(mm("62.180", "62.180", "62.178")) == Fraction("186.538") / 3


def test_nothing_read_has_no_mean() -> None:
    with pytest.raises(ValueError, match="no reading"):
        mean([])


def test_taper_is_from_one_end_to_the_other_and_never_below_zero() -> None:
    # front 62.1795, rear 62.179: the middle of the journal takes no part
    ends = mm("62.180", "62.179"), mm("62.150", "62.150"), mm("62.180", "62.178")
    assert taper(ends) == Fraction("0.0005")
    assert taper(ends[::-1]) == Fraction("0.0005")


def test_largest_taper_sees_a_bore_that_is_worn_in_the_middle() -> None:
    # means 101.806, 101.846 and 101.806: straight from end to end, and 0.040 out in between
    levels = mm("101.805", "101.807"), mm("101.846", "101.846"), mm("101.806", "101.806")
    assert taper(levels) == 0
    assert largest_taper(levels) == Fraction("0.040")


def test_one_section_has_no_taper() -> None:
    assert taper([mm("62.180", "62.179")]) is None
    assert largest_taper([mm("62.180", "62.179")]) is None


@given(section_lists, diameters)
def test_taper_is_the_same_from_either_end_and_of_a_larger_journal(
    sections: list[list[Fraction]], larger: Fraction
) -> None:
    assert taper(sections[::-1]) == taper(sections)
    assert taper([[reading + larger for reading in section] for section in sections]) == taper(sections)


@given(section_lists, st.randoms(use_true_random=False))
def test_largest_taper_is_no_less_than_the_taper_and_asks_no_order(
    sections: list[list[Fraction]], chance: Random
) -> None:
    largest, from_end_to_end = largest_taper(sections), taper(sections)
    assert (largest is None) == (from_end_to_end is None)
    if largest is not None and from_end_to_end is not None:
        assert largest >= from_end_to_end
    shuffled = list(sections)
    chance.shuffle(shuffled)
    assert largest_taper(shuffled) == largest


def test_out_of_round_is_the_largest_less_the_smallest_diameter() -> None:
    assert out_of_round(mm("62.180", "62.177", "62.181", "62.178")) == Fraction("0.004")


def test_one_reading_says_nothing_of_roundness() -> None:
    assert out_of_round(mm("62.180")) is None
    assert out_of_round([]) is None


@given(st.lists(diameters, min_size=2, max_size=6), diameters)
def test_another_reading_never_makes_a_section_rounder(readings: list[Fraction], another: Fraction) -> None:
    before, after = out_of_round(readings), out_of_round([*readings, another])
    assert before is not None
    assert after is not None
    assert after >= before >= 0


@pytest.mark.parametrize(
    ("description", "coefficient"),
    [
        ("forged aluminium 2618", "22.3"),
        ("2618 aluminium", "22.3"),
        ("Forged 4032", "19.4"),
        ("hypereutectic aluminium", "18.5"),
        ("cast aluminum, high silicon", "18.5"),
        ("forged aluminium, low silicon", "21"),
        ("cast iron", "10.8"),
        ("Grey iron, sleeved", "10.8"),
        ("compacted graphite", "10.8"),
        ("forged steel", "11.5"),
        ("titanium", "8.6"),
        ("magnesium", "26"),
        ("phosphor bronze", "18"),
    ],
)
def test_a_material_is_known_by_what_is_said_of_it(description: str, coefficient: str) -> None:
    expansion = expansion_of(description)
    assert expansion is not None
    assert expansion.coefficient == Fraction(coefficient)


@pytest.mark.parametrize("description", [None, "", "unobtainium", "cast", "forged"])
def test_an_unknown_material_has_no_expansion(description: str | None) -> None:
    assert expansion_of(description) is None


@pytest.mark.parametrize(
    "description",
    ["2618", "4032", "hypereutectic", "aluminium", "magnesium", "titanium", "bronze", "cast iron", "steel"],
)
def test_the_name_that_a_material_is_given_is_understood_when_it_is_written_down(description: str) -> None:
    expansion = expansion_of(description)
    assert expansion is not None
    assert expansion_of(expansion.material) == expansion


@pytest.mark.parametrize(
    ("description", "material"),
    [
        ("forged steel, bronze bush in the small end", "steel"),  # a rod: its big end is not of bronze
        ("aluminium bronze", "bronze"),  # an alloy comes before the metal it is made with
    ],
)
def test_what_a_piece_is_mostly_made_of_decides(description: str, material: str) -> None:
    expansion = expansion_of(description)
    assert expansion is not None
    assert expansion.material == material


def test_an_aluminium_piston_read_warm_is_smaller_than_it_reads() -> None:
    # 101.720 mm at 30 °C, α = 22.3, read with steel of 11.5: × 1.000115/1.000223 = × (1 − 0.000107976): 101.709017 mm
    warm = at_reference(Fraction("101.720"), Fraction(30), Fraction("22.3"))
    assert warm == Fraction("101.720") * Fraction(1_000_115, 1_000_223)
    assert float(warm) == pytest.approx(101.709017, abs=5e-7)


def test_cast_iron_read_warm_with_steel_is_a_little_larger_than_it_reads() -> None:
    # iron grows less than the gauge: 101.806 × 1.000115/1.000108 = 101.806 + 0.000713 mm
    assert float(at_reference(Fraction("101.806"), Fraction(30), Fraction("10.8"))) == pytest.approx(
        101.806713, abs=5e-7
    )


@given(diameters, temperatures)
def test_steel_read_with_a_steel_gauge_needs_no_correction(length: Fraction, temperature: Fraction) -> None:
    assert at_reference(length, temperature, GAUGE) == length


@given(diameters, coefficients, coefficients)
def test_at_20_degrees_a_size_is_what_it_reads(length: Fraction, coefficient: Fraction, gauge: Fraction) -> None:
    assert at_reference(length, REFERENCE, coefficient, gauge) == length


@given(diameters, temperatures, coefficients, coefficients)
def test_bringing_to_20_degrees_undoes_what_heat_does_to_piece_and_gauge(
    length: Fraction, temperature: Fraction, coefficient: Fraction, gauge: Fraction
) -> None:
    rise = temperature - 20
    grown = length * (1 + coefficient * rise / 1_000_000)
    shown = grown / (1 + gauge * rise / 1_000_000)  # by a scale that has grown too
    assert at_reference(shown, temperature, coefficient, gauge) == length


def test_a_correction_is_as_unsure_as_both_coefficients() -> None:
    # each within ± 1e-6/K, any value as likely: 100 mm × 10 K × √2 × 1e-6/√3 = 0.000816497 mm
    deviation = uniform(-1e-6, 2e-6).std()
    assert correction_uncertainty(100, 30) == pytest.approx(100 * 10 * sqrt(2) * deviation, rel=1e-12)
    assert correction_uncertainty(100, 30) == pytest.approx(0.000816497, abs=5e-10)
    assert correction_uncertainty(100, 10) == correction_uncertainty(100, 30)
    assert correction_uncertainty(100, 20) == 0
