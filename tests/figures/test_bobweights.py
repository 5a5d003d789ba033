"""The bobweight cards through real files: what is counted, what is missing, and what was set against the target."""

import json
from fractions import Fraction

import pytest
from conftest import BUILD, Book, Run

from figures.ledger import ALL_WEIGHED, PARTS, engine, pairings, weighings

# Common practice, no source: two rods on a throw, in g. 2 × (632.84 + 153.9 + 55.41 + 3.8) = 1691.9 go up and down,
# of which 50 % are carried; 2 × (421.0 + 43.5) = 929.0 go round; with 3.5 of oil that makes 1778.45.
COMMON_PRACTICE = weighings(
    "id: W1, what: rod_big_end, readings: {R1: 421.0, R2: 421.0}",
    "id: W2, what: rod_small_end, readings: {R1: 153.9, R2: 153.9}",
    "id: W3, what: piston_with_pin, readings: {P1+N1: 632.84, P2+N2: 632.84}",
    "id: W4, what: ring_set, lot: {total: 110.82, pieces: 2, per_cylinder: 1}",
    "id: W5, what: pin_locks, lot: {total: 7.6, pieces: 4, per_cylinder: 2}",
    "id: W6, what: rod_bearing, lot: {total: 87.0, pieces: 4, per_rod: 2}",
)


def test_common_practice_two_rods_on_a_throw(book: Book, run: Run) -> None:
    book.write("build.yaml", BUILD.replace("oil: 3.0", "oil: 3.5"))
    book.write("weighings.yaml", COMMON_PRACTICE)
    done = run("bobweight", "--json", cwd=book.folder)
    assert (done.returncode, done.stderr) == (0, "")
    bobweights = json.loads(done.stdout)["figures"]["bobweights"]
    assert bobweights["target"] == pytest.approx(1778.4, abs=0.1)
    assert round(bobweights["half"], 1) == 889.2
    throw = bobweights["throws"]["1"]
    assert throw["reciprocating"] == pytest.approx(1691.9, abs=1e-9)
    assert throw["rotating"] == pytest.approx(929.0, abs=1e-9)
    assert throw["oil"] == 3.5


@pytest.mark.parametrize(("factor", "total"), [("0", "929.0"), ("52.5", "1817.2475"), ("100", "2620.9")])
def test_any_factor_carries_its_share_of_what_goes_up_and_down(book: Book, factor: str, total: str) -> None:
    # 929.0 + 52.5 % of 1691.9 = 929.0 + 888.2475
    book.write("build.yaml", BUILD.replace("{factor: 50, oil: 3.0}", f"{{factor: {factor}}}"))
    book.write("weighings.yaml", COMMON_PRACTICE)
    bobweights = book.figures().bobweights
    assert bobweights.throws["1"].total == Fraction(total)
    assert bobweights.oil == 0
    assert not bobweights.oil_stated


def test_a_single_cylinder_has_one_throw_with_one_rod(book: Book) -> None:
    book.write("engines/twin/engine.yaml", engine("single"))
    book.write("weighings.yaml", COMMON_PRACTICE)
    bobweights = book.figures().bobweights
    # 421.0 + 43.5 + 50 % of 845.95 + 3.0
    assert {name: throw.total for name, throw in bobweights.throws.items()} == {"1": Fraction("890.475")}
    assert bobweights.wanted


FOUR_ON_A_PIN = """\
format: 1
engine: twin
units: {angle: deg}
layout:
  banks: {far_left: -60, left: -20, right: 20, far_right: 60}
  throws:
    1: {angle: 0, cylinders: {1: far_left, 2: left, 3: right, 4: far_right}}
"""


def test_four_rods_on_a_throw_spelled_out(book: Book) -> None:
    book.write("engines/twin/engine.yaml", FOUR_ON_A_PIN)
    book.write("weighings.yaml", COMMON_PRACTICE)
    # twice the two rods of common practice, and oil once: 2 × (929.0 + 845.95) + 3.0
    assert book.figures().bobweights.throws["1"].total == Fraction("3552.9")


