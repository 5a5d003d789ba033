"""Where a figure came from: formulas that can be worked again, and every reading, choice and statement behind them."""

import ast
import math
import re
from fractions import Fraction
from functools import cache

import pytest
from conftest import SAMPLES, SHOP, Book
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.book.reading import Reader
from buildbook.figures import Figures, work_out
from buildbook.figures.named import named_figures
from buildbook.figures.trace import trace
from buildbook.figures.trace_steps import Source, Step, digits
from figures import measurements
from figures.ledger import ALL_WEIGHED, PARTS, engine, pairings, weighings
from figures.turning import on_the_machine, spin

BUILDS = (
    "dunlin-21/2026-05-first",
    "heron-07/2025-06-first",
    "heron-07/2026-10-rebuild",
    "magpie-02/2026-07-first",
    "plover-03/2026-03-first",
)
PAIRED = pairings("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P2, pin: N2")

PI = Fraction("3.14159265358979323846264338327950288")


def worked(formula: str) -> Fraction:
    """What a formula with its values comes to, exactly (roots apart): a reader of its own for what is printed."""
    python = formula.replace("²", "**2").replace("×", "*").replace("−", "-").replace("√(", "root(").replace("π", "pi")

    def value(node: ast.expr) -> Fraction:
        match node:
            case ast.Constant():
                return Fraction(ast.get_source_segment(python, node) or "")
            case ast.Name(id="pi"):
                return PI
            case ast.UnaryOp(op=ast.USub()):
                return -value(node.operand)
            case ast.BinOp(op=ast.Pow()):
                return value(node.left) ** 2
            case ast.BinOp(op=ast.Add()):
                return value(node.left) + value(node.right)
            case ast.BinOp(op=ast.Sub()):
                return value(node.left) - value(node.right)
            case ast.BinOp(op=ast.Mult()):
                return value(node.left) * value(node.right)
            case ast.BinOp(op=ast.Div()):
                return value(node.left) / value(node.right)
            case ast.Call(func=ast.Name(id=name)):
                given = [value(each) for each in node.args]
                if name == "root":
                    return Fraction(math.sqrt(given[0]))
                return {"min": min, "max": max}[name](given)
        raise AssertionError(f"not arithmetic: {formula}")

    return value(ast.parse(python, mode="eval").body)


@cache
def sample(name: str) -> Figures:
    build = Reader(SAMPLES).load(name).build
    assert build is not None
    return work_out(build)


def within_the_last_digit(step: Step) -> bool:
    return abs(worked(step.with_values) - step.value) < Fraction(1, 10**step.decimals)


def test_the_reader_of_formulas_reads_them() -> None:
    assert worked("√((−3)² + 4²) / 2") == Fraction("2.5")
    assert worked("min(2.5, 1.25) × (1 + 11.5e-6 × 2) / 5 − 1 − 2") == Fraction("0.250005750") - 3
    assert float(worked("π / 4 × 2²")) == math.pi


@pytest.mark.parametrize("build", BUILDS)
def test_every_figure_of_the_samples_can_be_worked_again_from_its_trace(build: str) -> None:
    figures = sample(build)
    named = named_figures(figures)
    assert len(named) > 50
    for name, figure in named.items():
        found = trace(figures, name)
        assert (found.name, found.value, found.unit, found.uncertainty, found.decimals) == (
            name, figure.value, figure.unit, figure.uncertainty, figure.decimals,
        )  # fmt: skip
        for step in found.steps():
            assert within_the_last_digit(step), (name, step.name, step.with_values, float(step.value))


@pytest.mark.parametrize("build", BUILDS)
def test_a_formula_holds_the_values_of_its_inputs_and_every_chain_ends_in_what_was_read_or_stated(build: str) -> None:
    figures = sample(build)
    for name in named_figures(figures):
        for step in trace(figures, name).steps():
            assert step.inputs or step.sources, (name, step.name)
            if not step.name.startswith("residual"):  # which stands by its components
                assert [each.name for each in step.inputs if each.text not in step.with_values] == [], (name, step.name)
            if not step.inputs:
                read = [each for each in step.sources if each.entry is not None or each.what.startswith("stated")]
                assert read, (name, step.name)


