"""How a number sits among its fellows, and where its point belongs."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.bench.fellows import Unclear, among, as_written, is_near, middle

PISTONS = {"P1": Fraction("507.06"), "P2": Fraction("507.49"), "P3": Fraction("507.88"), "P4": Fraction("507.49")}


def test_one_is_placed_from_above_and_against_the_mean_of_the_others() -> None:
    here = among(PISTONS, "P2")
    assert (here.number, here.above, here.level) == (4, 1, 1)
    assert here.mean == Fraction("507.48")
    assert here.spread == Fraction("0.82")
    assert here.from_others == Fraction("507.49") - Fraction("1522.43") / 3


def test_one_alone_has_no_others() -> None:
    assert among({"P1": Fraction(507)}, "P1").from_others is None


@pytest.mark.parametrize(
    ("typed", "decimals", "reference", "read"),
    [
        ("611.4", 1, "611.9", "611.4"),
        ("611,4", 1, None, "611.4"),  # the comma of another keypad
        ("507,06", 2, None, "507.06"),
        ("62,180", 3, None, "62.180"),  # this gauge shows three digits there
        ("62,180", None, "62.18", "62.180"),
        ("0,180", None, None, "0.180"),
        (",48", 2, None, ".48"),
        ("6114", 1, "611.9", "611.4"),  # the point left out
        ("50706", 2, "507.9", "507.06"),
        ("41", 2, "0.44", "0.41"),
        ("5", 2, "0.08", "0.05"),
        ("611", 1, "611.9", "611"),  # near as it is
        ("6114", 1, None, "6114"),  # nobody knows what to expect
        ("6114", None, "611.9", "6114"),  # nor where the point is
        ("5071", 2, "507.9", "5071"),  # a digit is lacking: neither way is it near
        ("611.40", 1, "611.9", "611.40"),
        ("1,2,3", 1, None, "1,2,3"),
        ("1.234,5", 1, None, "1.234,5"),
        ("x", 1, "611.9", "x"),
    ],
)
def test_the_point_goes_where_there_is_no_doubt(
    typed: str, decimals: int | None, reference: str | None, read: str
) -> None:
    assert as_written(typed, decimals, Fraction(reference) if reference else None) == read


@pytest.mark.parametrize("reference", [None, "1180"])
def test_a_comma_that_may_part_thousands_is_not_guessed_at(reference: str | None) -> None:
    with pytest.raises(Unclear):
        as_written("1,180", 1, Fraction(reference) if reference else None)


@given(st.decimals(1, 9999, places=2), st.fractions(Fraction(9, 10), Fraction(11, 10)))
def test_a_point_left_out_comes_back_where_it_was_and_no_digit_changes(value: object, share: Fraction) -> None:
    written = str(value)
    reference = Fraction(written) * share
    assert as_written(written.replace(".", "").lstrip("0"), 2, reference) == written
    assert as_written(written, 2, reference) == written


@given(st.lists(st.fractions(1, 1000), min_size=1))
def test_half_are_no_more_and_half_no_less_than_the_middle(values: list[Fraction]) -> None:
    median = middle(values)
    assert median is not None
    assert sum(value <= median for value in values) * 2 >= len(values)
    assert sum(value >= median for value in values) * 2 >= len(values)


def test_near_is_a_share_of_the_reference() -> None:
    assert is_near(Fraction(110), Fraction(100), Fraction(1, 10))
    assert not is_near(Fraction(111), Fraction(100), Fraction(1, 10))
    assert middle([]) is None
