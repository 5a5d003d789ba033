"""What counts as measured: which reading, at which temperature, how well known, and in which cylinder."""

from fractions import Fraction
from math import sqrt

import pytest
from conftest import Book
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.figures.measured import Measured, apart, fitted_places
from figures.ledger import PARTS, pairings
from figures.measurements import BORE_GAUGE, CERTIFIED_MIC, GAUGES, MIC, PAIRED, write

JOURNAL = "what: main_journal, readings: {1: {front: [62.180, 62.179], rear: [62.180, 62.178]}}"

MADE = """\
format: 1
parts:
  - {kind: block, ids: [B1], material: cast iron}
  - {kind: crankshaft, ids: [C1], material: forged steel}
  - {kind: rod, ids: [R1, R2]}
  - {kind: piston, ids: [P1], material: forged aluminium 2618}
  - {kind: piston, ids: [P2], material: forged aluminium 4032}
  - {kind: pin, ids: [N1, N2]}
"""


def journal(book: Book, place: str = "1", kind: str = "main_journal") -> Measured:
    return book.figures().measured[kind][place]


def sections(piece: Measured) -> dict[str, list[str]]:
    return {name: [f"{float(size.as_read):.3f}" for size in section] for name, section in piece.sections.items()}


def test_sections_keep_the_order_in_which_they_were_read(book: Book) -> None:
    write(book, JOURNAL)
    found = journal(book)
    assert sections(found) == {"front": ["62.180", "62.179"], "rear": ["62.180", "62.178"]}
    assert list(found.sections) == ["front", "rear"]
    assert (found.smallest.value, found.largest.value) == (Fraction("62.178"), Fraction("62.180"))


def test_mean_is_of_the_sections_means_so_that_no_end_counts_more_for_being_read_oftener(book: Book) -> None:
    # front 62.180, rear (62.178 + 62.176 + 62.174) / 3 = 62.176: 62.178, where the four readings' mean is 62.177
    write(book, "what: main_journal, readings: {1: {front: 62.180, rear: [62.178, 62.176, 62.174]}}")
    assert journal(book).mean == Fraction("62.178")


def test_a_place_that_is_not_divided_has_one_section_without_a_name(book: Book) -> None:
    write(book, "what: main_journal, readings: {1: 62.180, 2: [62.181, 62.179]}")
    assert sections(journal(book, "1")) == {"": ["62.180"]}
    assert sections(journal(book, "2")) == {"": ["62.181", "62.179"]}


def test_readings_by_direction_or_crank_angle_belong_to_their_place_along_it(book: Book) -> None:
    write(
        book,
        "what: cylinder_bore, readings: {1: {top: {across: 101.806, along: 101.804}, bottom: {across: 101.803}}}",
    )
    piece = journal(book, kind="cylinder_bore")
    assert sections(piece) == {"top": ["101.806", "101.804"], "bottom": ["101.803"]}
    assert [size.within for size in piece.sections["top"]] == ["across", "along"]


def test_the_later_session_of_a_journal_counts_for_all_of_it_and_others_stay(book: Book) -> None:
    # ground between the two: what the rear was before says nothing of what it is now
    write(
        book,
        JOURNAL,
        "taken: 2026-10-06T09:00+01:00, what: main_journal, readings: {1: {front: [62.176, 62.175]}}",
        "what: main_bore, readings: {1: 62.240}",
    )
    assert sections(journal(book)) == {"front": ["62.176", "62.175"]}
    assert [size.session.id for size in journal(book).readings] == ["M2", "M2"]
    assert sections(journal(book, kind="main_bore")) == {"": ["62.240"]}


def test_sections_that_were_measured_before_and_not_again_are_known_as_left_out(book: Book) -> None:
    write(
        book,
        "what: main_journal, readings: {1: {front: 62.180, middle: 62.181, rear: 62.179}, 2: {front: 62.180}}",
        "taken: 2026-10-06T09:00+01:00, what: main_journal, readings: {1: {front: 62.176}, 2: {front: 62.175}}",
        "what: main_bore, readings: {1: {front: 62.240, rear: 62.241}}",
    )
    assert journal(book).left_out == ("middle", "rear")
    assert journal(book, "2").left_out == ()  # all that there was of it was measured again
    assert journal(book, kind="main_bore").left_out == ()  # and this one only once


