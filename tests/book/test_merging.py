"""Two benches' copies of one file: all that either entered is in the result, which loads, and says what is in doubt."""

import re
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import datetime
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.book.loader import parse
from buildbook.book.schema import check_tree
from buildbook.book.sync.merging import Merged, merge_texts
from buildbook.book.sync.splicing import meaning
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

quick = settings(max_examples=150)


def tree(text: str, kind: str | None = None) -> MapNode:
    root, findings = parse(text, "f.yaml")
    assert root is not None, (text, findings)
    if kind is not None:
        assert check_tree(kind, root) == [], text
    return root


class Case(NamedTuple):
    kind: str
    base: str | None
    ours: str
    theirs: str
    expected: str
    questions: tuple[str, ...] = ()  # where, and both values: `W1 readings R2: 611.7, 611.8`
    renumbered: tuple[str, ...] = ()


HEAD = "format: 1\nunits: {mass: g}\n"

W1 = """\
  - id: W1
    taken: 2026-10-03T09:10+01:00
    by: ava
    what: rod
    readings: {R1: 611.40, R2: 611.9}   # first
"""

W2_OURS = """\
  - id: W2
    taken: 2026-10-03T10:00+01:00
    by: ava
    what: pin
    readings: {N1: 148.1}
"""

W2_THEIRS = """\
  - id: W2
    taken: 2026-10-03T10:30+01:00
    by: tomas
    what: "piston"      # on the fine scale
    readings:
      P1: 507.50
"""

OPENED = "format: 1\nengine: e\nbuild: b\n"
QUENCH = "conflict in limits quench min: 0.90 counts, another bench has 0.98: decide"
DECK = "conflict in limits deck_height max: 0.3 counts, another bench has 0.2: decide"

PAIRED = "format: 1\ndecided: {taken: 2026-10-05, by: ava}\ncylinders: {1: {rod: R1}}\n"


def revision(id_: str, day: str, by: str, rod: str, more: str = "") -> str:
    decided = f"decided: {{taken: {day}, by: {by}}}, because: evener, cylinders: {{1: {{rod: {rod}}}}}"
    return f"  - {{id: {id_}, {decided}{more}}}\n"


