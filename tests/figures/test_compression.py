"""Compression of every cylinder: volumes by hand, decks along a bank, what is stated and what was measured."""

from collections.abc import Callable, Mapping
from math import cos, hypot, pi, radians, sin, sqrt

import pytest
from conftest import Book

from buildbook.figures.compression import CompressionFigures, CylinderCompression
from figures.ledger import PARTS
from figures.measurements import BURETTE, FEELER, MIC, PAIRED, fits, missing, write

# A round cylinder: π/4 × 10² cm² × 8 cm = 200π cc swept, and 2.5π cc for each mm of height.
SIZES = "bore: 100.0, stroke: 80.0, rod_length: 150.0"
AREA = 2.5 * pi
SWEPT = 200 * pi

GASKETS = "  - {kind: head_gasket, ids: [HG1, HG2], stated: {thickness: 1.00 mm, diameter: 104.0 mm}}\n"
STATED = PARTS + GASKETS

BORES = "what: cylinder_bore, readings: {1: 100.000, 2: 100.000}"
CHAMBERS = "with: burette, what: chamber_volume, readings: {1: 50.0, 2: 49.0}"
DISHES = "with: burette, what: piston_dish, readings: {P1: 4.0, P2: 6.0}"
DECKS = "with: feeler, what: deck_height, readings: {1: 0.20, 2: -0.10}"
LANDS = "with: burette, what: ring_land_volume, readings: {P1: 0.8, P2: 0.8}"
ALL = (BORES, CHAMBERS, DISHES, DECKS, LANDS)

# Cylinder 1 has piston P2. Its gasket: π/4 × 10.4² × 0.1 cc = 2.704π; its deck 0.2 × 2.5π = 0.5π.
# 50 + 6 + 2.704π + 0.5π + 0.8 = 56.8 + 3.204π = 66.865663 cc: 1 + 200π/66.865663 = 10.396729
CLEARANCE_1 = 56.8 + 3.204 * pi
# Cylinder 2 has P1 and a proud piston: 49 + 4 + 2.704π − 0.25π + 0.8 = 53.8 + 2.454π = 61.509468 cc: 11.214989
CLEARANCE_2 = 53.8 + 2.454 * pi


def of(book: Book) -> CompressionFigures:
    return book.figures().compression


def cylinder(book: Book, name: str = "1") -> CylinderCompression:
    return of(book).cylinders[name]


def ratios(found: CompressionFigures) -> dict[str, float | None]:
    return {name: each.ratio.value if each.ratio else None for name, each in found.cylinders.items()}


def decks(found: CompressionFigures) -> dict[str, float | None]:
    return {name: each.parts["deck"].value if "deck" in each.parts else None for name, each in found.cylinders.items()}


def test_volumes_and_ratios_by_hand(book: Book) -> None:
    write(book, *ALL, sizes=SIZES, parts=STATED, paired=PAIRED)
    first = cylinder(book)
    assert first.volume is not None
    assert first.volume == pytest.approx((50.0, 6.0, 2.704 * pi, 0.5 * pi, 0.8))
    assert first.clearance == pytest.approx(66.865663, abs=5e-7)
    assert first.swept == pytest.approx(628.318531, abs=5e-7)
    assert ratios(of(book)) == pytest.approx({"1": 10.396729, "2": 11.214989}, abs=2e-6)
    assert ratios(of(book)) == pytest.approx({"1": 1 + SWEPT / CLEARANCE_1, "2": 1 + SWEPT / CLEARANCE_2}, rel=1e-12)


def test_quench_is_gasket_and_deck_together(book: Book) -> None:
    write(book, *ALL, sizes=SIZES, parts=STATED, paired=PAIRED)
    quench = {name: each.quench for name, each in of(book).cylinders.items()}
    assert {name: each.value for name, each in quench.items() if each} == pytest.approx({"1": 1.20, "2": 0.90})
    # the gasket's last digit and the feeler: √(0.01²/12 + 0.0057735²) = √(4.16667e-5)
    assert quench["1"] is not None
    assert quench["1"].uncertainty == pytest.approx(0.00645497, abs=5e-8)


