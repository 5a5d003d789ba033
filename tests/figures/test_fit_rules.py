"""One small fault at a time in what was measured of a sound engine: each is found by its rule, at its place, and by no
other rule; and what is sound beside it wakes nobody."""

from fractions import Fraction
from typing import NamedTuple

import pytest
from conftest import SAMPLES, Book

from buildbook.book.places import builds, engines
from buildbook.book.reading import Reader
from buildbook.figures import Figures, work_out
from buildbook.figures.fits import FIT_KINDS
from buildbook.records.finding import Finding
from buildbook.records.model import LENGTH_LIMITS, MASS_LIMITS, RATIO_LIMITS
from figures.ledger import PARTS
from figures.measurements import GAUGES, PAIRED, build, clearances, engine, found, place_of, rules_found, write

SIZES = "bore: 101.8, stroke: 88.4, main_bearings: 2, main_journal: 62.18, rod_journal: 53.29"

SOUND = {
    "shop.yaml": GAUGES,
    "engines/twin/engine.yaml": engine(sizes=SIZES),
    "build.yaml": build("piston_clearance: {min: 0.070, max: 0.095}, crankshaft_end_play: {min: 0.08, max: 0.20}"),
    "parts.yaml": PARTS
    + "  - {kind: block, ids: [B1], material: cast iron}\n"
    + "  - {kind: crankshaft, ids: [C1], material: forged steel}\n"
    + "  - {kind: piston, ids: [P9], state: spare}\n"
    + "  - {kind: head_gasket, ids: [HG1, HG2], stated: {thickness: 1.02 mm, diameter: 103.0 mm}}\n",
    "pairings.yaml": PAIRED,
    "clearances.yaml": clearances(
        "with: mic, what: main_journal, "
        "readings: {1: {front: [62.180, 62.179], rear: [62.180, 62.178]}, 2: [62.181, 62.180]}",
        "what: main_bore, readings: {1: {front: [62.236, 62.238], rear: [62.237, 62.237]}, 2: [62.237, 62.239]}",
        "what: rod_journal, readings: {1: {front: [53.290, 53.291], rear: [53.291, 53.289]}}",
        "what: rod_bore, readings: {R1: [53.340, 53.341], R2: [53.339, 53.340]}",
        "what: cylinder_bore, temperature: 27, readings: {1: {top: 101.807, bottom: 101.806}, 2: 101.805}",
        "what: piston_skirt, readings: {P1: 101.722, P2: 101.723}",
        "with: feeler, what: top_ring_gap, readings: {1: 0.49, 2: 0.50}",
        "with: feeler, what: deck_height, "
        "readings: {left: {front: 0.08, rear: 0.09}, right: {front: 0.07, rear: 0.08}}",
        "with: burette, what: chamber_volume, readings: {1: 64.4, 2: 64.0}",
        "with: burette, what: piston_dish, readings: {P1: 6.5, P2: 6.4}",
        "with: feeler, what: valve_to_piston, "
        "readings: {1: {intake: 2.84, exhaust: 3.31}, 2: {intake: 2.80, exhaust: 3.30}}",
        "with: feeler, what: crankshaft_end_play, readings: {2: 0.13}",
        "with: wrench, what: fastener_torque, asked: [40, 80, 105], "
        "readings: {main_1: {left: [40, 80, 105]}, main_2: {left: [40, 80, 106]}}",
        "what: fastener_stretch, readings: {R1: [0.145, 0.147], R2: [0.146, 0.144]}",
    ),
}


class Fault(NamedTuple):
    """One text of one file for another that makes a fault, what the finding must point at the beginning of, and another
    right beside it that makes none."""

    rule: str
    file: str
    old: str
    new: str
    at: str
    sound: str | None = None
    also: tuple[str, ...] = ()  # other rules that the same change rightly wakes
    at_file: str = "clearances.yaml"


