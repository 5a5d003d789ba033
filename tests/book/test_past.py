"""A book as it was: its commits and its files at any of them, through real git."""

import os
import subprocess
from pathlib import Path

import pytest
from cli.workshop import git, into_git
from conftest import BUILD, Book

from buildbook.book import past
from buildbook.book.commits import commits, contents
from buildbook.book.git import NotKept
from buildbook.book.places import Misuse

SIGNED = "sign_offs: [{id: A1, stage: balanced, taken: 2026-10-09, by: ava}]\n"


def commit(book: Book, message: str, day: str) -> str:
    """Commit everything as of noon of that day; the commit's name."""
    git(book.root, "add", "--all")
    subprocess.run(
        ["git", "-C", str(book.root), "-c", "user.name=Ava Merrow", "-c", "user.email=ava@example.org",
         "commit", "--quiet", f"--message={message}", f"--date={day}T12:00:00+00:00"],
        env={**os.environ, "GIT_COMMITTER_DATE": f"{day}T12:00:00+00:00"}, check=True,
    )  # fmt: skip
    return git(book.root, "rev-parse", "HEAD").strip()


@pytest.fixture
def days(book: Book) -> tuple[Book, list[str]]:
    """Three days of one build: begun, a limit changed, signed off."""
    git(book.root, "init", "--quiet", "--initial-branch=main")
    shas = [commit(book, "Begin build twin/first\n\nBuild: twin/first", "2026-10-01")]
    book.write("build.yaml", BUILD.replace("max: 1.0", "max: 0.8"))
    shas.append(commit(book, "Ask for more", "2026-10-05"))
    book.write("build.yaml", BUILD.replace("max: 1.0", "max: 0.8") + SIGNED)
    shas.append(commit(book, "Record A1: balanced\n\nBuild: twin/first\nRecord: A1", "2026-10-09"))
    return book, shas


def test_commits_come_newest_first_with_who_when_trailers_and_files(days: tuple[Book, list[str]]) -> None:
    book, shas = days
    found = commits(book.root)
    assert [each.sha for each in found] == shas[::-1]
    assert [each.subject for each in found] == ["Record A1: balanced", "Ask for more", "Begin build twin/first"]
    newest = found[0]
    assert (newest.author, newest.when.isoformat()) == ("Ava Merrow", "2026-10-09T12:00:00+00:00")
    assert newest.trailers == {"Build": "twin/first", "Record": "A1"}
    assert newest.paths == ("engines/twin/first/build.yaml",)
    assert (newest.parents, newest.committer) == ((shas[1],), "Ava Merrow")
    assert found[1].trailers == {}


def test_only_the_commits_that_touched_a_folder_are_asked_for(days: tuple[Book, list[str]]) -> None:
    book, shas = days
    assert [each.sha for each in commits(book.root, book.root / "shop.yaml")] == shas[:1]
    assert len(commits(book.root, book.folder)) == 3


def test_a_name_that_git_would_quote_is_read_as_it_is(book: Book) -> None:
    book.write('engines/twin/first/notes é "q".txt', "x")
    into_git(book.root)
    assert 'engines/twin/first/notes é "q".txt' in commits(book.root)[0].paths


def test_files_are_read_as_they_stood_and_none_where_they_did_not(days: tuple[Book, list[str]]) -> None:
    book, shas = days
    path, never = book.folder / "build.yaml", book.folder / "spins.yaml"
    held = contents(book.root, [(shas[0], path), (shas[0], never), (shas[2], path), (shas[0], book.folder)])
    assert held == [BUILD.encode(), None, path.read_bytes(), None]
    assert contents(book.root, []) == []


def test_a_build_is_loaded_as_it_was(days: tuple[Book, list[str]]) -> None:
    book, shas = days
    book.write("build.yaml", "not: [yaml")
    limits = []
    for sha in shas:
        build = past.load_at(book.root, "twin/first", sha).build
        assert build is not None
        limits.append((build.limits["reciprocating_spread"].bounds["max"].text, len(build.sign_offs)))
    assert limits == [("1.0", 0), ("0.8", 0), ("0.8", 1)]


def test_a_build_that_was_not_there_yet_is_said_not_to_be(days: tuple[Book, list[str]]) -> None:
    book, shas = days
    with pytest.raises(Misuse, match="twin/second was not in the book"):
        past.load_at(book.root, "twin/second", shas[0])


