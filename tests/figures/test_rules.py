"""One small fault at a time in a sound book: each is found by its rule, at its place, and by no other rule."""

from random import Random
from typing import NamedTuple

import pytest
from conftest import BUILD, ENGINE, SAMPLES, SHOP, Book

from buildbook.book.places import builds, engines
from buildbook.book.reading import Reader
from buildbook.figures import work_out
from figures.ledger import weighings

SOUND = {
    "shop.yaml": SHOP
    + "  bench: {kind: scale, resolution: 0.1 g, calibration_due: 2026-12-31}\n"
    + "  mic: {kind: micrometer, resolution: 0.001 mm}\n",
    "engines/twin/engine.yaml": ENGINE + "firing_order: [1, 2]\n",
    "build.yaml": BUILD,
    "parts.yaml": """\
format: 1
parts:
  - {kind: rod, ids: [R1, R2]}
  - {kind: piston, ids: [P1, P2]}
  - {kind: pin, ids: [N1, N2], count: 2}
  - {kind: crankshaft, ids: [C1]}
  - {kind: damper, ids: [D1]}
""",
    "weighings.yaml": """\
format: 1
units: {mass: g}
sessions:
  - id: W1
    taken: 2026-10-03T09:10+01:00
    by: ava
    with: scale
    what: rod
    readings: {R1: 575.3, R2: 575.8}
  - id: W2
    taken: 2026-10-03T09:20+01:00
    by: ava
    with: scale
    what: rod_big_end
    check_weight: {nominal: 500.0, before: 500.0, after: 500.1}
    readings: {R1: 421.4, R2: 420.9}
  - {id: W3, taken: 2026-10-03, by: ava, with: scale, what: rod_small_end, readings: {R1: 153.9, R2: 154.9}}
  - {id: W4, taken: 2026-10-03, by: ava, with: scale, what: piston, readings: {P1: 480.1, P2: [482.0, 482.0]}}
  - {id: W5, taken: 2026-10-03, by: ava, with: scale, what: pin, readings: {N1: 152.3, N2: 152.5}}
  - {id: W6, taken: 2026-10-03, by: ava, with: scale, what: piston_with_pin, readings: {P1+N2: 632.6}}
  - {id: W10, what: pin, void: wrong pins, readings: {N1: 160.1}}
  - {id: W7, taken: 2026-10-03, by: ava, with: scale, what: ring_set, lot: {total: 110.8, pieces: 2, per_cylinder: 1}}
  - id: W8
    taken: 2026-10-03T10:20+01:00
    by: tomas
    with: bench
    what: rod_bearing
    lot: {total: 87.0, pieces: 4, per_rod: 2}
""",
    "pairings.yaml": """\
format: 1
locked:
  - {piston: P1, cylinder: 2, because: honed to this piston}
decided: {taken: 2026-10-04, by: ava, how: match, from: [W3, W4, W5]}
cylinders:
  1: {rod: R1, piston: P2, pin: N1}
  2: {rod: R2, piston: P1, pin: N2}
""",
    # 421.4 + 420.9 + 87.0 go round; 1686.5 go up and down, of which half are carried; 3.0 of oil: 1775.55
    "spins.yaml": """\
format: 1
units: {mass: g, length: mm, angle: deg}
angles: {}
bobweights: {taken: 2026-10-05, by: ava, set: {1: 1775.5}}
planes: {front: {position: -50, radius: 80}, rear: {position: 60, radius: 82}}
steps:
  - {id: S1, taken: 2026-10-06, by: ava,
     spin: {speed: 700 rpm, front: {amount: 9.2, angle: 212}, rear: {amount: 4.1, angle: 20}}}
""",
    "clearances.yaml": """\
format: 1
units: {length: mm}
sessions:
  - {id: M1, taken: 2026-10-05, by: ava, with: mic, what: main_bore, readings: {1: {front: [62.236, 62.238]}}}
""",
}


class Change(NamedTuple):
    """One text of one file for another."""

    file: str
    old: str
    new: str


class Fault(NamedTuple):
    """A change that makes a fault, where the finding must point, and a change right beside it that makes none."""

    rule: str
    change: Change
    at: tuple[str, str]  # file, and the text that the finding points at the beginning of
    sound: str | None = None  # instead of the change's new text
    also: tuple[str, ...] = ()  # other rules that the same change rightly wakes


