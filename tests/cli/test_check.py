"""`check` says when nothing is kept, and says the same of an unchanged book as when it was looked at."""

from pathlib import Path

from conftest import Book, Run

from cli.workshop import into_git


def test_a_book_without_git_is_told_what_it_lacks_and_what_to_do(book: Book, run: Run) -> None:
    for named in ((), ("twin",)):
        done = run("check", *named, cwd=book.root)
        said = " ".join(done.stdout.split())
        assert "not-kept this book is not a git repository" in said
        assert "'git init' in its folder makes it one" in said
        assert done.returncode == run("check", "engines/twin/first/build.yaml", cwd=book.root).returncode
    one_file = run("check", "engines/twin/first/build.yaml", cwd=book.root)
    assert "not-kept" not in one_file.stdout


def test_what_was_found_in_an_unchanged_book_is_said_again_word_for_word(book: Book, run: Run) -> None:
    book.write("weighings.yaml", "format: 1\nunits: {mass: g}\nsessions:\n  - {id: W1, what: rod, by: nobody}\n")
    book.write("engines/twin/first/spins.yaml", "format: 1\nstepz: []\n")
    into_git(book.root)
    first = run("check", cwd=book.root)
    assert first.returncode == 1
    assert "stepz" in first.stdout
    assert run("check", cwd=book.root).stdout == first.stdout
    inside = run("check", cwd=book.folder)
    assert first.stdout.count("stepz") == inside.stdout.count("stepz")
    assert "\nerror  spins.yaml:2:1" in inside.stdout
    book.write("spins.yaml", "format: 1\n")
    assert "error  engines/twin/first/spins.yaml" not in run("check", cwd=book.root).stdout


def test_what_is_known_is_the_users_own_and_nothing_of_it_is_in_the_book(book: Book, run: Run, tmp_path: Path) -> None:
    into_git(book.root)
    before = sorted(book.root.glob("*")) + sorted((book.root / "engines").rglob("*"))
    run("check", cwd=book.root)
    assert sorted(book.root.glob("*")) + sorted((book.root / "engines").rglob("*")) == before
