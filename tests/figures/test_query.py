"""Conditions on figures: how one is read, which figures satisfy it, and what figures are held to."""

from fractions import Fraction

import pytest
from conftest import SAMPLES, Book
from hypothesis import given
from hypothesis import strategies as st

from buildbook.book.places import builds, engines
from buildbook.book.reading import Reader
from buildbook.figures import work_out
from buildbook.figures.named import Named, named_figures
from buildbook.figures.query import KINDS, QueryError, UnknownKind, limits, read_condition, read_name, satisfying
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings
from figures.measurements import write
from figures.turning import on_the_machine, spin


@pytest.mark.parametrize(
    "name", [f"{engine}/{build}" for engine in engines(SAMPLES) for build in builds(SAMPLES, engine)]
)
def test_every_figure_that_a_build_has_can_be_asked_for_in_its_own_unit(name: str) -> None:
    build = Reader(SAMPLES).load(name).build
    assert build is not None
    named = named_figures(work_out(build))
    assert {each.kind: each.unit for each in named.values()}.items() <= KINDS.items()


def figure(value: str, place: str = "1", kind: str = "main_clearance") -> Named:
    return Named(kind, place, Fraction(value), 0.001, KINDS[kind], 3)


@pytest.mark.parametrize(
    ("condition", "satisfied"),
    [
        ("main_clearance < 0.045", ["0.044"]),
        ("main_clearance <= 0.045", ["0.044", "0.045"]),
        ("main_clearance >= 0.045", ["0.045", "0.0454", "0.046"]),
        ("main_clearance > 0.045", ["0.0454", "0.046"]),
        ("main_clearance = 0.045", ["0.045", "0.0454"]),  # equal to the digits written: within half of 0.001
        ("main_clearance=0.0450", ["0.045"]),  # within half of 0.0001
        ("main_clearance == 0.0454", ["0.0454"]),
        ("  main_clearance≥0.046 mm ", ["0.046"]),
        ("main_clearance ≤ 44 um", ["0.044"]),
        ("main_clearance > 0.0018 in", ["0.046"]),  # 0.0018 × 25.4 = 0.04572
    ],
)
def test_a_condition_is_satisfied_by_the_figures_that_compare_as_it_says(condition: str, satisfied: list[str]) -> None:
    figures = [figure(value) for value in ("0.044", "0.045", "0.0454", "0.046")]
    found = satisfying(read_condition(condition, {}), figures)
    assert [each.value for each in found] == [Fraction(value) for value in satisfied]


def test_any_place_satisfies_a_kind_and_one_place_only_itself() -> None:
    figures = [figure("0.05", "1"), figure("0.06", "2"), figure("9", "1", "residual")]
    assert [each.place for each in satisfying(read_condition("main_clearance > 0", {}), figures)] == ["1", "2"]
    assert [each.place for each in satisfying(read_condition("main_clearance.2 > 0", {}), figures)] == ["2"]
    assert satisfying(read_condition("main_clearance.1 > 0.055", {}), figures) == []


def test_a_place_of_two_words_can_be_named() -> None:
    condition = read_condition("oil_rail_gap.1 lower < 0.6", {})
    assert (condition.kind, condition.place) == ("oil_rail_gap", "1 lower")