PIN_WEIGHED_AGAIN = "  - {{id: W9, taken: 2026-10-05, by: ava, with: scale, what: pin, readings: {{N2: {}}}}}\n"

FAULTS = {
    "a layout nobody knows": Fault(
        "layout",
        Change("engine.yaml", "v2_90_common_pin", "v2_90_comon_pin"),
        ("engine.yaml", "layout:"),
        "v2_60_common_pin",
    ),
    "a firing order without a cylinder": Fault(
        "firing-order",
        Change("engine.yaml", "firing_order: [1, 2]", "firing_order: [1, 3]"),
        ("engine.yaml", "firing_order:"),
        "firing_order: [2, 1]",
    ),
    "two pieces with one id": Fault(
        "id-twice", Change("parts.yaml", "[C1]", "[P2]"), ("parts.yaml", "P2]}\n  - {kind: damper")
    ),
    "a count that the ids belie": Fault(
        "count", Change("parts.yaml", "count: 2", "count: 3"), ("parts.yaml", "{kind: pin")
    ),
    "two sessions with one id": Fault(
        "record-twice", Change("weighings.yaml", "id: W8", "id: W7"), ("weighings.yaml", "id: W7\n")
    ),
    "a session that does not say when": Fault(
        "unsigned",
        Change("weighings.yaml", "    taken: 2026-10-03T10:20+01:00\n", ""),
        ("weighings.yaml", "id: W8"),
    ),
    "bobweights set by nobody": Fault(
        "unsigned",
        Change("spins.yaml", "2026-10-05, by: ava,", "2026-10-05,"),
        ("spins.yaml", "{taken: 2026-10-05"),
    ),
    "weighed by a stranger": Fault(
        "unknown-by", Change("weighings.yaml", "by: tomas", "by: thomas"), ("weighings.yaml", "by: thomas"), "by: ava"
    ),
    "weighed with a scale nobody has": Fault(
        "unknown-with",
        Change("weighings.yaml", "with: bench", "with: bank"),
        ("weighings.yaml", "with: bank"),
        "with: scale",
    ),
    "a weight that the scale cannot carry": Fault(
        "capacity",
        Change("shop.yaml", "repeatability: 0.05 g,", "repeatability: 0.05 g, capacity: 632.5 g,"),
        ("weighings.yaml", "632.6"),
        "repeatability: 0.05 g, capacity: 632.6 g,",
    ),
    "a lot that the scale cannot carry": Fault(
        "capacity",
        Change("shop.yaml", "bench: {kind: scale,", "bench: {kind: scale, capacity: 86.9 g,"),
        ("weighings.yaml", "87.0"),
        "bench: {kind: scale, capacity: 87 g,",
    ),
    "weighed before the build was opened": Fault(
        "too-early",
        Change("weighings.yaml", "2026-10-03T10:20+01:00", "2026-09-30T23:59+01:00"),
        ("weighings.yaml", "taken: 2026-09-30"),
        "2026-10-01T00:01+01:00",
    ),
    "out of calibration": Fault(
        "calibration",
        Change("weighings.yaml", "2026-10-03T10:20+01:00", "2027-01-01"),
        ("weighings.yaml", "with: bench"),
        "2026-12-31",
    ),
    "weighed with a micrometer": Fault(
        "not-a-scale", Change("weighings.yaml", "with: bench", "with: mic"), ("weighings.yaml", "with: mic")
    ),
    "a session without a reading": Fault(
        "no-reading",
        Change("weighings.yaml", "    readings: {R1: 575.3, R2: 575.8}\n", ""),
        ("weighings.yaml", "id: W1\n"),
        "    void: battery empty\n",
    ),
    "a piston with its pin under one id": Fault(
        "piece-name", Change("weighings.yaml", "P1+N2: 632.6", "P1: 632.6"), ("weighings.yaml", "P1: 632.6")
    ),
    "a piece weighed that no part lists": Fault(
        "unlisted", Change("weighings.yaml", "R2: 575.8", "R3: 575.8"), ("weighings.yaml", "R3: 575.8")
    ),
    "a weight below nothing": Fault(
        "weight",
        Change("weighings.yaml", "R2: 575.8", 'R2: "-575.8 g"'),
        ("weighings.yaml", '"-575.8 g"'),
        'R2: "575.8 g"',
        also=("does-not-add-up",),
    ),
    # what the scale can tell of its check weight: 2 × √(0.1²/12 + 0.05²) + 0.1 = 0.215 g
    "a scale that did not hold its zero": Fault(
        "check-weight",
        Change("weighings.yaml", "after: 500.1", "after: 499.7"),
        ("weighings.yaml", "id: W2"),
        "after: 500.2",
    ),
    # 421.4 + 153.9 = 575.3; u² of the whole rod and the small end 1/300, of the big end 1/300 + 0.1²/3: k·u = 0.231 g
    "ends that do not add up to the rod": Fault(
        "does-not-add-up",
        Change("weighings.yaml", "R1: 575.3", "R1: 575.6"),
        ("weighings.yaml", "575.6"),
        "R1: 575.5",
    ),
    # 480.1 + 152.5 = 632.6; 2 × √(3/300) = 0.2 g
    "a piston and a pin that do not add up to both": Fault(
        "does-not-add-up",
        Change("weighings.yaml", "P1+N2: 632.6", "P1+N2: 632.9"),
        ("weighings.yaml", "632.9"),
        "P1+N2: 632.7",
    ),
    # two readings of one piece agree within 2 × √2 × √(1/300) = 0.163 g
    "readings of one piece that disagree": Fault(
        "disagree",
        Change("weighings.yaml", "[482.0, 482.0]", "[481.9, 482.1]"),
        ("weighings.yaml", "[481.9, 482.1]"),
        "[482.0, 482.1]",
    ),
    "a pairing that breaks a lock": Fault(
        "lock-broken",
        Change("pairings.yaml", "cylinder: 2, because", "cylinder: 1, because"),
        ("pairings.yaml", "{rod: R1"),
    ),
    "a lock that holds nothing": Fault(
        "lock",
        Change(
            "pairings.yaml", "{piston: P1, cylinder: 2, because: honed to this piston}", "{piston: P1, because: so}"
        ),
        ("pairings.yaml", "{piston: P1, because"),
    ),
    "a piston locked to two cylinders": Fault(
        "lock",
        Change("pairings.yaml", "decided:", "  - {piston: P1, cylinder: 1}\ndecided:"),
        ("pairings.yaml", "{piston: P1, cylinder: 1}"),
        also=("lock-broken",),
    ),
    "a cylinder without its pin": Fault(
        "no-set", Change("pairings.yaml", "piston: P2, pin: N1", "piston: P2"), ("pairings.yaml", "{rod: R1")
    ),
    "a lot that does not say how many go where": Fault(
        "lot",
        Change("weighings.yaml", "pieces: 4, per_rod: 2", "pieces: 4"),
        ("weighings.yaml", "87.0"),
        also=("bobweight",),
    ),
    "single shells weighed as if they were pairs": Fault(
        "lot",
        Change("weighings.yaml", "lot: {total: 87.0, pieces: 4, per_rod: 2}", "readings: {1: 21.7, 2: 21.8, 3: 21.7}"),
        ("weighings.yaml", "what: rod_bearing"),
        also=("bobweight",),
    ),
    "a reading with a digit too few": Fault(
        "digits",
        Change("weighings.yaml", "R1: 153.9, R2: 154.9", "R1: 153.9, R2: 155"),
        ("weighings.yaml", "155"),
        "R1: 153.9, R2: 155.0",
    ),
    "a lock on a cylinder that is not there": Fault(
        "no-cylinder",
        Change("pairings.yaml", "cylinder: 2", "cylinder: 3"),
        ("pairings.yaml", "{piston: P1"),
        also=("lock-broken",),
    ),
    "a lock on a piece that no part lists": Fault(
        "unlisted",
        Change("pairings.yaml", "- {piston: P1", "- {piston: P9"),
        ("pairings.yaml", "{piston: P9"),
        also=("lock-broken",),
    ),
    "a set for a cylinder that is not there": Fault(
        "no-cylinder",
        Change("pairings.yaml", "pin: N2}\n", "pin: N2}\n  3: {note: spare}\n"),
        ("pairings.yaml", "{note"),
    ),
    "a piece placed that no part lists": Fault(
        "unlisted", Change("pairings.yaml", "rod: R1", "rod: R7"), ("pairings.yaml", "{rod: R7")
    ),
    "one pin in two cylinders": Fault(
        "two-places", Change("pairings.yaml", "pin: N2", "pin: N1"), ("pairings.yaml", "{rod: R2")
    ),
    "a pairing that rests on a session that is not there": Fault(
        "rests-on",
        Change("pairings.yaml", "W4, W5]", "W4, W5, W9]"),
        ("pairings.yaml", "{taken"),
        "W4, W5, W6]",
    ),
    "a pairing that rests on a session that is void": Fault(
        "rests-on",
        Change("pairings.yaml", "W4, W5]", "W4, W5, W10]"),
        ("pairings.yaml", "{taken"),
    ),
    "a pairing that rests on other weights": Fault(
        "changed-since",
        Change("weighings.yaml", "sessions:\n", f"sessions:\n{PIN_WEIGHED_AGAIN.format('152.6')}"),
        ("pairings.yaml", "{rod: R2"),
        f"sessions:\n{PIN_WEIGHED_AGAIN.format('152.5')}",
    ),
    # 153.9 + 482.0 + 152.3 and 154.9 + 480.1 + 152.5 are 0.7 g apart
    "a spread over its limit": Fault(
        "spread", Change("build.yaml", "max: 1.0", "max: 0.69"), ("pairings.yaml", "{taken"), "max: 0.7"
    ),
    "a bobweight on a throw that is not there": Fault(
        "no-throw", Change("spins.yaml", "1: 1775.5", "1: 1775.5, 2: 1775.6"), ("spins.yaml", "2: 1775.6")
    ),
    "a bobweight off its target": Fault(
        "bobweight", Change("spins.yaml", "1: 1775.5", "1: 1776.1"), ("spins.yaml", "1776.1"), "1: 1776.0"
    ),
}