def test_a_name_that_no_figure_has_is_a_key_error() -> None:
    with pytest.raises(KeyError):
        trace(sample(BUILDS[0]), "bobweight.9")


@given(st.fractions(min_value=-1000, max_value=3000), st.integers(min_value=0, max_value=4))
def test_digits_are_exact_where_two_more_allow_it_and_else_within_half_of_one_more(
    value: Fraction, decimals: int
) -> None:
    shown = Fraction(digits(value, decimals).replace("−", "-"))
    assert abs(shown - value) <= Fraction(1, 2 * 10 ** (decimals + 1))
    if (value * 10 ** (decimals + 2)).denominator == 1:
        assert shown == value


# Readings as anybody might write them: any number of digits, once or three times, in grams or in ounces.
read = st.lists(
    st.tuples(
        st.integers(min_value=1, max_value=99999), st.integers(min_value=0, max_value=3), st.sampled_from(["g", "oz"])
    ),
    min_size=1,
    max_size=3,
)


def written(given: list[tuple[int, int, str]]) -> str:
    return "[" + ", ".join(f'"{number / 10**places:.{places}f} {unit}"' for number, places, unit in given) + "]"


@settings(max_examples=15)
@given(st.lists(read, min_size=8, max_size=8))
def test_whatever_was_read_the_formulas_can_be_worked_again(given: list[list[tuple[int, int, str]]]) -> None:
    kinds = (("rod_big_end", "R"), ("rod_small_end", "R"), ("piston", "P"), ("pin", "N"))
    each = [written(one) for one in given]
    sessions = [
        f"id: W{number}, what: {what}, readings: {{{letter}1: {each[2 * number]}, {letter}2: {each[2 * number + 1]}}}"
        for number, (what, letter) in enumerate(kinds)
    ]
    path = SAMPLES / "engines/magpie-02/2026-07-first/weighings.yaml"
    lots = [text.replace("W5", "W8").replace("W6", "W9") for text in ALL_WEIGHED[4:]]
    lots.append("id: W10, what: pin_locks, lot: {total: 5.27, pieces: 4, per_cylinder: 2}")
    text = weighings(*sessions, *lots).replace("by: ava, with: scale", "by: ava, with: bench_scale")
    build = Reader(SAMPLES, {path: text.encode()}).load("magpie-02/2026-07-first").build
    assert build is not None
    figures = work_out(build)
    assert {"reciprocating_spread", "bobweight.1"} <= set(named_figures(figures))
    for name in named_figures(figures):
        for step in trace(figures, name).steps():
            assert within_the_last_digit(step), (step.name, step.with_values, float(step.value))


def readings(step: Step) -> list[tuple[str, str, tuple[str, ...], str | None]]:
    return [(each.what, each.place, each.values, each.entry.id if each.entry else None) for each in step.sources]


def only(step: Step, name: str) -> Step:
    (found,) = (each for each in step.steps() if each.name == name)
    return found


@pytest.fixture
def twin(book: Book) -> Book:
    """Everything weighed, and matched: 153.9 + 480.1 + 152.3 + 110.8/2 go up and down in cylinder 1."""
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", PAIRED)
    return book