FAULTS = {
    "a session without readings": Fault(
        "no-reading",
        "clearances.yaml",
        "what: fastener_stretch, readings: {R1: [0.145, 0.147], R2: [0.146, 0.144]}",
        "what: fastener_stretch",
        "{id: M14, what: fastener_stretch",
        "what: fastener_stretch, void: gauge fell down",
    ),
    "a journal read with a burette": Fault(
        "not-a-gauge",
        "clearances.yaml",
        "with: mic, what: main_journal,",
        "with: burette, what: main_journal,",
        "with: burette, what: main_journal",
        "with: step_gauge, what: main_journal,",
    ),
    "a torque read with a feeler gauge": Fault(
        "not-a-gauge",
        "clearances.yaml",
        "with: wrench,",
        "with: feeler,",
        "with: feeler, what: fastener_torque",
    ),
    "a digit fewer than the gauge shows": Fault(
        "digits", "clearances.yaml", "P1: 101.722", "P1: 101.72", "101.72,", "P1: 101.720"
    ),
    "a main bearing too many": Fault(
        "no-place",
        "clearances.yaml",
        "crankshaft_end_play, readings: {2:",
        "crankshaft_end_play, readings: {3:",
        "3: 0.13",
        "crankshaft_end_play, readings: {1:",
    ),
    "a cylinder that is not there": Fault(
        "no-place",
        "clearances.yaml",
        "top_ring_gap, readings: {1: 0.49, 2: 0.50}",
        "top_ring_gap, readings: {1: 0.49, 2: 0.50, 3: 0.50}",
        "3: 0.50",
        "top_ring_gap, readings: {2: 0.50, 1: 0.49}",
    ),
    "a rod of another engine": Fault(
        "no-place",
        "clearances.yaml",
        "R2: [53.339, 53.340]",
        "R2: [53.339, 53.340], R3: [53.339, 53.340]",
        "R3:",
    ),
    "a bore in inches": Fault(
        "unit-slip",
        "clearances.yaml",
        "2: [62.237, 62.239]",
        "2: [2.4503, 2.4503]",
        "[2.4503,",
        "2: [2.4503 in, 62.239]",
    ),
    "a size that no part of this engine has": Fault(
        "unlikely",
        "clearances.yaml",
        "2: [62.181, 62.180]",
        "2: [41.000, 41.000]",
        "[41.000,",
        "2: [61.930, 61.930]",  # a quarter under, for which shells are made
        ("fit",),
    ),
    "a bore smaller than its journal": Fault(
        "no-clearance",
        "clearances.yaml",
        "2: [62.237, 62.239]",
        "2: [62.137, 62.139]",
        "[62.137,",
        "2: [62.236, 62.239]",
        ("fit",),
    ),
    "a taper that no shop would call a journal": Fault(
        "no-form",
        "clearances.yaml",
        "rear: [53.291, 53.289]",
        "rear: [52.991, 52.989]",  # 0.3005 mm
        "[52.991,",
        "rear: [53.090, 53.090]",  # 0.2005 mm: bad, and believable
        ("fit",),
    ),
    "a section that no shop would call round": Fault(
        "no-form",
        "clearances.yaml",
        "top: 101.807,",
        "top: [101.807, 102.907],",
        "[101.807,",
        "top: [101.807, 101.809],",
        ("fit",),
    ),
    "volumes that leave nothing above the piston": Fault(
        "no-volume",
        "clearances.yaml",
        "P2: 6.4}",
        "P2: -75.0}",
        "64.4,",
        "P2: -6.4}",
    ),
    "one piston of two without a reading": Fault(
        "not-measured",
        "clearances.yaml",
        "readings: {P1: 101.722, P2: 101.723}",
        "readings: {P1: 101.722}",
        "{id: M6,",
        "readings: {P2: 101.723, P1: 101.722}",
    ),
    "a warm bore of an unknown material": Fault(
        "not-at-20", "parts.yaml", "material: cast iron", "material: good metal", "{id: M5,", "material: grey iron"
    ),
    "a warm bore of a block that does not say": Fault(
        "not-at-20", "parts.yaml", ", material: cast iron", "", "{id: M5,", ", material: compacted graphite"
    ),
    "a clearance under its limit": Fault(
        "fit", "clearances.yaml", "P1: 101.722", "P1: 101.748", "101.805}", "P1: 101.725"
    ),
    "a clearance that the gauges cannot tell from its limit": Fault(
        "cannot-tell", "clearances.yaml", "P1: 101.722", "P1: 101.734", "101.805}", "P1: 101.720"
    ),
    "a step that was left out": Fault(
        "fit", "clearances.yaml", "left: [40, 80, 105]", "left: [40, 80]", "[40, 80]", "left: [40, 80, 104]"
    ),
    "a step that the wrench cannot tell from what was asked": Fault(
        # 102 − 2.08 = 99.92, and 105 less 4 per cent is 100.8
        "cannot-tell",
        "clearances.yaml",
        "left: [40, 80, 105]",
        "left: [40, 80, 102]",
        "[40, 80, 102]",
        "left: [40, 80, 103]",
    ),
    "a rod whose bolts nobody took down": Fault(
        "not-measured",
        "clearances.yaml",
        "R1: [0.145, 0.147], R2: [0.146, 0.144]",
        "R1: [0.145, 0.147]",
        "format: 1",
        "R2: [0.146, 0.144], R1: [0.145, 0.147]",
    ),
    "a main cap that nobody tightened": Fault(
        "not-measured",
        "clearances.yaml",
        ", main_2: {left: [40, 80, 106]}",
        "",
        "format: 1",
        ", main_2: {left: [40, 80, 104]}",
    ),
    "a journal beyond what its micrometer can read": Fault(
        "not-a-gauge",
        "clearances.yaml",
        "with: mic, what: main_journal,",
        "with: short_mic, what: main_journal,",
        "[62.180, 62.179]",
        "with: certified_mic, what: main_journal,",
    ),
    "a journal read with a feeler gauge": Fault(
        "not-a-gauge",
        "clearances.yaml",
        "with: mic, what: main_journal,",
        "with: feeler, what: main_journal,",
        "with: feeler, what: main_journal,",
        "with: step_gauge, what: main_journal,",
        ("cannot-tell",),  # 0.0005 ± 0.0129 mm of taper, for one
    ),
    "a play below nothing": Fault(
        "reading",
        "clearances.yaml",
        "crankshaft_end_play, readings: {2: 0.13}",
        "crankshaft_end_play, readings: {2: -0.13}",
        "-0.13",
        "crankshaft_end_play, readings: {2: 0.12}",
        ("fit", "unlikely"),
    ),
    "a piston of no size at all": Fault(
        "reading",
        "clearances.yaml",
        "P1: 101.722",
        "P1: 0.000",
        "0.000",
        "P1: 101.721",
        ("fit", "unlikely"),
    ),
    "degrees Fahrenheit said to be Celsius": Fault(
        "temperature",
        "clearances.yaml",
        "with: feeler, what: top_ring_gap,",
        "temperature: 72, with: feeler, what: top_ring_gap,",
        "{id: M7,",
        "temperature: 72 degF, with: feeler, what: top_ring_gap,",
    ),
    "an end that is misspelt": Fault(
        "section",
        "clearances.yaml",
        "rear: [62.180, 62.178]",
        "raer: [62.180, 62.178]",
        "[62.180, 62.178]",
        "base: [62.180, 62.178]",  # a name of the shop's own
    ),
    "a deck height with the point in another place": Fault(
        "unit-slip",
        "clearances.yaml",
        "left: {front: 0.08,",
        "left: {front: 8.00,",
        "8.00",
        "left: {front: -0.08,",  # the piston stands proud
    ),
    "a dish with the point in another place": Fault(
        "unit-slip",
        "clearances.yaml",
        "P2: 6.4}",
        "P2: 640.0}",
        "640.0",
        "P2: -6.4}",  # a dome
    ),
    "a dome that fills its chamber": Fault(
        # 64.4 − 64.0 + 8.5 of the gasket + 0.7 of the deck = 9.6 cc, swept 719.5 cc: a ratio of 76
        "unlikely",
        "clearances.yaml",
        "P2: 6.4}",
        "P2: -64.0}",
        "-64.0",
        "P2: -6.4}",
    ),
    "a limit that is misspelt": Fault(
        "unknown-limit",
        "build.yaml",
        "crankshaft_end_play: {min: 0.08, max: 0.20}",
        "crankshaft_endplay: {min: 0.08 mm, max: 0.20 mm}",
        "{min: 0.08 mm",
        "crankshaft_end_play: {min: 0.08 mm, max: 0.20 mm}",
        at_file="build.yaml",
    ),
    "a least that is more than the most": Fault(
        "limit",
        "build.yaml",
        "{min: 0.08, max: 0.20}",
        "{min: 0.20, max: 0.08}",
        "{min: 0.20",
        "{min: 0.13, max: 0.13}",
        ("fit",),
        at_file="build.yaml",
    ),
    "a limit that limits nothing": Fault(
        "limit",
        "build.yaml",
        "{min: 0.08, max: 0.20}",
        "{source: the shop}",
        "{source: the shop}",
        "{max: 0.20}",
        at_file="build.yaml",
    ),
    "a limit in inches in a file of mm": Fault(
        "unit-slip",
        "build.yaml",
        "{min: 0.070, max: 0.095}",
        "{min: 0.0028, max: 0.0037}",
        "{min: 0.0028",
        "{min: 0.0028 in, max: 0.0037 in}",  # 0.07112 to 0.09398 mm
        at_file="build.yaml",
    ),
    "a limit in mm said to be inches": Fault(
        "unit-slip",
        "build.yaml",
        "{min: 0.070, max: 0.095}",
        "{min: 0.070 in, max: 0.095 in}",
        "{min: 0.070 in",
        "{min: 0.070 mm, max: 0.095 mm}",
        at_file="build.yaml",
    ),
}


