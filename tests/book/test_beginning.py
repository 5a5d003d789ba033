"""What `new` writes passes `check` as it is, points editors at a schema that is there, and is whole or not there."""

import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import SAMPLES, Book

from buildbook.balance.layouts import KNOWN
from buildbook.book.beginning import begin_book, begin_build, begin_engine
from buildbook.book.loader import parse
from buildbook.book.places import Misuse
from buildbook.book.reading import Reader
from buildbook.figures import work_out
from buildbook.records.finding import Finding
from buildbook.records.read import BUILD_FILES


def findings(book: Path, name: str) -> list[Finding]:
    loaded = Reader(book).load(name)
    assert loaded.build is not None, loaded.findings
    return [*loaded.findings, *work_out(loaded.build).findings]


def everything(folder: Path) -> dict[str, bytes]:
    files = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


@pytest.fixture
def new_book(tmp_path: Path) -> Path:
    begin_book(tmp_path / "new", "Harbour engines", "ava", "Ava Merrow")
    begin_engine(tmp_path / "new", "heron-07", "i4")
    return tmp_path / "new"


def test_a_new_book_engine_and_build_pass_check_without_a_word(new_book: Path) -> None:
    written = begin_build(new_book, "heron-07/2026-10-first", "2026-10-01", "ava", None)
    assert [path.name for path in written] == [f"{kind}.yaml" for kind in BUILD_FILES]
    assert findings(new_book, "heron-07/2026-10-first") == []


def test_every_new_file_explains_itself_and_points_at_a_schema_that_is_there(new_book: Path) -> None:
    begin_build(new_book, "heron-07/2026-10-first", "2026-10-01", "ava", None)
    files = sorted(new_book.rglob("*.yaml"))
    assert len(files) == 2 + len(BUILD_FILES)
    for path in files:
        first, second, *_ = path.read_text(encoding="utf-8").splitlines()
        pointer = re.fullmatch(r"# yaml-language-server: \$schema=(\S+)", first)
        assert pointer is not None
        schema = (path.parent / pointer[1]).resolve()
        assert schema == new_book.resolve() / "schemas" / f"{path.stem}.schema.json"
        assert schema.is_file()
        assert second.startswith("# ")
        assert "$" not in path.read_text(encoding="utf-8").removeprefix(first)


@pytest.mark.parametrize("layout", KNOWN)
def test_an_engine_of_any_known_layout_can_be_begun(new_book: Path, layout: str) -> None:
    begin_engine(new_book, "another", layout)
    begin_build(new_book, "another/first", "2026-10-01", "ava", None)
    assert findings(new_book, "another/first") == []


@pytest.mark.parametrize(
    "name", ["302", "2026", "007", "1e5", "on", "yes", "null", "true", "0x1f", "1.5", "a", "2026-10-01"]
)
def test_a_name_that_looks_like_a_number_or_a_yes_is_written_so_that_it_stays_a_name(tmp_path: Path, name: str) -> None:
    book = tmp_path / "new"
    begin_book(book, name, name, name)
    begin_engine(book, name, "i4")
    begin_build(book, f"{name}/{name}", "2026-10-01", name, None)
    begin_build(book, f"{name}/next", "2026-10-02", name, name)
    for build in (name, "next"):
        assert findings(book, f"{name}/{build}") == []
    loaded = Reader(book).load(f"{name}/next").build
    assert loaded is not None
    assert (loaded.engine.name, loaded.follows, loaded.shop.name) == (name, name, name)
    assert [person.name for person in loaded.shop.people.values()] == [name]


@pytest.mark.parametrize(
    "shop", ["Ava's: engines, {and} #1", '"', "$shop", "größe 🔧", "a\nb", "- x", "", "\u202eevil", "& *"]
)
def test_a_shop_of_any_name_keeps_it(tmp_path: Path, shop: str) -> None:
    begin_book(tmp_path / "new", shop or "x", "ava", shop or "x")
    loaded, found = Reader(tmp_path / "new").shop()
    assert found == []
    assert loaded is not None
    assert loaded.name == (shop or "x")


