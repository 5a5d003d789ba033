from fractions import Fraction
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.balance.bobweights import CylinderWeights, Line, Weighed, bobweight, target
from buildbook.balance.layouts import Pin, known_layout

grams = st.integers(0, 200_000).map(lambda hundredths: Fraction(hundredths, 100))
weighed = st.builds(
    Weighed,
    what=st.sampled_from(["rod_big_end", "rod_bearing", "piston", "pin_locks"]),
    weight=grams,
    uncertainty=st.floats(0, 1),
    piece=st.sampled_from(["", "A1", "A2", "A3"]),
    count=st.integers(1, 4),
)
several = st.lists(weighed, max_size=5).map(tuple)
cylinders = st.builds(CylinderWeights, reciprocating=several, rotating=several)
weights_of_four = st.lists(cylinders, min_size=4, max_size=4).map(lambda each: dict(zip("1234", each, strict=True)))
factors = st.fractions(0, 100, max_denominator=8)

COMMON = (Pin(0, ("1", "2", "3", "4")),)
SPLIT = (Pin(15, ("1", "2")), Pin(345, ("3", "4")))


def one(what: str, weight: str, piece: str = "", *, uncertainty: float = 0.1, count: int = 1) -> Weighed:
    return Weighed(what, Fraction(weight), uncertainty, piece, count)


@given(weights_of_four, factors, grams)
def test_total_is_rotating_plus_the_factor_of_the_reciprocating_plus_oil(
    weights: dict[str, CylinderWeights], factor: Fraction, oil: Fraction
) -> None:
    throw = bobweight("1", COMMON, weights, factor, oil)
    reciprocating = sum(each.weight * each.count for one in weights.values() for each in one.reciprocating)
    rotating = sum(each.weight * each.count for one in weights.values() for each in one.rotating)
    assert throw.reciprocating == reciprocating
    assert throw.rotating == rotating
    assert throw.total == rotating + factor / 100 * reciprocating + oil
    assert throw.total == sum(line.amount for line in throw.lines) + oil


@given(weights_of_four, grams)
def test_factor_nothing_leaves_what_rotates_and_factor_all_carries_everything(
    weights: dict[str, CylinderWeights], oil: Fraction
) -> None:
    nothing = bobweight("1", COMMON, weights, Fraction(0), oil)
    everything = bobweight("1", COMMON, weights, Fraction(100), oil)
    assert nothing.total == nothing.rotating + oil
    assert everything.total == everything.rotating + everything.reciprocating + oil


@given(weights_of_four, factors, factors)
def test_total_is_linear_in_the_factor(weights: dict[str, CylinderWeights], factor: Fraction, other: Fraction) -> None:
    def total(percent: Fraction) -> Fraction:
        return bobweight("1", COMMON, weights, percent, Fraction(3)).total

    assert total((factor + other) / 2) == (total(factor) + total(other)) / 2


@given(weights_of_four, factors, grams, st.permutations("1234"))
def test_order_of_cylinders_does_not_matter(
    weights: dict[str, CylinderWeights], factor: Fraction, oil: Fraction, order: list[str]
) -> None:
    straight = bobweight("1", COMMON, weights, factor, oil)
    shuffled = bobweight("1", (Pin(0, tuple(order)),), weights, factor, oil)
    assert shuffled.total == straight.total
    assert shuffled.uncertainty == pytest.approx(straight.uncertainty)
    assert set(shuffled.lines) == set(straight.lines)


@given(weights_of_four, factors, grams)
def test_halves_make_the_whole_and_pins_make_the_throw(
    weights: dict[str, CylinderWeights], factor: Fraction, oil: Fraction
) -> None:
    throw = bobweight("1", SPLIT, weights, factor, oil)
    assert throw.half + throw.half == throw.total
    assert sum(pin.total for pin in throw.pins) == throw.total
    assert sum(pin.half for pin in throw.pins) == throw.half
    assert sum(pin.oil for pin in throw.pins) == throw.oil
    assert [(pin.angle, pin.cylinders) for pin in throw.pins] == [(15, ("1", "2")), (345, ("3", "4"))]


@pytest.mark.parametrize("rods", [1, 2, 3, 4])
def test_one_to_four_rods_hang_on_a_throw_with_the_oil_once(rods: int) -> None:
    names = tuple("1234"[:rods])
    weights = {name: CylinderWeights((one("piston", "400"),), (one("rod_big_end", "500"),)) for name in names}
    throw = bobweight("1", (Pin(0, names),), weights, Fraction(50), Fraction(3))
    assert throw.cylinders == names
    assert throw.total == rods * (500 + 200) + 3