def with_change(fault: Fault, new: str) -> dict[str, str]:
    """The sound book's files with that one change."""
    files = dict(SOUND)
    assert files[fault.file].count(fault.old) == 1, "a change must change one place"
    files[fault.file] = files[fault.file].replace(fault.old, new)
    return files


def of(book: Book, files: dict[str, str]) -> Figures:
    for name, text in files.items():
        book.write(name, text)
    return book.figures()


def test_the_sound_engine_wakes_no_rule(book: Book) -> None:
    figures = of(book, SOUND)
    assert [(each.rule, each.what) for each in figures.fit_findings] == []
    assert book.findings() == []


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_a_fault_is_found_at_its_place_by_its_rule_and_by_no_other(book: Book, fault: Fault) -> None:
    figures = of(book, with_change(fault, fault.new))
    places = {(each.where.line, each.where.column) for each in figures.fit_findings if each.rule == fault.rule}
    assert place_of(book, fault.at_file, fault.at) in places
    assert set(rules_found(figures)) == {fault.rule, *fault.also}


NEIGHBOURS = {name: fault for name, fault in FAULTS.items() if fault.sound is not None}


@pytest.mark.parametrize("fault", NEIGHBOURS.values(), ids=NEIGHBOURS)
def test_its_sound_neighbour_wakes_no_such_rule(book: Book, fault: Fault) -> None:
    assert fault.sound is not None
    assert fault.rule not in rules_found(of(book, with_change(fault, fault.sound)))


def test_findings_say_what_why_and_what_to_do(book: Book) -> None:
    for fault in FAULTS.values():
        for each in of(book, with_change(fault, fault.new)).fit_findings:
            assert all((each.what, each.why, each.remedy)), each
            assert "  " not in each.what + each.why + each.remedy, each


@pytest.mark.parametrize(
    "name", [f"{engine}/{build}" for engine in engines(SAMPLES) for build in builds(SAMPLES, engine)]
)
def test_the_sample_builds_wake_no_rule(name: str) -> None:
    loaded = Reader(SAMPLES).load(name)
    assert loaded.build is not None
    assert [each for each in work_out(loaded.build).fit_findings if each.severity != "note"] == []


# Slips of unit and point


JOURNAL = "bore: 101.8, stroke: 88.4, main_journal: 62.18"


@pytest.mark.parametrize(
    ("reading", "units", "sizes", "cause"),
    [
        ("2.4480", "length: mm", JOURNAL, "it looks like inches written as mm"),
        ("62.180", "length: in", JOURNAL, "it looks like millimetres written as in"),
        ("62.180 in", "length: mm", JOURNAL, "it looks like millimetres written as in"),
        ("2.4480 mm", "length: in", JOURNAL, "it looks like inches written as mm"),
        ("621.80", "length: mm", JOURNAL, "the decimal point slipped"),
        ("6.2180", "length: mm", JOURNAL, "the decimal point slipped"),
        ("0.62180", "length: mm", JOURNAL, "the decimal point slipped"),
        ("24.480", "length: in", JOURNAL, "the decimal point slipped"),
        # without the journal's own size the bore's is enough
        ("2.4480", "length: mm", "bore: 101.8", "it looks like inches written as mm"),
        ("62.180", "length: in", "bore: 101.8", "it looks like millimetres written as in"),
        ("621.80", "length: mm", "bore: 101.8", "the decimal point slipped"),
    ],
)
def test_a_journal_in_the_wrong_unit_is_known_by_the_engines_own_size(
    book: Book, reading: str, units: str, sizes: str, cause: str
) -> None:
    write(book, f"what: main_journal, readings: {{1: {reading}}}", units=units, sizes=sizes)
    finding = found(book.figures(), "unit-slip")
    assert finding.severity == "error"
    assert cause in finding.what
    assert (finding.where.line, finding.where.column) == place_of(book, "clearances.yaml", reading)


