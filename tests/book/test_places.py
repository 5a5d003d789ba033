"""A build is found by its name, by its engine's name, or by the folder one stands in."""

from pathlib import Path

import pytest
from conftest import BUILD, Book

from buildbook.book.places import Misuse, builds, engines, find_book, folder_of, resolve, shown


def add(book: Book, engine: str, build: str, opened: str | None = None) -> None:
    text = BUILD.replace("twin", engine).replace("first", build)
    if opened is not None:
        text = text.replace("opened: 2026-10-01\n", opened)
    book.write(f"engines/{engine}/{build}/build.yaml", text)


def said(book: Book, name: str | None, here: Path | None = None) -> tuple[str, str]:
    with pytest.raises(Misuse) as caught:
        resolve(book.root, name, here or book.root)
    return caught.value.what, caught.value.remedy


def test_a_book_is_found_from_any_folder_inside_it(book: Book) -> None:
    for inside in (book.root, book.root / "engines", book.folder):
        assert find_book(inside) == book.root


def test_where_there_is_no_book_the_way_to_one_is_shown(tmp_path: Path) -> None:
    with pytest.raises(Misuse, match=r"there is no book at .*, nor above it: go to your book's folder"):
        find_book(tmp_path)


def test_the_nearest_book_upward_is_the_one(book: Book) -> None:
    inner = book.folder / "practice"
    inner.mkdir()
    (inner / "shop.yaml").write_text("format: 1\n")
    assert find_book(inner) == inner
    assert find_book(book.folder) == book.root


def test_engines_and_builds_are_the_folders_without_a_dot(book: Book) -> None:
    add(book, "heron-07", "2026-10-rebuild")
    add(book, "heron-07", "2025-06-first")
    (book.root / "engines" / ".trash").mkdir()
    (book.root / "engines" / "heron-07" / ".2027.half").mkdir()
    book.write("engines/readme.txt", "not an engine")
    assert engines(book.root) == ["heron-07", "twin"]
    assert builds(book.root, "heron-07") == ["2025-06-first", "2026-10-rebuild"]
    assert builds(book.root, "nobody") == []
    assert folder_of(book.root, "heron-07/2025-06-first") == book.root / "engines" / "heron-07" / "2025-06-first"


def test_a_full_name_is_itself(book: Book) -> None:
    for name in ("twin/first", "twin/first/", "/twin/first"):
        assert resolve(book.root, name, book.root) == "twin/first"


@pytest.mark.parametrize(
    ("openings", "newest"),
    [
        ({"a": "opened: 2026-10-01\n", "b": "opened: 2025-01-01\n"}, "a"),
        ({"a": "opened: 2025-01-01\n", "b": "opened: 2026-10-01\n"}, "b"),
        ({"a": "opened: 2026-10-01\n", "b": "opened: 2026-10-01T08:00\n"}, "b"),
        ({"a": "opened: 2026-10-01\n", "b": "opened: 2026-10-01\n"}, "b"),  # a tie: by name
        ({"a": "opened: 2026-10-01\n", "z": ""}, "a"),
    ],
)
def test_an_engine_alone_means_its_newest_build_by_the_day_it_was_opened(
    book: Book, openings: dict[str, str], newest: str
) -> None:
    for build, opened in openings.items():
        add(book, "heron-07", build, opened)
    assert resolve(book.root, "heron-07", book.root) == f"heron-07/{newest}"


def test_with_a_build_that_cannot_be_read_nobody_can_say_which_is_the_newest(book: Book) -> None:
    # it may well be the newest: a record must not go into the build before it
    add(book, "heron-07", "a", "opened: 2025-01-01\n")
    add(book, "heron-07", "z", "opened: [broken\n")
    with pytest.raises(Misuse, match=r"build\.yaml of z cannot be read"):
        resolve(book.root, "heron-07", book.root)
    assert resolve(book.root, "heron-07/a", book.root) == "heron-07/a"


def test_a_build_without_a_build_file_is_the_oldest(book: Book) -> None:
    (book.root / "engines" / "twin" / "zz").mkdir()
    assert resolve(book.root, "twin", book.root) == "twin/first"


def test_inside_a_folder_no_name_is_needed(book: Book) -> None:
    add(book, "heron-07", "2025-06-first", "opened: 2025-06-01\n")
    add(book, "heron-07", "2026-10-rebuild", "opened: 2026-10-01\n")
    heron = book.root / "engines" / "heron-07"
    assert resolve(book.root, None, heron / "2025-06-first") == "heron-07/2025-06-first"
    photographs = heron / "2025-06-first" / "photographs" / "bores"
    photographs.mkdir(parents=True)
    assert resolve(book.root, None, photographs) == "heron-07/2025-06-first"
    assert resolve(book.root, None, heron) == "heron-07/2026-10-rebuild"


def test_in_a_book_with_one_build_no_name_is_needed_anywhere(book: Book, tmp_path: Path) -> None:
    assert resolve(book.root, None, book.root) == "twin/first"
    assert resolve(book.root, None, book.root / "engines") == "twin/first"
    assert resolve(book.root, None, tmp_path) == "twin/first"


def test_which_of_several_builds_is_meant_is_asked(book: Book) -> None:
    add(book, "heron-07", "2025-06-first")
    what, remedy = said(book, None)
    assert what == "which build is meant is not said"
    assert remedy == "name one: heron-07/2025-06-first, twin/first"


@pytest.mark.parametrize(
    ("name", "what", "remedy"),
    [
        ("heorn-07", "no engine named 'heorn-07'", "heron-07"),
        ("heron-07/2025-06-frist", "no build named 'heron-07/2025-06-frist'", "heron-07/2025-06-first"),
        ("heron", "no engine named 'heron'", "heron-07"),
        ("heron-07/2026", "no build named 'heron-07/2026'", "heron-07/2026-10-rebuild"),
        ("zzzz", "no engine named 'zzzz'", "heron-07"),
        ("twin/..", "no build named 'twin/..'", "twin/first"),
        ("../twin", "no engine named '..'", "twin"),
        ("twin/first/more", "no build named 'twin/first/more'", "twin/first"),
    ],
)
def test_a_name_that_is_not_there_is_answered_with_the_nearest(book: Book, name: str, what: str, remedy: str) -> None:
    add(book, "heron-07", "2025-06-first")
    add(book, "heron-07", "2026-10-rebuild")
    told = said(book, name)
    assert what in told[0]
    assert remedy in told[1]


def test_an_engine_without_a_build_and_a_book_without_an_engine_say_how_to_begin(book: Book, tmp_path: Path) -> None:
    book.write("engines/heron-07/engine.yaml", "format: 1\n")
    assert said(book, "heron-07") == ("heron-07 has no build yet", "begin one with 'buildbook new build heron-07/NAME'")
    empty = tmp_path / "empty"
    empty.mkdir()
    with pytest.raises(Misuse, match="this book has no build yet: begin with 'buildbook new engine NAME'"):
        resolve(empty, None, empty)


def test_a_path_is_shown_as_an_editor_started_here_wants_it(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(book.root)
    assert shown(book.folder / "parts.yaml") == "engines/twin/first/parts.yaml"
    monkeypatch.chdir(book.folder)
    assert shown(book.folder / "parts.yaml") == "parts.yaml"
    assert shown(book.root / "shop.yaml") == str(book.root / "shop.yaml")
