"""What a build shakes with, through the files: whose weights, which counterweights, and what is missing."""

from math import pi, radians, sin, sqrt

import pytest
from conftest import BUILD, Book

from buildbook.figures.shaking import Shaking, peak
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings
from figures.measurements import engine

SIZES = "stroke: 80, rod_length: 140"

# r = 40 mm at 6000 rpm: r ω² = 15 791.4 m/s², so that 1 g pulls with 15.7914 N
NEWTON = 0.040 * (200 * pi) ** 2 / 1000

# small end 154.4, piston 481.05, pin 152.4, rings 55.4: the mean of the two
RECIPROCATING = 843.25


@pytest.fixture
def twin(book: Book) -> Book:
    book.write("engines/twin/engine.yaml", engine("v2_90_common_pin", SIZES))
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    return book


def shaken(book: Book, speed: float | None = 6000.0) -> Shaking:
    return Shaking(book.figures(), speed)


def test_a_90_degree_twin_by_hand(twin: Book) -> None:
    build = shaken(twin).build
    assert build is not None
    assert build.masses.whose == "the mean of each kind: nothing is matched"
    # all of the first order turns with the crankshaft, and bobweights of 50 % answer for it
    assert build.pistons.first.force.largest == pytest.approx(RECIPROCATING * NEWTON)
    assert abs(build.pistons.first.force.against_crank) < 1e-6
    assert build.balanced.first.force.largest == pytest.approx(0, abs=1e-6)
    # the second order goes to and fro sideways: √2 A₂, A₂ of λ = 2/7 being 0.2917795 (derived)
    second = build.balanced.second.force
    assert second.largest == pytest.approx(sqrt(2) * 0.2917795 * RECIPROCATING * NEWTON, rel=1e-6)
    assert second.direction == pytest.approx(90)


def test_matched_pieces_shake_by_their_own_weights(twin: Book) -> None:
    twin.write("pairings.yaml", pairings("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P2, pin: N2"))
    build = shaken(twin).build
    assert build is not None
    assert build.masses.whose == "the matched pieces in their cylinders"
    # 153.9 + 480.1 + 152.3 + 55.4 and 154.9 + 482.0 + 152.5 + 55.4
    assert [each.weight for each in build.masses.pistons] == pytest.approx([841.7, 844.8])
    # what is heavier in one bank goes to and fro as half of it with the crankshaft and half against it
    against = build.balanced.first.force.against_crank
    assert abs(against) == pytest.approx((844.8 - 841.7) / 2 * NEWTON)


def test_bobweights_as_set_leave_what_they_are_off(twin: Book) -> None:
    # 842.3 + 2 × 43.5 of big ends and bearings, 843.25 of half of two pistons' 843.25, and 3 of oil: 1775.55 g
    assert float(twin.figures().bobweights.throws["1"].total) == pytest.approx(1775.55)
    twin.write(
        "spins.yaml", "format: 1\nunits: {mass: g}\nbobweights: {set: {1: 1765.55}, by: ava, taken: 2026-10-05}\n"
    )
    build = shaken(twin).build
    assert build is not None
    assert "as set" in build.masses.counterweights
    assert build.balanced.first.force.largest == pytest.approx(10 * NEWTON)


def test_a_factor_of_the_build_that_leaves_more_than_the_best(twin: Book) -> None:
    twin.write("build.yaml", BUILD.replace("factor: 50", "factor: 60"))
    found = shaken(twin).factor("horizontal")
    assert found.unit == "N"
    assert found.chosen is not None
    assert found.best is not None
    assert found.chosen.left > found.best.left
    # what is taken from one direction goes to the other, so that both are said
    upright, round_about = shaken(twin).factor("vertical"), shaken(twin).factor("force")
    assert upright.chosen is not None
    assert round_about.best is not None
    assert (found.chosen.across, found.chosen.left) == (upright.chosen.left, upright.chosen.across)
    assert round_about.best.across is None
    by_factor = {each.factor: each.left for each in found.curve}
    assert by_factor[60.0] == found.chosen.left
    assert by_factor[50.0] == found.common_practice.left


def test_speed_is_the_highest_of_the_build_unless_one_is_given(twin: Book) -> None:
    twin.write("build.yaml", BUILD.replace("oil: 3.0", "oil: 3.0, max_speed: 3000 rpm"))
    slow, fast = shaken(twin, None).build, shaken(twin).build
    assert slow is not None
    assert fast is not None
    assert slow.speed == 3000
    assert slow.largest_force.amount == pytest.approx(fast.largest_force.amount / 4)


def test_what_is_missing_is_said_and_the_layout_alone_is_still_known(book: Book) -> None:
    book.write("engines/twin/engine.yaml", engine("i4", "bore: 90"))
    found = shaken(book, None)
    assert found.build is None
    assert found.missing[:3] == (
        "engine.yaml gives no stroke or no rod_length",
        "engine.yaml gives no bore_spacing",
        "no speed: give --speed RPM, or balance: {max_speed: …} in build.yaml",
    )
    assert found.missing[3].startswith("not weighed: ")
    assert found.nominal.second.force.largest == pytest.approx(4)
    book.write("engines/twin/engine.yaml", engine("i4", "stroke: 90, rod_length: 45"))
    assert shaken(book, None).missing[0].endswith("which cannot turn")