@pytest.mark.parametrize(
    ("what", "right", "factor"),
    [
        ("with: feeler, what: top_ring_gap, readings: {1: %s, 2: %s}", "0.46", 10),
        ("with: feeler, what: oil_rail_gap, readings: {1: %s, 2: %s}", "0.46", 100),
        ("with: feeler, what: gasket_thickness, readings: {left: %s, right: %s}", "1.02", 10),
        ("with: burette, what: chamber_volume, readings: {1: %s, 2: %s}", "64.4", 10),
        ("what: pin_diameter, readings: {N1: %s, N2: %s}", "24.000", 10),
    ],
)
def test_a_slipped_point_in_a_file_of_mm_is_not_taken_for_mm_written_as_mm(
    book: Book, what: str, right: str, factor: int
) -> None:
    slipped = f"{float(Fraction(right) * factor):.{len(right.partition('.')[2])}f}"
    write(book, what % (slipped, right), sizes="bore: 101.8, stroke: 88.4")
    finding = found(book.figures(), "unit-slip")
    assert "the decimal point slipped" in finding.what


def test_a_slipped_point_in_a_file_of_inches_is_not_taken_for_inches_written_as_inches(book: Book) -> None:
    # 0.0018 in for 0.018: a twentieth of a millimetre is no gap
    write(book, "what: top_ring_gap, readings: {1: 0.0018, 2: 0.018}", units="length: in")
    assert "the decimal point slipped" in found(book.figures(), "unit-slip").what


def test_a_slipped_point_in_millilitres_is_not_taken_for_the_same_millilitres_by_another_name(book: Book) -> None:
    write(book, "with: burette, what: chamber_volume, readings: {1: 644.0, 2: 64.4}", sizes=SIZES, units="volume: mL")
    assert "the decimal point slipped" in found(book.figures(), "unit-slip").what


@pytest.mark.parametrize("sizes", [SIZES, "bore: 101.8"], ids=["by its own size", "by the bore"])
def test_millimetres_in_a_file_of_thousandths_of_an_inch_are_found(book: Book, sizes: str) -> None:
    # 62.180 thou are 1.579 mm; what was read was millimetres
    write(book, "what: main_journal, readings: {1: 62.180, 2: 62.180}", sizes=sizes, units="length: thou")
    assert "millimetres written as thou" in found(book.figures(), "unit-slip").what


@pytest.mark.parametrize(
    ("what", "inches", "millimetres"),
    [
        ("with: feeler, what: top_ring_gap, readings: {1: %s}", "0.018", "0.46"),
        ("what: cylinder_bore, readings: {1: %s}", "4.0080", "101.803"),
        ("what: piston_skirt, readings: {P1: %s}", "4.0050", "101.727"),
        ("what: rod_bore, readings: {R1: %s}", "2.1000", "53.340"),
        ("with: feeler, what: rod_side, readings: {1: %s}", "0.014", "0.36"),
        ("with: feeler, what: valve_to_piston, readings: {1: {intake: %s}}", "0.110", "2.79"),
        ("what: fastener_stretch, readings: {R1: %s}", "0.0058", "0.147"),
    ],
)
def test_inches_in_a_file_of_mm_and_mm_in_a_file_of_inches_are_found_both_ways(
    book: Book, what: str, inches: str, millimetres: str
) -> None:
    write(book, what % inches, sizes=SIZES)
    assert "inches written as mm" in found(book.figures(), "unit-slip").what
    write(book, what % millimetres, sizes=SIZES, units="length: in")
    assert "millimetres written as in" in found(book.figures(), "unit-slip").what
    for reading, units in ((inches, "length: in"), (millimetres, "length: mm"), (f"{inches} in", "length: mm")):
        write(book, what % reading, sizes=SIZES, units=units)
        assert {"unit-slip", "unlikely"}.isdisjoint(rules_found(book.figures()))


def test_a_chamber_in_cubic_inches_is_known_by_the_swept_volume(book: Book) -> None:
    # 719.5 cc swept; 3.93 in³ = 64.4 cc
    write(book, "with: burette, what: chamber_volume, readings: {1: 3.93, 2: 3.93}", sizes=SIZES)
    assert "cubic inches written as cc" in found(book.figures(), "unit-slip").what


def test_a_whole_session_in_the_wrong_unit_is_one_finding_with_its_count(book: Book) -> None:
    write(book, "what: main_journal, readings: {1: [2.4480, 2.4480], 2: [2.4479, 2.4480]}", sizes=SIZES)
    assert "and 3 more of M1" in found(book.figures(), "unit-slip").what


def test_of_a_slip_only_the_cause_is_said_and_not_the_nonsense_that_follows_from_it(book: Book) -> None:
    # undone, no finding is left; as it stands, journals of 2.448 mm in bores of 62.24 would be loose by 60 mm, and the
    # point that slipped at one end of a bore would make it tapered by 560 mm
    journals = "what: main_journal, readings: {1: [%s, %s], 2: [%s, %s]}"
    bores = "what: main_bore, readings: {1: {front: 62.240, rear: %s}, 2: 62.240}"
    limits = "main_clearance: {min: 0.045, max: 0.075}"
    write(book, journals % (("62.180",) * 4), bores % "62.240", sizes=SIZES, limits=limits)
    assert rules_found(book.figures()) == []
    write(book, journals % (("2.4480",) * 4), bores % "622.400", sizes=SIZES, limits=limits)
    assert rules_found(book.figures()) == ["unit-slip", "unit-slip"]


def test_what_was_read_right_beside_a_slip_is_judged_as_ever(book: Book) -> None:
    journals = "what: main_journal, readings: {1: 2.4480, 2: 62.180}"
    bores = "what: main_bore, readings: {1: 62.240, 2: 62.300}"
    write(book, journals, bores, sizes=SIZES, limits="main_clearance: {min: 0.045, max: 0.075}")
    assert rules_found(book.figures()) == ["unit-slip", "fit"]


