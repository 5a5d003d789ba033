"""What a cylinder is made of: the kinds that must be weighed, and which weight stands for which piece."""

from fractions import Fraction

import pytest
from conftest import SAMPLES, Book

from buildbook.balance.layouts import LayoutError
from buildbook.book.reading import Reader
from buildbook.figures import work_out
from figures.ledger import ALL_WEIGHED, PARTS, engine, pairings, weighings

TOGETHER = "id: W7, what: piston_with_pin, readings: {P1+N1: 632.4, P2+N2: 634.5}"
ALWAYS = ("rod_big_end", "rod_small_end", "ring_set", "rod_bearing")


@pytest.mark.parametrize(
    ("sessions", "kinds"),
    [
        ((), {*ALWAYS, "piston", "pin"}),
        (ALL_WEIGHED, {*ALWAYS, "piston", "pin"}),
        ((TOGETHER,), {*ALWAYS, "piston_with_pin"}),
        ((*ALL_WEIGHED[:3], TOGETHER), {*ALWAYS, "piston_with_pin"}),
        ((*ALL_WEIGHED, TOGETHER), {*ALWAYS, "piston", "pin"}),
    ],
    ids=["nothing", "apart", "together", "together, and the pistons alone", "apart and together"],
)
def test_pistons_and_pins_count_once_apart_where_both_were_weighed(
    book: Book, sessions: tuple[str, ...], kinds: set[str]
) -> None:
    if sessions:
        book.write("weighings.yaml", weighings(*sessions))
    assert set(book.figures().kinds) == kinds


def test_pin_locks_count_where_they_were_weighed(book: Book) -> None:
    locks = "id: W7, what: pin_locks, lot: {total: 7.6, pieces: 4, per_cylinder: 2}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, locks))
    book.write("pairings.yaml", pairings("rod: R1, piston: P2, pin: N1", "rod: R2, piston: P1, pin: N2"))
    pairing = book.figures().pairing
    assert pairing is not None
    # 153.9 + 482.0 + 152.3 + 55.4, and two locks of 1.9 each
    assert pairing.cylinders["1"].reciprocating == Fraction("847.4")


def test_a_ring_set_that_was_not_weighed_itself_stands_at_the_mean_of_those_that_were(book: Book) -> None:
    rings = "id: W5, what: ring_set, readings: {G1: 55.2, G3: 55.6}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:4], rings, ALL_WEIGHED[5]))
    book.write(
        "pairings.yaml",
        pairings("rod: R1, piston: P2, pin: N1, ring_set: G1", "rod: R2, piston: P1, pin: N2, ring_set: G2"),
    )
    pairing = book.figures().pairing
    assert pairing is not None
    assert {name: each.reciprocating for name, each in pairing.cylinders.items()} == {
        "1": Fraction("843.4"),
        "2": Fraction("842.9"),
    }


@pytest.mark.parametrize("text", ["layout: v2_90_comon_pin\n", ""], ids=["misspelt", "none"])
def test_without_a_layout_there_are_weighings_and_nothing_hung_on_throws(book: Book, text: str) -> None:
    book.write("engines/twin/engine.yaml", f"format: 1\nengine: twin\n{text}")
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    figures = book.figures()
    assert not figures.has_layout
    assert set(figures.weighings) == {"rod_big_end", "rod_small_end", "piston", "pin", "ring_set", "rod_bearing"}
    with pytest.raises(LayoutError):
        figures.bobweights  # noqa: B018


def test_a_layout_spelled_out_is_the_known_layout_that_it_spells(book: Book) -> None:
    spelled = """\
        format: 1
        engine: twin
        units: {angle: deg}
        layout:
          banks: {left: -45, right: 45}
          throws:
            1: {angle: 0, cylinders: {1: left, 2: right}}
            2: {angle: 90, cylinders: {3: left, 4: right}}
            3: {angle: 270, cylinders: {5: left, 6: right}}
            4: {angle: 180, cylinders: {7: left, 8: right}}
        """
    book.write("engines/twin/engine.yaml", spelled)
    by_hand = book.figures().layout
    book.write("engines/twin/engine.yaml", engine("v8_90_cross_plane"))
    known = book.figures().layout
    assert (by_hand.banks, by_hand.throws, by_hand.cylinders) == (known.banks, known.throws, known.cylinders)


def test_the_sum_is_unsure_by_all_that_is_in_it(book: Book) -> None:
    # rod, piston and pin, each read once: u² = 0.1²/12 + 0.05² = 1/300. The ring set is half a lot read once: its
    # share is half as unsure, u² = 1/1200. √(3/300 + 1/1200) = √(13/1200) = 0.1040833 (GUM 5.1.2, from memory)
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings("rod: R1, piston: P2, pin: N1", "rod: R2, piston: P1, pin: N2"))
    pairing = book.figures().pairing
    assert pairing is not None
    assert pairing.cylinders["1"].uncertainty == pytest.approx(0.1040833, abs=5e-8)


def test_the_sample_builds_have_every_figure_that_their_records_allow() -> None:
    for name, throws in {
        "heron-07/2025-06-first": 4,
        "heron-07/2026-10-rebuild": 4,
        "plover-03/2026-03-first": 3,
        "magpie-02/2026-07-first": 1,
    }.items():
        build = Reader(SAMPLES).load(name).build
        assert build is not None
        bobweights = work_out(build).bobweights
        assert (len(bobweights.throws), bobweights.missing) == (throws, ())