def test_nothing_is_left_out_when_all_sections_are_measured_again(book: Book) -> None:
    write(
        book,
        JOURNAL,
        "taken: 2026-10-06T09:00+01:00, what: main_journal, readings: {1: {front: 62.176}}",
        "taken: 2026-10-06T10:00+01:00, what: main_journal, readings: {1: {rear: 62.175, front: 62.176}}",
    )
    assert journal(book).left_out == ()


def test_a_void_session_leaves_nothing_out(book: Book) -> None:
    write(
        book,
        JOURNAL,
        "taken: 2026-10-06T09:00+01:00, what: main_journal, void: wrong crankshaft, readings: {1: {front: 62.176}}",
    )
    assert journal(book).left_out == ()
    assert list(journal(book).sections) == ["front", "rear"]


def test_of_two_valves_each_has_a_later_reading_of_its_own(book: Book) -> None:
    write(
        book,
        "what: valve_to_piston, readings: {1: {intake: 2.31, exhaust: 2.80}}",
        "taken: 2026-10-06T09:00+01:00, what: valve_to_piston, readings: {1: {exhaust: 2.95}}",
    )
    assert sections(journal(book, kind="valve_to_piston")) == {"intake": ["2.310"], "exhaust": ["2.950"]}


@pytest.mark.parametrize(
    ("earlier", "later"),
    [("{front: 62.180, rear: 62.179}", "62.170"), ("62.170", "{front: 62.180, rear: 62.179}")],
    ids=["divided, then whole", "whole, then divided"],
)
def test_a_piece_read_as_a_whole_and_in_places_counts_as_it_was_read_last(book: Book, earlier: str, later: str) -> None:
    write(
        book,
        f"taken: 2026-10-05T08:00+01:00, what: main_journal, readings: {{1: {earlier}}}",
        f"taken: 2026-10-05T09:00+01:00, what: main_journal, readings: {{1: {later}}}",
    )
    assert {size.session.id for size in journal(book).readings} == {"M2"}


def test_the_time_decides_which_reading_is_later_not_the_place_in_the_file(book: Book) -> None:
    write(
        book,
        "taken: 2026-10-06T09:00+01:00, what: main_journal, readings: {1: 62.170}",
        "taken: 2026-10-05T09:00+01:00, what: main_journal, readings: {1: 62.180}",
    )
    assert sections(journal(book)) == {"": ["62.170"]}


def test_a_void_session_counts_for_nothing_and_the_one_before_it_does_again(book: Book) -> None:
    write(
        book,
        JOURNAL,
        "taken: 2026-10-06T09:00+01:00, what: main_journal, void: wrong crankshaft, readings: {1: 62.250}",
        "taken: 2026-10-06T10:00+01:00, what: main_bore, void: cap not torqued, readings: {1: 62.301}",
    )
    found = book.figures().measured
    assert {size.session.id for size in found["main_journal"]["1"].readings} == {"M1"}
    assert "main_bore" not in found


def test_a_number_may_carry_its_own_unit(book: Book) -> None:
    # 1 in = 25.4 mm and 1 thou = 0.0254 mm, exactly: 0.018 in and 18 thou are 0.4572 mm; 2.4480 in are 62.1792 mm
    write(
        book,
        "with: feeler, what: top_ring_gap, readings: {1: 0.018 in, 2: 18 thou}",
        'what: main_journal, readings: {1: ["2.4480 in", 62.179]}',
    )
    found = book.figures().measured
    assert [found["top_ring_gap"][name].mean for name in ("1", "2")] == [Fraction("0.4572")] * 2
    assert [size.value for size in found["main_journal"]["1"].readings] == [Fraction("62.1792"), Fraction("62.179")]


def test_a_file_in_inches_is_worth_the_same(book: Book) -> None:
    write(
        book,
        "what: main_journal, readings: {1: 2.4480}",
        "with: burette, what: chamber_volume, readings: {1: 4.00}",
        units="length: in, volume: in3, temperature: degF",
    )
    found = book.figures().measured
    assert found["main_journal"]["1"].mean == Fraction("62.1792")
    assert found["chamber_volume"]["1"].mean == 4 * Fraction("16.387064")