def test_a_slipped_dish_takes_its_ratio_and_the_spread_with_it(book: Book) -> None:
    measured = "with: burette, what: %s, readings: {%s}"
    parts = [
        measured % ("chamber_volume", "1: 64.4, 2: 64.4"),
        measured % ("piston_dish", "P1: 6.4, P2: %s"),
        "what: deck_height, readings: {1: 0.100, 2: 0.100}",
        "what: gasket_thickness, readings: {left: 1.020, right: 1.020}",
        "what: gasket_bore, readings: {left: 104.000, right: 104.000}",
    ]
    limits = "compression_spread: {max: 0.3}"
    for dish, rules in (("6.4", set()), ("640.0", {"unit-slip"}), ("18.4", {"fit"})):
        write(book, *(part % dish if "%s" in part else part for part in parts), sizes=SIZES, paired=PAIRED,
              limits=limits)  # fmt: skip
        assert set(rules_found(book.figures())) - {"not-measured"} == rules


def test_without_any_size_of_the_engine_no_slip_can_be_known(book: Book) -> None:
    write(book, "what: main_journal, readings: {1: 2.4480}", sizes="rod_length: 152.4")
    assert "unit-slip" not in rules_found(book.figures())


@pytest.mark.parametrize("undersize", ["0", "0.25", "0.50", "0.75", "1.00"])
def test_a_journal_ground_for_undersize_shells_is_no_slip(book: Book, undersize: str) -> None:
    ground = f"{62.18 - float(undersize):.3f}"
    write(book, f"what: main_journal, readings: {{1: {ground}, 2: {ground}}}", sizes=SIZES)
    assert rules_found(book.figures()) == []


# What is left alone


def test_a_void_session_wakes_nobody(book: Book) -> None:
    write(
        book,
        "with: scale, what: main_journal, void: wrong everything, readings: {7: {front: 2.448, rear: 3.1}}",
        "what: cylinder_bore, void: nothing written, readings: {1: 1.0}",
        sizes=SIZES,
    )
    assert book.figures().fit_findings == ()


def test_a_reading_that_was_taken_again_is_judged_as_it_is_now(book: Book) -> None:
    # the journal was polished; the first reading alone would have been too tight
    limit = "main_clearance: {min: 0.045, max: 0.075}"
    first = "what: main_journal, readings: {1: 62.200, 2: 62.180}"
    bores = "what: main_bore, readings: {1: 62.236, 2: 62.236}"
    write(book, first, bores, sizes=SIZES, limits=limit)
    assert rules_found(book.figures()) == ["fit"]
    again = "taken: 2026-10-06T08:00+01:00, what: main_journal, readings: {1: 62.178}"
    write(book, first, bores, again, sizes=SIZES, limits=limit)
    assert rules_found(book.figures()) == []


def test_a_spare_piece_may_be_measured(book: Book) -> None:
    spares = PARTS + "  - {kind: rod, ids: [R9], state: spare}\n  - {kind: piston, ids: [P9], state: spare}\n"
    write(
        book,
        "what: rod_bore, readings: {R1: 53.340, R2: 53.340, R9: 53.341}",
        "what: piston_skirt, readings: {P1: 101.720, P2: 101.720, P9: 101.721}",
        sizes=SIZES,
        parts=spares,
        paired=PAIRED,
    )
    assert "no-place" not in rules_found(book.figures())


def test_a_camshaft_may_have_journals_of_several_sizes(book: Book) -> None:
    # many step down from the front, so that the shaft can be put in: half a millimetre each here
    journals = ", ".join(f"{number}: {50.0 - 0.5 * number:.3f}" for number in range(1, 6))
    bores = ", ".join(f"{number}: {50.06 - 0.5 * number:.3f}" for number in range(1, 6))
    write(book, f"what: cam_journal, readings: {{{journals}}}", f"what: cam_bore, readings: {{{bores}}}", sizes=SIZES)
    assert rules_found(book.figures()) == []


@pytest.mark.parametrize(("third", "rules"), [("62.181", []), ("61.181", ["far-off"]), ("62.481", [])])
def test_a_journal_that_is_not_among_its_fellows_is_found(book: Book, third: str, rules: list[str]) -> None:
    # half a per cent of 62.18 is 0.31 mm: one digit wrong is a whole millimetre
    write(
        book,
        f"what: main_journal, readings: {{1: 62.180, 2: 62.179, 3: {third}}}",
        sizes="bore: 101.8, main_bearings: 3",
    )
    figures = book.figures()
    assert rules_found(figures) == rules
    assert [each.where.line for each in figures.fit_findings] == [4] * len(rules)


@pytest.mark.parametrize("reading", ["{inlet: 1.00, exhaust: 3.00}", "1.00"])
def test_a_valve_by_another_name_is_not_dropped_without_a_word(book: Book, reading: str) -> None:
    # a millimetre is far too near for any valve
    write(book, f"with: feeler, what: valve_to_piston, readings: {{1: {reading}, 2: {reading}}}", sizes=SIZES)
    assert rules_found(book.figures())


def test_cam_bearings_and_fasteners_are_not_counted(book: Book) -> None:
    write(
        book,
        "what: cam_journal, readings: {1: 47.450, 9: 47.450}",
        "with: wrench, what: fastener_torque, asked: 80, readings: {main_9: 80}",
    )
    assert rules_found(book.figures()) == []


def test_one_cylinder_of_eight_is_named_as_not_measured(book: Book) -> None:
    gaps = ", ".join(f"{number}: 0.50" for number in (1, 2, 3, 4, 5, 6, 8))
    write(
        book, f"with: feeler, what: top_ring_gap, readings: {{{gaps}}}", layout="v8_90_cross_plane", sizes="bore: 101.8"
    )
    finding = found(book.figures(), "not-measured")
    assert finding.severity == "warning"
    assert finding.what == "no top ring gap was measured of cylinder 7"


