"""What was edited by hand is told by what it means, and the message says it."""

import pytest
from cli.workshop import into_git
from conftest import Book

from buildbook.book import git, kept

WEIGHINGS = "format: 1\nunits: {mass: g}\nsessions:\n"
PARTS = "format: 1\nunits: {mass: g}\nparts:\n  - {kind: rod, ids: [R1, R2]}\n"


def weighing(number: int, more: str = "") -> str:
    return f"  - {{id: W{number}, taken: 2026-10-03, by: ava, with: scale, what: rod, readings: {{R1: 633.0}}{more}}}\n"


@pytest.fixture
def twin(book: Book) -> Book:
    book.write("weighings.yaml", WEIGHINGS + weighing(1) + weighing(2))
    book.write("parts.yaml", PARTS)
    into_git(book.root)
    return book


def edits(book: Book) -> list[kept.Edit]:
    changes = git.changed(book.root, book.root / "shop.yaml", book.root / "engines")
    return kept.edits(book.root, kept.ledger_files(book.root, changes))


def said(book: Book) -> str:
    (edit,) = edits(book)
    return "; ".join(edit.said)


def change(book: Book, name: str, old: str, new: str) -> None:
    path = book.root / name if "/" in name or name == "shop.yaml" else book.folder / name
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new))


def test_nothing_edited_is_nothing_told(twin: Book) -> None:
    assert edits(twin) == []


EDITS = {
    "one added": ("weighings.yaml", weighing(2), weighing(2) + weighing(3), "weighing W3 added"),
    "two added": (
        *("weighings.yaml", weighing(2), weighing(2) + weighing(3) + weighing(4)),
        "weighings W3 and W4 added",
    ),
    "many added": (
        *("weighings.yaml", weighing(2), "".join(map(weighing, range(2, 12)))),
        "weighings W3 to W11 (9 of them) added",
    ),
    "removed": ("weighings.yaml", weighing(2), "", "weighing W2 removed"),
    "voided": ("weighings.yaml", weighing(2), weighing(2, ", void: dropped"), "weighing W2 voided"),
    "a digit more": ("weighings.yaml", weighing(2), weighing(2).replace("633.0", "633.00"), "weighing W2 changed"),
    "a limit": ("build.yaml", "{max: 1.0}", "{max: 1.5}", "limit reciprocating_spread changed"),
    "a limit gone": ("build.yaml", ", bobweight_set: {within: 0.5}", "", "limit bobweight_set removed"),
    "a choice": ("build.yaml", "factor: 50", "factor: 48", "balance choice factor changed"),
    "a field": ("build.yaml", "opened: 2026-10-01", "opened: 2026-10-02", "opened changed"),
    "a part": ("parts.yaml", "[R1, R2]", "[R1, R2, R3]", "part rod R1 changed"),
    "an owner": (
        *("engines/twin/engine.yaml", "layout:", "owner: {name: A ferry}\nlayout:"),
        "owner added",
    ),
    "a person": ("shop.yaml", "  tomas:", "  mika: {name: Mika}\n  tomas:", "person mika added"),
    "an instrument": ("shop.yaml", "resolution: 0.1 g", "resolution: 0.2 g", "instrument scale changed"),
    "a remark": ("build.yaml", "engine: twin", "engine: twin  # ours", "remarks or layout of build.yaml changed"),
    "unreadable": ("build.yaml", "{max: 1.0}", "{max: 1.0", "build.yaml changed, which cannot be read for certain"),
}


@pytest.mark.parametrize("case", EDITS.values(), ids=EDITS)
def test_an_edit_is_told_by_what_it_means(twin: Book, case: tuple[str, str, str, str]) -> None:
    name, old, new, expected = case
    change(twin, name, old, new)
    assert said(twin) == expected


def test_what_may_be_run_is_told_from_what_is_said(twin: Book) -> None:
    (twin.folder / "build.yaml").chmod(0o755)
    assert said(twin) == "build.yaml has other permissions"


def test_a_link_is_told_from_what_it_leads_to(twin: Book) -> None:
    (twin.folder / "build.yaml").rename(twin.root / "elsewhere.yaml")
    (twin.folder / "build.yaml").symlink_to(twin.root / "elsewhere.yaml")
    assert said(twin) == "build.yaml is a link now"