def test_the_chain_of_a_twin_is_the_one_worked_by_hand(twin: Book) -> None:
    figures = twin.figures()
    card = trace(figures, "bobweight.1")
    assert card.formula == "rotating + factor / 100 × reciprocating + oil"
    assert card.with_values == "929.30 + 50 / 100 × 1686.50 + 3.0"
    assert float(card.value) == 1775.55
    assert [each.name for each in card.inputs] == ["rotating_of_throw.1", "reciprocating_of_throw.1"]
    rotating, moving = card.inputs
    assert (rotating.formula, rotating.with_values) == (
        "2 × rod big end + 4 × rod bearing", "421.4 + 420.9 + 4 × 21.75",
    )  # fmt: skip
    assert only(card, "rod_bearing").with_values == "87.0 / 4"
    assert (moving.formula, moving.with_values) == ("cylinder 1 + cylinder 2", "841.70 + 844.80")
    first = only(card, "reciprocating.1")
    assert first.formula == "rod small end + piston + pin + ring set"
    assert first.with_values == "153.9 + 480.1 + 152.3 + 55.40"
    assert readings(only(card, "piston.P1")) == [("piston", "P1", ("480.1",), "W3")]
    assert readings(only(card, "ring_set")) == [("ring set, lot of 2", "", ("110.8",), "W5")]
    assert [(each.what, each.values, each.unit, each.field) for each in card.sources] == [
        ("reciprocating factor", ("50",), "%", ("factor",)),
        ("oil on a throw", ("3.0",), "g", ("oil",)),
    ]
    assert trace(figures, "reciprocating_spread").with_values == "844.80 − 841.70"
    assert [each.name for each in card.steps()][:4] == [
        "bobweight.1", "rotating_of_throw.1", "reciprocating_of_throw.1", "rod_big_end.R1",
    ]  # fmt: skip


def test_who_decided_the_pairing_stands_with_the_cylinder(twin: Book) -> None:
    (pairing,) = trace(twin.figures(), "reciprocating.2").sources
    assert pairing.entry is not None
    assert (pairing.what, pairing.place, pairing.values) == ("pairing", "cylinder 2", ("rod R2", "piston P2", "pin N2"))
    assert (pairing.entry.by, pairing.where and pairing.where.line) == ("ava", 5)


def test_before_a_pairing_the_means_of_all_that_was_weighed_stand_in(twin: Book) -> None:
    (twin.folder / "pairings.yaml").unlink()
    card = trace(twin.figures(), "bobweight.1")
    moving = only(card, "reciprocating_of_throw.1")
    assert moving.formula == "2 × rod small end + 2 × piston + 2 × pin + 2 × ring set"
    assert moving.with_values == "2 × 154.40 + 2 × 481.05 + 2 × 152.40 + 2 × 55.40"
    assert card.note == "the mean of each kind, as nothing is matched yet"
    mean = only(card, "piston_mean")
    assert (mean.with_values, mean.alike) == ("(480.1 + 482.0) / 2", True)
    assert [each.name for each in mean.inputs] == ["piston.P1", "piston.P2"]


def test_without_an_oil_allowance_the_formula_has_none(twin: Book) -> None:
    twin.write("build.yaml", (twin.folder / "build.yaml").read_text().replace(", oil: 3.0", ""))
    card = trace(twin.figures(), "bobweight.1")
    assert (card.formula, len(card.sources)) == ("rotating + factor / 100 × reciprocating", 1)
    assert within_the_last_digit(card)


def test_a_spread_names_the_two_ends_and_what_lies_between() -> None:
    spread = trace(sample("heron-07/2026-10-rebuild"), "pin_spread")
    assert spread.formula == "heaviest pin − lightest"
    assert spread.with_values == "148.14 − 147.88"
    assert [each.name for each in spread.inputs] == ["pin.N8", "pin.N6"]
    assert spread.between == ("pin.N1", "pin.N2", "pin.N3", "pin.N4", "pin.N5", "pin.N7")