def test_a_reopening_has_an_id_of_its_own(book: Book) -> None:
    opened = "  - {{id: O{}, taken: 2026-10-08, by: ava, because: a pin}}\n"
    for number, rules in ((2, []), (1, ["record-twice"])):
        book.write("build.yaml", f"{BUILD}reopened:\n{opened.format(1)}{opened.format(number)}")
        assert [each.rule for each in book.findings()] == rules


def changed(change: Change, new: str) -> dict[str, str]:
    """The sound book's files with that one change."""
    files = dict(SOUND)
    name = next(name for name in files if name.endswith(change.file))
    assert files[name].count(change.old) == 1, "a change must change one place"
    files[name] = files[name].replace(change.old, new)
    return files


def rules_found(book: Book, files: dict[str, str]) -> list[tuple[str, str, int, int]]:
    for name, text in files.items():
        book.write(name, text)
    return [
        (finding.rule, finding.where.file.rpartition("/")[2], finding.where.line, finding.where.column)
        for finding in book.findings()
    ]


def test_the_sound_book_is_clean(book: Book) -> None:
    assert rules_found(book, SOUND) == []


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_a_fault_is_found_at_its_place_by_its_rule_and_by_no_other(book: Book, fault: Fault) -> None:
    files = changed(fault.change, fault.change.new)
    file, text = fault.at
    content = next(content for name, content in files.items() if name.endswith(file))
    assert content.count(text) == 1, "a finding points at one place"
    before = content[: content.index(text)]
    place = before.count("\n") + 1, len(before) - before.rfind("\n")
    found = rules_found(book, files)
    assert (fault.rule, file, *place) in found
    assert {rule for rule, *_ in found} == {fault.rule, *fault.also}


