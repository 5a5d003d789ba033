"""What the next commit would bring: the errors in what is staged, whatever lies on disk, and none that was there."""

import os
import subprocess
from pathlib import Path

import pytest
from conftest import BUILD, ENGINE, Book
from figures.ledger import ALL_WEIGHED, PARTS, weighings

from buildbook.book import git as book_git
from buildbook.book.staged import staged_errors

GOOD = weighings(*ALL_WEIGHED)
BROKEN = "format: 1\nsessions: [broken\n"


def git(folder: Path, *arguments: str, **more: str) -> str:
    identity = ["-c", "user.name=Test", "-c", "user.email=test@example.org"]
    done = subprocess.run(
        ["git", "-C", str(folder), *identity, *arguments],
        env={**os.environ, **more}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout.strip()


@pytest.fixture
def kept(book: Book) -> Book:
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", GOOD)
    git(book.root, "init", "--quiet")
    git(book.root, "add", "--all")
    git(book.root, "commit", "--quiet", "--message=Begin")
    return book


def found(book: Book, tree: str | None = None) -> list[tuple[str, str]]:
    _, errors = staged_errors(book.root, tree)
    assert all(each.severity == "error" for each in errors)
    return [(Path(each.where.file).name, each.rule) for each in errors]


def test_nothing_staged_is_nothing_to_say(kept: Book) -> None:
    kept.write("weighings.yaml", BROKEN)  # on disk alone
    assert staged_errors(kept.root) == ([], [])


def test_what_is_staged_is_checked_whatever_is_on_disk(kept: Book) -> None:
    kept.write("weighings.yaml", BROKEN)
    git(kept.root, "add", "--all")
    kept.write("weighings.yaml", GOOD)
    names, errors = staged_errors(kept.root)
    assert names == ["twin/first"]
    assert [Path(each.where.file).name for each in errors] == ["weighings.yaml"]


def test_what_no_schema_can_see_is_found_too(kept: Book) -> None:
    kept.write("weighings.yaml", GOOD.replace("by: ava", "by: nobody"))
    git(kept.root, "add", "--all")
    assert {name for name, _ in found(kept)} == {"weighings.yaml"}


def test_an_error_that_was_there_before_hinders_nobody(kept: Book) -> None:
    kept.write("weighings.yaml", GOOD.replace("by: ava", "by: nobody", 1))
    git(kept.root, "commit", "--quiet", "--all", "--message=As it is")
    kept.write("parts.yaml", PARTS + "  - {kind: crankshaft, ids: [C1]}\n")
    git(kept.root, "add", "--all")
    assert found(kept) == []
    kept.write("weighings.yaml", GOOD.replace("by: ava", "by: somebody"))
    git(kept.root, "add", "--all")
    assert found(kept) != []


def test_a_tree_named_by_a_hook_is_checked_instead_of_the_index(kept: Book) -> None:
    kept.write("weighings.yaml", BROKEN)
    other = str(kept.root / ".git" / "another-index")
    git(kept.root, "add", "--all", GIT_INDEX_FILE=other)
    tree = git(kept.root, "write-tree", GIT_INDEX_FILE=other)
    assert found(kept) == []
    assert [name for name, _ in found(kept, tree)] == ["weighings.yaml"]


def test_the_first_commit_is_checked_too(book: Book) -> None:
    book.write("weighings.yaml", BROKEN)
    git(book.root, "init", "--quiet")
    git(book.root, "add", "--all")
    assert [name for name, _ in found(book)] == ["weighings.yaml"]


def test_engine_and_shop_are_checked_and_other_files_are_nobodys(kept: Book) -> None:
    kept.write("notes.txt", "as I like")
    kept.write("engines/twin/first/photo.yaml.txt", "{")
    git(kept.root, "add", "--all")
    assert staged_errors(kept.root) == ([], [])
    kept.write("shop.yaml", "format: 1\npeople: [ava]\n")
    git(kept.root, "add", "--all")
    assert found(kept) == [("shop.yaml", "wrong-type")]
    git(kept.root, "reset", "--quiet", "--hard")
    kept.write("engines/twin/engine.yaml", ENGINE.replace("engine: twin", "engine: other"))
    git(kept.root, "add", "--all")
    assert staged_errors(kept.root)[0] == ["twin/first"]
    assert found(kept) == [("engine.yaml", "wrong-name")]


def test_a_build_that_is_taken_out_is_no_error(kept: Book) -> None:
    (kept.root / "engines/twin/second").mkdir()
    kept.write("engines/twin/second/build.yaml", BUILD.replace("build: first", "build: second"))
    git(kept.root, "add", "--all")
    assert staged_errors(kept.root) == (["twin/second"], [])
    git(kept.root, "rm", "--quiet", "-r", "--cached", "engines/twin/first")
    assert found(kept) == []


def test_without_a_repository_it_says_so(book: Book) -> None:
    with pytest.raises(book_git.NotKept):
        staged_errors(book.root)