def ratio_of(known: Mapping[str, float]) -> float:
    """1 + Vs/Vc from lengths in mm and volumes in cc."""
    clearance = (
        known["chamber"]
        + known["dish"]
        + known["land"]
        + pi / 4000 * (known["gasket_bore"] ** 2 * known["gasket"] + known["bore"] ** 2 * known["deck"])
    )
    return 1 + pi / 4000 * known["bore"] ** 2 * known["stroke"] / clearance


def by_central_differences(
    figure: Callable[[Mapping[str, float]], float], known: Mapping[str, float], unsure: Mapping[str, float]
) -> float:
    """Standard uncertainty of a figure of independent inputs (GUM 5.1.2), its slopes found by trying."""
    terms = [
        (figure({**known, name: known[name] + step}) - figure({**known, name: known[name] - step})) / (2 * step) * own
        for name, own in unsure.items()
        for step in (known[name] * 1e-5,)
    ]
    return hypot(*terms)


KNOWN = {
    "bore": 100.0,
    "stroke": 80.0,
    "chamber": 50.0,
    "dish": 6.0,
    "land": 0.8,
    "deck": 0.20,
    "gasket": 1.00,
    "gasket_bore": 104.0,
}
READ = {"bore": MIC, "chamber": BURETTE, "dish": BURETTE, "land": BURETTE, "deck": FEELER}
# a number on paper is known to half of its last digit, any value as likely: d/√12
ON_PAPER = {"stroke": 0.1 / sqrt(12), "gasket": 0.01 / sqrt(12), "gasket_bore": 0.1 / sqrt(12)}


def test_a_ratio_is_as_unsure_as_all_it_is_made_of(book: Book) -> None:
    write(book, *ALL, sizes=SIZES, parts=STATED, paired=PAIRED)
    first = cylinder(book)
    assert first.ratio is not None
    assert first.ratio.uncertainty == pytest.approx(
        by_central_differences(ratio_of, KNOWN, {**READ, **ON_PAPER}), rel=2e-3
    )
    assert first.own_uncertainty == pytest.approx(by_central_differences(ratio_of, KNOWN, READ), rel=2e-3)


def test_a_spread_takes_nothing_from_what_is_stated_of_both(book: Book) -> None:
    write(book, *ALL, sizes=SIZES, parts=STATED, paired=PAIRED, limits="compression_spread: {max: 0.15}")
    spread = of(book).spread
    assert spread is not None
    assert spread.value == pytest.approx(11.214989 - 10.396729, abs=3e-6)
    second = {**KNOWN, "chamber": 49.0, "dish": 4.0, "deck": -0.10}
    own = [by_central_differences(ratio_of, known, READ) for known in (KNOWN, second)]
    assert spread.uncertainty == pytest.approx(hypot(*own), rel=2e-3)
    assert fits(book.figures(), "compression_spread")["all"].verdict == "over"


def test_dynamic_ratio_is_of_the_stroke_that_is_left(book: Book) -> None:
    # 60° after bottom dead centre: the piston stands 40 cos 240° + √(150² − (40 sin 240°)²) = −20 + 145.9452 mm from
    # the crankshaft, 190 at the top: 64.0548 mm are left, 64.0548 × 2.5π = 503.085 cc: 1 + 503.085/66.865663 = 8.523821
    write(book, *ALL, sizes=SIZES, parts=STATED, paired=PAIRED, more="intake_closes: 60\n")
    turned = radians(240)
    left = 190 - (40 * cos(turned) + sqrt(150**2 - (40 * sin(turned)) ** 2))
    assert cylinder(book).dynamic == pytest.approx(1 + AREA * left / CLEARANCE_1, rel=1e-12)
    assert cylinder(book).dynamic == pytest.approx(8.5238, abs=5e-5)


@pytest.mark.parametrize(
    ("more", "sizes"),
    [("", SIZES), ("intake_closes: 60\n", "bore: 100.0, stroke: 80.0")],
    ids=["no valve timing", "no rod length"],
)
def test_without_valve_timing_or_rod_length_there_is_no_dynamic_ratio(book: Book, more: str, sizes: str) -> None:
    write(book, *ALL, sizes=sizes, parts=STATED, paired=PAIRED, more=more)
    assert cylinder(book).dynamic is None
    assert cylinder(book).ratio is not None


