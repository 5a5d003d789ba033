"""Bad input at the machine: each is found by its rule, at its place, with its remedy; what is beside it is not."""

from typing import NamedTuple

import pytest
from conftest import BUILD, Book

from figures.ledger import PARTS
from figures.turning import WINDOWS, on_the_machine, spin

CARRIED = (
    PARTS
    + "  - {kind: crankshaft, ids: [C1], density: 7.2 g/cm3}\n  - {kind: damper, ids: [D1]}\n"
    + "  - {kind: head_bolt, count: 12}\n"
)

# A sound story, with one of everything.
STEPS = (
    spin("20.0@30", "62.0@150", ", carrying: [C1]"),
    "drill: {plane: rear, angle: 150, diameter: 16, depth: 20}",
    "drill: {plane: rear, angle: 160, diameter: 16, depth: 26, along: axis, radius: 80}",
    "plug: {plane: front, angle: 5, diameter: 16, length: 25, radius: 60, density: 17.0 g/cm3}",
    "plug: {plane: rear, angle: 110, diameter: 16, length: 28, along: radius, density: 17.0 g/cm3}",
    "add: {plane: rear, angle: 90, amount: 6.0, position: 40}",
    "remove: {step: S6}",
    spin("5.0@30", "6.0@150"),
    "index: {part: D1, angle: 180}",
    "grind: {plane: front, angle: 90, amount: 1.2}",
    "fit: {part: D1}",
)
PLANES = WINDOWS % (350, 80, 100, 200)


class Fault(NamedTuple):
    """One text for another, the rule that finds it, the remedy it names, and a change right beside it that is sound."""

    old: str
    new: str
    rule: str
    remedy: str
    sound: str | None = None