@pytest.mark.parametrize(
    ("said", "which"),
    [
        *(("2026-10-04", 0), ("2026-10-05", 1), ("2026-10-05T11:59+00:00", 0), ("2026-12-31", 2), ("A1", 2)),
        *(("2026-10", 2), ("2026", 2), ("2027-02", 2)),
    ],
)
def test_a_moment_is_a_day_a_month_a_year_a_time_or_a_sign_off(
    days: tuple[Book, list[str]], said: str, which: int
) -> None:
    book, shas = days
    assert past.commit_at(book.root, said, "twin/first") == shas[which]


def test_a_moment_is_a_commit_by_its_first_letters(days: tuple[Book, list[str]]) -> None:
    book, shas = days
    assert past.commit_at(book.root, shas[1][:10]) == shas[1]


@pytest.mark.parametrize(
    "said",
    [
        "2026-09-30",
        "2026-09",
        "2025",
        "2026-13",
        "2026-13-01",
        "0000",
        "A9",
        "deadbeef12",
        "HEAD; rm",
        "--all",
        "yesterday",
    ],
)
def test_what_is_no_moment_is_misuse(days: tuple[Book, list[str]], said: str) -> None:
    with pytest.raises(Misuse):
        past.commit_at(days[0].root, said, "twin/first")


def test_a_book_without_git_says_so(book: Book) -> None:
    with pytest.raises(NotKept):
        commits(book.root)


@pytest.mark.parametrize(("state", "said"), [("no git", "not a git repository"), ("no commit", "nothing of this book")])
@pytest.mark.parametrize("moment", ["2026-10-05", "2026-10", "A1", "deadbeef12"])
def test_no_moment_can_be_found_where_there_is_no_history(book: Book, state: str, said: str, moment: str) -> None:
    if state == "no commit":
        git(book.root, "init", "--quiet")
    with pytest.raises(Misuse, match=said):
        past.commit_at(book.root, moment, "twin/first")
    with pytest.raises(Misuse):
        past.load_at(book.root, "twin/first", "HEAD")


def test_a_trailer_given_several_times_has_a_line_for_each(book: Book) -> None:
    git(book.root, "init", "--quiet")
    commit(book, "Edit twin/first\n\nBuild: twin/first\nRecord: W1\nRecord: W2", "2026-10-01")
    assert commits(book.root)[0].trailers == {"Build": "twin/first", "Record": "W1\nW2"}


def test_a_merge_has_the_files_that_it_has_otherwise_than_each_of_its_parents(days: tuple[Book, list[str]]) -> None:
    book, _ = days
    git(book.root, "switch", "--quiet", "--create", "side")
    book.write("parts.yaml", "format: 1\n")
    side = commit(book, "Parts", "2026-10-10")
    git(book.root, "switch", "--quiet", "-")
    (book.root / "shop.yaml").write_text((book.root / "shop.yaml").read_text() + "# more\n")
    here = commit(book, "Shop", "2026-10-11")
    git(book.root, "merge", "--quiet", "--no-commit", "side")
    book.write("build.yaml", BUILD)
    merge = commit(book, "Merge", "2026-10-12")
    found = commits(book.root)
    assert (found[0].sha, set(found[0].parents)) == (merge, {here, side})
    assert found[0].paths == ("engines/twin/first/build.yaml",)
    # of one file, those alone that touched it, each with the nearest before it
    of_parts = commits(book.root, book.folder / "parts.yaml")
    assert [(each.sha, each.parents) for each in of_parts] == [(side, ())]


def test_a_sign_off_that_a_merge_renumbered_means_the_commit_that_brought_it(days: tuple[Book, list[str]]) -> None:
    book, shas = days
    git(book.root, "switch", "--quiet", "--create", "side", shas[1])
    ours = (book.folder / "build.yaml").read_text()
    book.write("build.yaml", ours + SIGNED.replace("ava", "tomas"))
    side = commit(book, "Record A1: balanced", "2026-10-08")
    git(book.root, "switch", "--quiet", "-")
    git(book.root, "merge", "--quiet", "--no-commit", "--strategy=ours", "side")
    both = "sign_offs:\n  - {id: A1, stage: balanced, taken: 2026-10-09, by: ava}\n"
    other = "  - {id: A2, stage: balanced, taken: 2026-10-09, by: tomas, note: entered as A1}\n"
    book.write("build.yaml", ours + both + other)
    commit(book, "Merge", "2026-10-12")
    assert past.commit_at(book.root, "A1", "twin/first") == shas[2]
    assert past.sign_off_at(book.root, "twin/first", "A2") == (side, "A1")


def test_the_past_is_read_from_any_folder(days: tuple[Book, list[str]], monkeypatch: pytest.MonkeyPatch) -> None:
    book, shas = days
    monkeypatch.chdir(Path("/"))
    assert past.load_at(book.root, "twin/first", shas[0]).build is not None