def test_nothing_is_compressed_before_anything_but_the_bores_was_measured(book: Book) -> None:
    write(book, BORES, sizes=SIZES, parts=STATED, paired=PAIRED)
    assert of(book).cylinders == {}
    assert {"quench", "compression_ratio", "compression_spread"}.isdisjoint(book.figures().fits.kinds)


# What is lacking


@pytest.mark.parametrize(
    ("left_out", "lacking"),
    [(CHAMBERS, "chamber volume"), (DISHES, "piston dish"), (DECKS, "deck height")],
)
def test_what_nobody_measured_is_missing_and_there_is_no_ratio(book: Book, left_out: str, lacking: str) -> None:
    write(book, *(each for each in ALL if each != left_out), sizes=SIZES, parts=STATED, paired=PAIRED)
    figures = book.figures()
    assert {name: each.missing for name, each in figures.compression.cylinders.items()} == dict.fromkeys(
        "12", (lacking,)
    )
    assert set(ratios(figures.compression).values()) == {None}
    assert missing(figures, "compression_ratio") == dict.fromkeys("12", lacking)
    assert figures.compression.spread is None


def test_without_gasket_and_stroke_both_are_named(book: Book) -> None:
    write(book, *ALL, sizes="bore: 100.0", paired=PAIRED)
    assert set(cylinder(book).missing) == {"stroke", "gasket thickness", "gasket bore"}
    assert missing(book.figures(), "quench") == dict.fromkeys("12", "gasket thickness")


def test_one_cylinder_without_its_chamber_leaves_the_others_their_ratio_and_nobody_a_spread(book: Book) -> None:
    # without dish or land: 50 + 2.704π + 0.5π = 60.065663 cc, and 1 cc more or less
    dishes = "  - {kind: piston, count: 4, stated: {dish: 0.0 cc}}\n"
    write(
        book,
        "with: burette, what: chamber_volume, readings: {1: 50.0, 2: 51.0, 4: 49.0}",
        "with: feeler, what: deck_height, readings: {inline: {front: 0.20, rear: 0.20}}",
        layout="i4",
        sizes=FOUR,
        parts=FOUR_GASKET + dishes,
    )
    figures = book.figures()
    assert ratios(figures.compression) == {
        "1": pytest.approx(1 + SWEPT / 60.065663, abs=2e-6),
        "2": pytest.approx(1 + SWEPT / 61.065663, abs=2e-6),
        "3": None,
        "4": pytest.approx(1 + SWEPT / 59.065663, abs=2e-6),
    }
    assert missing(figures, "compression_ratio") == {"3": "chamber volume"}
    assert figures.compression.spread is None
    assert fits(figures, "compression_spread") == {}


# Stated and measured


def test_bore_chamber_dish_and_gasket_may_stand_as_stated_and_say_so(book: Book) -> None:
    parts = STATED.replace("{kind: piston,", "{kind: piston, stated: {dish: 6.0 cc},") + (
        "  - {kind: head, ids: [HL, HR], stated: {chamber: 50.0 cc}}\n"
    )
    write(book, DECKS, sizes=SIZES, parts=parts, paired=PAIRED)
    first = cylinder(book)
    # as by hand, without the ring land: 56 + 3.204π
    assert first.clearance == pytest.approx(56 + 3.204 * pi)
    assert set(first.assumed) == {
        *("bore as stated", "stroke as stated", "chamber volume as stated", "piston dish as stated"),
        *("gasket thickness as stated", "gasket bore as stated", "no ring-land volume"),
    }


