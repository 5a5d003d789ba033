"""What two benches wrote differently is found again in every form, with both values and what decides it."""

from pathlib import Path

import pytest

from buildbook.book.loader import parse
from buildbook.book.sync.undecided import (
    NOTHING,
    Mark,
    Question,
    as_finding,
    in_book,
    in_folder,
    in_tree,
    in_words,
    parted,
    two_seals,
)

TWO = [Mark("limits quench min", "0.90", "0.98"), Mark("P1 state", "new", "reused")]


@pytest.mark.parametrize("free", ["", "cold; damp", "said: conflict of interest", "a: b; c"])
@pytest.mark.parametrize("marks", [[], TWO[:1], TWO, [Mark("note", "cold; damp", "x: decide y")]])
def test_a_note_is_parted_into_what_a_person_wrote_and_the_conflicts(free: str, marks: list[Mark]) -> None:
    assert parted("; ".join(filter(None, (free, in_words(marks))))) == (free, marks)
    assert parted("; ".join(filter(None, (in_words(marks), free)))) == (free, marks)


def test_two_answers_to_one_question_are_asked_about_with_each_of_them_whole() -> None:
    """One bench decides for one value, another for the other: what decided it is a value then."""
    decided = in_words(TWO[:1]).replace("conflict", "decided")
    said = "decided in limits quench min: 0.90 and not 0.98"
    for values, expected in (((decided, NOTHING), (said, NOTHING)), ((NOTHING, decided), (NOTHING, said))):
        mark = Mark("W11 void", *expected)
        assert parted(in_words([Mark("W11 void", *values)])) == ("", [mark])
        assert parted(mark.words) == ("", [mark])


def questions(text: str) -> list[Question]:
    root, findings = parse(text, "f.yaml")
    assert root is not None, findings
    return list(in_tree("engines/twin/first/f.yaml", root))


HELD = {
    "in a void record": (
        f"steps:\n  - {{id: S1}}\n  - {{id: S2, void: '{in_words(TWO[:1])}'}}\n",
        [("limits quench min", "0.90", "0.98", "S2", 3)],
    ),
    "several in one": (
        f"note: {in_words(TWO)!r}\n",
        [("limits quench min", "0.90", "0.98", "note", 1), ("P1 state", "new", "reused", "note", 1)],
    ),
    "reworded": (
        "note: conflict in the purpose, I think\n",
        [("note", "", "conflict in the purpose, I think", "note", 1)],
    ),
    "decided": (f"sessions:\n  - {{id: W1, void: '{in_words(TWO[:1]).replace('conflict', 'decided')}'}}\n", []),
    "void for another reason": ("sessions:\n  - {id: W1, void: conflicts with nothing}\nnote: no conflict\n", []),
}


@pytest.mark.parametrize(("text", "expected"), HELD.values(), ids=HELD)
def test_a_conflict_is_found_where_it_is_held(text: str, expected: list[tuple[object, ...]]) -> None:
    assert [tuple(each[1:6]) for each in questions(text)] == expected


PAIRING = """\
decided: {taken: 2026-10-05, by: ava}
cylinders: {1: {rod: R1, piston: P1}, 2: {rod: R2}, 3: {rod: R3}}
revised:
  - {id: D2, decided: {taken: 2026-10-06, by: tomas}, cylinders: {1: {rod: R1, piston: P1}, 2: {rod: R3}, 3: {rod: R2}}}
note: "conflict in the pairing: D2 counts, another bench has the first decision: decide"
"""


def test_a_pairing_is_asked_about_with_the_sets_that_differ_and_no_others() -> None:
    (question,) = questions(PAIRING)
    assert question.counts == "D2 (tomas, 2026-10-06): 2: R3; 3: R2"
    assert question.other == "the first decision (ava, 2026-10-05): 2: R2; 3: R3"
    assert "with the cylinders of the first decision" in question.remedies[1]


REMEDIES = {
    "a reading": (Question("w.yaml", "W1 readings R1", "1.0", "1.1", "W4"), ("'decided' for", "take 'void' out of W4")),
    "a hole": (Question("s.yaml", "S1 drill depth", "19", "18", "S4"), ("'decided' for", "write it there")),
    "a limit": (Question("b.yaml", "limits x", "1", "2", "note"), ("out of the note of b.yaml", "write it there")),
    "taken out": (Question("w.yaml", "W1 readings R1", "1.0", NOTHING, "note"), ("if it stays", "void: why")),
    "void at one": (
        Question("w.yaml", "W11 void", "wrong", NOTHING, "note"),
        ("it stays void", "take 'void' out of W11"),
    ),
    "sign-offs": (Question("b.yaml", "the sign-offs", "A1", "A2", "note"), ("if both hold", "audit")),
    "seals": (two_seals("sealed/twin/first/A1"), ("audit",)),
    "beside": (Question("x/w.yaml", "the whole file", "w.yaml", "y", "x/y"), ("git diff --no-index x/w.yaml x/y",)),
    "gone": (Question("w.yaml", "the whole file", "it", NOTHING, "note"), ("if it stays", "delete w.yaml")),
    "reworded": (Question("w.yaml", "note", "", "who knows", "note"), ("out of the note",)),
}


@pytest.mark.parametrize(("question", "words"), REMEDIES.values(), ids=REMEDIES)
def test_every_question_says_what_decides_it_one_way_or_the_other(question: Question, words: tuple[str, ...]) -> None:
    assert len(question.remedies) == len(words)
    for remedy, expected in zip(question.remedies, words, strict=True):
        assert expected in remedy
    finding = as_finding(Path("book"), question)
    assert (finding.severity, finding.rule) == ("warning", "undecided")
    assert question.other in finding.what
    assert all(remedy in finding.remedy for remedy in question.remedies)


def test_a_whole_book_is_looked_through_and_nothing_outside_it(tmp_path: Path) -> None:
    book, build = tmp_path / "book", tmp_path / "book/engines/twin/first"
    build.mkdir(parents=True)
    note = f"note: {in_words(TWO[:1])!r}\n"
    (tmp_path / "elsewhere.yaml").write_text(note)
    for place in (book / "shop.yaml", build.parent / "engine.yaml", build / "build.yaml"):
        place.write_text(note)
    (build / "parts.yaml").symlink_to(tmp_path / "elsewhere.yaml")
    (build / "spins.yaml").write_text("note: [conflict in \n")  # unreadable: check says so
    (build / "weighings.yaml.theirs-0123abc.txt").write_text("x")
    for photos in (book / "photos", build / "photos", book / ".git"):
        photos.mkdir()
        (photos / "block.jpg.theirs-0123abc.txt").write_text("x")
    found = [(each.file, each.held_by) for each in in_book(book)]
    first = "engines/twin/first"
    beside = f"{first}/weighings.yaml.theirs-0123abc.txt"
    assert found == [
        ("photos/block.jpg", "photos/block.jpg.theirs-0123abc.txt"),
        ("shop.yaml", "note"), ("engines/twin/engine.yaml", "note"),
        (f"{first}/build.yaml", "note"), (f"{first}/photos/block.jpg", f"{first}/photos/block.jpg.theirs-0123abc.txt"),
        (f"{first}/weighings.yaml", beside),
    ]  # fmt: skip
    assert len(list(in_folder(book, build))) == 3