NEIGHBOURS = {name: fault for name, fault in FAULTS.items() if fault.sound is not None}


@pytest.mark.parametrize("fault", NEIGHBOURS.values(), ids=NEIGHBOURS)
def test_its_sound_neighbour_is_clean(book: Book, fault: Fault) -> None:
    assert fault.sound is not None
    assert rules_found(book, changed(fault.change, fault.sound)) == []


@pytest.mark.parametrize(
    ("order", "found"),
    [("1, 3, 4, 2", []), ("1, 2, 4, 3", []), ("1, 2, 3, 4", ["warning"]), ("1, 3, 4", ["error"])],
)
def test_the_firing_order_is_held_against_the_layout(book: Book, order: str, found: list[str]) -> None:
    # a flat crankshaft has cylinders 1 and 4 at the top together, and 2 and 3: neither pair fires in succession
    book.write("engines/twin/engine.yaml", f"format: 1\nengine: twin\nlayout: i4\nfiring_order: [{order}]\n")
    firing = [each for each in book.findings() if each.rule == "firing-order"]
    assert [each.severity for each in firing] == found
    assert [(each.where.line, each.where.column) for each in firing] == [(4, 1)] * len(found)


FIVE = "readings: {V1: 90.1, V2: 90.2, V3: 90.3, V4: 90.4, V5: %s}"


