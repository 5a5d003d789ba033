"""The best pairing of a whole build, against trying every pairing; what is added to every sum; what to grind."""

from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import permutations, product
from typing import NamedTuple

import pytest
from conftest import BUILD, SAMPLES, Book, Run
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.book.reading import Reader
from buildbook.figures import work_out
from buildbook.figures.match import Incomplete, MatchFigures
from buildbook.matching import MatchingError
from figures.ledger import ALL_WEIGHED, PARTS, engine, pairings, weighings

KINDS = ("rod", "piston", "pin", "cylinder")  # a lock may also name a cylinder, numbered like the pieces
LETTERS = ("R", "P", "N", "")
SHARED = (
    "id: W5, what: ring_set, lot: {total: 110.8, pieces: 2, per_cylinder: 1}",
    "id: W6, what: pin_locks, lot: {total: 7.6, pieces: 4, per_cylinder: 2}",
)
EACH_HAS = Fraction("55.4") + Fraction("3.8")  # the rings and the two pin locks of every cylinder
LIGHTEST = (1540, 4800, 1520)  # of each pool, in the scale's steps of 0.1 g


class Case(NamedTuple):
    """Weights of rods, pistons and pins in steps of 0.1 g; locks, each of a piece to a cylinder or another piece."""

    layout: str
    weights: tuple[tuple[int, ...], ...]
    locks: tuple[Mapping[int, int], ...]  # place in KINDS → number


# For every place: the numbers of its rod, its piston, its pin, and its own.
Filled = tuple[tuple[int, ...], ...]


@st.composite
def cases(draw: st.DrawFn) -> Case:
    layout, cylinders = draw(st.sampled_from((("v2_90_common_pin", 2), ("i3", 3), ("v4_90", 4))))
    weights = (draw(st.tuples(*[st.integers(least, least + 40)] * cylinders)) for least in LIGHTEST)
    number = st.integers(1, cylinders)
    lock = st.dictionaries(st.integers(0, len(KINDS) - 1), number, min_size=2, max_size=2)
    return Case(layout, tuple(weights), tuple(draw(st.lists(lock, max_size=2))))


def every_pairing(case: Case) -> Iterator[Filled]:
    """Each way to fill the cylinders that keeps the locks."""
    numbers = tuple(range(1, len(case.weights[0]) + 1))
    for filled in product(*[list(permutations(numbers))] * 3, [numbers]):
        if all(
            any(all(filled[kind][place - 1] == number for kind, number in lock.items()) for place in numbers)
            for lock in case.locks
        ):
            yield filled


def sums(case: Case, filled: Filled) -> list[int]:
    rods, pistons, pins = case.weights
    return [rods[rod - 1] + pistons[piston - 1] + pins[pin - 1] for rod, piston, pin, _ in zip(*filled, strict=True)]


def write(book: Book, case: Case) -> None:
    sessions = []
    for what, letter, weights in zip(("rod_small_end", "piston", "pin"), LETTERS, case.weights, strict=False):
        readings = ", ".join(f"{letter}{number}: {steps / 10:.1f}" for number, steps in enumerate(weights, start=1))
        sessions.append(f"id: W{letter}, what: {what}, readings: {{{readings}}}")
    locks = ""
    for lock in case.locks:
        held = ", ".join(f"{KINDS[kind]}: {LETTERS[kind]}{number}" for kind, number in lock.items())
        locks += f"  - {{{held}}}\n"
    book.write("engines/twin/engine.yaml", engine(case.layout))
    book.write("weighings.yaml", weighings(*sessions, *SHARED))
    book.write("pairings.yaml", f"format: 1\nlocked:\n{locks}" if locks else "format: 1\n")


@pytest.fixture(scope="module")
def lasting(tmp_path_factory: pytest.TempPathFactory) -> Book:
    """A book that every example of a property writes anew."""
    return Book(tmp_path_factory.mktemp("match") / "book")