def test_what_was_measured_goes_before_what_is_stated(book: Book) -> None:
    parts = STATED.replace("{kind: piston,", "{kind: piston, stated: {dish: 5.0 cc},") + (
        "  - {kind: head, ids: [HL, HR], stated: {chamber: 48.0 cc}}\n"
    )
    measured_gasket = "what: gasket_thickness, readings: {HG1: 1.100}"
    write(book, *ALL, measured_gasket, sizes=SIZES, parts=parts, paired=PAIRED)
    first, second = cylinder(book), cylinder(book, "2")
    assert (first.parts["chamber"].value, first.parts["dish"].value) == (50.0, 6.0)
    # the left bank's gasket is the first one listed; the right bank's stays as stated
    assert (first.parts["gasket"].value, second.parts["gasket"].value) == pytest.approx((1.1, 1.0))
    assert "gasket thickness as stated" not in first.assumed
    assert "gasket thickness as stated" in second.assumed
    assert set(first.assumed) == {"stroke as stated", "gasket bore as stated"}
    # 56.8 + 2.704π × 1.1 + 0.5π = 67.715150 cc
    assert first.clearance == pytest.approx(67.71515, abs=5e-6)


def test_a_gasket_may_be_measured_by_the_bank_it_lies_on(book: Book) -> None:
    write(
        book,
        *ALL,
        "what: gasket_thickness, readings: {left: 1.100, right: 1.200}",
        "what: gasket_bore, readings: {left: 103.000, right: 105.000}",
        sizes=SIZES,
        paired=PAIRED,
    )
    values = [[each.parts[part].value for part in ("gasket", "gasket_bore")] for each in of(book).cylinders.values()]
    assert values == [pytest.approx([1.1, 103]), pytest.approx([1.2, 105])]


def test_gaskets_that_are_not_alike_serve_their_own_banks(book: Book) -> None:
    gaskets = (
        "  - {kind: head_gasket, ids: [HG1], stated: {thickness: 1.00 mm, diameter: 104.0 mm}}\n"
        "  - {kind: head_gasket, ids: [HG2], stated: {thickness: 1.30 mm, diameter: 104.0 mm}}\n"
    )
    write(book, *ALL, sizes=SIZES, parts=PARTS + gaskets, paired=PAIRED)
    assert [each.parts["gasket"].value for each in of(book).cylinders.values()] == [1.0, 1.3]


def test_gaskets_of_two_thicknesses_that_could_lie_anywhere_are_unknown(book: Book) -> None:
    gaskets = (
        "  - {kind: head_gasket, ids: [HG1, HG3], stated: {thickness: 1.00 mm, diameter: 104.0 mm}}\n"
        "  - {kind: head_gasket, ids: [HG2], stated: {thickness: 1.30 mm, diameter: 104.0 mm}}\n"
    )
    write(book, *ALL, sizes=SIZES, parts=PARTS + gaskets, paired=PAIRED)
    assert cylinder(book).missing == ("gasket thickness",)


def test_a_spare_gasket_is_not_the_one_that_is_fitted(book: Book) -> None:
    spare = "  - {kind: head_gasket, ids: [HG0], state: spare, stated: {thickness: 1.50 mm, diameter: 104.0 mm}}\n"
    write(book, *ALL, sizes=SIZES, parts=PARTS + spare + GASKETS, paired=PAIRED)
    assert [each.parts["gasket"].value for each in of(book).cylinders.values()] == [1.0, 1.0]


def test_a_spare_head_does_not_say_how_large_the_chambers_are(book: Book) -> None:
    heads = (
        "  - {kind: head, ids: [HL, HR], stated: {chamber: 50.0 cc}}\n"
        "  - {kind: head, ids: [HS], state: spare, stated: {chamber: 58.0 cc}}\n"
    )
    write(book, BORES, DISHES, DECKS, sizes=SIZES, parts=STATED + heads, paired=PAIRED)
    assert [each.parts["chamber"].value for each in of(book).cylinders.values()] == [50.0, 50.0]


def test_a_dish_is_that_of_the_piston_in_the_cylinder(book: Book) -> None:
    write(book, *ALL, sizes=SIZES, parts=STATED, paired=PAIRED)
    assert {name: each.parts["dish"].value for name, each in of(book).cylinders.items()} == {"1": 6.0, "2": 4.0}


def test_a_dish_of_a_piston_that_is_not_matched_yet_is_unknown(book: Book) -> None:
    write(book, *ALL, sizes=SIZES, parts=STATED)
    assert {name: each.missing for name, each in of(book).cylinders.items()} == dict.fromkeys("12", ("piston dish",))