@pytest.mark.parametrize(
    ("degrees", "rules"),
    [("24", []), ("16", []), ("26", ["not-at-20"]), ("14", ["not-at-20"]), ("86 degF", ["not-at-20"]), ("68 degF", [])],
)
def test_a_few_degrees_matter_to_nobody(book: Book, degrees: str, rules: list[str]) -> None:
    write(book, f"temperature: {degrees}, what: piston_skirt, readings: {{P1: 101.720, P2: 101.721}}", sizes=SIZES)
    assert rules_found(book.figures()) == rules


def test_a_gap_may_be_measured_in_the_heat(book: Book) -> None:
    write(book, "temperature: 35, with: feeler, what: top_ring_gap, readings: {1: 0.50, 2: 0.50}", sizes=SIZES)
    assert rules_found(book.figures()) == []


def test_a_doubt_names_the_limit_and_who_says_so(book: Book) -> None:
    write(
        book,
        "what: cylinder_bore, readings: {1: 101.805, 2: 101.805}",
        "what: piston_skirt, readings: {P1: 101.734, P2: 101.720}",
        limits="piston_clearance: {min: 0.070, source: piston maker's sheet}",
        paired=PAIRED,
        sizes=SIZES,
    )
    # 101.805 − 101.734 = 0.071 ± 0.0029 (2 × √2 × 0.00104083)
    finding = found(book.figures(), "cannot-tell")
    assert finding.severity == "warning"
    assert "piston clearance 2: 0.071 ± 0.0029 mm" in finding.what
    assert "at least 0.070, piston maker's sheet" in finding.what
    assert "ISO 14253-1" in finding.why


# What cannot be


@pytest.mark.parametrize("reading", ["-62.180", "0.000", "0"])
@pytest.mark.parametrize("what", ["main_journal", "main_bore", "cylinder_bore", "top_ring_gap"])
def test_a_size_that_cannot_be_is_found(book: Book, what: str, reading: str) -> None:
    write(book, f"what: {what}, readings: {{1: {reading}, 2: {reading}}}", sizes=SIZES)
    rules = rules_found(book.figures())
    assert {"unit-slip", "unlikely"} & set(rules)
    # a gap may be nothing: two rings may touch; a diameter may not, and nothing is below nothing
    assert rules.count("reading") == (0 if what == "top_ring_gap" and not reading.startswith("-") else 2)


@pytest.mark.parametrize("what", ["main_journal, readings: {1: %s}", "top_ring_gap, readings: {1: %s}"])
def test_without_any_size_of_the_engine_a_size_below_nothing_is_found_too(book: Book, what: str) -> None:
    write(book, f"what: {what % '-0.460'}", sizes="rod_length: 152.4")
    finding = found(book.figures(), "reading")
    assert finding.severity == "error"
    assert "reads -0.460 mm" in finding.what


@pytest.mark.parametrize(
    ("session", "finds"),
    [
        ("with: feeler, what: deck_height, readings: {left: -0.08, right: -0.08}", False),
        ("with: burette, what: piston_dish, readings: {P1: -6.4, P2: -6.4}", False),
        ("with: angle_plate, what: fastener_angle, readings: {head_1: -15}", False),
        ("with: wrench, what: fastener_torque, readings: {head_1: -80}", True),
        ("with: feeler, what: rod_side, readings: {1: -0.31}", True),
        ("with: burette, what: chamber_volume, readings: {1: -64.4, 2: 64.4}", True),
    ],
)
def test_only_what_may_be_below_nothing_is_taken_below_nothing(book: Book, session: str, finds: bool) -> None:
    # a piston may stand proud and have a dome, and a bolt may be turned back
    write(book, session)
    assert ("reading" in rules_found(book.figures())) is finds


@pytest.mark.parametrize(
    ("degrees", "remedy"),
    [
        ("0", None),
        ("45", None),
        ("113 degF", None),  # 45 °C
        ("32 degF", None),
        ("46", 'write "46 degF"'),
        ("72", 'write "72 degF"'),
        ("68.5", 'write "68.5 degF"'),
        ("113", 'write "113 degF"'),
        ("114", "read the thermometer again"),  # in °F it would be too hot as well
        ("-1", "read the thermometer again"),
        ("31 degF", "read the thermometer again"),  # −0.6 °C
        ("114 degF", "read the thermometer again"),  # 45.6 °C
        ("200", "read the thermometer again"),
    ],
)
def test_no_shop_measures_in_such_a_heat_or_frost(book: Book, degrees: str, remedy: str | None) -> None:
    session = f"temperature: {degrees}, with: feeler, what: top_ring_gap, readings: {{1: 0.50, 2: 0.50}}"
    write(book, session, sizes=SIZES)
    figures = book.figures()
    assert rules_found(figures) == ([] if remedy is None else ["temperature"])
    assert [(each.severity, each.remedy) for each in figures.fit_findings] == [("error", remedy)] * (remedy is not None)


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("raer", "rear"),
        ("frnt", "front"),
        ("middel", "middle"),
        ("botom", "bottom"),
        ("uper", "upper"),
        ("rear", None),
        ("top", None),
        ("center", None),
        ("mid", None),
        ("base", None),
        ("thrust", None),
        ("waist", None),
        ("end", None),
        ("level2", None),
    ],
)
def test_an_end_or_level_that_is_nearly_one_is_asked_about(book: Book, name: str, meant: str | None) -> None:
    levels = f"{{front: 62.180, {name}: 62.180}}"
    write(book, f"what: main_journal, readings: {{1: {levels}, 2: {levels}}}", sizes=SIZES)
    findings = [each for each in book.figures().fit_findings if each.rule == "section"]
    assert [each.remedy for each in findings] == [f"did you mean {meant}?"] * (meant is not None)  # once for both
    assert all(each.severity == "warning" and f"'{name}'" in each.what for each in findings)