def test_sizes_are_brought_to_20_degrees_and_both_are_known(book: Book) -> None:
    # read with a steel gauge (11.5e-6/K) at 30 °C: iron grows by 10.8, the 2618 of P1 by 22.3, the 4032 of P2 by 19.4
    write(
        book,
        "temperature: 30, what: cylinder_bore, readings: {1: 101.806}",
        "temperature: 30, what: piston_skirt, readings: {P1: 101.720, P2: 101.720}",
        parts=MADE,
    )
    found = book.figures().measured
    bore = found["cylinder_bore"]["1"].readings[0]
    assert bore.as_read == Fraction("101.806")
    assert float(bore.value) == pytest.approx(101.806 + 101.806 * 0.7e-6 * 10, abs=1e-6)  # 0.000713 mm larger
    skirts = [found["piston_skirt"][name].readings[0] for name in ("P1", "P2")]
    assert [skirt.as_read for skirt in skirts] == [Fraction("101.720")] * 2
    # 101.720 × 10.8e-6 × 10 = 0.010986 and 101.720 × 7.9e-6 × 10 = 0.008036 mm smaller, less some 2e-6
    assert [float(skirt.value) for skirt in skirts] == pytest.approx([101.709017, 101.711966], abs=2e-6)


def test_degrees_fahrenheit_and_below_20_are_understood(book: Book) -> None:
    # 50 °F = 10 °C: the piston is larger at 20 °C than it read, by 101.720 × 10.8e-6 × 10
    write(book, "temperature: 50 degF, what: piston_skirt, readings: {P1: 101.720}", parts=MADE)
    skirt = journal(book, "P1", "piston_skirt").readings[0]
    assert float(skirt.value - skirt.as_read) == pytest.approx(0.010986, abs=4e-6)


@pytest.mark.parametrize(
    ("session", "parts"),
    [("", MADE), ("temperature: 30, ", PARTS), ("temperature: 20, ", MADE), ("temperature: 68 degF, ", MADE)],
    ids=["no temperature", "no material", "at 20 °C", "at 68 °F"],
)
def test_where_nothing_is_known_or_to_be_done_a_size_stays_as_read(book: Book, session: str, parts: str) -> None:
    write(book, f"{session}what: piston_skirt, readings: {{P1: 101.720}}", parts=parts)
    skirt = journal(book, "P1", "piston_skirt").readings[0]
    assert skirt.value == skirt.as_read == Fraction("101.720")
    assert skirt.uncertainty == pytest.approx(MIC, abs=5e-9)


def test_a_gap_is_not_brought_to_20_degrees(book: Book) -> None:
    write(book, "with: feeler, temperature: 35, what: top_ring_gap, readings: {1: 0.46}", parts=MADE)
    assert journal(book, kind="top_ring_gap").mean == Fraction("0.46")


# The micrometer: d = 0.001, s = 0.001. u = √(d²/12 + s²), d the last digit written where that is coarser.
UNCERTAINTIES = {
    "as the micrometer shows it": ("with: mic", "62.180", 0.00104083),
    # no gauge reads finer for another digit
    "a digit more than it shows": ("with: mic", "62.1800", 0.00104083),
    # √(0.01²/12 + 0.001²) = √(9.3333e-6) = 0.00305505
    "a digit less than it shows": ("with: mic", "62.18", 0.00305505),
    # only its step: 0.001/√12
    "a gauge that states no repeatability": ("with: step_gauge", "62.180", 0.000288675),
    # a scale reads no length: what the last digit says
    "a scale": ("with: scale", "62.180", 0.000288675),
    # its certificate states 0.002 mm for k = 2: √(0.001²/12 + 0.001² + 0.001²) = √(2.08333e-6) = 0.001443376
    "a gauge with a certificate": ("with: certified_mic", "62.180", 0.001443376),
    # 0.004 mm for k = 2: √(0.001²/12 + 0.001² + 0.002²) = √(5.08333e-6) = 0.002254625
    "a bore gauge with a certificate": ("with: bore_gauge", "62.180", 0.002254625),
    # a certificate in inches is worth as much: 0.0001 in = 0.00254 mm, √(0.001²/12 + 0.00127²) = √(1.696233e-6)
    "a certificate in inches": ("with: inch_gauge", "62.180", 0.001302395),
    # 0.001 in = 0.0254 mm: √(0.0254²/12 + 0.001²) = √(5.37633e-5 + 1e-6) = 0.007400225
    "thousandths of an inch": ("with: mic", "2.448 in", 0.007400225),
}


