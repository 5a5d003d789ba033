"""What the weighings say: which reading counts, the mean and the spread, and what the scale can tell apart."""

from fractions import Fraction
from math import sqrt

import pytest
from conftest import SHOP, Book

from figures.ledger import PARTS, weighings


def test_the_later_session_counts_and_the_earlier_one_stays_readable(book: Book) -> None:
    book.write(
        "weighings.yaml",
        weighings(
            "id: W1, taken: 2026-10-03T09:10+01:00, what: piston, readings: {P1: 480.1, P2: 482.0}",
            "id: W2, taken: 2026-10-04T09:10+01:00, what: piston, readings: {P1: 479.6}",
        ),
    )
    piston = book.figures().weighings["piston"]
    first = piston.pieces["P1"]
    assert (first.weight, first.session.id) == (Fraction("479.6"), "W2")
    assert [(each.weight, each.session.id) for each in first.earlier] == [(Fraction("480.1"), "W1")]
    assert piston.pieces["P2"].weight == 482
    assert piston.pieces["P2"].earlier == ()
    assert piston.count == 2


def test_the_time_decides_which_session_is_later_not_the_place_in_the_file(book: Book) -> None:
    book.write(
        "weighings.yaml",
        weighings(
            "id: W1, taken: 2026-10-04T09:10+01:00, what: piston, readings: {P1: 479.6}",
            "id: W2, taken: 2026-10-03T09:10+01:00, what: piston, readings: {P1: 480.1}",
        ),
    )
    assert book.figures().weighings["piston"].pieces["P1"].session.id == "W1"


def test_times_in_two_zones_are_compared_as_instants(book: Book) -> None:
    # 09:30+02:00 is 07:30 UTC, before 09:10+01:00, which is 08:10 UTC
    book.write(
        "weighings.yaml",
        weighings(
            "id: W1, taken: 2026-10-03T09:10+01:00, what: piston, readings: {P1: 479.6}",
            "id: W2, taken: 2026-10-03T09:30+02:00, what: piston, readings: {P1: 480.1}",
        ),
    )
    assert book.figures().weighings["piston"].pieces["P1"].session.id == "W1"


@pytest.mark.parametrize("later", ["2026-10-03", "2026-10-03T09:10+01:00"], ids=["the day alone", "the same minute"])
def test_of_sessions_that_their_times_cannot_tell_apart_the_one_further_down_counts(book: Book, later: str) -> None:
    book.write(
        "weighings.yaml",
        weighings(
            "id: W1, taken: 2026-10-03T09:10+01:00, what: piston, readings: {P1: 480.1}",
            f"id: W2, taken: {later}, what: piston, readings: {{P1: 479.6}}",
        ),
    )
    assert book.figures().weighings["piston"].pieces["P1"].session.id == "W2"


def test_a_session_without_a_time_keeps_its_place_in_the_file(book: Book) -> None:
    untimed = "format: 1\nunits: {mass: g}\nsessions:\n" + "".join(
        f"  - {{id: {name}, {taken}what: piston, by: ava, with: scale, readings: {{P1: {weight}}}}}\n"
        for name, taken, weight in (
            ("W1", "taken: 2026-10-03, ", "480.1"),
            ("W2", "", "479.6"),
            ("W3", "taken: 2026-10-02, ", "481.7"),
        )
    )
    book.write("weighings.yaml", untimed)
    pieces = book.figures().weighings["piston"].pieces
    assert pieces["P1"].session.id == "W2"
    assert [each.session.id for each in pieces["P1"].earlier] == ["W3", "W1"]


def test_several_readings_of_a_piece_are_averaged_Fraction(book: Book) -> None:
    book.write("weighings.yaml", weighings("id: W1, what: piston, readings: {P1: [480.1, 480.2, 480.2]}"))
    first = book.figures().weighings["piston"].pieces["P1"]
    assert first.weight == Fraction("1440.5") / 3
    assert first.readings == (Fraction("480.1"), Fraction("480.2"), Fraction("480.2"))


def test_void_sessions_are_not_used(book: Book) -> None:
    book.write(
        "weighings.yaml",
        weighings(
            "id: W1, taken: 2026-10-03, what: piston, readings: {P1: 480.1}",
            "id: W2, taken: 2026-10-04, what: piston, void: scale not level, readings: {P1: 999.9, P2: 999.9}",
            "id: W3, taken: 2026-10-04, what: pin, void: wrong pins, readings: {N1: 152.3}",
        ),
    )
    figures = book.figures()
    assert set(figures.weighings) == {"piston"}
    piston = figures.weighings["piston"]
    assert set(piston.pieces) == {"P1"}
    assert (piston.pieces["P1"].weight, piston.pieces["P1"].earlier) == (Fraction("480.1"), ())
    assert [session.void for session in figures.build.weighings] == [None, "scale not level", "wrong pins"]


