"""Bad input at the machine: each is found by its rule, at its place, with its remedy; what is beside it is not."""

from typing import NamedTuple

import pytest
from conftest import BUILD, Book

from figures.ledger import PARTS
from figures.turning import WINDOWS, on_the_machine, spin

CARRIED = PARTS + "  - {kind: crankshaft, ids: [C1], density: 7.2 g/cm3}\n  - {kind: damper, ids: [D1]}\n"

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
    "planes at the same place": Fault(
        "position: 100, radius", "position: -100, radius", "plane", "its own position", "position: -99, radius"
    ),
    "planes at the same place in another unit": Fault(
        "position: 100, radius", "position: -10 cm, radius", "plane", "its own position"
    ),
    "no bobweights": Fault("set: {1: 1775.6}", "set: {}", "no-bobweights", "record them first"),
    "a spin before the bobweights were set": Fault(
        "taken: 2026-10-05, by", "taken: 2026-10-07, by", "no-bobweights", "correct one of the dates",
        "taken: 2026-10-06, by",
    ),
    "a part carried that no part lists": Fault("carrying: [C1]", "carrying: [C2]", "unlisted", "list it in parts.yaml"),
    "a part fitted that no part lists": Fault("fit: {part: D1}", "fit: {part: D9}", "unlisted", "did you mean D1?"),
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
    assert fault.new in line or rule in {"no-bobweights", "plane", "one-plane"}


NEIGHBOURS = {name: fault for name, fault in FAULTS.items() if fault.sound is not None}


@pytest.mark.parametrize("fault", NEIGHBOURS.values(), ids=NEIGHBOURS)
def test_its_sound_neighbour_is_clean(book: Book, fault: Fault) -> None:
    assert fault.sound is not None
    assert found(book, fault.old, fault.sound) == []