FAULTS = {
    "a step that is two things": Fault(
        "fit: {part: D1}", "fit: {part: D1}, grind: {plane: rear, angle: 1}, " + spin("1.0@2", "1.0@2"),
        "step", "one step for each",
    ),
    "a step that is nothing": Fault("fit: {part: D1}", "note: tea", "step", "one step for each"),
    "one plane read": Fault(
        "front: {amount: 5.0, angle: 30}, ", "", "one-plane", "add the reading",
    ),
    "no radius": Fault("position: 100, radius: 100,", "position: 100,", "plane", "radius: …"),
    "a radius of nothing": Fault("radius: 100, windows", 'radius: "0 mm", windows', "plane", "where the grams act"),
    "a radius in inches": Fault(
        "radius: 80, windows", "radius: 3.15, windows", "unit-slip", '"3.15 in"', "radius: 3.15 in, windows"
    ),
    # 1 cm is where a machine that shows g·cm reads
    "a radius in mm written as inches": Fault(
        "radius: 80, windows", "radius: 80 in, windows", "unit-slip", '"80 mm"', "radius: 1 cm, windows"
    ),
    "planes at the same place": Fault(
        "position: 100, radius", "position: -100, radius", "plane", "its own position", "position: -99, radius"
    ),
    "planes at the same place in another unit": Fault(
        "position: 100, radius", "position: -10 cm, radius", "plane", "its own position"
    ),
    "a machine that may count otherwise": Fault("angles: {}", "# no angles", "angles-assumed", "state them"),
    "no bobweights": Fault("set: {1: 1775.6}", "set: {}", "no-bobweights", "record them first"),
    "a spin before the bobweights were set": Fault(
        "taken: 2026-10-05, by", "taken: 2026-10-07, by", "no-bobweights", "correct one of the dates",
        "taken: 2026-10-06, by",
    ),
    "a part carried that no part lists": Fault("carrying: [C1]", "carrying: [C2]", "unlisted", "list it in parts.yaml"),
    "a part fitted that no part lists": Fault("fit: {part: D1}", "fit: {part: D9}", "unlisted", "did you mean D1?"),
    "a part fitted that is only counted": Fault("fit: {part: D1}", "fit: {part: 9}", "unlisted", "list it"),
    "a step removed that is not there": Fault("{step: S6}", "{step: S99}", "no-step", "name the step"),
    "a step removed that came later": Fault("{step: S6}", "{step: S8}", "no-step", "name the step"),
    "a hole put back": Fault("{step: S6}", "{step: S2}", "no-step", "name the step", "{step: S4}"),
    "a spin removed": Fault("{step: S6}", "{step: S1}", "no-step", "name the step"),
    "a weight taken off twice": Fault("fit: {part: D1}", "remove: {step: S6}", "no-step", "name the step"),
    "an angle of 360 with its unit": Fault("angle: 150, diameter", 'angle: "360 deg", diameter', "angle", "write 0:"),
    "a reading below nothing": Fault("amount: 5.0,", 'amount: "-5.0 g",', "amount", "what was read"),
    "a reading at −10": Fault("amount: 5.0, angle: 30", 'amount: 5.0, angle: "-10 deg"', "angle", "write 350:"),
    "a weight of nothing": Fault("amount: 1.2", 'amount: "0 g"', "amount", "what was read", 'amount: "1.2 g"'),
    "a part turned by nothing": Fault("D1, angle: 180", "D1, angle: 360", "not-turned", "180", "D1, angle: 359"),
    # 16/2/tan 59° = 4.807 mm of point below 27.2 mm: 32.007 mm of the 32 that the counterweight allows
    "a hole deeper than its counterweight": Fault(
        "diameter: 16, depth: 20}", "diameter: 16, depth: 27.2}", "too-deep", "maker's limit",
        "diameter: 16, depth: 27.1}",
    ),
    "a hole deeper than its counterweight, to the tip": Fault(
        "diameter: 16, depth: 20}", "diameter: 16, depth: 32.1, depth_to: tip}", "too-deep", "maker's limit",
        "diameter: 16, depth: 32, depth_to: tip}",
    ),
    "a hole elsewhere is not held to this counterweight": Fault(
        "angle: 150, diameter: 16, depth: 20}", "angle: 150, diameter: 16, depth: 40}", "too-deep", "maker's limit",
        "angle: 210, diameter: 16, depth: 40}",
    ),
    "a bit in inches": Fault(
        "diameter: 16, depth: 20}", "diameter: 0.63, depth: 20}", "unit-slip", '"0.63 in"',
        "diameter: 0.63 in, depth: 20}",
    ),
    "a hole beyond the axis": Fault(
        "angle: 150, diameter: 16, depth: 20}", "angle: 210, diameter: 16, depth: 95.2}", "cannot-cut", "shallower",
        "angle: 210, diameter: 16, depth: 95.1}",
    ),
    "a bit as wide as the crankshaft": Fault(
        "angle: 150, diameter: 16, depth: 20}", "angle: 210, diameter: 200, depth: 20}", "cannot-cut", "same unit"
    ),
    "a hole along the crankshaft longer than the counterweight is thick": Fault(
        "depth: 26, along", "depth: 28.1, along", "too-long", "stand out", "depth: 28, along"
    ),
    "a plug longer than the counterweight is thick": Fault(
        "length: 25, radius", "length: 25.1, radius", "too-long", "stand out"
    ),
    "a plug in the rim deeper than the counterweight": Fault(
        "length: 28, along", "length: 32.1, along", "too-deep", "maker's limit", "length: 32, along"
    ),
    "a plug lighter than the crankshaft": Fault(
        "radius: 60, density: 17.0", "radius: 60, density: 7.1", "cannot-cut", "17 to 18.5", "radius: 60, density: 7.3"
    ),
    "a grade that is none": Fault("grade: G16", "grade: G15", "grade", "G16", "grade: G6.3"),
    "two steps under one id": Fault("id: S11", "id: S10", "record-twice", ""),
}  # fmt: skip


def found(book: Book, old: str = "", new: str = "") -> list[tuple[str, str, str]]:
    """What is found with one text in place of another: rule, the line it points at, and the remedy."""
    on_the_machine(book, *STEPS, planes=PLANES)
    book.write("parts.yaml", CARRIED)
    book.write("build.yaml", BUILD.replace("oil: 3.0", "oil: 3.0, grade: G16"))
    if old:
        path = next(path for path in book.folder.iterdir() if old in path.read_text())
        text = path.read_text()
        assert text.count(old) == 1, "a change must change one place"
        path.write_text(text.replace(old, new))
    figures = book.figures()
    assert set(figures.findings) <= set(figures.thorough_findings)
    lines = {name: (book.folder / name).read_text().splitlines() for name in ("build.yaml", "spins.yaml")}
    return [
        (finding.rule, lines[finding.where.file.rpartition("/")[2]][finding.where.line - 1], finding.remedy)
        for finding in figures.thorough_findings
    ]


def test_the_sound_story_is_clean(book: Book) -> None:
    assert found(book) == []


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_bad_input_is_found_by_its_rule_at_its_line_with_a_remedy(book: Book, fault: Fault) -> None:
    said = found(book, fault.old, fault.new)
    assert {rule for rule, _, _ in said} == {fault.rule}
    rule, line, remedy = said[0]
    assert fault.remedy in remedy
    # planes at one place, and dates that do not fit, are found at one of the two
    assert fault.new in line or rule in {"angles-assumed", "no-bobweights", "plane", "one-plane"}