CASES = {
    "both benches append: each record stays as written, in the order taken": Case(
        "weighings",
        f"{HEAD}sessions:\n{W1}",
        f"{HEAD}sessions:\n{W1}{W2_OURS.replace('10:00', '10:40').replace('W2', 'W3')}# end\n",
        f"{HEAD}sessions:\n{W1}{W2_THEIRS}",
        f"{HEAD}sessions:\n{W1}{W2_THEIRS}{W2_OURS.replace('10:00', '10:40').replace('W2', 'W3')}# end\n",
    ),
    "one id for two records: the one that was sent already keeps it": Case(
        "weighings",
        f"{HEAD}sessions:\n{W1}",
        f"{HEAD}sessions:\n{W1}{W2_OURS}",
        f"{HEAD}sessions:\n{W1}{W2_THEIRS}",
        f"{HEAD}sessions:\n{W1}{W2_OURS.replace('W2', 'W3')}    note: entered as W2\n{W2_THEIRS}",
        renumbered=("ours W2 W3",),
    ),
    "also where it was taken later": Case(
        "weighings",
        f"{HEAD}sessions:\n{W1}",
        f"{HEAD}sessions:\n{W1}{W2_THEIRS}",
        f"{HEAD}sessions:\n{W1}{W2_OURS}",
        f"{HEAD}sessions:\n{W1}{W2_OURS}{W2_THEIRS.replace('W2', 'W3')}    note: entered as W2\n",
        renumbered=("ours W2 W3",),
    ),
    "the same record on both sides is there once": Case(
        "weighings",
        f"{HEAD}sessions:\n{W1}",
        f"{HEAD}sessions:\n{W1}{W2_OURS}# here\n",
        f"{HEAD}sessions:\n{W1}"
        "  - {id: W2, taken: 2026-10-03T10:00+01:00, by: ava, what: pin, readings: {N1: 148.1}}\n",
        f"{HEAD}sessions:\n{W1}{W2_OURS}# here\n",
    ),
    "readings of different pieces in one session are both kept": Case(
        "weighings",
        f"{HEAD}sessions:\n{W1}",
        f"{HEAD}sessions:\n{W1.replace('611.9}', '611.9, R3: 612.0}')}",
        f"{HEAD}sessions:\n{W1.replace('611.9}', '611.9, R4: [611.2, 611.30]}')}",
        f"{HEAD}sessions:\n{W1.replace('611.9}', '611.9, R3: 612.0, R4: [611.2, 611.30]}')}",
    ),
    "one reading with two values: ours counts, theirs is a void record": Case(
        "weighings",
        f"{HEAD}sessions:\n{W1}",
        f"{HEAD}sessions:\n{W1.replace('611.9', '611.7')}",
        f"{HEAD}sessions:\n{W1.replace('611.9', '611.80')}",
        f"""{HEAD}sessions:
{W1.replace("611.9", "611.7")}\
  - id: W2
    taken: 2026-10-03T09:10+01:00
    by: ava
    what: rod
    readings: {{R2: 611.80}}
    void: "conflict in W1 readings R2: 611.7 counts, another bench has 611.80: decide"
""",
        questions=("W1 readings R2: 611.7, 611.80",),
    ),
    "a correction on one side alone is taken": Case(
        "weighings",
        f"{HEAD}sessions:\n{W1}",
        f"# ours\n{HEAD}sessions:\n{W1}",
        f"{HEAD}sessions:\n{W1.replace('611.9', '611.8').replace('by: ava', 'by: tomas')}",
        f"# ours\n{HEAD}sessions:\n{W1.replace('611.9', '611.8').replace('by: ava', 'by: tomas')}",
    ),
    "one bench voids, the other adds": Case(
        "weighings",
        f"{HEAD}sessions:\n{W1}",
        f"{HEAD}sessions:\n{W1.replace('611.9}', '611.9, R3: 612.0}')}",
        f"{HEAD}sessions:\n{W1}    void: 'the hanger touched'\n",
        f"{HEAD}sessions:\n{W1.replace('611.9}', '611.9, R3: 612.0}')}    void: 'the hanger touched'\n",
    ),
    "a record taken out at one bench is kept, and asked about": Case(
        "weighings",
        f"{HEAD}sessions:\n{W1}{W2_OURS}",
        f"{HEAD}sessions:\n{W1}",
        f"{HEAD}note: theirs\nsessions:\n{W1}{W2_OURS}",
        f"{HEAD}sessions:\n{W1}{W2_OURS}"
        'note: "theirs; conflict in W2: the record counts, another bench has nothing: decide"\n',
        questions=("W2: the record, nothing",),
    ),
    "a reading taken out at one bench is kept, and asked about": Case(
        "weighings",
        f"{HEAD}sessions:\n{W1}",
        f"{HEAD}sessions:\n{W1.replace('611.9', '611.9, R3: 612.0')}",
        f"{HEAD}sessions:\n{W1.replace(', R2: 611.9', '')}",
        f"{HEAD}sessions:\n{W1.replace('611.9', '611.9, R3: 612.0')}"
        'note: "conflict in W1 readings R2: 611.9 counts, another bench has nothing: decide"\n',
        questions=("W1 readings R2: 611.9, nothing",),
    ),
    "a file that begins at both benches": Case(
        "weighings",
        None,
        f"# at the window\n{HEAD}sessions:\n{W2_OURS}",
        f"{HEAD}sessions:\n{W2_THEIRS}",
        f"# at the window\n{HEAD}sessions:\n{W2_OURS.replace('W2', 'W3')}    note: entered as W2\n{W2_THEIRS}",
        renumbered=("ours W2 W3",),
    ),
    "an empty list makes way": Case(
        "weighings",
        f"{HEAD}sessions: []   # none yet\nnote: x\n",
        f"{HEAD}sessions: []   # none yet\nnote: our own\n",
        f"{HEAD}sessions:\n{W1}note: x\n",
        f"{HEAD}sessions:   # none yet\n{W1}note: our own\n",
    ),
    "records in braces, and references that follow their step": Case(
        "spins",
        "format: 1\nsteps: []\n",
        """\
format: 1
steps:
  - {id: S1, taken: 2026-10-05T11:00, by: ava, add: {plane: front, angle: 10, amount: 2 g}}
  - {id: S2, taken: 2026-10-05T12:00, by: ava, remove: {step: S1}}
""",
        """\
format: 1
steps: [{id: S1, taken: 2026-10-05T10:00, by: tomas, add: {plane: rear, angle: 1, amount: 3 g}}]
""",
        """\
format: 1
steps:
  - {id: S1, taken: 2026-10-05T10:00, by: tomas, add: {plane: rear, angle: 1, amount: 3 g}}
  - {id: S3, taken: 2026-10-05T11:00, by: ava, add: {plane: front, angle: 10, amount: 2 g}, \
note: entered as S1}
  - {id: S2, taken: 2026-10-05T12:00, by: ava, remove: {step: S3}}
""",
        renumbered=("ours S1 S3",),
    ),
    "one hole with two depths: theirs is a void step": Case(
        "spins",
        """\
format: 1
units: {length: mm}
steps:
  - {id: S1, taken: 2026-10-05, by: ava, drill: {plane: front, angle: 48, diameter: 22, depth: 19.0}}
""",
        """\
format: 1
units: {length: mm}
steps:
  - {id: S1, taken: 2026-10-05, by: ava, drill: {plane: front, angle: 48, diameter: 22, depth: 19.5}}
""",
        """\
format: 1
units: {length: mm}
steps:
  - {id: S1, taken: 2026-10-05, by: tomas, drill: {plane: front, angle: 48, diameter: 22, depth: 18.5}}
""",
        """\
format: 1
units: {length: mm}
steps:
  - {id: S1, taken: 2026-10-05, by: tomas, drill: {plane: front, angle: 48, diameter: 22, depth: 19.5}}
  - {id: S2, taken: 2026-10-05, by: tomas, drill: {plane: front, angle: 48, diameter: 22, depth: 18.5}, \
void: "conflict in S1 drill depth: 19.5 counts, another bench has 18.5: decide"}
""",
        questions=("S1 drill depth: 19.5, 18.5",),
    ),
    "one part stated twice: the file's note has theirs": Case(
        "parts",
        "format: 1\nparts:\n  - {kind: piston, ids: [P1, P2]}\n",
        "format: 1\nparts:\n  - {kind: piston, ids: [P1, P2], state: new}\n",
        "format: 1\nparts:\n  - {kind: piston, ids: [P1, P2], state: reused, oversize: 0.04 mm}\n",
        "format: 1\nparts:\n  - {kind: piston, ids: [P1, P2], state: new, oversize: 0.04 mm}\n"
        'note: "conflict in P1 state: new counts, another bench has reused: decide"\n',
        questions=("P1 state: new, reused",),
    ),
    "a whole file in braces": Case(
        "spins",
        "{format: 1, steps: [{id: S1, fit: {part: D1}}]}",
        "{format: 1, steps: [{id: S1, fit: {part: D1}}, {id: S2, taken: 2026-10-05, fit: {part: F1}}]}",
        "{format: 1, note: rear first, steps: [{id: S1, fit: {part: D1}}, "
        "{id: S3, taken: 2026-10-04, fit: {part: F2}}]}",
        "{format: 1, steps: [{id: S1, fit: {part: D1}}, {id: S3, taken: 2026-10-04, fit: {part: F2}}, "
        "{id: S2, taken: 2026-10-05, fit: {part: F1}}], note: rear first}",
    ),
    "a reopening follows the sign-off that it opens": Case(
        "build",
        "format: 1\nengine: e\nbuild: b\n",
        "format: 1\nengine: e\nbuild: b\nsign_offs:\n  - {id: A1, stage: measured, taken: 2026-10-04, by: ava}\n"
        "reopened:\n  - {id: O1, sign_off: A1, because: too early}\n",
        """\
format: 1
engine: e
build: b
sign_offs:
  - {id: A1, stage: balanced, taken: 2026-10-05, by: tomas, note: cold}
reopened:
  - {id: O1, sign_off: A1, because: the damper was changed}
""",
        """\
format: 1
engine: e
build: b
sign_offs:
  - {id: A2, stage: measured, taken: 2026-10-04, by: ava, note: entered as A1}
  - {id: A1, stage: balanced, taken: 2026-10-05, by: tomas, note: cold}
reopened:
  - {id: O2, sign_off: A2, because: too early, note: entered as O1}
  - {id: O1, sign_off: A1, because: the damper was changed}
note: "conflict in the sign-offs: A1 counts, another bench has A2: decide"
""",
        questions=("the sign-offs: A1, A2",),
        renumbered=("ours A1 A2", "ours O1 O2"),
    ),
    "one field with two values: the note has theirs": Case(
        "build",
        "format: 1\nengine: e\nbuild: b\npurpose: first\nlimits:\n  quench: {min: 0.95, max: 1.25}\n",
        "format: 1\nengine: e\nbuild: b\npurpose: ours\nlimits:\n  quench: {min: 0.90, max: 1.25}\nnote: x\n",
        "format: 1\nengine: e\nbuild: b\npurpose: first\nlimits:\n  quench: {min: 0.98, max: 1.30}\n"
        "  deck_height:\n    max: 0.3\n",
        """\
format: 1
engine: e
build: b
purpose: ours
limits:
  quench: {min: 0.90, max: 1.30}
  deck_height:
    max: 0.3
note: "x; conflict in limits quench min: 0.90 counts, another bench has 0.98: decide"
""",
        questions=("limits quench min: 0.90, 0.98",),
    ),
    "a field taken out on one side goes": Case(
        "build",
        "format: 1\nengine: e\nbuild: b\nuse: marine\nlimits: {quench: {min: 0.95}, deck_height: {max: 0.3}}\n",
        "format: 1\nengine: e\nbuild: b\npurpose: ours\nuse: marine\n"
        "limits: {quench: {min: 0.95}, deck_height: {max: 0.3}}\n",
        "format: 1\nengine: e\nbuild: b\nlimits: {quench: {min: 0.95}}\n",
        "format: 1\nengine: e\nbuild: b\npurpose: ours\nlimits: {quench: {min: 0.95}}\n",
    ),
    "parts go by the ids of their pieces": Case(
        "parts",
        "format: 1\nparts:\n  - {kind: rod, ids: [R1, R2, R3]}\n  - {kind: pin_locks, count: 4}\n",
        """\
format: 1
parts:
  - {kind: rod, ids: [R1, R2]}       # R3 was scored
  - {kind: pin_locks, count: 4}
  - {kind: rod, ids: [R3], state: replaced}
""",
        """\
format: 1
parts:
  - kind: rod
    ids: [R1, R2, R3, R4]
    maker: Northlight forge
  - {kind: damper, ids: [D1]}
""",
        """\
format: 1
parts:
  - {kind: rod, ids: [R1, R2, R4], maker: Northlight forge}       # R3 was scored
  - {kind: rod, ids: [R3], state: replaced}
  - {kind: damper, ids: [D1]}
""",
    ),
    "locks are what they say": Case(
        "pairings",
        "format: 1\nlocked:\n  - {piston: P3, cylinder: 5, because: honed}\n",
        "format: 1\nlocked:\n  - {piston: P3, cylinder: 5, because: honed}\n"
        "  - {rod: R1, cylinder: 1, because: bushed}\n",
        "format: 1\nlocked:\n  - {pin: N2, cylinder: 2, because: tight}\n",
        "format: 1\nlocked:\n  - {rod: R1, cylinder: 1, because: bushed}\n  - {pin: N2, cylinder: 2, because: tight}\n",
    ),
    "both benches decide a pairing: neither is mixed, the later one counts": Case(
        "pairings",
        "format: 1\n",
        "format: 1\ndecided: {taken: 2026-10-05, by: ava, from: [W1]}\ncylinders:\n  1: {rod: R1}\n  2: {rod: R2}\n",
        "format: 1\ndecided: {taken: 2026-10-06, by: tomas}\ncylinders:\n  1: {rod: R2}\n  2: {rod: R1}\n",
        """\
format: 1
decided: {taken: 2026-10-05, by: ava, from: [W1]}
cylinders:
  1: {rod: R1}
  2: {rod: R2}
revised:
  - id: D2
    decided: {taken: 2026-10-06, by: tomas}
    because: "both benches decided, and neither knew of the other"
    cylinders: {1: {rod: R2}, 2: {rod: R1}}
note: "conflict in the pairing: D2 counts, another bench has the first decision: decide"
""",
        questions=("the pairing: D2, the first decision",),
    ),
    "a bench that decided earlier is the earlier one": Case(
        "pairings",
        "format: 1\n",
        "format: 1\ndecided: {taken: 2026-10-05, by: ava}\ncylinders: {1: {rod: R1}}\n",
        "format: 1\ndecided: {taken: 2026-10-04, by: tomas}\ncylinders: {1: {rod: R2}}\n",
        """\
format: 1
decided: {taken: 2026-10-04, by: tomas}
cylinders: {1: {rod: R2}}
revised:
  - id: D2
    decided: {taken: 2026-10-05, by: ava}
    because: "both benches decided, and neither knew of the other"
    cylinders: {1: {rod: R1}}
note: "conflict in the pairing: D2 counts, another bench has the first decision: decide"
""",
        questions=("the pairing: D2, the first decision",),
    ),
    "both benches decide alike: nothing is to decide": Case(
        "pairings",
        "format: 1\n",
        "format: 1\ndecided: {taken: 2026-10-05, by: ava}\ncylinders: {1: {rod: R1}}\n",
        "format: 1\ndecided: {taken: 2026-10-06, by: tomas}\ncylinders: {1: {rod: R1}}\n",
        """\
format: 1
decided: {taken: 2026-10-05, by: ava}
cylinders: {1: {rod: R1}}
revised:
  - id: D2
    decided: {taken: 2026-10-06, by: tomas}
    because: "both benches decided, and neither knew of the other"
    cylinders: {1: {rod: R1}}
""",
    ),
    "both benches revise a pairing: the later one counts, and is asked about": Case(
        "pairings",
        PAIRED,
        PAIRED + "revised:\n" + revision("D2", "2026-10-06", "ava", "R3"),
        PAIRED + "revised:\n" + revision("D2", "2026-10-07", "tomas", "R4"),
        PAIRED
        + "revised:\n"
        + revision("D3", "2026-10-06", "ava", "R3", ", note: entered as D2")
        + revision("D2", "2026-10-07", "tomas", "R4")
        + 'note: "conflict in the pairing: D2 counts, another bench has D3: decide"\n',
        questions=("the pairing: D2, D3",),
        renumbered=("ours D2 D3",),
    ),
    "a conflict that one bench decided is gone, and another stays": Case(
        "build",
        f'{OPENED}limits: {{quench: {{min: 0.90}}}}\nnote: "{QUENCH}; {DECK}; cold"\n',
        f'{OPENED}limits: {{quench: {{min: 0.90}}}}\nuse: marine\nnote: "{QUENCH}; {DECK}; cold"\n',
        f'{OPENED}limits: {{quench: {{min: 0.98}}}}\nuse: street\nnote: "{DECK}; cold"\n',
        f"{OPENED}limits: {{quench: {{min: 0.98}}}}\nuse: marine\n"
        f'note: "cold; {DECK}; conflict in use: marine counts, another bench has street: decide"\n',
        questions=("use: marine, street",),
    ),
    "the last conflict goes with its note": Case(
        "build",
        f'{OPENED}use: marine\nnote: "{DECK}"\n',
        f'{OPENED}purpose: ours\nuse: marine\nnote: "{DECK}"\n',
        f"{OPENED}use: street\n",
        f"{OPENED}purpose: ours\nuse: street\n",
    ),
    "two notes": Case(
        "build",
        f"{OPENED}note: warm\n",
        f"{OPENED}note: cold; damp\n",
        f"{OPENED}note: hot\n",
        f'{OPENED}note: "cold; damp; conflict in note: cold; damp counts, another bench has hot: decide"\n',
        questions=("note: cold; damp, hot",),
    ),
    "people and instruments from both benches": Case(
        "shop",
        "format: 1\npeople:\n  ava: {name: Ava}\ninstruments:\n  scale: {kind: scale}\n",
        "format: 1\npeople:\n  ava: {name: Ava}\n  tomas: {name: Tomas}\ninstruments:\n  scale: {kind: scale}\n",
        "format: 1\npeople:\n  ava: {name: Ava}\n  mika:\n    name: Mika  # new\ninstruments:\n  scale: {kind: scale}\n"
        "  fine: {kind: scale}\n",
        "format: 1\npeople:\n  ava: {name: Ava}\n  tomas: {name: Tomas}\n  mika:\n    name: Mika  # new\ninstruments:\n"
        "  scale: {kind: scale}\n  fine: {kind: scale}\n",
    ),
}