def test_count_mean_lightest_heaviest_and_spread(book: Book) -> None:
    book.write("weighings.yaml", weighings("id: W1, what: piston, readings: {P1: 480.1, P2: 482.0, P3: 479.0}"))
    piston = book.figures().weighings["piston"]
    assert piston.count == 3
    assert piston.mean == Fraction("1441.1") / 3
    assert piston.lightest is not None
    assert piston.heaviest is not None
    assert (piston.lightest.piece, piston.lightest.weight) == ("P3", Fraction(479))
    assert (piston.heaviest.piece, piston.heaviest.weight) == ("P2", Fraction(482))
    assert piston.spread == 3


def test_a_lot_has_a_mean_and_no_spread(book: Book) -> None:
    book.write("weighings.yaml", weighings("id: W1, what: pin_locks, lot: {total: 29.6, pieces: 16, per_cylinder: 2}"))
    locks = book.figures().weighings["pin_locks"]
    assert (locks.count, locks.mean, locks.per_cylinder) == (16, Fraction("29.6") / 16, 2)
    assert (locks.lightest, locks.heaviest, locks.spread, locks.pieces) == (None, None, None, {})
    # one sixteenth of what the scale is unsure of: √(0.1²/12 + 0.05²)/16
    assert locks.uncertainty == pytest.approx(sqrt(0.1**2 / 12 + 0.05**2) / 16)


def test_the_later_lot_counts(book: Book) -> None:
    book.write(
        "weighings.yaml",
        weighings(
            "id: W1, taken: 2026-10-04, what: pin_locks, lot: {total: 29.8, pieces: 16, per_cylinder: 2}",
            "id: W2, taken: 2026-10-03, what: pin_locks, lot: {total: 29.6, pieces: 16, per_cylinder: 2}",
            "id: W3, taken: 2026-10-05, void: spilt, what: pin_locks, lot: {total: 9.9, pieces: 16, per_cylinder: 2}",
        ),
    )
    assert book.figures().weighings["pin_locks"].mean == Fraction("29.8") / 16


def test_ounces_pounds_and_grams_are_worth_what_the_agreement_of_1959_says(book: Book) -> None:
    # 1 lb = 453.59237 g and 1 lb = 16 oz, exactly: so 1.5 lb and 24 oz are 680.388555 g to the last digit
    book.write(
        "weighings.yaml",
        weighings("id: W1, what: rod, readings: {R1: 24.00, R2: 1.50 lb, R3: 680.388555 g}", unit="oz"),
    )
    rod = book.figures().weighings["rod"]
    assert {piece.weight for piece in rod.pieces.values()} == {Fraction("680.388555")}
    assert rod.spread == 0


# The scale of these books: resolution d = 0.1 g, repeatability s = 0.05 g. By the GUM (JCGM 100:2008, F.2.2.1, 4.2.3
# and 4.3.7, clauses from memory), with n readings of the piece and a check weight seen within ± a of its nominal:
# u = √(d²/12 + s²/n + a²/3).
UNCERTAINTIES = {
    # √(0.01/12 + 0.0025) = √0.0033333 = 0.0577350
    "one reading": ("readings: {P1: 480.1}", 0.0577350),
    # √(0.01/12 + 0.0025/4) = √0.0014583 = 0.0381881
    "four readings": ("readings: {P1: [480.1, 480.1, 480.2, 480.2]}", 0.0381881),
    # a = 0.1, the larger of 0.0 and 0.1: √(0.01/12 + 0.0025 + 0.01/3) = √0.0066667 = 0.0816497
    "the scale drifted": (
        "check_weight: {nominal: 500.0, before: 500.0, after: 500.1}, readings: {P1: 480.1}",
        0.0816497,
    ),
    # a = 0.2, from after less before: √(0.01/12 + 0.0025 + 0.04/3) = √0.0166667 = 0.1290994
    "the scale drifted through its nominal": (
        "check_weight: {nominal: 500.0, before: 499.9, after: 500.1}, readings: {P1: 480.1}",
        0.1290994,
    ),
    # a = 0.3, and nobody looked before: √(0.01/12 + 0.0025 + 0.09/3) = √0.0333333 = 0.1825742
    "only seen after": ("check_weight: {nominal: 500.0, after: 500.3}, readings: {P1: 480.1}", 0.1825742),
    # d = 1, for whole grams were written: √(1/12 + 0.0025) = √0.0858333 = 0.2929733
    "written coarser than the scale counts": ("readings: {P1: 480}", 0.2929733),
    # d = 0.1 still: no scale reads finer because another digit was written
    "written finer than the scale counts": ("readings: {P1: 480.10}", 0.0577350),
}