@pytest.mark.parametrize(("gauge", "reading", "expected"), UNCERTAINTIES.values(), ids=UNCERTAINTIES)
def test_a_reading_is_as_sure_as_its_gauge_and_its_digits(
    book: Book, gauge: str, reading: str, expected: float
) -> None:
    write(book, f"{gauge}, what: main_journal, readings: {{1: {reading}}}")
    book.write("shop.yaml", GAUGES + "  inch_gauge: {kind: micrometer, uncertainty: 0.0001 in}\n")
    assert journal(book).readings[0].uncertainty == pytest.approx(expected, abs=5e-9)


def test_a_reading_without_an_instrument_is_as_sure_as_its_last_digit(book: Book) -> None:
    write(book)
    book.write(
        "clearances.yaml",
        "format: 1\nunits: {length: mm}\nsessions:\n  - {id: M1, what: main_journal, readings: {1: 62.18}}\n",
    )
    assert journal(book).readings[0].uncertainty == pytest.approx(0.01 / sqrt(12), rel=1e-9)


def test_only_repeatability_shrinks_in_a_mean(book: Book) -> None:
    # four readings: √(0.001²/12 + 0.001²/4) = √(1e-6/3) = 0.000577350
    write(book, "what: main_journal, readings: {1: {front: [62.180, 62.179], rear: [62.180, 62.178]}}")
    assert journal(book).mean_uncertainty == pytest.approx(0.000577350, abs=5e-10)


def test_what_a_certificate_states_does_not_shrink_in_a_mean(book: Book) -> None:
    # four readings of one gauge are off together: √(0.001²/12 + 0.001²/4 + 0.001²) = √(4e-6/3) = 0.001154701
    readings = "{1: {front: [62.180, 62.179], rear: [62.180, 62.178]}}"
    write(book, f"with: certified_mic, what: main_journal, readings: {readings}")
    assert journal(book).mean_uncertainty == pytest.approx(0.001154701, abs=5e-10)


def test_the_difference_of_two_readings_is_free_of_the_gauges_own_error(book: Book) -> None:
    # √(0.00144338² − 0.001²) = √(0.00225462² − 0.002²) = √(1e-6/12 + 1e-6): what it would be without a certificate
    assert apart(CERTIFIED_MIC, 0.001) == pytest.approx(MIC, abs=5e-8)
    assert apart(BORE_GAUGE, 0.002) == pytest.approx(MIC, abs=5e-8)
    write(book, "with: certified_mic, what: main_journal, readings: {1: 62.180}", JOURNAL.replace("{1:", "{2:"))
    certified, plain = (journal(book, place).readings[0] for place in ("1", "2"))
    assert (certified.calibration, plain.calibration) == (0.001, 0)
    assert apart(certified.uncertainty, certified.calibration) == pytest.approx(plain.uncertainty, rel=1e-12)


def test_a_certificate_of_something_else_says_nothing_of_a_length(book: Book) -> None:
    write(book, "with: odd_gauge, what: main_journal, readings: {1: 62.180}")
    book.write("shop.yaml", GAUGES + "  odd_gauge: {kind: micrometer, resolution: 0.001 mm, uncertainty: 5 g}\n")
    assert journal(book).readings[0].uncertainty == pytest.approx(0.001 / sqrt(12), rel=1e-9)


def test_the_least_certain_reading_speaks_for_the_mean(book: Book) -> None:
    # one of two was written to 0.01 only: √(0.01²/12 + 0.001²/2) = √(8.8333e-6) = 0.00297209
    write(book, "what: main_journal, readings: {1: [62.180, 62.18]}")
    assert journal(book).mean_uncertainty == pytest.approx(0.00297209, abs=5e-9)


def test_a_correction_makes_a_size_less_sure(book: Book) -> None:
    # √(0.00104083² + u_c²), u_c = 101.720 × 10 × √(2/3) × 1e-6 = 0.000830540 mm: 0.00133156
    write(book, "temperature: 30, what: piston_skirt, readings: {P1: 101.720}", parts=MADE)
    skirt = journal(book, "P1", "piston_skirt").readings[0]
    assert skirt.uncertainty == pytest.approx(sqrt(MIC**2 + (101.720e-5 * sqrt(2 / 3)) ** 2), rel=1e-5)
    assert skirt.uncertainty == pytest.approx(0.00133156, abs=5e-8)