@pytest.mark.parametrize(("second", "lacking"), [("6.0", ()), ("4.5", ("piston dish",))])
def test_pistons_that_are_stated_alike_need_no_match(book: Book, second: str, lacking: tuple[str, ...]) -> None:
    pistons = (
        "{kind: piston, ids: [P1], stated: {dish: 6.0 cc}}\n"
        f"  - {{kind: piston, ids: [P2], stated: {{dish: {second} cc}}}}"
    )
    parts = STATED.replace("{kind: piston, ids: [P1, P2]}", pistons)
    write(book, BORES, CHAMBERS, DECKS, sizes=SIZES, parts=parts)
    assert cylinder(book).missing == lacking


def test_a_dome_is_a_dish_below_zero(book: Book) -> None:
    # 50 − 6 + 2.704π + 0.5π + 0.8 = 44.8 + 3.204π = 54.865663 cc
    write(
        book,
        *(BORES, CHAMBERS, DECKS, LANDS, "with: burette, what: piston_dish, readings: {P2: -6.0}"),
        sizes=SIZES,
        parts=STATED,
        paired=PAIRED,
    )
    assert cylinder(book).clearance == pytest.approx(54.865663, abs=5e-7)


def test_volumes_and_lengths_in_inches_are_the_same_engine(book: Book) -> None:
    # 3.000 in³ = 49.161192 cc, −0.010 in = −0.254 mm
    write(
        book,
        "with: burette, what: chamber_volume, readings: {1: 3.000, 2: 3.000}",
        'with: burette, what: piston_dish, readings: {P1: "4.0 cc", P2: "6.0 cc"}',
        "what: deck_height, readings: {1: -0.0100, 2: 0.0100}",
        units="length: in, volume: in3",
        sizes=SIZES,
        parts=STATED,
        paired=PAIRED,
    )
    first = cylinder(book)
    assert first.volume is not None
    assert first.volume == pytest.approx((49.161192, 6.0, 2.704 * pi, -0.254 * AREA, 0.0))


# Decks

FOUR = "bore: 100.0, stroke: 80.0"
FOUR_GASKET = (
    "format: 1\nparts:\n  - {kind: head_gasket, ids: [HG1], stated: {thickness: 1.00 mm, diameter: 104.0 mm}}\n"
)


def test_decks_lie_on_a_straight_line_along_the_bank(book: Book) -> None:
    deck = "with: feeler, what: deck_height, readings: {inline: {front: 0.10, rear: 0.40}}"
    write(book, deck, layout="i4", sizes=FOUR, parts=FOUR_GASKET)
    found = of(book)
    assert decks(found) == pytest.approx({"1": 0.10, "2": 0.20, "3": 0.30, "4": 0.40})
    assert [each.quench.value for each in found.cylinders.values() if each.quench] == pytest.approx(
        [1.1, 1.2, 1.3, 1.4]
    )
    # at a third of the way 2/3 of the one reading and 1/3 of the other: √(4/9 + 1/9) × 0.0057735 = 0.0043033
    assert [each.parts["deck"].uncertainty for each in found.cylinders.values()] == pytest.approx(
        [FEELER, 0.0043033, 0.0043033, FEELER], abs=5e-7
    )


def test_each_bank_has_a_deck_of_its_own(book: Book) -> None:
    ends = "left: {front: 0.10, rear: 0.40}, right: {front: 0.00, rear: 0.06}"
    deck = f"with: feeler, what: deck_height, readings: {{{ends}}}"
    write(book, deck, layout="v8_90_cross_plane", sizes=FOUR, parts=FOUR_GASKET)
    # odd cylinders left, even ones right
    assert decks(of(book)) == pytest.approx(
        {"1": 0.10, "3": 0.20, "5": 0.30, "7": 0.40, "2": 0.00, "4": 0.02, "6": 0.04, "8": 0.06}
    )


def test_one_bank_without_a_deck_is_missing_alone(book: Book) -> None:
    deck = "with: feeler, what: deck_height, readings: {left: {front: 0.10, rear: 0.40}}"
    write(book, deck, layout="v8_90_cross_plane", sizes=FOUR, parts=FOUR_GASKET)
    assert [name for name, deck in decks(of(book)).items() if deck is None] == ["2", "4", "6", "8"]
    assert set(missing(book.figures(), "quench")) == {"2", "4", "6", "8"}