@pytest.mark.parametrize(("fifth", "found"), [("90.6", []), ("95.0", ["far-off"]), ("[95.0, 95.0]", [])])
def test_a_reading_far_from_its_fellows_is_found_unless_a_second_one_agrees(
    book: Book, fifth: str, found: list[str]
) -> None:
    # the first four are within 0.3 g of one another
    rods = "format: 1\nparts:\n  - {kind: rod, ids: [V1, V2, V3, V4, V5]}\n"
    book.write("parts.yaml", rods)
    book.write(
        "weighings.yaml",
        "format: 1\nunits: {mass: g}\nsessions:\n"
        f"  - {{id: W1, taken: 2026-10-03, by: ava, with: scale, what: rod, {FIVE % fifth}}}\n",
    )
    findings = book.findings()
    assert [finding.rule for finding in findings] == found
    line = (book.folder / "weighings.yaml").read_text().splitlines()[3]
    assert [(each.where.line, each.where.column) for each in findings] == [(4, line.index(fifth) + 1)] * len(found)


def test_a_reading_confirmed_in_a_second_session_is_not_far_off(book: Book) -> None:
    session = "  - {id: %s, taken: %s, by: ava, with: scale, what: rod, readings: {%s}}\n"
    first = session % ("W1", "2026-10-03", "V1: 90.1, V2: 90.2, V3: 90.3, V4: 90.4, V5: 95.0")
    head = "format: 1\nunits: {mass: g}\nsessions:\n"
    book.write("weighings.yaml", head + first + session % ("W2", "2026-10-04", "V5: 95.1"))
    assert book.findings() == []
    book.write("weighings.yaml", head + first + session % ("W2", "2026-10-04", "V5: 95.9"))
    assert [finding.rule for finding in book.findings()] == ["far-off"]


@pytest.mark.parametrize(
    ("second", "found"),
    [
        ("V1: 90.1, V2: 90.2, V3: 90.3, V4: 95.0", ["entered-twice"]),
        ("V1: 90.1, V2: 90.2, V3: 90.3, V4: 95.1", []),
        ("V1: 90.1, V2: 90.2, V3: 90.3", ["far-off"]),
    ],
)
def test_a_list_entered_twice_confirms_nothing_unsaid(book: Book, second: str, found: list[str]) -> None:
    first = "id: W1, what: rod, readings: {V1: 90.1, V2: 90.2, V3: 90.3, V4: 95.0}"
    book.write("weighings.yaml", weighings(first, f"id: W2, what: rod, readings: {{{second}}}"))
    assert [finding.rule for finding in book.findings()] == found


def test_ordinary_sets_are_not_called_far_off(book: Book) -> None:
    """What ordinary pieces wake is soon read by nobody: here are 100 sets of eight that differ by chance alone."""
    chance = Random(1)
    woken = 0
    for _ in range(100):
        readings = ", ".join(f"R{number}: {chance.gauss(611.5, 0.4):.1f}" for number in range(1, 9))
        book.write("weighings.yaml", weighings(f"id: W1, what: rod, readings: {{{readings}}}"))
        woken += "far-off" in {finding.rule for finding in book.findings()}
    assert woken <= 3


def test_a_void_session_is_asked_for_nothing(book: Book) -> None:
    book.write(
        "weighings.yaml",
        "format: 1\nsessions:\n  - {id: W1, what: rod, void: wrong engine, readings: {R1: 575.3 g}}\n",
    )
    assert book.findings() == []


@pytest.mark.parametrize(
    "name", [f"{engine}/{build}" for engine in engines(SAMPLES) for build in builds(SAMPLES, engine)]
)
def test_the_sample_builds_are_clean(name: str) -> None:
    loaded = Reader(SAMPLES).load(name)
    assert loaded.build is not None
    assert [*loaded.findings, *work_out(loaded.build).findings] == []


def test_there_are_five_sample_builds() -> None:
    assert sum(len(builds(SAMPLES, engine)) for engine in engines(SAMPLES)) == 5


def test_findings_say_what_why_and_what_to_do(book: Book) -> None:
    for fault in FAULTS.values():
        for name, text in changed(fault.change, fault.change.new).items():
            book.write(name, text)
        for finding in book.findings():
            assert all((finding.what, finding.why, finding.remedy)), finding
            assert "  " not in finding.what + finding.why + finding.remedy, finding