def test_earlier_and_void_readings_stand_with_the_one_that_counts(twin: Book) -> None:
    again = (
        "id: W7, what: piston, taken: 2026-10-04T09:00+01:00, by: tomas, void: wrong pan, readings: {P1: 499.9}",
        "id: W8, what: piston, taken: 2026-10-05T09:00+01:00, readings: {P1: [480.3, 480.4]}",
        "id: W9, what: pin, void: slipped, readings: {P1: 1.0, N2: 152.9}",
    )
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED, *again))
    figures = twin.figures()
    piston = trace(figures, "piston.P1")
    assert (piston.formula, piston.with_values) == ("mean of 2 readings", "(480.3 + 480.4) / 2")
    assert float(piston.value) == 480.35
    (source,) = piston.sources
    assert source.entry is not None
    assert source.entry.id == "W8"
    assert [(each.values, each.unit, each.entry.id, each.entry.by, each.entry.void) for each in source.earlier] == [
        (("480.1",), "g", "W3", "ava", None),
        (("499.9",), "g", "W7", "tomas", "wrong pan"),
    ]
    assert trace(figures, "piston.P2").sources[0].earlier == ()
    assert [each.entry.void for each in trace(figures, "pin.N2").sources[0].earlier] == ["slipped"]


def test_a_lot_weighed_again_shows_the_one_before(twin: Book) -> None:
    again = "id: W7, what: ring_set, taken: 2026-10-05, lot: {total: 111.0, pieces: 2, per_cylinder: 1}"
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED, again))
    lot = trace(twin.figures(), "ring_set")
    assert lot.with_values == "111.0 / 2"
    assert [(each.values, each.unit) for each in lot.sources[0].earlier] == [(("110.8",), "g of 2")]


def test_readings_in_another_unit_stand_as_written_and_are_turned_in_the_formula(twin: Book) -> None:
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED).replace("P1: 480.1", 'P1: ["16.93 oz", "480.0 g"]'))
    piston = trace(twin.figures(), "piston.P1")
    assert piston.with_values == "(16.93 × 28.349523125 + 480.0) / 2"
    assert piston.sources[0].values == ("16.93 oz", "480.0 g")
    assert worked(piston.with_values) == piston.value


def sources(step: Step, what: str) -> list[Source]:
    return [each for each in step.all_sources() if each.what == what]


# A main at 25 °C: steel is what it reads, cast iron is 62.240 × (1 + 11.5e-6 × 5)/(1 + 10.8e-6 × 5) = 62.24022
WARM = (
    "what: main_journal, temperature: 25, readings: {1: {front: [62.180, 62.182], rear: 62.181}}",
    "what: main_bore, temperature: 25, readings: {1: {front: [62.242, 62.240], rear: 62.243}}",
)
METALS = """\
  - {kind: crankshaft, ids: [C1], material: forged steel}
  - {kind: block, ids: [B1], material: cast iron}
"""
LIMIT = "main_clearance: {min: 0.045, max: 0.075, source: bearing maker's sheet}"


def warm(book: Book, *more: str) -> Figures:
    sizes = "bore: 101.8, main_bearings: 1"
    measurements.write(book, *WARM, *more, limits=LIMIT, parts=PARTS + METALS, sizes=sizes)
    return book.figures()


def test_a_clearance_shows_both_sizes_and_what_brought_them_to_20_degrees(book: Book) -> None:
    clearance = trace(warm(book), "main_clearance.1")
    assert clearance.formula == "main bore, smallest − main journal, largest"
    assert clearance.with_values == "62.2402 − 62.182"
    bore, journal = clearance.inputs
    assert (bore.name, journal.name) == ("main_bore_smallest.1", "main_journal_largest.1")  # main_bore.1 is its mean
    assert bore.with_values == "min(62.242, 62.240, 62.243) × (1 + 11.5e-6 × 5) / (1 + 10.8e-6 × 5)"
    assert float(bore.value) == pytest.approx(62.240218, abs=1e-6)
    assert bore.note == "read at 25 °C, brought to 20 °C as cast iron (10.8e-6/K), gauge of steel (11.5e-6/K)"
    assert (journal.formula, journal.note) == ("largest of 3 readings", "")
    assert readings(bore)[:2] == [
        ("main bore", "1 front", ("62.242", "62.240"), "M2"), ("main bore", "1 rear", ("62.243",), "M2"),
    ]  # fmt: skip
    (material,) = sources(clearance, "material of the block")
    assert (material.values, material.field) == (("cast iron",), ("material",))
    # the means: (62.241 + 62.243)/2 and (62.181 + 62.181)/2, and 0.0002 for the warmth
    assert clearance.note == "its mean, 0.0612, is what the maximum is held against"