def told(merged: Merged) -> tuple[tuple[str, ...], tuple[str, ...]]:
    questions = tuple(f"{each.where}: {each.counts}, {each.other}" for each in merged.marks)
    return questions, tuple(f"{each.side} {each.old} {each.new}" for each in merged.renumbered)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_what_both_benches_entered_comes_together(case: Case) -> None:
    merged = merge_texts(case.kind, case.base, case.ours, case.theirs)
    assert merged.text == case.expected
    assert told(merged) == (case.questions, case.renumbered)
    assert not merged.apart
    tree(merged.text, case.kind)


def crlf(text: str | None) -> str | None:
    return text.replace("\n", "\r\n") if text is not None else None


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_line_ends_stay_as_ours_has_them(case: Case) -> None:
    ours, expected = crlf(case.ours), crlf(case.expected)
    assert ours is not None
    assert merge_texts(case.kind, crlf(case.base), ours, case.theirs).text == expected


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_merging_again_what_is_merged_changes_nothing(case: Case) -> None:
    """The other bench then has the result as theirs, and its own as what both come from."""
    merged = merge_texts(case.kind, case.base, case.ours, case.theirs).text
    assert merge_texts(case.kind, case.theirs, case.theirs, merged) == Merged(merged)
    assert merge_texts(case.kind, case.ours, merged, merged) == Merged(merged)