def test_the_message_names_the_build_what_changed_and_the_records(twin: Book) -> None:
    change(twin, "weighings.yaml", weighing(2), weighing(2) + weighing(11) + weighing(12))
    change(twin, "build.yaml", "{max: 1.0}", "{max: 1.5}")
    assert kept.message(edits(twin)) == (
        "Edit twin/first: limit reciprocating_spread changed; weighings W11 and W12 added\n\n"
        "Build: twin/first\nRecord: W11\nRecord: W12"
    )


def test_several_builds_have_a_line_each(twin: Book) -> None:
    text = (twin.folder / "build.yaml").read_text()
    twin.write("engines/twin/second/build.yaml", text.replace("build: first", "build: second"))
    change(twin, "shop.yaml", "Ava Merrow", "Ava M. Merrow")
    change(twin, "build.yaml", "{max: 1.0}", "{max: 1.5}")
    assert kept.message(edits(twin)) == (
        "Edit shop.yaml, twin/first and twin/second\n\n"
        "shop.yaml: person ava changed\n"
        "twin/first: limit reciprocating_spread changed\n"
        "twin/second: begun by hand\n\n"
        "Build: twin/first\nBuild: twin/second"
    )


def test_two_short_edits_are_told_in_the_subject_and_many_are_counted(twin: Book) -> None:
    text = (twin.folder / "build.yaml").read_text()
    for name in ("second", "third"):
        twin.write(f"engines/twin/{name}/build.yaml", text.replace("build: first", f"build: {name}"))
    subject, *rest = kept.message(edits(twin)).splitlines()
    assert subject == "Edit twin/second: begun by hand; twin/third: begun by hand"
    assert rest == ["", "Build: twin/second", "Build: twin/third"]
    for number in range(8):
        twin.write(f"engines/twin/more-{number}/build.yaml", text.replace("build: first", f"build: more-{number}"))
    subject, _, *rest = kept.message(edits(twin)).splitlines()
    assert subject == "Edit 10 builds and engines"
    assert "twin/more-7: begun by hand" in rest


def test_a_subject_line_of_ones_own_stands_above_what_changed(twin: Book) -> None:
    change(twin, "build.yaml", "{max: 1.0}", "{max: 1.5}")
    subject, _, told, *_ = kept.message(edits(twin), "Looser, as agreed").splitlines()
    assert (subject, told) == ("Looser, as agreed", "twin/first: limit reciprocating_spread changed")


def test_a_long_message_keeps_its_subject_short(twin: Book) -> None:
    change(twin, "build.yaml", "limits:", "purpose: a\nfollows: b\nlimits:")
    change(twin, "build.yaml", "factor: 50, oil: 3.0", "factor: 49, oil: 3.1, grade: G16")
    change(twin, "weighings.yaml", weighing(2), "".join(map(weighing, range(2, 9))))
    subject, empty, *rest = kept.message(edits(twin)).splitlines()
    assert (len(subject) <= 100, empty) == (True, "")
    assert "weighings W3, W4, W5, W6, W7 and W8 added" in rest


def test_a_name_out_of_a_file_cannot_forge_a_trailer(twin: Book) -> None:
    change(twin, "weighings.yaml", weighing(2), weighing(2).replace("id: W2", 'id: "W2\\nBuild: other/build"'))
    lines = kept.message(edits(twin)).splitlines()
    assert [line for line in lines if line.startswith("Build:")] == ["Build: twin/first"]


def test_a_file_and_a_build_that_are_gone(twin: Book) -> None:
    (twin.folder / "parts.yaml").unlink()
    assert said(twin) == "parts.yaml removed"
    for path in list(twin.folder.iterdir()):
        path.unlink()
    assert said(twin) == "removed"


def test_only_files_of_the_ledger_count(twin: Book) -> None:
    for name in ("notes.txt", "engines/twin/first/photo.jpg", "engines/twin/first/old.yaml", "engines/readme.yaml"):
        twin.write(name, "mine")
    assert edits(twin) == []


def test_check_notes_count_in_few_words(twin: Book) -> None:
    change(twin, "weighings.yaml", weighing(2), weighing(2) + weighing(11) + weighing(12))
    change(twin, "build.yaml", "{max: 1.0}", "{max: 1.5}")
    (note,) = kept.notes(twin.root, git.changed(twin.root, twin.root / "engines"))
    assert (note.severity, note.rule) == ("note", "not-kept")
    assert note.what == "edited by hand since it was kept: limits changed, 2 records added"
    assert "buildbook keep" in note.remedy