def test_a_split_pin_has_a_share_for_each_of_its_pins(book: Book) -> None:
    book.write("engines/twin/engine.yaml", engine("v6_60_split_pin_60"))
    rods = "{R1: 421.4, R2: 420.9, R3: 421.0, R4: 421.1, R5: 420.8, R6: 421.2}"
    book.write("weighings.yaml", COMMON_PRACTICE.replace("{R1: 421.0, R2: 421.0}", rods, 1))
    book.write(
        "pairings.yaml",
        pairings(*(f"rod: R{number}, piston: P1, pin: N1" for number in (2, 1, 3, 4, 5, 6))),
    )
    book.write(
        "weighings.yaml",
        (book.folder / "weighings.yaml")
        .read_text()
        .replace("{R1: 153.9, R2: 153.9}", "{R1: 153.9, R2: 153.9, R3: 153.9, R4: 153.9, R5: 153.9, R6: 153.9}"),
    )
    throws = book.figures().bobweights.throws
    assert {name: [pin.cylinders for pin in throw.pins] for name, throw in throws.items()} == {
        "1": [("1",), ("2",)],
        "2": [("3",), ("4",)],
        "3": [("5",), ("6",)],
    }
    # R2 is in cylinder 1: 420.9 + 43.5 + 50 % of 845.95 + half of the throw's oil, 1.5; and R1 in cylinder 2
    assert [pin.total for pin in throws["1"].pins] == [Fraction("888.875"), Fraction("889.375")]
    for throw in throws.values():
        assert sum(pin.total for pin in throw.pins) == throw.total


def test_an_inline_six_wants_none_and_says_why(book: Book, run: Run) -> None:
    book.write("engines/twin/engine.yaml", engine("i6"))
    book.write("weighings.yaml", COMMON_PRACTICE)
    bobweights = book.figures().bobweights
    assert not bobweights.wanted
    assert "cancel all round and end to end" in bobweights.why
    done = run("bobweight", cwd=book.folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert "wants none" in done.stdout
    assert "cancel all round and end to end" in " ".join(done.stdout.split())


@pytest.mark.parametrize(
    ("left_out", "said"),
    [
        ("W5", None),  # no part is called pin locks here: an engine may have none
        ("W6", "not weighed: rod bearing"),
        ("W3", "not weighed: piston, pin"),
        ("W1", "not weighed: rod big end"),
    ],
)
def test_a_missing_weighing_is_said_and_no_figure_given(book: Book, left_out: str, said: str | None) -> None:
    lines = [line for line in COMMON_PRACTICE.splitlines(keepends=True) if f"id: {left_out}," not in line]
    book.write("weighings.yaml", "".join(lines))
    bobweights = book.figures().bobweights
    assert bobweights.missing == ((said,) if said else ())
    assert bool(bobweights.throws) is not bool(said)
    assert (bobweights.target is None) is bool(said)


def test_pin_locks_that_the_parts_list_names_are_missed(book: Book) -> None:
    book.write("parts.yaml", PARTS + "  - {kind: pin_locks, count: 4}\n")
    book.write("weighings.yaml", "".join(line for line in COMMON_PRACTICE.splitlines(True) if "id: W5," not in line))
    assert book.figures().bobweights.missing == ("not weighed: pin locks",)


def test_what_is_missing_reaches_the_builder_as_a_finding(book: Book, run: Run) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:-1]))
    done = run("bobweight", cwd=book.folder)
    assert (done.returncode, done.stderr) == (1, "")
    assert "not weighed: rod bearing" in done.stdout
    assert "TARGET" not in done.stdout


