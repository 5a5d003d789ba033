"""One small fault at a time in what was measured of a sound engine: each is found by its rule, at its place, and by no
other rule; and what is sound beside it wakes nobody."""

from fractions import Fraction
from typing import NamedTuple

import pytest
from conftest import SAMPLES, Book

from buildbook.book.places import builds, engines
from buildbook.book.reading import Reader
from buildbook.figures import Figures, work_out
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
        "with: wrench, what: fastener_torque, asked: [40, 80, 105], readings: {main_1: {left: [40, 80, 105]}}",
        "what: fastener_stretch, readings: {R1: [0.145, 0.147]}",
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
        "what: fastener_stretch, readings: {R1: [0.145, 0.147]}",
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
        ("no-clearance", "fit"),
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
    assert {"unit-slip", "unlikely"} & set(rules_found(book.figures()))


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