@pytest.mark.parametrize(
    ("text", "preferred", "value", "said"),
    [
        ("main_clearance < 0.002", {"length": "in"}, "0.0508", "main_clearance < 0.002 in"),
        ("main_clearance < 0.05", {}, "0.05", "main_clearance < 0.05 mm"),
        ("main_clearance < 0.05mm", {"length": "in"}, "0.05", "main_clearance < 0.05 mm"),
        ("residual > 1", {"length": "in", "mass": "oz"}, "1", "residual > 1 g"),  # weights are always shown in g
        ("residual > 0.1 oz", {}, "2.8349523125", "residual > 0.1 oz"),
        ("compression_ratio >= 9.8", {}, "9.8", "compression_ratio >= 9.8"),
        ("fastener_torque > 50 lbf ft", {}, "67.79089741657002", "fastener_torque > 50 lbf ft"),
        ("fastener_angle = 90", {}, "90", "fastener_angle = 90 deg"),
    ],
)
def test_a_bare_number_is_in_the_unit_figures_are_shown_in_and_is_said_back_with_it(
    text: str, preferred: dict[str, str], value: str, said: str
) -> None:
    condition = read_condition(text, preferred)
    assert (condition.value, condition.text) == (Fraction(value), said)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("main_clearance <", "is no condition"),
        ("< 3", "is no condition"),
        ("0.04 < main_clearance < 0.05", "is no condition"),
        ("main_clearance < thin", "is not a number"),
        ("main_clearance < 0,045", "decimal comma"),
        ("main_clearance < 1 g", "is a mass, where a length belongs"),
        ("residual > 1 furlong", "not a unit"),
        ("compression_ratio > 10 mm", "is not a number"),
    ],
)
def test_what_is_no_condition_says_why(text: str, what: str) -> None:
    with pytest.raises(QueryError) as error:
        read_condition(text, {})
    assert what in error.value.what
    assert error.value.remedy


def test_an_unknown_kind_says_its_name() -> None:
    with pytest.raises(UnknownKind) as error:
        read_condition("clearence.5 > 1", {})
    assert error.value.kind == "clearence"
    with pytest.raises(UnknownKind):
        read_name("nothing")


@given(value=st.fractions(), bound=st.decimals(min_value=-999, max_value=999, places=3))
def test_of_each_pair_of_opposite_conditions_one_holds(value: Fraction, bound: object) -> None:
    holds = {sign: read_condition(f"residual {sign} {bound}", {}).holds(value) for sign in ("<", ">=", ">", "<=")}
    assert holds["<"] != holds[">="]
    assert holds[">"] != holds["<="]


def test_a_figure_knows_the_limit_of_build_yaml_that_it_is_held_to(book: Book) -> None:
    on_the_machine(book, spin("0.6@30", "0.4@150"))
    book.write(
        "build.yaml",
        "format: 1\nengine: twin\nbuild: first\nopened: 2026-10-01\nunits: {mass: g, length: mm}\n"
        "balance: {factor: 50, oil: 3.0}\n"
        "limits: {reciprocating_spread: {max: 1.0}, big_end_spread: {max: 0.7}, bobweight_set: {within: 0.5},\n"
        "  residual: {front: 1.0, rear: 0.8, source: house rule}}\n",
    )
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("parts.yaml", PARTS)
    book.write("pairings.yaml", pairings("rod: R1, piston: P2, pin: N1", "rod: R2, piston: P1, pin: N2"))
    figures = book.figures()
    held = limits(figures, named_figures(figures))
    assert {name: (each.least, each.most) for name, each in held.items()} == {
        "rod_big_end_spread": (None, Fraction("0.7")),
        "reciprocating_spread": (None, 1),
        # the target of 1775.55 ± 0.5
        "bobweight_set.1": (Fraction("1775.05"), Fraction("1776.05")),
        "residual.front": (None, 1),
        "residual.rear": (None, Fraction("0.8")),
    }
    assert held["residual.rear"].source == "house rule"


def test_a_fit_has_its_own_limit_or_a_rule_of_thumb(book: Book) -> None:
    write(
        book,
        "what: top_ring_gap, with: feeler, readings: {1: 0.40, 2: 0.52}",
        "what: rod_side, with: feeler, readings: {R1: 0.30}",
        limits="rod_side: {min: 0.25, max: 0.50}",
    )
    figures = book.figures()
    held = limits(figures, named_figures(figures))
    assert (held["rod_side.R1"].least, held["rod_side.R1"].most) == (Fraction("0.25"), Fraction("0.5"))
    assert held["top_ring_gap.1"].practice