def test_a_deck_read_at_one_end_counts_for_all_of_its_bank_and_that_is_said(book: Book) -> None:
    deck = "with: feeler, what: deck_height, readings: {left: {front: 0.10}, right: {front: 0.00, rear: 0.06}}"
    write(book, deck, layout="v8_90_cross_plane", sizes=FOUR, parts=FOUR_GASKET)
    found = of(book)
    assert decks(found) == pytest.approx(
        {"1": 0.10, "3": 0.10, "5": 0.10, "7": 0.10, "2": 0.00, "4": 0.02, "6": 0.04, "8": 0.06}
    )
    said = "deck height of bank left, read at its front alone, the same all along it"
    assert [name for name, each in found.cylinders.items() if said in each.assumed] == ["1", "3", "5", "7"]
    write(book, deck.replace("{front: 0.10}", "0.10"), layout="v8_90_cross_plane", sizes=FOUR, parts=FOUR_GASKET)
    assert "deck height of bank left, read at one place, the same all along it" in of(book).cylinders["1"].assumed


def test_a_deck_is_front_and_rear_however_it_is_written(book: Book) -> None:
    deck = "with: feeler, what: deck_height, readings: {inline: {rear: 0.40, front: 0.10}}"
    write(book, deck, layout="i4", sizes=FOUR, parts=FOUR_GASKET)
    assert decks(of(book)) == pytest.approx({"1": 0.10, "2": 0.20, "3": 0.30, "4": 0.40})


def test_a_deck_runs_from_the_front_cylinder_whatever_its_number(book: Book) -> None:
    # numbered from the flywheel, as some builders do: cylinder 4 is at the front
    throws = ", ".join(
        f"{throw}: {{angle: {angle}, cylinders: {{{cylinder}: only}}}}"
        for throw, angle, cylinder in ((1, 0, 4), (2, 180, 3), (3, 180, 2), (4, 0, 1))
    )
    spelled = f"{{banks: {{only: 0}}, throws: {{{throws}}}}}"
    deck = "with: feeler, what: deck_height, readings: {only: {front: 0.10, rear: 0.40}}"
    write(book, deck, layout=spelled, sizes=FOUR, parts=FOUR_GASKET)
    assert decks(of(book)) == pytest.approx({"4": 0.10, "3": 0.20, "2": 0.30, "1": 0.40})


def test_a_bank_with_one_deck_reading_has_it_everywhere_and_is_nowhere_surer_of_it(book: Book) -> None:
    write(
        book,
        "with: feeler, what: deck_height, readings: {inline: 0.20}",
        layout="i4",
        sizes=FOUR,
        parts=FOUR_GASKET,
    )
    found = of(book)
    assert list(decks(found).values()) == pytest.approx([0.20] * 4)
    assert [each.parts["deck"].uncertainty for each in found.cylinders.values()] == pytest.approx(
        [FEELER] * 4, abs=5e-8
    )


def test_a_cylinders_own_deck_goes_before_its_banks(book: Book) -> None:
    deck = "with: feeler, what: deck_height, readings: {inline: {front: 0.10, rear: 0.40}, 2: 0.05}"
    write(book, deck, layout="i4", sizes=FOUR, parts=FOUR_GASKET)
    assert decks(of(book)) == pytest.approx({"1": 0.10, "2": 0.05, "3": 0.30, "4": 0.40})


def test_the_only_cylinder_of_a_bank_stands_midway(book: Book) -> None:
    ends = "left: {front: 0.10, rear: 0.20}, right: {front: 0.00, rear: 0.00}"
    deck = f"with: feeler, what: deck_height, readings: {{{ends}}}"
    write(book, deck, sizes=SIZES, parts=STATED)
    assert decks(of(book)) == pytest.approx({"1": 0.15, "2": 0.0})


# Limits and changes