@settings(max_examples=100)
@given(cases())
def test_the_best_pairing_is_as_even_as_trying_every_pairing_that_keeps_the_locks(lasting: Book, case: Case) -> None:
    write(lasting, case)
    allowed = {filled: sums(case, filled) for filled in every_pairing(case)}
    if not allowed:
        with pytest.raises(MatchingError):
            lasting.figures().match  # noqa: B018
        return
    least = Fraction(min(max(each) - min(each) for each in allowed.values()), 10)
    best = lasting.figures().match
    assert best.matching.proven
    assert (best.matching.best, best.matching.bound) == (least, least)
    # a pairing that the scale cannot tell from the best may be taken, for its big ends or because it moves less
    assert least <= best.matching.spread <= least + Fraction(best.tie)
    pieces = [cylinder.pieces for cylinder in best.cylinders.values()]
    taken = (*(tuple(int(each[kind][1:]) for each in pieces) for kind in KINDS[:3]), tuple(map(int, best.cylinders)))
    assert [each.reciprocating for each in best.cylinders.values()] == [
        Fraction(steps, 10) + EACH_HAS for steps in allowed[taken]
    ]


def test_what_every_cylinder_has_alike_is_in_every_sum_and_in_no_pool(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:4], *SHARED))
    best = book.figures().match
    assert best.pools == ("rod_small_end", "piston", "pin")
    for cylinder in best.cylinders.values():
        assert set(cylinder.pieces) == {"rod", "piston", "pin"}
    # both cylinders together: 153.9 + 154.9 + 480.1 + 482.0 + 152.3 + 152.5, and twice 55.4 and 3.8
    assert sum(cylinder.reciprocating for cylinder in best.cylinders.values()) == Fraction("1694.1")
    assert sum(cylinder.from_mean for cylinder in best.cylinders.values()) == 0


def test_ring_sets_weighed_one_by_one_are_a_pool(book: Book) -> None:
    rings = "id: W5, what: ring_set, readings: {G1: 55.2, G2: 55.6}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:4], rings))
    best = book.figures().match
    assert best.pools == ("rod_small_end", "piston", "pin", "ring_set")
    assert {cylinder.pieces["ring_set"] for cylinder in best.cylinders.values()} == {"G1", "G2"}


def test_pistons_weighed_with_their_pins_stay_with_them(book: Book) -> None:
    together = "id: W3, what: piston_with_pin, readings: {P1+N2: 632.6, P2+N1: 634.3}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:2], together, ALL_WEIGHED[4]))
    best = book.figures().match
    assert best.pools == ("rod_small_end", "piston_with_pin")
    # the light small end, R1, with the heavy piston: 153.9 + 634.3 and 154.9 + 632.6
    assert best.matching.spread == Fraction("0.7")
    assert {(each.pieces["rod"], each.pieces["piston"], each.pieces["pin"]) for each in best.cylinders.values()} == {
        ("R1", "P2", "N1"),
        ("R2", "P1", "N2"),
    }


@pytest.mark.parametrize("lock", ["piston: P2", "pin: N1", "piston: P2, pin: N1", "piston_with_pin: P2+N1"])
def test_a_lock_on_a_piston_or_its_pin_holds_both_where_they_were_weighed_together(book: Book, lock: str) -> None:
    together = "id: W3, what: piston_with_pin, readings: {P1+N2: 632.6, P2+N1: 634.3}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:2], together, ALL_WEIGHED[4]))
    free = next(name for name, each in book.figures().match.cylinders.items() if each.pieces["piston"] == "P2")
    other = {"1": "2", "2": "1"}[free]
    book.write("pairings.yaml", f"format: 1\nlocked:\n  - {{{lock}, cylinder: {other}}}\n")
    assert book.figures().match.cylinders[other].pieces == {"rod": "R1", "piston": "P2", "pin": "N1"}


