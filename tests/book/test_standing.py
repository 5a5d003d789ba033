"""What is known to be as it was is not looked at again; whatever may have changed is."""

from collections.abc import Callable
from pathlib import Path

import pytest
from cli.workshop import git as real_git
from cli.workshop import into_git
from conftest import SHOP, Book
from figures.ledger import PARTS

from buildbook.book import standing
from buildbook.book.standing import WHOLE, Standing
from buildbook.records.finding import Finding, Where

WRONG = Finding("warning", "rule", Where("engines/twin/first/build.yaml", 7, 3), "what", "why", "remedy")
SUBJECTS = (WHOLE, "twin/first", "twin")


@pytest.fixture
def twin(book: Book, monkeypatch: pytest.MonkeyPatch) -> Book:
    book.write("parts.yaml", PARTS)
    into_git(book.root)
    monkeypatch.chdir(book.root)
    return book


def now(book: Book) -> Standing:
    found = standing.ask(book.root)()
    assert found is not None
    return found


def checked(book: Book, *found: Finding) -> None:
    before = now(book)
    for subject in SUBJECTS:
        assert before.found_before(subject) is None
        before.remember(subject, found)
    before.save()


def change(book: Book, name: str, old: str, new: str) -> None:
    path = book.root / name if "/" in name else book.folder / name
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new))


CHANGES: dict[str, Callable[[Book], object]] = {
    "an edit": lambda book: change(book, "build.yaml", "{max: 1.0}", "{max: 1.5}"),
    "the shop": lambda book: book.write("shop.yaml", SHOP + "# changed\n"),
    "its engine": lambda book: change(book, "engines/twin/engine.yaml", "twin", "twain"),
    "a file more": lambda book: book.write("spins.yaml", "format: 1\n"),
    "a stranger": lambda book: book.write("old.yaml", "format: 1\n"),
    "a file less": lambda book: (book.folder / "parts.yaml").unlink(),
}


@pytest.mark.parametrize("how", CHANGES)
def test_what_was_checked_is_looked_at_again_after_any_change_kept_or_not(twin: Book, how: str) -> None:
    checked(twin)
    again = now(twin)
    assert [again.found_before(subject) for subject in SUBJECTS] == [[], [], []]
    CHANGES[how](twin)
    for _ in range(2):
        changed = now(twin)
        assert changed.found_before(WHOLE) is None
        assert changed.found_before("twin/first") is None
        real_git(twin.root, "add", "--all")
        real_git(twin.root, "commit", "--quiet", "--allow-empty", "--message=Changed")


def test_what_was_found_is_found_again_and_points_there_from_wherever_one_is(
    twin: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    checked(twin, WRONG)
    assert [now(twin).found_before(subject) for subject in SUBJECTS] == [[WRONG]] * 3
    monkeypatch.chdir(twin.folder)
    (found,) = now(twin).found_before("twin/first") or []
    assert found == Finding("warning", "rule", Where("build.yaml", 7, 3), "what", "why", "remedy")


def test_another_build_is_known_still(twin: Book) -> None:
    for name in ("build.yaml", "parts.yaml"):
        text = (twin.folder / name).read_text().replace("build: first", "build: second")
        twin.write(f"engines/twin/second/{name}", text)
    real_git(twin.root, "add", "--all")
    real_git(twin.root, "commit", "--quiet", "--message=Second")
    before = now(twin)
    for subject in ("twin/first", "twin/second"):
        before.remember(subject, [])
    before.save()
    change(twin, "build.yaml", "{max: 1.0}", "{max: 1.5}")
    changed = now(twin)
    assert (changed.found_before("twin/first"), changed.found_before("twin/second")) == (None, [])
    assert changed.builds == ["twin/first", "twin/second"]


def test_another_version_of_ours_looks_at_everything_again(twin: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    checked(twin)
    monkeypatch.setattr(standing, "_our_code", lambda: b"another")
    assert [now(twin).found_before(subject) for subject in SUBJECTS] == [None, None, None]


def test_our_code_is_known_by_its_files_and_the_schemas(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def code() -> bytes:
        standing._our_code.cache_clear()
        return standing._our_code()

    (tmp_path / "one.schema.json").write_text("{}")
    monkeypatch.setattr(standing, "data_folder", lambda name: tmp_path)
    before = code()
    assert code() == before
    (tmp_path / "one.schema.json").write_text("{} ")
    assert code() != before
    standing._our_code.cache_clear()


def test_what_git_was_told_not_to_look_at_is_looked_at(twin: Book) -> None:
    checked(twin)
    real_git(twin.root, "update-index", "--assume-unchanged", "engines/twin/first/build.yaml")
    told = now(twin)
    assert (told.found_before(WHOLE), told.found_before("twin/first")) == (None, None)


def test_an_ignored_file_and_an_empty_folder_are_seen(twin: Book) -> None:
    (twin.root / ".git" / "info").mkdir(exist_ok=True)
    (twin.root / ".git" / "info" / "exclude").write_text("old.yaml\n")
    checked(twin)
    (twin.root / "engines" / "twin" / "empty").mkdir()
    assert now(twin).found_before(WHOLE) is None
    (twin.root / "engines" / "twin" / "empty").rmdir()
    assert now(twin).found_before(WHOLE) == []
    twin.write("old.yaml", "format: 1\n")
    with_ignored = now(twin)
    assert (with_ignored.found_before(WHOLE), with_ignored.found_before("twin/first")) == (None, None)


@pytest.mark.parametrize("spoiled", [b"", b"\xff\xfe", b"{", b"[1]", b'{"twin/first": 5}', b"[" * 100_000, b'"text"'])
def test_a_spoiled_cache_does_no_harm(twin: Book, tmp_path: Path, spoiled: bytes) -> None:
    checked(twin, WRONG)
    files = list((tmp_path / "home" / "cache" / "buildbook" / "checked").rglob("*.json"))
    assert len(files) == 2
    for file in files:
        file.write_bytes(spoiled)
    for subject in SUBJECTS:
        assert now(twin).found_before(subject) is None
    checked(twin, WRONG)
    assert now(twin).found_before(WHOLE) == [WRONG]


def test_a_cache_whose_findings_are_none_is_not_believed(twin: Book, tmp_path: Path) -> None:
    checked(twin, WRONG)
    (file,) = (tmp_path / "home" / "cache" / "buildbook" / "checked").rglob("whole.json")
    file.write_text(file.read_text().replace('"warning"', "5, 6"))
    assert now(twin).found_before(WHOLE) is None


def test_two_books_do_not_share_what_is_known(twin: Book, tmp_path: Path) -> None:
    checked(twin)
    other = Book(tmp_path / "other")
    into_git(other.root)
    assert now(other).found_before("twin/first") is None


def test_a_book_that_git_cannot_be_asked_about_has_no_standing(book: Book) -> None:
    assert standing.ask(book.root)() is None


def test_what_was_asked_ahead_is_answered_once(twin: Book) -> None:
    standing.ask_ahead(twin.root)
    assert now(twin).changes == []
    change(twin, "build.yaml", "{max: 1.0}", "{max: 1.5}")
    assert [each.path.name for each in now(twin).changes] == ["build.yaml"]


@pytest.mark.parametrize("ignored", ["", "*.taking", "engines/"])
def test_an_unfinished_session_is_seen_even_where_git_ignores_it(twin: Book, ignored: str) -> None:
    assert now(twin).under_way == set()
    (twin.root / ".git" / "info" / "exclude").write_text(f"{ignored}\n")
    (twin.folder / ".piston.taking").write_text("")
    assert now(twin).under_way == {twin.folder}
