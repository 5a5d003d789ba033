"""Figures as a sign-off stores them: each comes back as it was, and one that moved is told from rounding."""

from fractions import Fraction

import pytest
from conftest import Book
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.book.loader import parse
from buildbook.book.writing import Value, field_lines
from buildbook.figures.frozen import compared, figures_digest, frozen
from buildbook.figures.named import Named, named_figures
from buildbook.quantities import Quantity
from buildbook.records.finding import Where
from buildbook.records.model import SignedFigure
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings

SOMEWHERE = Where("build.yaml", 9, 5)
UNITS = {"mass": "g", "length": "mm"}


def named(*figures: Named) -> dict[str, Named]:
    return {figure.name: figure for figure in figures}


def grams(value: str, decimals: int = 2, kind: str = "bobweight_target", place: str = "") -> Named:
    return Named(kind, place, Fraction(value), None, "g", decimals)


def signed(figures: dict[str, Named]) -> dict[str, SignedFigure]:
    """What a sign-off would be read back as."""
    found: dict[str, SignedFigure] = {}
    for kind, stored in frozen(figures).items():
        places = {"": stored} if isinstance(stored, Quantity) else stored
        found |= {
            f"{kind}.{place}" if place else kind: SignedFigure(each.text, SOMEWHERE) for place, each in places.items()
        }
    return found


def test_a_figure_that_ends_keeps_its_digits_and_one_that_was_worked_out_has_one_more() -> None:
    figures = named(grams("611.4", 1, "rod", "R1"), grams("2180.136875"), grams("0.055", 3, "main_clearance", "1"))
    stored = frozen(figures)
    assert isinstance(stored["bobweight_target"], Quantity)
    assert stored["bobweight_target"].text == "2180.137"
    assert {place: each.text for place, each in stored["rod"].items()} == {"R1": "611.4"}  # type: ignore[union-attr]


def test_a_figure_of_all_places_and_of_one_have_names_of_their_own() -> None:
    figures = named(grams("1.5", 1, "quench"), grams("1.6", 1, "quench", "2"))
    assert signed(figures).keys() == {"quench.all", "quench.2"}
    assert compared(signed(figures), UNITS, figures).differing == ()


numbers = st.fractions(min_value=-10_000, max_value=10_000, max_denominator=10**6)


@settings(max_examples=200)
@given(numbers, st.integers(0, 4))
def test_what_is_frozen_agrees_with_itself(value: Fraction, decimals: int) -> None:
    figures = named(Named("bobweight", "1", value, None, "g", decimals))
    assert compared(signed(figures), UNITS, figures).differing == ()


@settings(max_examples=200)
@given(numbers, st.integers(0, 4), st.sampled_from([-1, 1]))
def test_one_step_of_the_last_stored_digit_is_a_difference(value: Fraction, decimals: int, way: int) -> None:
    step = Fraction(way * 11, 10 ** (decimals + 1))  # 1.1 steps of the figure's own digits
    figures = named(Named("bobweight", "1", value, None, "g", decimals))
    moved = named(Named("bobweight", "1", value + step, None, "g", decimals))
    (difference,) = compared(signed(figures), UNITS, moved).differing
    assert difference.name == "bobweight.1"
    assert (Fraction(difference.by or "0") > 0) == (way > 0)


def test_a_difference_says_what_was_signed_what_comes_out_today_and_by_how_much() -> None:
    was, now = named(grams("2180.136875")), named(grams("2180.2"))
    (difference,) = compared(signed(was), UNITS, now).differing
    assert (difference.signed, difference.today, difference.by, difference.unit) == (
        "2180.137", "2180.200", "+0.063", "g",
    )  # fmt: skip
    assert difference.where == SOMEWHERE


def test_half_of_the_last_digit_is_rounding_and_more_is_not() -> None:
    stored = {"bobweight_target": SignedFigure("2180.1", SOMEWHERE)}
    assert compared(stored, UNITS, named(grams("2180.15"))).differing == ()
    assert len(compared(stored, UNITS, named(grams("2180.151"))).differing) == 1


def test_the_names_of_older_books_are_understood() -> None:
    stored = {
        "bobweights.target": SignedFigure("2180.14", SOMEWHERE),
        "bobweights.half": SignedFigure("1090.07", SOMEWHERE),
    }
    result = compared(stored, UNITS, named(grams("2180.136875")))
    assert (result.checked, result.differing) == (2, ())
    wrong = compared(stored, UNITS, named(grams("2180.2")))
    assert {each.name for each in wrong.differing} == {"bobweights.half", "bobweights.target"}


def test_a_figure_that_is_no_more_is_a_difference() -> None:
    (difference,) = compared({"bobweight.9": SignedFigure("1.0", SOMEWHERE)}, UNITS, {}).differing
    assert difference.today is None


def test_a_text_that_is_no_number_is_a_difference_and_not_a_crash() -> None:
    (difference,) = compared({"bobweight_target": SignedFigure("x", SOMEWHERE)}, UNITS, named(grams("1.0"))).differing
    assert "not a number" in (difference.by or "")


@pytest.mark.parametrize(
    ("units", "text"), [({"length": "in"}, "0.0022"), ({"length": "mm"}, "0.0022 in"), ({}, "0.055")]
)
def test_a_number_is_in_the_files_unit_unless_it_carries_its_own(units: dict[str, str], text: str) -> None:
    figures = named(Named("main_clearance", "1", Fraction("0.055"), None, "mm", 3))
    stored = {"main_clearance.1": SignedFigure(text, SOMEWHERE)}  # 0.0022 in = 0.05588 mm; within 0.00005 in
    assert compared(stored, units, figures).differing == ()
    moved = named(Named("main_clearance", "1", Fraction("0.060"), None, "mm", 3))
    assert len(compared(stored, units, moved).differing) == 1


def test_the_digest_of_figures_depends_on_every_name_and_digit_and_not_on_their_order() -> None:
    one, two = SignedFigure("1.0", SOMEWHERE), SignedFigure("2.0", Where("other.yaml", 1, 1))
    digest = figures_digest({"a": one, "b": two})
    assert digest == figures_digest({"b": two, "a": one})
    others = [{"a": two, "b": one}, {"a": one}, {"a": one, "c": two}, {"a": SignedFigure("1.00", SOMEWHERE), "b": two}]
    assert digest not in map(figures_digest, others)


def test_every_figure_of_a_build_is_frozen_and_read_back(book: Book) -> None:
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P2, pin: N2"))
    figures = named_figures(book.figures())
    value: Value = frozen(figures)
    lines = "\n".join(f"    {line}" for line in field_lines("figures", value))
    text = (book.folder / "build.yaml").read_text() + f"sign_offs:\n  - id: A1\n    stage: matched\n{lines}\n"
    assert parse(text, "build.yaml")[1] == []
    book.write("build.yaml", text)
    (sign_off,) = book.figures().build.sign_offs
    result = compared(sign_off.figures, sign_off.units, figures)
    assert (result.checked, result.differing) == (len(figures), ())
    assert len(figures) == 20