def test_a_flat_twin_is_asked_for_its_bank_offset(book: Book) -> None:
    # its one moment is that of two cylinders so far apart: without it, no moment would be shown as nothing
    book.write("engines/twin/engine.yaml", engine("flat_2", SIZES))
    assert shaken(book).missing[0] == "engine.yaml gives no bank_offset"


def test_without_sizes_the_factor_is_that_of_the_first_order(book: Book) -> None:
    book.write("engines/twin/engine.yaml", engine("single", "bore: 90"))
    found = shaken(book, None).factor(None)
    assert (found.least, found.unit) == ("force", "F1")
    assert found.best is not None
    assert found.best.factor == pytest.approx(50, abs=0.01)
    assert found.best.left == pytest.approx(0.5, abs=1e-5)


def test_the_moment_is_looked_at_where_a_factor_changes_nothing_else(book: Book) -> None:
    book.write("engines/twin/engine.yaml", engine("v8_90_cross_plane", "bore: 90"))
    found = shaken(book, None).factor(None)
    assert found.least == "moment"
    assert found.best is not None
    assert found.best.factor == pytest.approx(50, abs=0.01)
    book.write("engines/twin/engine.yaml", engine("i4", "bore: 90"))
    nothing = shaken(book, None).factor(None)
    assert (nothing.least, nothing.best) == ("force", None)


def test_a_v_twin_rocks_by_how_far_its_banks_are_apart(book: Book) -> None:
    # rods b apart on split pins 76° apart: what turns with the crankpins makes a moment of 2 sin 38° b/2, half of it to
    # the pistons' share, and what turns against it cos(V − 38°) b/2: no factor leaves none
    book.write("engines/twin/engine.yaml", engine("v2_52_split_pin_76", "bank_offset: 22"))
    found = shaken(book, None).factor("moment")
    assert found.unit == "F1 b"
    assert found.best is not None
    with_crank, against_crank = sin(radians(38)) / 2, sin(radians(52 + 38)) / 2
    assert found.against_crank == pytest.approx(against_crank / with_crank)
    assert found.best.left == pytest.approx(against_crank, abs=1e-4)
    book.write("engines/twin/engine.yaml", engine("v2_52_split_pin_76", "bore: 90"))
    nowhere = shaken(book, None).factor("moment")
    assert (nowhere.best, nowhere.has_length) == (None, False)


def test_moments_are_multiples_of_the_distance_between_throws_however_it_is_written(book: Book) -> None:
    for sizes in ("bore: 90", "bore_spacing: 100, bank_offset: 25", 'bore_spacing: "4 in"'):
        book.write("engines/twin/engine.yaml", engine("v8_90_cross_plane", sizes))
        found = shaken(book, None).factor("moment")
        assert found.unit == "F1 a"
        assert found.curve[0].left == pytest.approx(sqrt(10), abs=1e-4)


def test_what_goes_round_acts_where_its_rod_is(twin: Book) -> None:
    twin.write("engines/twin/engine.yaml", engine("v2_90_common_pin", f"{SIZES}, bank_offset: 20"))
    twin.write("pairings.yaml", pairings("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P2, pin: N2"))
    build = shaken(twin).build
    assert build is not None
    # big ends of 421.4 and 420.9 g, 20 mm apart on one pin, and pistons 3.1 g apart
    around, up_and_down = (421.4 - 420.9) * -10, (841.7 - 844.8) / 2 * -10
    assert build.balanced.first.moment.with_crank == pytest.approx((around + up_and_down) * NEWTON / 1000)


def test_the_usual_two_terms_stand_beside_the_exact_motion(twin: Book) -> None:
    build = shaken(twin).build
    assert build is not None
    # λ = 2/7: the exact second order is larger, and at the dead centres of a 90° twin's bisector both leave the same
    exact, series = build.largest_force.amount, peak(build.two_terms.force).amount
    assert series == pytest.approx(sqrt(2) * 2 / 7 * RECIPROCATING * NEWTON)
    assert 1.0 < exact / series < 1.05


def test_bobweights_that_were_hung_where_none_are_wanted_count_as_well(book: Book) -> None:
    book.write("engines/twin/engine.yaml", engine("i2_360", f"{SIZES}, bore_spacing: 90"))
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("build.yaml", BUILD.replace("factor: 50, ", ""))
    book.write("spins.yaml", "format: 1\nunits: {mass: g}\nbobweights: {set: {1: 800, 2: 800}, by: ava, "
               "taken: 2026-10-05}\n")  # fmt: skip
    build = shaken(book).build
    assert build is not None
    assert build.masses.counterweights == "balanced with the bobweights as set"
    # 2 × (464.65 of big end and bearings + half of 843.25 − 797) turn with the crankshaft
    turned = 2 * (464.65 + RECIPROCATING / 2 - 797)
    assert build.balanced.first.force.with_crank == pytest.approx(turned * NEWTON)


def test_split_pins_have_a_weight_of_their_own_and_one_that_would_stand_for_both(book: Book) -> None:
    from conftest import SAMPLES

    from buildbook.book.reading import Reader
    from buildbook.figures import work_out

    loaded = Reader(SAMPLES).load("plover-03/2026-03-first")
    assert loaded.build is not None
    split = Shaking(work_out(loaded.build), None).factor(None).split
    assert [each.throw.throw for each in split] == ["1", "2", "3"]
    for each in split:
        whole = float(each.throw.total)
        # two pins 60° apart pull like √3 of one of them
        assert abs(each.as_one) == pytest.approx(whole * sqrt(3) / 2, rel=1e-3)
