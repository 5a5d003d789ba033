"""The pairing as decided: every cylinder's sum, and what is no longer as it was when it was decided."""

from fractions import Fraction

import pytest
from conftest import Book

from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings

BOTH = ("rod: R1, piston: P2, pin: N1", "rod: R2, piston: P1, pin: N2")
FROM = "taken: 2026-10-04T08:00+01:00, by: ava, how: match, from: [W2, W3, W4]"


def changed(book: Book) -> dict[str, tuple[str, ...]]:
    pairing = book.figures().pairing
    assert pairing is not None
    return {name: cylinder.changed for name, cylinder in pairing.cylinders.items()}


def test_each_cylinder_sums_what_goes_up_and_down(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings(*BOTH))
    pairing = book.figures().pairing
    assert pairing is not None
    # 153.9 + 482.0 + 152.3 + 55.4, and 154.9 + 480.1 + 152.5 + 55.4
    assert {name: each.reciprocating for name, each in pairing.cylinders.items()} == {
        "1": Fraction("843.6"),
        "2": Fraction("842.9"),
    }
    assert (pairing.mean, pairing.spread) == (Fraction("843.25"), Fraction("0.7"))
    assert [each.from_mean for each in pairing.cylinders.values()] == [Fraction("0.35"), Fraction("-0.35")]
    assert [(each.throw, each.bank) for each in pairing.cylinders.values()] == [("1", "left"), ("1", "right")]


def test_nothing_is_paired_before_anyone_decides(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    assert book.figures().pairing is None


def test_the_last_revision_counts(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    revised = (
        "revised:\n  - id: D2\n    decided: {taken: 2026-10-05, by: ava}\n"
        "    cylinders: {1: {rod: R2, piston: P2, pin: N1}, 2: {rod: R1, piston: P1, pin: N2}}\n"
    )
    book.write("pairings.yaml", pairings(*BOTH) + revised)
    pairing = book.figures().pairing
    assert pairing is not None
    assert pairing.decision.id == "D2"
    assert pairing.cylinders["1"].pieces["rod"] == "R2"


def test_a_cylinder_that_nobody_filled_has_no_sum_and_there_is_no_spread(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings(BOTH[0]))
    pairing = book.figures().pairing
    assert pairing is not None
    assert (pairing.cylinders["2"].pieces, pairing.cylinders["2"].reciprocating) == ({}, None)
    assert pairing.spread is None
    assert pairing.cylinders["1"].reciprocating == Fraction("843.6")


def test_a_cylinder_whose_piston_was_never_weighed_has_no_sum(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings(BOTH[0], BOTH[1].replace("P1", "P9")))
    pairing = book.figures().pairing
    assert pairing is not None
    assert [each.reciprocating is None for each in pairing.cylinders.values()] == [False, True]


@pytest.mark.parametrize(
    "decided",
    [FROM, "taken: 2026-10-04T08:00+01:00, by: ava", "taken: 2026-10-04, by: ava"],
    ids=["by the sessions it names", "by the time", "by the day"],
)
def test_a_piece_weighed_again_after_the_decision_is_changed(book: Book, decided: str) -> None:
    again = "id: W9, taken: 2026-10-05T09:00+01:00, what: piston, readings: {P1: 479.6}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, again))
    book.write("pairings.yaml", pairings(*BOTH, decided=decided))
    assert changed(book) == {"1": (), "2": ("P1 was weighed again (piston)",)}


def test_weighed_and_decided_on_one_day_then_weighed_again_on_another_is_changed(book: Book) -> None:
    again = "id: W9, taken: 2026-10-05T09:00+01:00, what: piston, readings: {P1: 479.6}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, again))  # the first time on 2026-10-03 at 09:10
    book.write("pairings.yaml", pairings(*BOTH, decided="taken: 2026-10-03, by: ava"))
    assert changed(book) == {"1": (), "2": ("P1 was weighed again (piston)",)}


def test_weighed_again_with_the_same_result_is_not_changed(book: Book) -> None:
    again = "id: W9, taken: 2026-10-05T09:00+01:00, what: piston, readings: {P1: 480.1, P2: [482.0, 482.0]}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, again))
    book.write("pairings.yaml", pairings(*BOTH, decided=FROM))
    assert changed(book) == {"1": (), "2": ()}


def test_what_was_weighed_again_before_the_decision_is_not_changed(book: Book) -> None:
    again = "id: W9, taken: 2026-10-03T15:00+01:00, what: piston, readings: {P1: 479.6}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, again))
    book.write("pairings.yaml", pairings(*BOTH))
    assert changed(book) == {"1": (), "2": ()}


def test_a_pairing_whose_session_was_voided_since_and_weighed_anew_is_changed(book: Book) -> None:
    voided = ALL_WEIGHED[2].replace("what:", "void: scale not level, what:")
    again = "id: W9, taken: 2026-10-05T09:00+01:00, what: piston, readings: {P1: 479.6, P2: 481.5}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:2], voided, *ALL_WEIGHED[3:], again))
    book.write("pairings.yaml", pairings(*BOTH, decided=FROM))
    assert all(changed(book).values())


def test_a_pairing_whose_session_was_voided_since_has_no_sums(book: Book) -> None:
    voided = ALL_WEIGHED[2].replace("what:", "void: scale not level, what:")
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:2], voided, *ALL_WEIGHED[3:]))
    book.write("pairings.yaml", pairings(*BOTH, decided=FROM))
    pairing = book.figures().pairing
    assert pairing is not None
    assert [each.reciprocating for each in pairing.cylinders.values()] == [None, None]


def test_a_piece_that_the_parts_list_does_not_name_is_changed(book: Book) -> None:
    book.write("parts.yaml", PARTS.replace("[P1, P2]", "[P2, P3]"))
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings(*BOTH))
    assert changed(book) == {"1": (), "2": ("piston P1 is not in the parts list",)}


def test_locks_are_read_with_their_reasons(book: Book) -> None:
    locked = "locked:\n  - {piston: P1, cylinder: 2, because: honed to this piston}\n  - {rod: R1, piston: P2}\n"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings(*BOTH, locked=locked))
    locks = book.figures().build.pairings.locks
    assert [(lock.pieces, lock.cylinder, lock.because) for lock in locks] == [
        ({"piston": "P1"}, "2", "honed to this piston"),
        ({"rod": "R1", "piston": "P2"}, None, None),
    ]