def test_a_gauge_reads_as_far_as_it_says(book: Book) -> None:
    # 50 mm and not a micrometre more; a file in inches is held to the same: 1.9685 in = 49.9999 mm, 1.9686 = 50.0024
    for units, reading, finds in (
        ("length: mm", "50.000", False),
        ("length: mm", "50.001", True),
        ("length: in", "1.9685", False),
        ("length: in", "1.9686", True),
    ):
        write(book, f"with: short_mic, what: pin_diameter, readings: {{N1: 24.000 mm, N2: {reading}}}", units=units)
        assert ("not-a-gauge" in rules_found(book.figures())) is finds, reading


def test_what_a_gauge_cannot_read_is_one_finding_for_a_session(book: Book) -> None:
    write(book, "with: short_mic, what: main_journal, readings: {1: [62.180, 62.181], 2: 62.179}", sizes=SIZES)
    finding = found(book.figures(), "not-a-gauge")
    assert finding.what == "1: 62.180 mm is more than short_mic can read (50 mm)"


def test_a_feeler_gauge_reads_every_gap(book: Book) -> None:
    gaps = ("top_ring_gap", "rod_side", "top_ring_side")
    write(book, *(f"with: feeler, what: {gap}, readings: {{1: 0.30, 2: 0.30}}" for gap in gaps))
    assert "not-a-gauge" not in rules_found(book.figures())


@pytest.mark.parametrize(
    ("dish", "ratio"),
    [
        ("-45.0", None),  # 64.4 − 45.0 + 9.2 = 28.6: (719.5 + 28.6)/28.6 = 26.2
        ("-52.0", "34.3"),  # 64.4 − 52.0 + 9.2 = 21.6
        ("150.0", None),  # 64.4 + 150.0 + 9.2 = 223.6: 4.2
        ("175.0", "3.9"),  # 64.4 + 175.0 + 9.2 = 248.6
    ],
)
def test_a_ratio_below_4_or_above_30_is_no_piston_engines(book: Book, dish: str, ratio: str | None) -> None:
    # swept 719.5 cc; gasket and deck of cylinder 1 come to 8.5 + 0.7 = 9.2 cc, and P2 is in it
    figures = of(book, with_change(FAULTS["a dome that fills its chamber"], f"P2: {dish}}}"))
    findings = [each for each in figures.fit_findings if each.rule == "unlikely"]
    said = f"cylinder 1: a compression ratio of {ratio} is no piston engine's"
    assert [(each.severity, each.what) for each in findings] == [("warning", said)] * (ratio is not None)


# Limits


def limits_found(book: Book, limits: str, units: str = "length: mm", sizes: str = SIZES) -> list[Finding]:
    write(book, sizes=sizes)
    book.write("build.yaml", build(limits).replace("length: mm", units))
    return list(book.figures().fit_findings)


@pytest.mark.parametrize(
    ("limit", "millimetres", "inches"),
    [
        ("main_clearance", "0.045", "0.0018"),
        ("rod_clearance", "0.045", "0.0018"),
        ("piston_clearance", "0.075", "0.0030"),
        ("top_ring_gap", "0.46", "0.018"),
        ("oil_rail_gap", "0.38", "0.015"),
        ("top_ring_side", "0.040", "0.0015"),
        ("rod_side", "0.30", "0.012"),
        ("crankshaft_end_play", "0.10", "0.004"),
        ("quench", "1.00", "0.040"),
        ("intake_valve_to_piston", "2.00", "0.080"),
        ("rod_bolt_stretch", "0.145", "0.0057"),
    ],
)
@pytest.mark.parametrize("bound", ["min", "max"])
def test_a_limit_in_the_wrong_unit_is_found_both_ways(
    book: Book, limit: str, millimetres: str, inches: str, bound: str
) -> None:
    (slip,) = limits_found(book, f"{limit}: {{{bound}: {inches}}}")
    assert (slip.rule, slip.severity) == ("unit-slip", "error")
    assert f"{limit}: {bound} is {inches} mm, with a bore of 101.8 mm: it looks like inches" in slip.what
    assert f'"{inches} in"' in slip.remedy
    (slip,) = limits_found(book, f"{limit}: {{{bound}: {millimetres}}}", "length: in")
    assert (slip.rule, slip.severity) == ("unit-slip", "error")
    assert "it looks like millimetres" in slip.what
    assert f'"{millimetres} mm"' in slip.remedy
    for number, units in ((millimetres, "length: mm"), (inches, "length: in"), (f"{inches} in", "length: mm")):
        assert limits_found(book, f"{limit}: {{{bound}: {number}}}", units) == []


@pytest.mark.parametrize(
    "limit",
    [
        "pin_in_rod: {min: -0.040, max: -0.010}",  # a press fit
        "deck_height: {min: 0.000, max: 0.010}",
        "top_ring_gap: {min: {per_mm: 0.0045}}",  # a plain ratio, the same in inches
        "compression_ratio: {min: 9.4, max: 9.8}",
        "main_clearance: {min: 0.030, max: 0.120}",  # wide, and a race engine's
    ],
)
def test_a_limit_that_may_be_is_no_slip(book: Book, limit: str) -> None:
    assert limits_found(book, limit) == []


def test_without_a_bore_no_limit_is_known_to_be_in_the_wrong_unit(book: Book) -> None:
    assert limits_found(book, "main_clearance: {min: 0.0018}", sizes="stroke: 88.4") == []


@pytest.mark.parametrize(
    ("limit", "meant"),
    [
        ("main_clearence", "main_clearance"),
        ("top_ring_gaps", "top_ring_gap"),
        ("bore_tapper", "bore_taper"),
        ("main_jornal_taper", "main_journal_taper"),
    ],
)
def test_a_misspelt_limit_is_an_error_that_names_the_right_one(book: Book, limit: str, meant: str) -> None:
    (finding,) = limits_found(book, f"{limit}: {{max: 0.25 mm}}")
    assert (finding.rule, finding.severity) == ("unknown-limit", "error")
    assert finding.what == f"no figure is held to '{limit}'"
    assert finding.remedy.startswith(f"did you mean {meant}?")
    assert limits_found(book, f"{meant}: {{max: 0.25 mm}}") == []