def test_a_lock_that_parts_a_piston_from_the_pin_it_was_weighed_with_is_refused(book: Book) -> None:
    together = "id: W3, what: piston_with_pin, readings: {P1+N1: 632.4, P2+N2: 634.5}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:2], together, ALL_WEIGHED[4]))
    book.write("pairings.yaml", "format: 1\nlocked:\n  - {piston: P1, pin: N2, cylinder: 2}\n")
    with pytest.raises(MatchingError):
        book.figures().match  # noqa: B018


def test_a_lock_on_a_spare_is_refused_and_not_passed_over(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("parts.yaml", PARTS + "  - {kind: piston, ids: [P9], state: spare}\n")
    book.write("pairings.yaml", "format: 1\nlocked:\n  - {piston: P9, cylinder: 2}\n")
    with pytest.raises(MatchingError, match="a lock names piston P9, which"):
        book.figures().match  # noqa: B018


def twelve(first: str, weights: list[str]) -> str:
    return ", ".join(f"{first}{number}: {weight}" for number, weight in enumerate(weights, start=1))


def test_as_numbered_means_r2_before_r10(book: Book) -> None:
    # R1 with P1 up to R12 with P12 all come to the same; in the order of the letters, R1 R10 R11 R12 R2, they do not
    book.write("engines/twin/engine.yaml", engine("v12_60"))
    by_letters = sorted(range(1, 13), key=str)
    ids = {first: ", ".join(f"{first}{number}" for number in by_letters) for first in "RP"}
    parts = f"  - {{kind: rod, ids: [{ids['R']}]}}\n  - {{kind: piston, ids: [{ids['P']}]}}\n"
    book.write("parts.yaml", f"format: 1\nparts:\n{parts}")
    rods = twelve("R", [f"{150 + number}.0" for number in range(12)])
    pistons = twelve("P", [f"{490 - number}.0" for number in range(12)])
    pins = twelve("N", ["152.0"] * 12)
    book.write(
        "weighings.yaml",
        weighings(
            f"id: W1, what: rod_small_end, readings: {{{rods}}}",
            f"id: W2, what: piston, readings: {{{pistons}}}",
            f"id: W3, what: pin, readings: {{{pins}}}",
            *SHARED,
        ),
    )
    best = book.figures().match
    assert best.matching.as_numbered_spread == 0
    assert [cylinder.pieces["rod"] for cylinder in best.cylinders.values()] == [f"R{number}" for number in range(1, 13)]
    assert best.matching.moved == 0


def limited(most: str) -> str:
    return BUILD.replace("reciprocating_spread: {max: 1.0}", f"reciprocating_spread: {{max: {most}}}")


def test_grinding_as_shown_meets_the_limit_and_no_less_would(book: Book) -> None:
    # the rods differ by 1 and the pistons by 5: at best 153.9 + 485.1 and 154.9 + 480.1, 4 apart, 3.5 over the limit
    heavy = "id: W3, what: piston, readings: {P1: 480.1, P2: 485.1}"
    book.write("build.yaml", limited("0.5"))
    alike = "id: W4, what: pin, readings: {N1: 152.0, N2: 152.0}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:2], heavy, alike, ALL_WEIGHED[4]))
    best = book.figures().match
    assert (best.limit, best.meets_limit) == (Fraction("0.5"), False)
    (grind,) = best.grinding
    assert (grind.kind, grind.piece, grind.amount) == ("piston", "P2", Fraction("3.5"))
    after = {name: cylinder.reciprocating for name, cylinder in best.cylinders.items()}
    after[grind.cylinder] -= grind.amount
    assert max(after.values()) - min(after.values()) == best.limit


@pytest.mark.parametrize(
    ("weight", "offered"),
    # P2 is 5.0 g heavier than its fellow P1, 480.1 g
    [("475.0", None), ("475.2", "P9"), ("485.0", "P9"), ("485.2", None)],
)
def test_a_weighed_spare_that_is_nearer_to_its_fellows_is_offered_instead_of_grinding(
    book: Book, run: Run, weight: str, offered: str | None
) -> None:
    heavy = f"id: W3, what: piston, readings: {{P1: 480.1, P2: 485.1, P9: {weight}}}"
    alike = "id: W4, what: pin, readings: {N1: 152.0, N2: 152.0}"
    book.write("build.yaml", limited("0.5"))
    book.write("parts.yaml", PARTS + "  - {kind: piston, ids: [P9], state: spare}\n")
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:2], heavy, alike, ALL_WEIGHED[4]))
    (grind,) = book.figures().match.grinding
    assert (grind.piece, grind.amount, grind.spare) == ("P2", Fraction("3.5"), offered)
    assert ("the spare P9" in run("match", cwd=book.folder).stdout) == bool(offered)