def test_a_reference_in_another_file_follows_the_session() -> None:
    base = "format: 1\n"
    theirs = "format: 1\ndecided: {taken: 2026-10-05, by: ava, from: [W1, W2]}\ncylinders: {1: {rod: R1}}\n"
    followed = {"theirs": {"W2": "W5"}}
    expected = theirs.replace("W2", "W5")
    assert merge_texts("pairings", base, base, theirs, followed={"theirs": {"W2": "W5"}, "ours": {}}).text == expected
    ours = "# hand\nformat: 1\nlocked: [{rod: R1, cylinder: 1}]\n"
    merged = merge_texts("pairings", base, ours, theirs, followed={"theirs": followed["theirs"], "ours": {}})
    assert "from: [W1, W5]" in merged.text


def test_a_bench_that_has_not_heard_of_a_renumbering_follows_it() -> None:
    """Its W2 became W3 elsewhere; what it wrote into W2 and about W2 since belongs to W3."""
    base = f"{HEAD}sessions:\n{W1}{W2_THEIRS}"
    first = f"{HEAD}sessions:\n{W1}"
    elsewhere = merge_texts("weighings", first, f"{first}{W2_OURS}", base, unsent="theirs").text
    ours = base.replace("      P1: 507.50\n", "      P1: 507.50\n      P2: 507.75\n")
    merged = merge_texts("weighings", base, ours, elsewhere)
    assert told(merged) == ((), ("ours W2 W3",))
    assert merged.text == elsewhere.replace("      P1: 507.50\n", "      P1: 507.50\n      P2: 507.75\n")