def test_steel_read_warm_with_steel_is_not_surer_than_its_coefficients(book: Book) -> None:
    # The correction is nothing, and still nobody knows either coefficient better than ± 1e-6/K, as in the end gauge of
    # the GUM (H.1), whose two coefficients are the same: u_c = 62.180 × 10 × √(2/3) × 1e-6 = 0.000507698 mm
    write(book, "temperature: 30, what: main_journal, readings: {1: 62.180}", parts=MADE)
    size = journal(book).readings[0]
    assert size.value == size.as_read
    assert size.uncertainty == pytest.approx(sqrt(MIC**2 + 0.000507698**2), rel=1e-5)


def test_a_spare_does_not_say_what_the_fitted_piece_is_made_of(book: Book) -> None:
    spare = "parts:\n  - {kind: block, ids: [B0], material: aluminium, state: spare}\n"
    write(
        book,
        "temperature: 30, what: cylinder_bore, readings: {1: 101.806}",
        parts=MADE.replace("parts:\n", spare),
    )
    assert float(journal(book, kind="cylinder_bore").mean) == pytest.approx(101.806713, abs=1e-6)


def test_pieces_are_where_the_pairing_put_them(book: Book) -> None:
    write(book, paired=PAIRED)
    assert fitted_places(book.figures().build) == {
        ("rod", "R1"): "1",
        ("piston", "P2"): "1",
        ("pin", "N1"): "1",
        ("rod", "R2"): "2",
        ("piston", "P1"): "2",
        ("pin", "N2"): "2",
    }


def test_before_anything_is_decided_only_a_lock_puts_a_piece_anywhere(book: Book) -> None:
    write(book)
    assert fitted_places(book.figures().build) == {}
    locks = "  - {piston: P1, cylinder: 2, because: honed to it}\n  - {rod: R1, piston: P2}\n"
    book.write("pairings.yaml", f"format: 1\nlocked:\n{locks}")
    assert fitted_places(book.figures().build) == {("piston", "P1"): "2"}


def test_the_last_decision_counts(book: Book) -> None:
    revised = (
        "revised:\n  - id: D2\n    decided: {taken: 2026-10-06, by: ava}\n"
        "    cylinders: {1: {rod: R2, piston: P1, pin: N2}, 2: {rod: R1, piston: P2, pin: N1}}\n"
    )
    write(book, paired=pairings("rod: R1, piston: P2, pin: N1", "rod: R2, piston: P1, pin: N2") + revised)
    assert fitted_places(book.figures().build)["piston", "P1"] == "1"


SESSIONS = (
    "taken: 2026-10-05T08:00+01:00, what: main_journal, readings: {1: {front: 62.180, rear: 62.181}, 2: 62.179}",
    "taken: 2026-10-05T09:00+01:00, what: main_journal, readings: {1: {rear: 62.171}}",
    "taken: 2026-10-05T09:30+02:00, what: main_journal, readings: {1: 62.165}",
    "taken: 2026-10-05T10:00+01:00, what: main_bore, readings: {1: 62.236, 2: 62.235}",
    "taken: 2026-10-06T08:00+01:00, what: main_journal, readings: {2: {front: 62.175, rear: 62.176}}",
    "taken: 2026-10-06T09:00+01:00, what: main_bore, void: cap loose, readings: {1: 62.250}",
)


@settings(max_examples=40)
@given(order=st.permutations(range(len(SESSIONS))))
def test_the_order_of_the_file_does_not_matter_where_times_are_given(book: Book, order: list[int]) -> None:
    write(book, *(f"id: M{number}, {SESSIONS[number]}" for number in order))
    found = book.figures().measured
    assert {
        (kind, place): (list(sections(piece).items()), [size.session.id for size in piece.readings])
        for kind, places in found.items()
        for place, piece in places.items()
    } == {
        # 09:30+02:00 is 08:30+01:00: the journal was read as a whole between the two divided readings of its ends
        ("main_journal", "1"): ([("rear", ["62.171"])], ["M1"]),
        ("main_journal", "2"): ([("front", ["62.175"]), ("rear", ["62.176"])], ["M4", "M4"]),
        ("main_bore", "1"): ([("", ["62.236"])], ["M3"]),
        ("main_bore", "2"): ([("", ["62.235"])], ["M3"]),
    }