@pytest.mark.parametrize(("most", "meets"), [("0.7", True), ("0.69", False), ("0.02 oz", False), ("0.03 oz", True)])
def test_the_limit_counts_to_the_last_digit_in_any_unit(book: Book, most: str, meets: bool) -> None:
    # the spread is 0.7 g; 0.02 oz is 0.567 g and 0.03 oz is 0.850 g
    together = "id: W3, what: piston_with_pin, readings: {P1+N2: 632.6, P2+N1: 634.3}"
    book.write("build.yaml", limited(most))
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:2], together, ALL_WEIGHED[4]))
    best = book.figures().match
    assert best.meets_limit is meets
    assert bool(best.grinding) is not meets


def test_no_limit_asks_for_no_grinding(book: Book) -> None:
    book.write("build.yaml", BUILD.replace("reciprocating_spread: {max: 1.0}, ", ""))
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    best = book.figures().match
    assert (best.limit, best.meets_limit, best.grinding) == (None, None, ())


ONE_PISTON = "id: W3, what: piston, readings: {P1: 480.1}"


@pytest.mark.parametrize(
    ("sessions", "says"),
    [
        (ALL_WEIGHED[:2] + ALL_WEIGHED[3:], "no piston has been weighed"),
        ((*ALL_WEIGHED[:2], ONE_PISTON, *ALL_WEIGHED[3:]), "piston: P2 not weighed yet"),
        ((*ALL_WEIGHED[:4], ALL_WEIGHED[5]), "no ring set has been weighed"),
    ],
)
def test_what_is_not_weighed_cannot_be_matched_and_is_named(book: Book, sessions: tuple[str, ...], says: str) -> None:
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*sessions))
    with pytest.raises(Incomplete, match=says):
        book.figures().match  # noqa: B018


def test_a_spare_piece_is_named_as_one_too_many(book: Book) -> None:
    spare = "id: W3, what: piston, readings: {P1: 480.1, P2: 482.0, P3: 481.0}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:2], spare, *ALL_WEIGHED[3:]))
    with pytest.raises(Incomplete, match="piston: 3 pieces for 2 cylinders"):
        book.figures().match  # noqa: B018


def test_it_rests_on_the_sessions_that_its_weights_came_from(book: Book) -> None:
    again = "id: W9, taken: 2026-10-05, what: piston, readings: {P1: 479.6}"
    unused = "id: W10, taken: 2026-10-02, what: pin, readings: {N1: 152.9, N2: 152.9}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, again, unused))
    assert set(book.figures().match.sessions) == {"W2", "W3", "W4", "W9"}


def test_of_pairings_too_near_to_tell_apart_the_one_that_moves_least_is_taken(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    best = book.figures().match
    now = [", ".join(f"{kind}: {piece}" for kind, piece in each.pieces.items()) for each in best.cylinders.values()]
    # as good the other way round, with every set in the other cylinder: it stays there
    book.write("pairings.yaml", pairings(*reversed(now)))
    again: MatchFigures = book.figures().match
    assert again.matching.moved == 0
    assert again.cylinders["1"].pieces == best.cylinders["2"].pieces


def test_a_search_that_runs_out_of_time_states_its_bound() -> None:
    build = Reader(SAMPLES).load("heron-07/2026-10-rebuild").build
    assert build is not None
    best = work_out(build, match_seconds=0.0).match.matching
    assert best.bound <= best.best <= best.spread <= best.as_numbered_spread
    assert best.proven == (best.best == best.bound)