@pytest.mark.parametrize(
    ("kind", "base", "ours", "theirs", "words"),
    [
        ("weighings", f"{HEAD}sessions:\n{W1}", f"{HEAD}sessions:\n{W1}{W2_OURS}",
         f"format: 1\nunits: {{mass: oz}}\nsessions:\n{W1}", "unit of mass"),
        ("spins", "format: 1\nsteps: []\n", "format: 1\nangles: {positive: against_rotation}\nsteps: []\n",
         "format: 1\nsteps:\n  - {id: S1, fit: {part: D1}}\n", "counts angles"),
        ("weighings", f"{HEAD}sessions: []\n", f"{HEAD}sessions:\n{W1}", f"{HEAD}sessions:\n{W1}{W1}", "two records"),
        ("weighings", f"{HEAD}sessions: []\n", f"{HEAD}sessions:\n{W1}", "{:", "cannot be read"),
        ("weighings", f"{HEAD}sessions: []\n", f"{HEAD}sessions:\n{W1}",
         f"{HEAD}sessions:\n  - {{id: W9, what: rod, reading: {{R1: 1.0}}}}\n", "laid out"),
    ],
)  # fmt: skip
def test_what_cannot_go_together_is_kept_apart_and_asked(
    kind: str, base: str, ours: str, theirs: str, words: str
) -> None:
    merged = merge_texts(kind, base, ours, theirs)
    assert merged.text == ours
    assert words in merged.apart