def test_the_houses_choices_and_limits_are_copied_into_a_build_with_their_comments(new_book: Path) -> None:
    shop = new_book / "shop.yaml"
    text = shop.read_text().replace(
        "balance: {factor: 50, oil: 3.0, grade: G16}", "balance: {factor: 48, oil: 2.50}  # as agreed"
    )
    text = text.replace("source: house rule}\n", "source: house rule}  # why\n", 1)
    shop.write_text(text)
    begin_build(new_book, "heron-07/first", "2026-10-01", "ava", None)
    build = (new_book / "engines/heron-07/first/build.yaml").read_text()
    assert "balance: {factor: 48, oil: 2.50}  # as agreed\n" in build
    assert "  reciprocating_spread: {max: 1.0, source: house rule}  # why\n" in build
    assert "people" not in build
    loaded = Reader(new_book).load("heron-07/first").build
    assert loaded is not None
    assert loaded.balance.oil is not None
    assert (str(loaded.balance.factor), loaded.balance.oil.text) == ("48", "2.50")
    shop.write_text(text.replace("factor: 48", "factor: 52"))
    again = Reader(new_book).load("heron-07/first").build
    assert again is not None
    assert str(again.balance.factor) == "48"


def test_a_rebuild_starts_from_the_parts_limits_and_choices_of_the_build_before(samples: Path) -> None:
    before = samples / "engines" / "heron-07" / "2026-10-rebuild"
    begin_build(samples, "heron-07/2027-01-next", "2027-01-10", "ava", "2026-10-rebuild")
    after = samples / "engines" / "heron-07" / "2027-01-next"
    # the parts: every byte but the states, of which those of what is renewed every time are left open
    old, new = (before / "parts.yaml").read_text(), (after / "parts.yaml").read_text()
    stateless = [re.sub(r",? ?\n? *state: \w+", "", text) for text in (old, new)]
    assert stateless[0] == stateless[1]
    assert "state: replaced" in old
    assert "state: replaced" not in new
    assert "{kind: pin_locks, count: 16, note: two to a pin}" in new
    # what is locked in its bore is so still
    assert (
        "{piston: P3, cylinder: 5, because: bore 5 was honed to this piston}" in (after / "pairings.yaml").read_text()
    )
    # the choices and limits: line for line, with their comments
    old_build, new_build = ((folder / "build.yaml").read_text() for folder in (before, after))
    for line in old_build[old_build.index("limits:") :].splitlines():
        assert line in new_build.splitlines()
    assert "balance: {factor: 50, oil: 3.0, grade: G16, max_speed: 4800}" in new_build
    assert "\nfollows: 2026-10-rebuild\n" in new_build
    assert "purpose: Rebuild" not in new_build
    loaded, earlier = (Reader(samples).load(f"heron-07/{name}").build for name in ("2027-01-next", "2026-10-rebuild"))
    assert loaded is not None
    assert earlier is not None
    assert loaded.follows == "2026-10-rebuild"
    assert [part.ids for part in loaded.parts] != []
    assert {part.state for part in loaded.parts} == {"reused", None}
    assert {part.kind for part in loaded.parts if part.state is None} >= {"ring_set", "pin_locks", "rod_bearing"}
    assert {name: limit.bounds for name, limit in loaded.limits.items()} == {
        name: limit.bounds for name, limit in earlier.limits.items()
    }
    assert loaded.weighings == ()
    assert loaded.pairings.decision is None
    assert findings(samples, "heron-07/2027-01-next") == []


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_a_build_begun_from_a_file_of_another_editor_is_clean(samples: Path, line_end: str, mark: str) -> None:
    before = samples / "engines" / "heron-07" / "2026-10-rebuild"
    for name in ("build.yaml", "parts.yaml"):
        text = (before / name).read_text()
        (before / name).write_bytes((mark + text.replace("\n", line_end)).encode())
    begin_build(samples, "heron-07/next", "2027-01-10", "ava", "2026-10-rebuild")
    assert all(finding.severity == "note" for finding in findings(samples, "heron-07/next"))


REFUSED_NAMES = ["", "Heron", "heron 07", "../out", "a/b", ".hidden", "-x", "é", "a\nb", "a" + "/.." * 3]


