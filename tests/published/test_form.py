"""Form, size at 20 °C, rules of thumb and decisions against standards, a national laboratory and common practice."""

from fractions import Fraction
from math import sqrt

import numpy as np
import pytest
from conftest import Book
from figures.measurements import PAIRED, fits, found, rules_found, write

from buildbook.figures.fits import COMMON_PRACTICE, bounds_of, limit_words
from buildbook.fits.decision import Estimate, decide
from buildbook.fits.sizes import REFERENCE, at_reference, correction_uncertainty, out_of_round, taper
from buildbook.quantities import UNITS, read_quantity

INCH = Fraction("25.4")


def diameters(half_width: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> list[Fraction]:
    """What two flat anvils read of a form whose surface stands `half_width` [mm] from a centre in directions all round:
    the sum of that in one direction and in the opposite one."""
    half = len(half_width) // 2
    return [Fraction(width) for width in half_width[:half] + half_width[half:]]


ALL_ROUND = np.radians(np.arange(360))


def test_an_ellipse_is_out_of_round_by_twice_its_roundness_deviation() -> None:
    # Axes of 50.02 and 49.98 mm: two points find 0.04 mm, a difference of diameters. ISO 1101:2012 (read in a summary):
    # roundness is the difference of the radii of two concentric circles that hold the form: 25.01 − 24.99 = 0.02 mm.
    ellipse = np.sqrt((25.01 * np.cos(ALL_ROUND)) ** 2 + (24.99 * np.sin(ALL_ROUND)) ** 2)
    oval = out_of_round(diameters(ellipse))
    assert oval is not None
    assert float(oval) == pytest.approx(0.04, abs=1e-12)
    assert float(oval) == pytest.approx(2 * (ellipse.max() - ellipse.min()), abs=1e-12)


def test_a_form_of_three_lobes_hides_from_two_points() -> None:
    # ISO 4292, from memory: with an odd number of lobes the diameter is the same in all directions, though the radii
    # differ by 0.02 mm
    lobed = 25 + 0.01 * np.cos(3 * ALL_ROUND)
    seen = out_of_round(diameters(lobed))
    assert seen is not None
    assert lobed.max() - lobed.min() == pytest.approx(0.02)
    assert float(seen) == pytest.approx(0, abs=1e-12)


def test_taper_is_a_difference_of_diameters_of_the_two_ends() -> None:
    # Common practice, no source, and not in ISO 1101: a cone from 50.02 to 49.98 mm tapers 0.04, not 0.02
    cone = [[Fraction("50.02")] * 2, [Fraction("50.00")] * 2, [Fraction("49.98")] * 2]
    assert taper(cone) == Fraction("0.04")


def test_the_standard_temperature_is_20_degrees() -> None:
    # ISO 1; 68 °F by the definition of the scale
    assert REFERENCE == 20
    assert read_quantity("68", "temperature", "degF").worth("degC") == REFERENCE


def test_a_steel_rod_of_500_mm_brought_to_20_degrees() -> None:
    # National Physical Laboratory (UK), FAQ "How do I correct lengths to 20 °C?" (read): 500.035 mm at 23.7 °C with
    # 11.7e-6/K is 500.013 mm. The length was read free of the scale's own growth: αg = 0.
    length = at_reference(Fraction("500.035"), Fraction("23.7"), Fraction("11.7"), gauge=Fraction(0))
    assert float(length) == pytest.approx(500.013, abs=5e-4)
    # The FAQ takes L α ΔT off; the exact L/(1 + α ΔT) differs from it by L (α ΔT)² alone, 1e-6 mm
    assert float(length) == pytest.approx(500.035 * (1 - 11.7e-6 * 3.7), abs=1e-6)


def test_one_coefficient_of_the_end_gauge_of_the_gum() -> None:
    # GUM (JCGM 100:2008) H.1, inputs read in a rendering, the 2.9 nm from memory: l = 50.000623 mm, 0.1 K below 20 °C,
    # the difference of the two coefficients within ± 1e-6/K. Here each of the two is, so √2 as much.
    assert correction_uncertainty(50.000623, 19.9) / sqrt(2) == pytest.approx(2.9e-6, abs=0.05e-6)
    assert correction_uncertainty(50.000623, 19.9) / sqrt(2) == pytest.approx(50.000623 * 0.1 * 0.577350e-6, rel=1e-6)


def test_a_step_of_the_gauge_is_known_to_0_29_of_itself(book: Book) -> None:
    # GUM F.2.2.1, from memory: d/(2√3) = 0.288675 d
    write(book, "with: step_gauge, what: main_journal, readings: {1: 62.180}")
    (size,) = book.figures().measured["main_journal"]["1"].readings
    assert size.uncertainty == pytest.approx(0.288675 * 0.001, rel=1e-6)


def test_a_clearance_is_as_unsure_as_its_two_diameters_together(book: Book) -> None:
    # GUM 5.1.2, from memory: √(0.288675² + 0.288675²) = 0.408248 of the step
    write(
        book,
        "with: step_gauge, what: main_journal, readings: {1: 62.180}",
        "with: step_gauge, what: main_bore, readings: {1: 62.236}",
    )
    assert fits(book.figures(), "main_clearance")["1"].uncertainty == pytest.approx(0.408248 * 0.001, rel=1e-5)


def test_a_certificate_of_an_expanded_uncertainty_counts_half_of_it(book: Book) -> None:
    # GUM 4.3.3, from memory: a quoted uncertainty divided by its multiplier, 0.002/2 mm, is a standard uncertainty;
    # 5.1.2: with the step and the repeatability of 0.001 mm √(0.288675² + 1² + 1²) = 1.443376 of 0.001 mm
    write(book, "with: certified_mic, what: main_journal, readings: {1: 62.180}")
    (size,) = book.figures().measured["main_journal"]["1"].readings
    assert size.uncertainty == pytest.approx(1.443376 * 0.001, rel=1e-6)


def test_readings_that_share_their_gauges_error_lose_it_in_their_difference(book: Book) -> None:
    # GUM 5.2.2 and F.1.2.3, from memory: u²(a − b) = u²(a) + u²(b) − 2 u(a, b), and u(a, b) = 0.001² is what both
    # share: √(2 × 1.443376² − 2 × 1²) × 0.001 = √(2.166667) × 0.001 = 0.00147196 mm
    write(book, "with: certified_mic, what: main_journal, readings: {1: [62.180, 62.170]}")
    out = fits(book.figures(), "main_journal_out_of_round")["1"]
    assert out.uncertainty == pytest.approx(sqrt(2 * 1.443376**2 - 2) * 0.001, rel=1e-5)
    assert out.uncertainty == pytest.approx(0.00147196, abs=5e-8)


@pytest.mark.parametrize("kind", ["main_clearance", "rod_clearance"])
def test_three_quarters_to_one_thousandth_of_the_journal(book: Book, kind: str) -> None:
    # Common practice: a journal of 2.000 in, 0.00075 to 0.0010 in for each inch: 0.0015 to 0.0020 in
    bounds = bounds_of(book.figures().build, kind, Fraction("2.000") * INCH)
    assert (bounds.least, bounds.most) == (Fraction("0.0015") * INCH, Fraction("0.0020") * INCH)
    assert bounds.practice


@pytest.mark.parametrize(("kind", "factor", "printed"), [("top", "0.0045", 0.018), ("second", "0.0050", 0.020)])
def test_ring_gaps_of_a_bore_of_4_030_inches(book: Book, kind: str, factor: str, printed: float) -> None:
    # A trade magazine of January 2019 (read), taken as common practice: 0.0045 and 0.0050 in for each inch of bore,
    # printed as 0.018 and 0.020 in
    bounds = bounds_of(book.figures().build, f"{kind}_ring_gap", Fraction("4.030") * INCH)
    assert bounds.least == Fraction("4.030") * Fraction(factor) * INCH
    assert float(bounds.least / INCH) == pytest.approx(printed, abs=0.0005)
    assert bounds.most is None
    assert bounds.practice


def test_four_thousandths_for_each_inch_of_bore(book: Book) -> None:
    # Common practice, no source: 0.004 × 4.030 in = 0.01612 in. A limit that somebody wrote down is no rule of thumb.
    write(book, limits="top_ring_gap: {min: {per_mm: 0.004}}")
    bounds = bounds_of(book.figures().build, "top_ring_gap", Fraction("4.030") * INCH)
    assert bounds.least == Fraction("0.01612") * INCH
    assert not bounds.practice


# Common practice, no source: the least and the most, in inches.
IN_INCHES = {
    "oil_rail_gap": ("0.015", None),
    "intake_valve_to_piston": ("0.080", None),
    "exhaust_valve_to_piston": ("0.100", None),
    "main_journal_taper": (None, "0.0005"),
    "rod_journal_taper": (None, "0.0005"),
    "cam_journal_taper": (None, "0.0005"),
    "main_journal_out_of_round": (None, "0.0005"),
    "rod_journal_out_of_round": (None, "0.0005"),
    "cam_journal_out_of_round": (None, "0.0005"),
    "bore_taper": (None, "0.001"),
    "bore_out_of_round": (None, "0.001"),
    "crankshaft_end_play": ("0.004", "0.010"),
}


@pytest.mark.parametrize("kind", IN_INCHES)
def test_rules_of_thumb_in_inches_are_exact(kind: str) -> None:
    # 1 in = 25.4 mm exactly
    practice = COMMON_PRACTICE[kind]
    exact = [None if inches is None else Fraction(inches) * UNITS["in"].factor for inches in IN_INCHES[kind]]
    assert [practice.least, practice.most] == exact
    assert not practice.per_diameter
    assert practice.said == " to ".join(inches for inches in IN_INCHES[kind] if inches) + " in"


def test_every_rule_of_thumb_is_in_inches_or_a_share_of_the_diameter() -> None:
    assert set(IN_INCHES) == {kind for kind, practice in COMMON_PRACTICE.items() if not practice.per_diameter}


def test_no_rule_of_thumb_is_offered_for_pistons() -> None:
    # Common practice gives none that would be safe: alloy and use decide
    assert "piston_clearance" not in COMMON_PRACTICE


# Each fit on the wrong side of its rule of thumb, beyond any doubt.
MEASURED = {
    "main_clearance": ("what: main_journal, readings: {1: 62.18}", "what: main_bore, readings: {1: 62.19}"),
    "rod_clearance": ("what: rod_journal, readings: {1: 53.29}", "what: rod_bore, readings: {R1: 53.30}"),
    "top_ring_gap": ("with: feeler, what: top_ring_gap, readings: {1: 0.30}",),
    "second_ring_gap": ("with: feeler, what: second_ring_gap, readings: {1: 0.30}",),
    "oil_rail_gap": ("with: feeler, what: oil_rail_gap, readings: {1: 0.30}",),
    "intake_valve_to_piston": ("with: feeler, what: valve_to_piston, readings: {1: {intake: 1.50}}",),
    "exhaust_valve_to_piston": ("with: feeler, what: valve_to_piston, readings: {1: {exhaust: 1.50}}",),
    "main_journal_taper": ("what: main_journal, readings: {1: {front: 62.180, rear: 62.160}}",),
    "rod_journal_taper": ("what: rod_journal, readings: {1: {front: 53.290, rear: 53.270}}",),
    "cam_journal_taper": ("what: cam_journal, readings: {1: {front: 47.450, rear: 47.430}}",),
    "main_journal_out_of_round": ("what: main_journal, readings: {1: [62.180, 62.160]}",),
    "rod_journal_out_of_round": ("what: rod_journal, readings: {1: [53.290, 53.270]}",),
    "cam_journal_out_of_round": ("what: cam_journal, readings: {1: [47.450, 47.430]}",),
    "bore_taper": ("what: cylinder_bore, readings: {1: {top: 101.840, bottom: 101.805}}",),
    "bore_out_of_round": ("what: cylinder_bore, readings: {1: [101.840, 101.805]}",),
    "crankshaft_end_play": ("with: feeler, what: crankshaft_end_play, readings: {1: 0.05}",),
}


def test_every_rule_of_thumb_is_tried_here() -> None:
    assert set(MEASURED) == set(COMMON_PRACTICE)


@pytest.mark.parametrize("kind", COMMON_PRACTICE)
def test_a_rule_of_thumb_is_always_marked_common_practice(book: Book, kind: str) -> None:
    write(book, *MEASURED[kind], paired=PAIRED)
    figures = book.figures()
    (fit,) = figures.fits.of(kind)
    assert fit.verdict == ("over" if COMMON_PRACTICE[kind].least is None else "under")
    assert fit.bounds.practice
    assert "common practice" in limit_words(fit)
    finding = found(figures, "fit")
    assert finding.severity == "note"  # nobody asked for it: it is offered, not demanded
    assert "common practice" in finding.what


def test_end_play_has_a_most_by_common_practice_too(book: Book) -> None:
    # 0.010 in = 0.254 mm; 0.30 − 0.0115 is more for certain
    write(book, "with: feeler, what: crankshaft_end_play, readings: {1: 0.30}")
    assert fits(book.figures(), "crankshaft_end_play")["1"].verdict == "over"
    write(book, "with: feeler, what: crankshaft_end_play, readings: {1: 0.18}")
    assert fits(book.figures(), "crankshaft_end_play")["1"].verdict == "within"


@pytest.mark.parametrize("kind", ["main_bore_taper", "rod_bore_out_of_round", "cam_bore_taper", "camshaft_end_play"])
def test_no_rule_of_thumb_is_offered_where_common_practice_has_none(kind: str) -> None:
    assert kind not in COMMON_PRACTICE


def test_a_limit_that_was_set_is_not_marked_common_practice(book: Book) -> None:
    write(
        book,
        "with: feeler, what: top_ring_gap, readings: {1: 0.30, 2: 0.50}",
        limits="top_ring_gap: {min: 0.46, source: ring maker's sheet}",
    )
    figures = book.figures()
    assert rules_found(figures) == ["fit"]
    finding = found(figures, "fit")
    assert finding.severity == "warning"
    assert "at least 0.460, ring maker's sheet" in finding.what
    assert "common practice" not in finding.what


def test_conformity_is_proven_inside_the_limit_by_the_uncertainty_and_its_lack_outside_by_it() -> None:
    # ISO 14253-1, from memory: USL = 10.00, LSL = 9.90, U = 0.02 (u = 0.01, k = 2): conforming from 9.92 to 9.98, not
    # conforming below 9.88 and above 10.02, and nothing proven in between
    verdicts = {
        value: decide(Estimate(value, 0.01), Estimate(value, 0.01), 9.90, 10.00)
        for value in (9.879, 9.881, 9.90, 9.919, 9.921, 9.979, 9.981, 10.00, 10.019, 10.021)
    }
    assert list(verdicts.values()) == [
        *("under", "cannot tell", "cannot tell", "cannot tell", "within"),
        *("within", "cannot tell", "cannot tell", "cannot tell", "over"),
    ]


@pytest.mark.parametrize(
    ("asked", "done", "verdict"),
    [
        ("100", "96.10", "within"),
        ("100", "95.90", "under"),
        ("100", "103.90", "within"),
        ("100", "104.10", "over"),
        ("10.01", "9.50", "under"),  # 10.01 × 0.96 = 9.6096: above 10 N m
        ("10", "9.50", "within"),  # 10 × 0.94 = 9.4: up to 10 N m
        ("8", "7.60", "within"),  # 8 × 0.94 = 7.52
        ("8", "7.45", "under"),
        ("8", "8.55", "over"),  # 8 × 1.06 = 8.48
    ],
)
def test_a_torque_tool_may_be_off_by_4_per_cent_and_a_small_one_by_6(
    book: Book, asked: str, done: str, verdict: str
) -> None:
    # ISO 6789-1:2017 (read in the manual of a torque tool): ± 4 % above 10 N m, ± 6 % up to 10 N m. The wrench of
    # 0.01 N m that repeats within 0.01 N m adds ± 2 × √(0.01²/12 + 0.01²) = ± 0.021 N m
    write(book, f"with: fine_wrench, what: fastener_torque, asked: {asked}, readings: {{cover_1: {done}}}")
    assert fits(book.figures(), "fastener_torque")["cover_1"].verdict == verdict


@pytest.mark.parametrize(
    ("done", "verdict"),
    [
        ("95.97", "under"),  # 95.97 + 0.021 = 95.991
        ("95.99", "cannot tell"),
        ("96.01", "cannot tell"),
        ("96.03", "within"),  # 96.03 − 0.021 = 96.009
        ("103.97", "within"),
        ("103.99", "cannot tell"),
        ("104.01", "cannot tell"),
        ("104.03", "over"),
    ],
)
def test_a_torque_within_its_uncertainty_of_what_is_allowed_proves_nothing(book: Book, done: str, verdict: str) -> None:
    # ISO 14253-1, from memory, as above: 100 N m within 4 %, ± 0.021 N m
    write(book, f"with: fine_wrench, what: fastener_torque, asked: 100, readings: {{cover_1: {done}}}")
    assert fits(book.figures(), "fastener_torque")["cover_1"].verdict == verdict