@pytest.mark.parametrize(("session", "expected"), UNCERTAINTIES.values(), ids=UNCERTAINTIES)
def test_uncertainty_of_a_piece_by_the_gum(book: Book, session: str, expected: float) -> None:
    book.write("weighings.yaml", weighings(f"id: W1, what: piston, {session}"))
    assert book.figures().weighings["piston"].uncertainty == pytest.approx(expected, abs=5e-8)


def test_a_scale_that_states_no_repeatability_shows_it_by_its_repeated_readings(book: Book) -> None:
    # R1 deviates ±0.1 from 100.1 and R2 by -0.1, -0.1, +0.2 from 200.2: Σ squares 0.02 + 0.06, over (2-1) + (3-1)
    # degrees of freedom: s² = 0.08/3. For R1, read twice: √(0.01/12 + 0.08/3/2) = √0.0141667 = 0.1190238
    book.write("shop.yaml", SHOP.replace("repeatability: 0.05 g, ", ""))
    book.write(
        "weighings.yaml", weighings("id: W1, what: rod, readings: {R1: [100.0, 100.2], R2: [200.1, 200.1, 200.4]}")
    )
    rods = book.figures().weighings["rod"].pieces
    assert rods["R1"].uncertainty == pytest.approx(0.1190238, abs=5e-8)
    assert rods["R2"].uncertainty == pytest.approx(sqrt(0.01 / 12 + 0.08 / 9), abs=5e-8)


def test_the_largest_uncertainty_stands_for_the_kind(book: Book) -> None:
    book.write(
        "weighings.yaml", weighings("id: W1, what: piston, readings: {P1: 480.1, P2: [480.4, 480.4, 480.5, 480.5]}")
    )
    assert book.figures().weighings["piston"].uncertainty == pytest.approx(0.0577350, abs=5e-8)


# With u = 0.0577350, two pieces are told apart at k = 2 from 2·√2·u = 0.1632993 g on (GUM 6.2.1, from memory).
@pytest.mark.parametrize(("heavier", "helps"), [("480.0", False), ("480.1", False), ("480.2", True)])
def test_sorting_helps_only_where_the_scale_can_tell_the_pieces_apart(book: Book, heavier: str, helps: bool) -> None:
    book.write("weighings.yaml", weighings(f"id: W1, what: piston, readings: {{P1: 480.0, P2: {heavier}}}"))
    piston = book.figures().weighings["piston"]
    assert piston.smallest_difference == pytest.approx(0.1632993, abs=5e-8)
    assert piston.sorting_helps is helps


def test_what_the_maker_states_is_held_beside_the_mean(book: Book) -> None:
    book.write("parts.yaml", PARTS.replace("[P1, P2]}", "[P1, P2], stated: {piston: 17.0 oz}}"))
    book.write("weighings.yaml", weighings("id: W1, what: piston, readings: {P1: 480.1, P2: 482.0}"))
    (stated,) = book.figures().weighings["piston"].stated
    assert (stated.value, stated.mean) == (17 * Fraction("28.349523125"), Fraction("481.05"))


def test_what_a_maker_states_is_held_against_that_makers_pieces_alone(book: Book) -> None:
    parts = "  - {kind: piston, ids: [P1], stated: {piston: 480 g}}\n  - {kind: piston, ids: [P2]}"
    book.write("parts.yaml", PARTS.replace("  - {kind: piston, ids: [P1, P2]}", parts))
    book.write("weighings.yaml", weighings("id: W1, what: piston, readings: {P1: 480.1, P2: 482.0}"))
    (stated,) = book.figures().weighings["piston"].stated
    assert (stated.value, stated.mean) == (Fraction(480), Fraction("480.1"))


def test_a_spare_counts_for_nothing(book: Book) -> None:
    book.write("parts.yaml", PARTS + "  - {kind: piston, ids: [P3], state: spare}\n")
    book.write("weighings.yaml", weighings("id: W1, what: piston, readings: {P1: 480.1, P2: 482.0, P3: 499.0}"))
    piston = book.figures().weighings["piston"]
    assert (piston.count, piston.mean) == (2, Fraction("481.05"))
    assert book.findings() == []


def test_weighed_with_an_instrument_that_is_no_scale_is_a_finding_and_no_crash(book: Book) -> None:
    book.write("shop.yaml", SHOP + "  mic: {kind: micrometer, resolution: 0.001 mm, repeatability: 0.001 mm}\n")
    book.write("weighings.yaml", weighings("id: W1, with: mic, what: piston, readings: {P1: 480.1}"))
    assert [finding.where.file.rpartition("/")[2] for finding in book.findings()] == ["weighings.yaml"]