def test_every_limit_of_the_schema_and_of_every_fit_is_known(book: Book) -> None:
    own = {name: FIT_KINDS[name].unit for name in FIT_KINDS if name not in (*RATIO_LIMITS, *LENGTH_LIMITS)}
    limits = [f"{name}: {{max: 1.0 g}}" for name in MASS_LIMITS if name != "residual"]
    limits += [f"{name}: {{max: 12.0}}" for name in RATIO_LIMITS]
    limits += [f"{name}: {{max: {{per_mm: 0.001}}}}" for name in LENGTH_LIMITS]
    limits += [f"{name}: {{max: 100 {unit}}}" for name, unit in own.items()]
    assert "unknown-limit" not in {each.rule for each in limits_found(book, ", ".join(limits))}


@pytest.mark.parametrize(
    ("limit", "severity"),
    [
        ("main_clearance: {min: 0.075, max: 0.045}", "error"),
        ("compression_ratio: {min: 12.0, max: 9.0}", "error"),
        ("fastener_torque: {min: 110 N m, max: 100 N m}", "error"),
        ('quench: {min: "0.060 in", max: 1.00}', "error"),  # 1.524 mm
        ('quench: {min: "0.039 in", max: 1.00}', None),  # 0.9906 mm
        ("main_clearance: {min: 0.060, max: 0.060}", None),
        ("main_clearance: {source: the shop}", "warning"),
        ("quench: {within: 0.5}", "warning"),  # of what?
        ("fastener_torque: {max: 0.25 mm}", "warning"),  # no torque at all
        ("main_clearance: {max: 0.075}", None),
        ("main_clearance: {min: {per_mm: 0.0008}}", None),
    ],
)
def test_a_limit_contradicts_neither_itself_nor_its_figure(book: Book, limit: str, severity: str | None) -> None:
    findings = [(each.rule, each.severity) for each in limits_found(book, limit)]
    assert findings == [("limit", severity)] * (severity is not None)


# What decided


MEANS = (  # the tightest 62.236 − 62.180 = 0.056, u = 0.00147196; the mean 62.23775 − 62.17925 = 0.0585, u = 0.00081650
    "what: main_journal, readings: {1: {front: [62.180, 62.179], rear: [62.180, 62.178]}}",
    "what: main_bore, readings: {1: {front: [62.236, 62.238], rear: [62.237, 62.240]}}",
)


@pytest.mark.parametrize(
    ("limit", "rule", "said"),
    [
        ("max: 0.056", "fit", "its mean, 0.0585 ± 0.0016 mm, is over its limit (at most 0.056)"),
        ("max: 0.059", "cannot-tell", "its mean, 0.0585 ± 0.0016 mm, crosses its limit (at most 0.059)"),
        ("min: 0.050, max: 0.059", "cannot-tell", "its mean, 0.0585 ± 0.0016 mm, crosses its limit (0.050 to 0.059)"),
        ("min: 0.060", "fit", "0.056 ± 0.0029 mm is under its limit (at least 0.060)"),
        ("min: 0.055, max: 0.070", "cannot-tell", "0.056 ± 0.0029 mm crosses its limit (0.055 to 0.070)"),
    ],
)
def test_a_finding_shows_the_figure_that_decided(book: Book, limit: str, rule: str, said: str) -> None:
    write(book, *MEANS, limits=f"main_clearance: {{{limit}}}")
    finding = found(book.figures(), rule)
    assert finding.what == f"main bearing clearance 1: {said}"
    assert finding.severity == "warning"


def test_findings_at_one_place_are_in_the_order_of_the_engine_each_time(book: Book) -> None:
    # one reading of the deck for the whole bank is one place in the file for the findings of its cylinders
    gasket = "  - {kind: head_gasket, ids: [HG1], stated: {thickness: 1.02 mm}}\n"
    write(
        book,
        "with: feeler, what: deck_height, readings: {inline: 0.10}",
        layout="i6", parts=PARTS + gasket, limits="quench: {max: 1.00}",
    )  # fmt: skip
    said = [each.what for each in book.figures().fit_findings if each.rule == "fit"]
    assert [what.partition(":")[0] for what in said] == [f"quench {cylinder}" for cylinder in "123456"]


def test_a_ring_gap_has_no_mean_apart_from_itself(book: Book) -> None:
    write(book, "with: feeler, what: top_ring_gap, readings: {1: 0.80, 2: 0.50}", limits="top_ring_gap: {max: 0.60}")
    assert found(book.figures(), "fit").what == "top ring gap 1: 0.80 ± 0.012 mm is over its limit (at most 0.600)"


@pytest.mark.parametrize("size", ["bore: -101.8 mm", "bore: 0 mm", "main_journal: 0 mm"])
def test_an_engine_that_cannot_be_is_no_crash(book: Book, size: str) -> None:
    write(
        book,
        "what: main_journal, readings: {1: 62.180}",
        "with: feeler, what: top_ring_gap, readings: {1: 0.46}",
        "with: burette, what: chamber_volume, readings: {1: 64.4}",
        sizes=f"{size}, stroke: 88.4, main_bearings: 2",
    )
    loaded = Reader(book.root).load("twin/first")
    refused = {each.rule for each in loaded.findings if each.severity == "error"}
    assert refused or (loaded.build is not None and work_out(loaded.build).fit_findings)


def test_an_engine_of_which_no_layout_is_known_is_still_measured(book: Book) -> None:
    write(book, *MEASURED_WITHOUT_LAYOUT, layout="v2_90_comon_pin", sizes=SIZES, limits="main_clearance: {min: 0.070}")
    assert rules_found(book.figures()) == ["fit", "fit"]


MEASURED_WITHOUT_LAYOUT = (
    "what: main_journal, readings: {1: 62.180, 2: 62.180}",
    "what: main_bore, readings: {1: 62.236, 2: 62.236}",
    "with: burette, what: chamber_volume, readings: {1: 64.4}",
    "what: cylinder_bore, readings: {1: 101.806}",
)