def test_pieces_weighed_one_by_one_have_lines_of_their_own_and_a_shared_mean_has_one() -> None:
    locks, bearing = one("pin_locks", "1.85", count=2), one("rod_bearing", "46.2")
    weights = {
        "1": CylinderWeights((one("piston", "455.1", "P7"), locks), (one("rod_big_end", "611.4", "R6"), bearing)),
        "2": CylinderWeights((one("piston", "455.4", "P2"), locks), (one("rod_big_end", "611.9", "R7"), bearing)),
    }
    throw = bobweight("1", (Pin(0, ("1", "2")),), weights, Fraction(50), Fraction(3))
    half, whole = Fraction(1, 2), Fraction(1)
    assert throw.lines == (
        Line("rod_big_end", "R6", Fraction("611.4"), 1, False, whole, 0.1),
        Line("rod_big_end", "R7", Fraction("611.9"), 1, False, whole, 0.1),
        Line("rod_bearing", "", Fraction("46.2"), 2, False, whole, 0.1),
        Line("piston", "P7", Fraction("455.1"), 1, True, half, 0.1),
        Line("piston", "P2", Fraction("455.4"), 1, True, half, 0.1),
        Line("pin_locks", "", Fraction("1.85"), 4, True, half, 0.1),
    )
    # 611.4 + 611.9 + 2 × 46.2 + (455.1 + 455.4 + 4 × 1.85)/2 + 3, by hand
    assert throw.total == Fraction("1777.65")


def test_a_mean_used_four_times_is_wrong_four_times_over_where_separate_weighings_average_out() -> None:
    separate = {name: CylinderWeights((), (one("rod_big_end", "600", f"R{name}"),)) for name in "1234"}
    shared = {name: CylinderWeights((), (one("rod_big_end", "600"),)) for name in "1234"}
    assert bobweight("1", COMMON, separate, Fraction(50), Fraction(0)).uncertainty == pytest.approx(0.1 * sqrt(4))
    assert bobweight("1", COMMON, shared, Fraction(50), Fraction(0)).uncertainty == pytest.approx(0.1 * 4)


def test_uncertainty_of_reciprocating_weight_counts_by_the_factor() -> None:
    # √((0.5 × 0.6)² + 0.4²) = 0.5
    weights = {
        "1": CylinderWeights((one("piston", "400", uncertainty=0.6),), (one("rod_big_end", "600", uncertainty=0.4),))
    }
    assert bobweight("1", (Pin(0, ("1",)),), weights, Fraction(50), Fraction(3)).uncertainty == pytest.approx(0.5)


def test_target_is_the_mean_of_throws_with_what_they_share_still_shared() -> None:
    bearing = one("rod_bearing", "40", uncertainty=0.3)
    throws = [
        bobweight(
            name,
            (Pin(0, (name,)),),
            {name: CylinderWeights((), (one("rod_big_end", weight, name), bearing))},
            Fraction(50),
            Fraction(3),
        )
        for name, weight in {"1": "600", "2": "601", "3": "602", "4": "603"}.items()
    ]
    aim = target(throws)
    assert aim is not None
    assert aim.total == Fraction("644.5")
    assert aim.half == Fraction("322.25")
    assert aim.spread == 3
    # the big ends average out, 0.1/√4; the bearing's mean does not
    assert aim.uncertainty == pytest.approx(sqrt(0.05**2 + 0.3**2))


@given(weights_of_four, factors, grams)
def test_target_of_the_pins_of_a_throw_is_its_equal_share(
    weights: dict[str, CylinderWeights], factor: Fraction, oil: Fraction
) -> None:
    throw = bobweight("1", SPLIT, weights, factor, oil)
    aim = target(throw.pins)
    assert aim is not None
    assert aim.total == throw.total / 2
    assert aim.uncertainty == pytest.approx(throw.uncertainty / 2)


def test_throws_with_different_numbers_of_rods_have_no_one_target() -> None:
    weights = {name: CylinderWeights((), (one("rod_big_end", "600", name),)) for name in "123"}
    throws = [
        bobweight(throw, (Pin(0, names),), weights, Fraction(50), Fraction(3))
        for throw, names in {"1": ("1", "2"), "2": ("3",)}.items()
    ]
    assert target(throws) is None
    assert target([]) is None


def test_a_whole_layout_is_one_bobweight_a_throw() -> None:
    layout = known_layout("v6_60_split_pin_60")
    weights = {
        name: CylinderWeights((one("piston", "400"),), (one("rod_big_end", "500"),)) for name in layout.cylinders
    }
    throws = [bobweight(throw, layout.pins(throw), weights, Fraction(50), Fraction(3)) for throw in layout.throws]
    assert [throw.cylinders for throw in throws] == [("1", "2"), ("3", "4"), ("5", "6")]
    assert [[pin.angle for pin in throw.pins] for throw in throws] == [[30, 330], [270, 210], [150, 90]]
    assert {pin.total for throw in throws for pin in throw.pins} == {Fraction("701.5")}


def test_a_cylinder_without_weights_is_an_error_not_a_nought() -> None:
    with pytest.raises(KeyError):
        bobweight("1", COMMON, {}, Fraction(50), Fraction(3))