def test_gits_own_merge_is_taken_where_it_means_the_same() -> None:
    base, ours = f"# a\n{HEAD}sessions:\n{W1}", f"# a\n{HEAD}sessions:\n{W1.replace('611.9', '611.8')}"
    theirs, clean = base.replace("# a", "# b"), ours.replace("# a", "# b")
    assert merge_texts("weighings", base, ours, theirs, line_merge=lambda *_: clean).text == clean
    wrong = clean.replace("611.8", "611.7")
    assert merge_texts("weighings", base, ours, theirs, line_merge=lambda *_: wrong).text == ours
    assert merge_texts("weighings", base, ours, theirs).text == ours


# --- any two benches -------------------------------------------------------------------------------------------------

PIECES = [f"R{number}" for number in range(1, 6)]
readings = st.dictionaries(
    st.sampled_from(PIECES), st.integers(6000, 6200).map(lambda tenths: f"{tenths // 10}.{tenths % 10}"), min_size=1
)
minutes = st.integers(0, 59).map(lambda minute: f"2026-10-03T09:{minute:02}+01:00")


class Session(NamedTuple):
    taken: str | None
    by: str
    readings: dict[str, str]
    block: bool

    def text(self, id_: str) -> str:
        fields = [f"id: {id_}", *([f"taken: {self.taken}"] if self.taken else []), f"by: {self.by}", "what: rod"]
        inside = ", ".join(f"{piece}: {value}" for piece, value in self.readings.items())
        fields.append(f"readings: {{{inside}}}")
        if not self.block:
            return f"  - {{{', '.join(fields)}}}\n"
        return "".join(f"{'  - ' if number == 0 else '    '}{each}\n" for number, each in enumerate(fields))