def test_a_limit_stands_with_its_source_and_its_place(book: Book) -> None:
    clearance = trace(warm(book), "main_clearance.1")
    assert clearance.limit is not None
    assert clearance.limit.values == ("0.045 to 0.075, bearing maker's sheet",)
    assert clearance.limit.where is not None
    assert clearance.limit.where.line == 6
    spread = trace(sample("heron-07/2025-06-first"), "reciprocating_spread").limit
    assert spread is not None
    assert (spread.values, spread.said_by) == (("max 1.0 g",), "house rule")


def test_a_journal_measured_again_keeps_what_was_measured_before(book: Book) -> None:
    ground = "what: main_journal, taken: 2026-10-07T10:00+01:00, readings: {1: {front: 61.930, rear: 61.931}}"
    slip = "what: main_journal, taken: 2026-10-06T10:00+01:00, void: dirty anvil, readings: {1: 62.201}"
    journal = only(trace(warm(book, ground, slip), "main_clearance.1"), "main_journal_largest.1")
    front, rear = journal.sources
    assert front.entry is not None
    assert front.entry.id == "M3"
    assert [(each.values, each.entry.id, each.entry.void) for each in front.earlier] == [
        (("62.180", "62.182"), "M1", None),
        (("62.201",), "M4", "dirty anvil"),
    ]
    assert [(each.values, each.entry.id) for each in rear.earlier] == [(("62.181",), "M1")]


def test_a_size_read_in_inches_is_turned_in_its_formula(book: Book) -> None:
    measurements.write(
        book, "what: top_ring_gap, with: feeler, readings: {1: [0.018, 0.019]}", units="length: in", sizes="bore: 101.8"
    )
    gap = trace(book.figures(), "top_ring_gap.1")
    assert gap.with_values == "(0.018 × 25.4 + 0.019 × 25.4) / 2"
    assert worked(gap.with_values) == gap.value == Fraction("0.4699")
    assert (gap.sources[0].values, gap.sources[0].unit) == (("0.018", "0.019"), "in")


def test_of_a_split_pin_only_the_part_that_the_rod_runs_on_is_behind_its_clearance(book: Book) -> None:
    book_parts = "format: 1\nparts:\n  - {kind: rod, ids: [R1, R2, R3, R4, R5, R6]}\n"
    each = ", ".join(f"R{number}: 45.040" for number in range(1, 7))
    throws = ", ".join(f"{throw}: {{front: 44.98{throw}, rear: 44.99{throw}}}" for throw in (1, 2, 3))
    paired = pairings(*(f"rod: R{number}" for number in range(1, 7)))
    measurements.write(
        book, f"what: rod_journal, readings: {{{throws}}}", f"what: rod_bore, readings: {{{each}}}",
        layout="v6_90_split_pin_30", parts=book_parts, paired=paired,
    )  # fmt: skip
    figures = book.figures()
    behind = {
        rod: [each.place for each in only(trace(figures, f"rod_clearance.{rod}"), "rod_journal_largest.1").sources]
        for rod in ("R1", "R2")
    }
    assert behind == {"R1": ["1 front"], "R2": ["1 rear"]}