def test_no_factor_chosen_is_missing_too(book: Book) -> None:
    book.write("build.yaml", BUILD.replace("factor: 50, ", ""))
    book.write("weighings.yaml", COMMON_PRACTICE)
    (said,) = book.figures().bobweights.missing
    assert "no reciprocating factor is chosen" in said


def test_before_matching_the_means_stand_and_after_it_the_pieces(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    before = book.figures().bobweights
    assert "mean" in before.basis
    assert [line.piece for line in before.throws["1"].lines] == [""] * 6
    book.write("pairings.yaml", pairings("rod: R1, piston: P2, pin: N1", "rod: R2, piston: P1, pin: N2"))
    after = book.figures().bobweights
    assert "matched pieces" in after.basis
    assert " ".join(line.piece for line in after.throws["1"].lines if line.piece) == "R1 R2 R1 R2 P2 P1 N1 N2"
    # all the pieces hang on the one throw, so the means and the pieces must come to the same
    assert before.throws["1"].total == after.throws["1"].total


def test_a_pairing_that_leaves_a_cylinder_out_is_not_used(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings("rod: R1, piston: P2, pin: N1"))
    assert "mean" in book.figures().bobweights.basis


def test_the_cylinder_whose_piece_was_not_weighed_is_named(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings("rod: R1, piston: P2, pin: N1", "rod: R9, piston: P1, pin: N2"))
    said = book.figures().bobweights.missing
    assert said == (
        "the rod big end of cylinder 2 is not weighed",
        "the rod small end of cylinder 2 is not weighed",
    )


def set_to(*weights: str) -> str:
    stands = ", ".join(f"{throw}: {weight}" for throw, weight in enumerate(weights, start=1))
    return f"format: 1\nunits: {{mass: g}}\nbobweights: {{taken: 2026-10-05, by: ava, set: {{{stands}}}}}\n"


@pytest.mark.parametrize(
    ("weight", "off", "inside"),
    [("1778.4", "0.45", True), ("1778.5", "0.55", False), ("1777.4", "-0.55", False), ("62.8 oz", None, None)],
)
def test_a_set_bobweight_is_held_against_target_and_limit(
    book: Book, weight: str, off: str | None, inside: bool | None
) -> None:
    # the target is 1777.95 with the 3.0 g of oil of these books; the limit is within 0.5 g
    book.write("weighings.yaml", COMMON_PRACTICE)
    book.write("spins.yaml", set_to(weight))
    done = book.figures().bobweights.set["1"]
    if off is None:  # 62.8 oz × 28.349523125 g
        assert done.weight == Fraction("62.8") * Fraction("28.349523125")
    else:
        assert (done.from_target, done.within_limit) == (Fraction(off), inside)


def test_without_a_limit_nothing_is_said_of_it(book: Book) -> None:
    book.write("build.yaml", BUILD.replace(", bobweight_set: {within: 0.5}", ""))
    book.write("weighings.yaml", COMMON_PRACTICE)
    book.write("spins.yaml", set_to("1790.0"))
    assert book.figures().bobweights.set["1"].within_limit is None


UNEVEN = """\
format: 1
engine: twin
units: {angle: deg}
layout:
  banks: {left: -45, right: 45}
  throws:
    1: {angle: 0, cylinders: {1: left, 2: right}}
    2: {angle: 180, cylinders: {3: left}}
"""


def test_throws_with_different_numbers_of_rods_have_no_common_target(book: Book) -> None:
    book.write("engines/twin/engine.yaml", UNEVEN)
    book.write("weighings.yaml", COMMON_PRACTICE)
    book.write("spins.yaml", set_to("1777.9", "890.4"))
    bobweights = book.figures().bobweights
    assert bobweights.target is None
    # each against its own throw: 1777.95, and 421.0 + 43.5 + 422.975 + 3.0 = 890.475
    assert {name: each.from_target for name, each in bobweights.set.items()} == {
        "1": Fraction("-0.05"),
        "2": Fraction("-0.075"),
    }