@pytest.mark.parametrize("name", REFUSED_NAMES)
def test_a_name_that_will_not_do_is_refused_and_nothing_is_written(new_book: Path, name: str) -> None:
    before = everything(new_book.parent)
    refusals: list[Callable[[], object]] = [
        lambda: begin_engine(new_book, name, "i4"),
        lambda: begin_build(new_book, f"heron-07/{name}", "2026-10-01", "ava", None),
        lambda: begin_book(new_book.parent / "second", "Shop", name, "Ava"),
    ]
    for refused in refusals:
        with pytest.raises(Misuse, match=r"small letters, digits and dashes, such as [a-z0-9]"):
            refused()
    assert everything(new_book.parent) == before
    assert not (new_book.parent / "second").exists()


def test_what_is_there_already_is_never_written_over(new_book: Path, tmp_path: Path) -> None:
    begin_build(new_book, "heron-07/first", "2026-10-01", "ava", None)
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "file.txt").write_text("mine")
    (tmp_path / "file").write_text("mine")
    before = everything(tmp_path)
    refusals: list[Callable[[], object]] = [
        lambda: begin_book(new_book, "Shop", "ava", "Ava"),
        lambda: begin_book(tmp_path / "full", "Shop", "ava", "Ava"),
        lambda: begin_book(tmp_path / "file", "Shop", "ava", "Ava"),
        lambda: begin_engine(new_book, "heron-07", "i4"),
        lambda: begin_build(new_book, "heron-07/first", "2026-10-01", "ava", None),
    ]
    for refused in refusals:
        with pytest.raises(Misuse):
            refused()
    assert everything(tmp_path) == before


def test_a_book_may_begin_in_an_empty_folder_and_in_a_fresh_repository(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "fresh" / ".git").mkdir(parents=True)
    for folder in ("empty", "fresh"):
        begin_book(tmp_path / folder, "Shop", "ava", "Ava")
        assert Reader(tmp_path / folder).shop()[1] == []


@pytest.mark.parametrize(
    ("file", "text"),
    [
        ("parts.yaml", "format: 1\nparts: [broken\n"),
        ("parts.yaml", b"\xff\xfe"),
        ("build.yaml", "format: 1\nformat: 1\n"),
        ("build.yaml", "{format: 1, engine: twin, build: first, units: {mass: g}, limits: {}}\n"),
        ("build.yaml", None),
    ],
)
def test_a_build_that_cannot_follow_another_is_not_half_begun(book: Book, file: str, text: str | bytes | None) -> None:
    path = book.write(file, text or "")
    if text is None:
        path.unlink()
    before = everything(book.root)
    with pytest.raises(Misuse):
        begin_build(book.root, "twin/next", "2026-10-01", "ava", "first")
    assert everything(book.root) == before
    assert not (book.root / "engines" / "twin" / "next").exists()


def test_a_build_that_cannot_be_written_to_the_end_is_not_there_at_all(
    new_book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = everything(new_book)
    real = os.fsync
    calls = 0

    def full(descriptor: int) -> None:
        nonlocal calls
        calls += 1
        if calls > 4:
            raise OSError(28, "No space left on device")
        real(descriptor)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        begin_build(new_book, "heron-07/first", "2026-10-01", "ava", None)
    assert calls > 4
    assert everything(new_book) == before
    assert sorted(entry.name for entry in (new_book / "engines" / "heron-07").iterdir()) == ["engine.yaml"]


def test_a_part_without_a_state_and_one_with_an_empty_one_stay_as_they_are(book: Book) -> None:
    parts = (
        "format: 1\nparts:\n  - {kind: rod, ids: [R1]}\n  - kind: pin\n    state:\n"
        "  - {kind: piston, state: 'new'}  # x\n"
    )
    book.write("parts.yaml", parts)
    begin_build(book.root, "twin/next", "2026-10-01", "ava", "first")
    carried = (book.root / "engines/twin/next/parts.yaml").read_text()
    assert carried == parts.replace("'new'", "reused")
    assert parse(carried, "parts.yaml")[0] is not None


def test_the_schemas_of_a_new_book_are_this_versions(new_book: Path) -> None:
    ours = SAMPLES.parent / "schemas"
    for schema in sorted(ours.glob("*.schema.json")):
        assert (new_book / "schemas" / schema.name).read_bytes() == schema.read_bytes()
