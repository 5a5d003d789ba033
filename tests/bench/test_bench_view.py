"""What stands beside the piece that is asked for, and the letters that are read at arm's length."""

from fractions import Fraction
from string import ascii_letters, digits

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.bench.fellows import among
from buildbook.views.bench import sits
from buildbook.views.lettering import can_enlarge, large, width_of

HEAVY = ("heaviest", "lightest")


def said(values: str, decimals: int = 1) -> str:
    """How the first of these sits among all of them."""
    named = {f"P{number}": Fraction(value) for number, value in enumerate(values.split(), start=1)}
    return sits(among(named, "P1"), decimals, HEAVY)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ("480.1", "the first one read"),
        ("482.0 480.1", "heaviest of 2, 1.9 over the others"),
        ("480.1 482.0", "lightest of 2, 1.9 under the others"),
        ("481.0 482.0 480.4", "2nd heaviest of 3, 0.2 under the others"),
        ("481.0 482.0 480.0", "2nd heaviest of 3, as the others' mean"),
        ("481.01 482.0 480.0", "2nd heaviest of 3, as the others' mean"),  # as far as the scale shows
        ("481.0 481.0", "all 2 alike"),
        ("482.0 482.0 480.0", "heaviest with others of 3, 1.0 over the others"),
        ("481.0 482.0 483.0 480.0", "3rd heaviest of 4, 0.7 under the others"),
    ],
)
def test_how_one_sits_among_its_fellows_is_said_in_words(values: str, words: str) -> None:
    assert said(values) == words


@given(st.lists(st.integers(1, 30), min_size=2, max_size=40))
def test_every_place_among_its_fellows_has_words_and_only_the_ends_are_ends(values: list[int]) -> None:
    named = {f"P{number}": Fraction(value) for number, value in enumerate(values, start=1)}
    words = sits(among(named, "P1"), 1, HEAVY)
    if min(values) == max(values):
        assert words == f"all {len(values)} alike"
    else:
        assert words.startswith("heaviest") == (values[0] == max(values))
        assert words.startswith("lightest") == (values[0] == min(values))


def test_every_letter_that_an_id_may_have_can_be_shown_large() -> None:
    assert can_enlarge(ascii_letters + digits + "_.-+/")
    assert not can_enlarge("P1é")
    assert not can_enlarge("")


@given(st.text(ascii_letters + digits + "_.-+/", min_size=1, max_size=20))
def test_large_letters_are_five_lines_of_the_width_they_say(text: str) -> None:
    lines = large(text)
    assert len(lines) == 5
    assert {len(line) for line in lines} == {width_of(text)}


def test_no_two_letters_or_digits_look_alike() -> None:
    drawn = {letter: "\n".join(large(letter)) for letter in ascii_letters.upper() + digits + "_.-+/"}
    alike = {shape: [letter for letter, each in drawn.items() if each == shape] for shape in drawn.values()}
    assert [letters for letters in alike.values() if len(letters) > 1 and set(letters) != {"5", "S"}] == []