NEIGHBOURS = {name: fault for name, fault in FAULTS.items() if fault.sound is not None}


@pytest.mark.parametrize("fault", NEIGHBOURS.values(), ids=NEIGHBOURS)
def test_its_sound_neighbour_is_clean(book: Book, fault: Fault) -> None:
    assert fault.sound is not None
    assert found(book, fault.old, fault.sound) == []


@pytest.mark.parametrize(
    ("end", "carried", "lacking"),
    [
        ("rear", "C1, F1, D1", None),
        ("rear", "C1, D1", "no flywheel or flexplate on"),
        ("rear", "", "no flywheel or flexplate on"),
        ("front", "F1", "no damper on"),
        ("front", "D1", None),
        ("rear", "X1", None),  # a ring that stands in for it
    ],
)
def test_a_crankshaft_balanced_externally_is_last_spun_with_what_belongs_to_it(
    book: Book, end: str, carried: str, lacking: str | None
) -> None:
    both = ", carrying: [F1, D1]"
    on_the_machine(book, spin("20.0@30", "62.0@150", both), spin("5.0@30", "6.0@150", f", carrying: [{carried}]"))
    hung = "".join(f"  - {{kind: {kind}, ids: [{piece}]}}\n" for kind, piece in (("flywheel", "F1"), ("other", "X1")))
    book.write("parts.yaml", CARRIED.replace("[C1],", f"[C1], balanced_externally: [{end}],") + hung)
    found = [each for each in book.figures().findings if each.rule == "nothing-hung-on"]
    assert [lacking in each.what for each in found if lacking] == ([True] if lacking else [])
    assert len(found) == (lacking is not None)


@pytest.mark.parametrize(
    ("before", "after", "found"),
    [
        # 10 g put on in front at 30: predicted 30 @ 30 and 62 @ 150
        (("20.0@30", "62.0@150"), ("62.3@151", "29.5@31"), True),
        (("20.0@30", "62.0@150"), ("29.5@31", "62.3@151"), False),
        (("20.0@30", "62.0@150"), ("62.0@330", "30.0@210"), False),  # exchanged, and the light side as well
        # ± 0.12 g at 100 mm: 10.0 and 10.4 g a few degrees apart are within what the machine scatters
        (("0.0@0", "10.4@30"), ("10.4@30", "10.2@32"), False),
    ],
)
def test_readings_that_changed_places_are_found_where_they_would_be_as_predicted(
    book: Book, before: tuple[str, str], after: tuple[str, str], found: bool
) -> None:
    on_the_machine(book, spin(*before), "add: {plane: front, angle: 30, amount: 10.0}", spin(*after))
    lines = enumerate((book.folder / "spins.yaml").read_text().splitlines(), start=1)
    of_the_last = next(number for number, line in lines if "id: S3" in line)
    said = [(each.rule, each.where.line) for each in book.figures().spin_findings]
    assert said == ([("exchanged", of_the_last)] if found else [])


@pytest.mark.parametrize(
    ("between", "again", "said"),
    [
        # ± 0.12 g at 100 mm: 6·√2·12 = 101.8 g·mm are 1.27 g in front, at 80 mm
        (
            (),
            ("4@30", "0.4@150"),
            "S2 repeats S1 with nothing changed, and differs from it by 3.6 g front and 0.0 g rear",
        ),
        ((), ("1.6@30", "0.4@150"), None),
        ((), ("1.7@30", "0.4@150"), "1.3 g front"),
        (("grind: {plane: front, angle: 90}",), ("4@30", "0.4@150"), None),
        (("fit: {part: D1}",), ("4@30", "0.4@150"), None),
    ],
)
def test_a_spin_that_is_far_from_the_one_it_repeats_is_no_scatter(
    book: Book, between: tuple[str, ...], again: tuple[str, str], said: str | None
) -> None:
    on_the_machine(book, spin("0.4@30", "0.4@150"), *between, spin(*again))
    book.write("parts.yaml", CARRIED)
    found = [each for each in book.figures().spin_findings if each.rule == "does-not-repeat"]
    assert len(found) == (said is not None)
    assert all(said in each.what for each in found if said)


def test_a_machine_that_states_no_repeatability_is_not_held_to_one(book: Book) -> None:
    on_the_machine(book, spin("0.4@30", "0.4@150"), spin("4@30", "0.4@150"))
    book.write("shop.yaml", (book.root / "shop.yaml").read_text().replace(", repeatability: 0.12 g", ""))
    assert book.figures().spin_findings == ()
