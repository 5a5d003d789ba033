"""A book as it was: its commits and its files at any of them, through real git."""

import os
import subprocess
from pathlib import Path

import pytest
from cli.workshop import git, into_git
from conftest import BUILD, Book

from buildbook.book import past
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
    found = past.commits(book.root)
    assert [each.sha for each in found] == shas[::-1]
    assert [each.subject for each in found] == ["Record A1: balanced", "Ask for more", "Begin build twin/first"]
    newest = found[0]
    assert (newest.author, newest.when.isoformat()) == ("Ava Merrow", "2026-10-09T12:00:00+00:00")
    assert newest.trailers == {"Build": "twin/first", "Record": "A1"}
    assert newest.paths == ("engines/twin/first/build.yaml",)
    assert found[1].trailers == {}


def test_only_the_commits_that_touched_a_folder_are_asked_for(days: tuple[Book, list[str]]) -> None:
    book, shas = days
    assert [each.sha for each in past.commits(book.root, book.root / "shop.yaml")] == shas[:1]
    assert len(past.commits(book.root, book.folder)) == 3


def test_a_name_that_git_would_quote_is_read_as_it_is(book: Book) -> None:
    book.write('engines/twin/first/notes é "q".txt', "x")
    into_git(book.root)
    assert 'engines/twin/first/notes é "q".txt' in past.commits(book.root)[0].paths


def test_files_are_read_as_they_stood_and_none_where_they_did_not(days: tuple[Book, list[str]]) -> None:
    book, shas = days
    path, never = book.folder / "build.yaml", book.folder / "spins.yaml"
    held = past.contents(book.root, [(shas[0], path), (shas[0], never), (shas[2], path), (shas[0], book.folder)])
    assert held == [BUILD.encode(), None, path.read_bytes(), None]
    assert past.contents(book.root, []) == []


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
    [("2026-10-04", 0), ("2026-10-05", 1), ("2026-10-05T11:59+00:00", 0), ("2026-12-31", 2), ("A1", 2)],
)
def test_a_moment_is_a_day_a_time_or_a_sign_off(days: tuple[Book, list[str]], said: str, which: int) -> None:
    book, shas = days
    assert past.commit_at(book.root, said, "twin/first") == shas[which]


def test_a_moment_is_a_commit_by_its_first_letters(days: tuple[Book, list[str]]) -> None:
    book, shas = days
    assert past.commit_at(book.root, shas[1][:10]) == shas[1]


@pytest.mark.parametrize("said", ["2026-09-30", "2026-13-01", "A9", "deadbeef12", "HEAD; rm", "--all", "yesterday"])
def test_what_is_no_moment_is_misuse(days: tuple[Book, list[str]], said: str) -> None:
    with pytest.raises(Misuse):
        past.commit_at(days[0].root, said, "twin/first")


def test_a_book_without_git_says_so(book: Book) -> None:
    with pytest.raises(NotKept):
        past.commits(book.root)


def test_the_past_is_read_from_any_folder(days: tuple[Book, list[str]], monkeypatch: pytest.MonkeyPatch) -> None:
    book, shas = days
    monkeypatch.chdir(Path("/"))
    assert past.load_at(book.root, "twin/first", shas[0]).build is not None
