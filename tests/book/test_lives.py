"""The lives of builds: which commits made what, and which one brought and which one voided a record."""

from cli.workshop import git, into_git
from conftest import Book
from figures.ledger import ALL_WEIGHED, weighings

from buildbook.book.commits import commits
from buildbook.book.lives import kept, life
from buildbook.book.reading import Reader
from buildbook.figures.timeline import Event


def commit(book: Book, message: str, day: str) -> None:
    git(book.root, "add", "--all")
    git(book.root, "commit", "--quiet", f"--date={day}T12:00:00+00:00", f"--message={message}")


def test_commits_are_told_apart_by_their_trailers_and_their_folder(book: Book) -> None:
    into_git(book.root)
    for message, file in (
        ("Record W1: piston\n\nBuild: twin/first", "first/weighings.yaml"),
        ("Record W2: pin\n\nBuild: twin/first\nRecord: W2", "first/weighings.yaml"),
        ("Match twin/first: spread 0.10 g\n\nBuild: twin/first\nRecord: D1", "first/pairings.yaml"),
        ("Edit twin/first: weighings W1 and W2 changed\n\nBuild: twin/first\nRecord: W2", "first/weighings.yaml"),
        ("Begin build twin/first\n\nBuild: twin/first", "first/spins.yaml"),
        ("Begin engine twin", "engine.yaml"),
        ("Owner called", "engine.yaml"),
        ("Tidied", "first/parts.yaml"),
        ("Begin twice", "other/parts.yaml"),
    ):
        path = book.root / "engines" / "twin" / file
        path.parent.mkdir(exist_ok=True)
        path.write_text((path.read_text() if path.exists() else "") + "# more\n")
        commit(book, message, "2026-10-09")
    all_commits = commits(book.root)
    assert [(each.how, each.records, each.files) for each in kept(all_commits, "twin/first")] == [
        ("hand", (), ("parts",)),
        ("opened", (), ("spins",)),
        ("hand", (), ("weighings",)),
        ("command", ("D1",), ("pairings",)),
        ("command", ("W2",), ("weighings",)),
        ("command", ("W1",), ("weighings",)),
        ("hand", (), ("build",)),
    ]
    assert [(each.how, each.subject) for each in kept(all_commits, "twin")] == [
        ("hand", "Owner called"),
        ("begun", "Begin engine twin"),
        ("hand", "Begin"),
    ]


def test_a_merge_is_no_edit_by_hand(book: Book) -> None:
    into_git(book.root)
    git(book.root, "switch", "--quiet", "--create", "bench")
    book.write("parts.yaml", "format: 1\nparts: []\n")
    commit(book, "Parts", "2026-10-02")
    git(book.root, "switch", "--quiet", "main")
    book.write("weighings.yaml", "format: 1\nsessions: []\n")
    commit(book, "Weighings", "2026-10-03")
    git(book.root, "merge", "--quiet", "--no-commit", "bench")
    book.write("build.yaml", (book.folder / "build.yaml").read_text() + "# more\n")
    commit(book, "Merge with origin\n\nBuild: twin/first", "2026-10-04")
    found = kept(commits(book.root), "twin/first")
    assert (found[0].how, found[0].files) == ("merged", ("build",))
    assert {each.how for each in found[1:]} == {"hand"}


def lived(book: Book, *, exactly: bool) -> dict[str | None, Event]:
    build = Reader(book.root).load("twin/first").build
    assert build is not None
    events = life(book.root, build, commits(book.root, book.folder), exactly=exactly)
    return {each.record: each for each in events if each.what == "weighed"} | {
        f"{each.record} void": each for each in events if each.what == "called void"
    }


def test_the_files_as_they_were_say_what_brought_a_record_and_what_called_it_void(book: Book) -> None:
    into_git(book.root)
    first = weighings(*ALL_WEIGHED)
    for number, text in enumerate(
        (
            first,
            first.replace("id: W6, ", "id: W6, note: id W60, ") + "  - {id: W60, what: pin, readings: {N1: 1.0}}\n",
            first + '  - {id: "W60", void: the lid\n      was on, what: pin, readings: {N1: 1.0}}\n',
        ),
        start=1,
    ):
        book.write("weighings.yaml", text)
        commit(book, f"edit {number}", f"2026-10-2{number}")
    for exactly in (False, True):
        found = lived(book, exactly=exactly)
        assert [(name, each.late.subject if each.late else None) for name, each in found.items()][-2:] == [
            ("W60", None),  # it says no day, so it cannot be late
            ("W60 void", None),
        ]
        assert (found["W6"].how, found["W6"].late and found["W6"].late.subject) == ("hand", "edit 1")
        assert found["W60 void"].when is not None
        assert found["W60 void"].when.day.isoformat() == "2026-10-23"