@pytest.mark.parametrize(
    ("least", "verdict"), [(10.3, "within"), (10.38, "cannot tell"), (10.42, "cannot tell"), (10.5, "under")]
)
def test_a_ratio_is_held_to_its_limits_as_far_as_it_is_known(book: Book, least: float, verdict: str) -> None:
    # u: three poured volumes of 0.1041 cc and the deck's 0.0454 cc, at 200π/66.87² = 0.1405 a cc, and what is on
    # paper 0.0266: 10.3967 ± 0.0531 (k = 2)
    write(book, *ALL, sizes=SIZES, parts=STATED, paired=PAIRED, limits=f"compression_ratio: {{min: {least}}}")
    fit = fits(book.figures(), "compression_ratio")["1"]
    assert fit.verdict == verdict
    assert float(fit.value) == pytest.approx(10.396729, abs=2e-6)


def test_quench_is_held_to_its_limits(book: Book) -> None:
    write(book, *ALL, sizes=SIZES, parts=STATED, paired=PAIRED, limits="quench: {min: 0.95, max: 1.25}")
    found = fits(book.figures(), "quench")
    assert {place: fit.verdict for place, fit in found.items()} == {"1": "within", "2": "under"}


@pytest.mark.parametrize("wanted", [7.0, 9.5, 10.4, 12.0, 14.0])
def test_each_change_by_itself_brings_the_wanted_ratio(book: Book, wanted: float) -> None:
    write(book, *ALL, sizes=SIZES, parts=STATED, paired=PAIRED)
    change = of(book).changes(wanted)["1"]
    changed = {"chamber": change.volume, "gasket": change.gasket, "deck": -change.cut}
    for name, by in changed.items():
        assert ratio_of({**KNOWN, name: KNOWN[name] + by}) == pytest.approx(wanted, rel=1e-9), name


@pytest.mark.parametrize("wanted", [1.0, 0.5, -9.0])
def test_no_change_brings_a_ratio_of_one_or_less(book: Book, wanted: float) -> None:
    write(book, *ALL, sizes=SIZES, parts=STATED, paired=PAIRED)
    with pytest.raises(ValueError, match="above one"):
        of(book).changes(wanted)


# What cannot be


def test_volumes_of_nothing_or_less_give_no_ratio(book: Book) -> None:
    # a dome of 60 cc: 50 − 60 + 3.204π + 0.8 = 0.865663 is still something; one of 61 is not
    for dome, clearance in (("-60.0", 0.865663), ("-61.0", -0.134337)):
        write(
            book,
            *(BORES, CHAMBERS, DECKS, LANDS, f"with: burette, what: piston_dish, readings: {{P2: {dome}}}"),
            sizes=SIZES,
            parts=STATED,
            paired=PAIRED,
        )
        first = cylinder(book)
        assert first.clearance == pytest.approx(clearance, abs=5e-7)
        assert (first.ratio is None) == (clearance <= 0)


@pytest.mark.parametrize(
    ("sizes", "more"),
    [
        ("bore: 100.0, stroke: 80.0, rod_length: 15.0", "intake_closes: 60\n"),  # a slipped point
        ("bore: 100.0, stroke: 80.0, rod_length: 150.0", "intake_closes: 240\n"),  # counted from the wrong dead centre
    ],
    ids=["a rod shorter than the crank", "a valve that closes after the compression"],
)
def test_a_stroke_that_cannot_be_costs_the_dynamic_ratio_and_nothing_else(book: Book, sizes: str, more: str) -> None:
    write(book, *ALL, sizes=sizes, parts=STATED, paired=PAIRED, more=more)
    first = cylinder(book)
    assert first.dynamic is None
    assert first.ratio is not None
    assert first.ratio.value == pytest.approx(10.396729, abs=2e-6)


@pytest.mark.parametrize("bore", ["-100.000", "0.000"])
def test_a_bore_that_cannot_be_is_no_crash(book: Book, bore: str) -> None:
    bores = BORES.replace("1: 100.000", f"1: {bore}")
    write(book, bores, *ALL[1:], sizes=SIZES, parts=STATED, paired=PAIRED)
    figures = book.figures()
    assert figures.compression.cylinders["1"].ratio is None
    assert figures.compression.cylinders["2"].ratio is not None
    assert figures.fit_findings