sessions = st.builds(Session, st.none() | minutes, st.sampled_from(["ava", "tomas"]), readings, st.booleans())
benches = st.lists(sessions, max_size=3)


def written(all_sessions: list[Session]) -> str:
    return f"{HEAD}sessions:\n" + "".join(each.text(f"W{number}") for number, each in enumerate(all_sessions, 1))


@st.composite
def two_benches(draw: Callable[..., object]) -> tuple[str, str, str]:
    """A file, and what each of two benches made of it: readings corrected or added, sessions added."""

    def bench(base: list[Session]) -> str:
        changed = []
        for each in base:
            more = draw(st.none() | readings)
            changed.append(each._replace(readings={**each.readings, **more}) if isinstance(more, dict) else each)
        added = draw(benches)
        assert isinstance(added, list)
        return written([*changed, *added])

    base = draw(benches)
    assert isinstance(base, list)
    return written(base), bench(base), bench(base)


def values(text: str) -> Counter[tuple[str, str]]:
    """Every reading of a file, those in the reason of a void record left out: piece and value."""
    listed = tree(text).get("sessions")
    found: Counter[tuple[str, str]] = Counter()
    for session in listed.items if isinstance(listed, ListNode) else ():
        assert isinstance(session, MapNode)
        inside = session.get("readings")
        assert isinstance(inside, MapNode)
        found.update((piece, node.text) for piece, node in inside.items() if isinstance(node, TextNode))
    return found