def test_compression_goes_down_to_the_volumes_and_to_what_a_maker_states() -> None:
    ratio = trace(sample("heron-07/2025-06-first"), "compression_ratio.3")
    # bore 101.8009 and stroke 88.4: 719.5; chamber 64.3, dish 6.4, gasket π/4 103² 1.02 = 8.50, deck 0.68
    assert (ratio.formula, ratio.with_values) == ("(swept + clearance) / clearance", "(719.524 + 79.877) / 79.877")
    assert only(ratio, "clearance.3").with_values == "64.3 + 6.4 + 8.499 + 0.678"
    assert only(ratio, "deck_height.3").with_values == "0.08 + 1 / 3 × (0.09 − 0.08)"
    stated = {each.what: (each.values, each.unit, each.field) for each in ratio.all_sources() if each.entry is None}
    assert stated["stated thickness"] == (("1.02",), "mm", ("stated", "thickness"))
    assert stated["stated stroke"] == (("88.4",), "mm", ("stroke",))


def test_the_residual_goes_from_the_machine_s_angle_to_the_crankshaft_s(book: Book) -> None:
    on_the_machine(book, spin("30.0@20", "62.0@150"), spin("10.0@30", "62.0@150"), "grind: {plane: front, angle: 30}",
                   spin("20.0@30", "61.0@150"), spin("20.0@60", "62.0@150"))  # fmt: skip
    angles = "angles: {positive: against_rotation, reading: light_side}"
    book.write("spins.yaml", (book.folder / "spins.yaml").read_text().replace("angles: {}", angles))
    left = trace(book.figures(), "residual.front")
    # 20 g at 80 mm, 60° against the rotation on the light side: 180 − 60 = 120° on the heavy one
    assert left.with_values == "√((−800.00)² + 1385.641²) / 80"
    assert float(left.value) == pytest.approx(20)
    (unbalance,) = left.inputs
    assert unbalance.with_values == "20.0 × 80"
    assert "120.0° from throw 1" in unbalance.note
    assert "against rotation, light side" in unbalance.note
    read = unbalance.sources[0]
    assert (read.values, read.entry and read.entry.id) == (("20.0 g", "60 deg"), "S5")
    # S4 is the same state; before S3 the crankshaft was another
    assert [(each.values, each.entry.id) for each in read.earlier] == [(("20.0 g", "30 deg"), "S4")]


def test_the_bobweights_as_set_are_readings_of_their_own(book: Book) -> None:
    as_set = trace(on_the_machine(book, spin("1.0@0", "1.0@0")).figures(), "bobweight_set.1")
    assert (as_set.with_values, as_set.sources[0].place) == ("1775.6", "throw 1")
    assert as_set.sources[0].entry is not None
    assert (as_set.sources[0].entry.by, as_set.sources[0].entry.with_) == ("ava", "scale")


def test_shared_steps_are_listed_once_the_nearest_first() -> None:
    listed = trace(sample("heron-07/2025-06-first"), "bobweight_target").steps()
    names = [each.name for each in listed]
    assert len(names) == len(set(names))
    assert names[:5] == ["bobweight_target", "bobweight.1", "bobweight.2", "bobweight.3", "bobweight.4"]
    assert names.count("pin_locks") == 1


def test_formulas_are_written_in_signs_that_a_reader_knows() -> None:
    known = re.compile(r"[\d., +−×/()²√πminaxe-]+")
    for build in BUILDS:
        for name in named_figures(sample(build)):
            for step in trace(sample(build), name).steps():
                assert known.fullmatch(step.with_values), step.with_values


def test_a_layout_without_bobweights_still_traces_its_weights(book: Book) -> None:
    book.write("shop.yaml", SHOP)
    book.write("engines/twin/engine.yaml", engine("i4"))
    book.write("weighings.yaml", weighings("id: W1, what: piston, readings: {P1: 480.1}"))
    figures = book.figures()
    assert set(named_figures(figures)) == {"piston.P1", "piston_spread"}
    spread = trace(figures, "piston_spread")
    assert (spread.with_values, [each.name for each in spread.inputs]) == ("480.1 − 480.1", ["piston.P1"])