@quick
@given(two_benches())
def test_no_reading_of_either_bench_is_dropped(texts: tuple[str, str, str]) -> None:
    base, ours, theirs = texts
    merged = merge_texts("weighings", base, ours, theirs)
    tree(merged.text, "weighings")
    assert not merged.apart
    there = values(merged.text)
    for side in (ours, theirs):
        entered = values(side) - values(base)
        assert set(entered) <= set(there), (base, ours, theirs, merged.text)


def said(text: str) -> Counter[str]:
    """What the records say, without their ids, the order of them, and which of two values stands as void."""
    listed = tree(text).get("sessions")
    return Counter(
        repr(sorted((name, repr(sorted_meaning(node))) for name, node in item.items() if name not in {"id", "note"}))
        for item in (listed.items if isinstance(listed, ListNode) else ())
        if isinstance(item, MapNode)
    )


def sorted_meaning(node: Node) -> object:
    what = meaning(node)
    return sorted(what.items()) if isinstance(what, dict) else what


@quick
@given(two_benches())
def test_it_does_not_matter_which_bench_merges(texts: tuple[str, str, str]) -> None:
    base, ours, theirs = texts
    one, other = merge_texts("weighings", base, ours, theirs), merge_texts("weighings", base, theirs, ours)
    if not one.marks:
        assert said(one.text) == said(other.text)
    assert {(each.counts, each.other) for each in one.marks} == {(each.other, each.counts) for each in other.marks}
    assert values(one.text) == values(other.text)
    assert {(each.old, each.new) for each in one.renumbered} == {(each.old, each.new) for each in other.renumbered}


def ids(text: str) -> Iterator[str]:
    return iter(re.findall(r"\bid: (W\d+)", text))


@quick
@given(two_benches())
def test_ids_are_unique_and_added_records_stand_in_the_order_taken(texts: tuple[str, str, str]) -> None:
    base, ours, theirs = texts
    merged = merge_texts("weighings", base, ours, theirs)
    found = list(ids(merged.text))
    assert len(found) == len(set(found))
    assert found[: len(list(ids(base)))] == list(ids(base))

    # where both benches wrote theirs down in order, the whole is in order
    def times(text: str) -> list[datetime]:
        return [datetime.fromisoformat(each) for each in re.findall(r"\btaken: (\S+?)[,}\n]", text)][number:]

    number = len(re.findall(r"\btaken: ", base))
    untimed = len(list(ids(ours))) + len(list(ids(theirs))) != len(re.findall(r"\btaken: ", ours + theirs))
    if not untimed and not merged.marks and all(times(each) == sorted(times(each)) for each in (ours, theirs)):
        assert times(merged.text) == sorted(times(merged.text))
