"""A build is read whole or not at all, and whatever keeps it from being read is a finding."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import BUILD, ENGINE, SAMPLES, SHOP, Book

from buildbook.book.places import builds, engines
from buildbook.book.reading import Loaded, Reader
from buildbook.quantities import read_quantity
from buildbook.records.read import BUILD_FILES

SESSION = """\
format: 1
units: {mass: g}
sessions:
  - {id: W1, taken: 2026-10-03, by: ava, with: scale, what: piston, readings: {P1: 655.3}}
"""


def load(book: Book) -> Loaded:
    return Reader(book.root).load("twin/first")


def found(book: Book) -> list[tuple[str, str, str, int, int]]:
    """Severity, rule, the file below the book's folder, line and column."""
    return [
        (each.severity, each.rule, str(Path(each.where.file).relative_to(book.root)), *each.where[1:])
        for each in load(book).findings
    ]


FIRST = "engines/twin/first"


def test_a_build_of_a_few_files_is_read_and_has_no_findings(book: Book) -> None:
    book.write("weighings.yaml", SESSION)
    loaded = load(book)
    assert loaded.findings == ()
    assert loaded.build is not None
    assert loaded.build.name == "twin/first"
    assert loaded.build.weighings[0].readings["P1"].values[0].text == "655.3"
    assert loaded.build.parts == ()
    assert list(loaded.build.files) == list(BUILD_FILES)


def test_every_sample_is_read_without_an_error() -> None:
    names = [f"{engine}/{build}" for engine in engines(SAMPLES) for build in builds(SAMPLES, engine)]
    assert len(names) >= 5
    reader = Reader(SAMPLES)
    for name in names:
        loaded = reader.load(name)
        assert loaded.build is not None, loaded.findings
        assert loaded.findings == ()


@pytest.mark.parametrize("name", ["shop.yaml", "engines/twin/engine.yaml", "engines/twin/first/build.yaml"])
def test_a_file_that_must_be_there_and_is_not_is_an_error(book: Book, name: str) -> None:
    (book.root / name).unlink()
    assert found(book) == [("error", "no-file", name, 1, 1)]
    assert load(book).build is None


@pytest.mark.parametrize("kind", [kind for kind in BUILD_FILES if kind != "build"])
def test_a_file_that_need_not_be_there_reads_as_one_with_nothing_in_it_yet(book: Book, kind: str) -> None:
    bare = load(book).build
    book.write(f"{kind}.yaml", "format: 1\n")
    assert load(book).build == bare
    assert found(book) == []


@pytest.mark.parametrize(
    ("name", "nearest"),
    [("weighing.yaml", "weighings.yaml"), ("parts.yml", "parts.yaml"), ("buld.yaml", "build.yaml")],
)
def test_a_file_under_another_name_is_pointed_out_with_the_name_it_should_have(
    book: Book, name: str, nearest: str
) -> None:
    book.write(name, SESSION)
    (finding,) = load(book).findings
    assert (finding.severity, finding.rule, Path(finding.where.file).name) == ("warning", "stranger", name)
    assert finding.remedy == f"rename it to {nearest}"
    assert load(book).build is not None


def test_a_file_that_is_like_none_of_the_ledgers_is_pointed_out_too(book: Book) -> None:
    book.write("engines/twin/oil.yaml", "format: 1\n")
    book.write("photograph.jpg", b"\xff\xd8")
    book.write("remarks.txt", "left at the door")
    (finding,) = load(book).findings
    assert Path(finding.where.file).name == "oil.yaml"
    assert finding.remedy == "the files here are engine.yaml"


@pytest.mark.parametrize(
    ("name", "text", "line", "column"),
    [
        ("engines/twin/engine.yaml", ENGINE.replace("engine: twin", "engine: heron"), 2, 9),
        ("build.yaml", BUILD.replace("engine: twin", "engine: heron"), 2, 9),
        ("build.yaml", BUILD.replace("build: first", "build: second"), 3, 8),
    ],
)
def test_a_file_that_names_another_engine_or_build_was_copied_from_elsewhere(
    book: Book, name: str, text: str, line: int, column: int
) -> None:
    path = book.write(name, text)
    assert found(book) == [("error", "wrong-name", str(path.relative_to(book.root)), line, column)]
    assert load(book).build is None


@pytest.mark.parametrize("target", ["file", "folder"])
def test_a_link_out_of_the_book_is_not_followed(book: Book, tmp_path: Path, target: str) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "weighings.yaml").write_text(SESSION)
    (outside / "build.yaml").write_text(BUILD)
    if target == "file":
        (book.folder / "weighings.yaml").symlink_to(outside / "weighings.yaml")
        expected = ["weighings.yaml"]
    else:
        (book.folder / "build.yaml").unlink()
        book.folder.rmdir()
        book.folder.symlink_to(outside)
        expected = [f"{kind}.yaml" for kind in BUILD_FILES]
    assert found(book) == [("error", "outside", f"{FIRST}/{name}", 1, 1) for name in expected]
    assert load(book).build is None


def test_a_link_inside_the_book_is_followed(book: Book) -> None:
    (book.root / "shared.yaml").write_text(SESSION)
    (book.folder / "weighings.yaml").symlink_to("../../../shared.yaml")
    build = load(book).build
    assert build is not None
    assert len(build.weighings) == 1


def test_links_that_go_round_in_a_circle_are_a_finding(book: Book) -> None:
    (book.folder / "weighings.yaml").symlink_to("parts.yaml")
    (book.folder / "parts.yaml").symlink_to("weighings.yaml")
    assert found(book) == [("error", "cannot-open", f"{FIRST}/{name}.yaml", 1, 1) for name in ("parts", "weighings")]


def test_a_link_to_nowhere_is_a_file_that_is_not_there(book: Book) -> None:
    (book.folder / "build.yaml").unlink()
    (book.folder / "build.yaml").symlink_to("nowhere.yaml")
    assert found(book) == [("error", "no-file", f"{FIRST}/build.yaml", 1, 1)]


def test_a_folder_where_a_file_belongs_is_a_finding(book: Book) -> None:
    (book.folder / "weighings.yaml").mkdir()
    assert found(book) == [("error", "cannot-open", f"{FIRST}/weighings.yaml", 1, 1)]


READS = """
import difflib, json, os, sys
from pathlib import Path
from buildbook.book.reading import Reader

os.chdir(sys.argv[1])
Reader(Path(".")).load("twin/first")  # whatever is imported on the way is imported while it still may be
if os.geteuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
loaded = Reader(Path(".")).load("twin/first")
print(json.dumps([loaded.build is not None, [[f.rule, *f.where, f.what] for f in loaded.findings]]))
"""


@pytest.fixture
def by_nobody(book: Book) -> Callable[[], list[object]]:
    """Reads the build in a process of its own, as a user whom permissions bind: they do not bind root."""

    def read() -> list[object]:
        process = subprocess.run(
            [sys.executable, "-c", READS, str(book.root)],
            env=os.environ | {"XDG_CACHE_HOME": os.devnull},  # no cache: it would keep imports for later
            capture_output=True,
            text=True,
            check=False,
        )
        assert process.returncode == 0, process.stderr
        answer: list[object] = json.loads(process.stdout)
        return answer

    return read


@pytest.mark.parametrize("name", ["shop.yaml", "engines/twin/engine.yaml", f"{FIRST}/build.yaml"])
def test_a_file_without_permission_is_a_finding(book: Book, by_nobody: Callable[[], list[object]], name: str) -> None:
    assert by_nobody() == [True, []]
    (book.root / name).chmod(0)
    assert by_nobody() == [False, [["cannot-open", name, 1, 1, "it cannot be opened: Permission denied"]]]


@pytest.mark.parametrize("mode", [0o000, 0o444])
def test_a_folder_without_permission_is_a_finding(book: Book, by_nobody: Callable[[], list[object]], mode: int) -> None:
    book.folder.chmod(mode)
    try:
        found_build, findings = by_nobody()
    finally:
        book.folder.chmod(0o755)
    assert found_build is False
    assert isinstance(findings, list)
    assert ["cannot-open", f"{FIRST}/build.yaml", 1, 1, "it cannot be opened: Permission denied"] in findings
    listing = ["cannot-open", FIRST, 1, 1, "the folder cannot be opened: Permission denied"]
    assert (listing in findings) == (mode == 0)


@pytest.mark.parametrize("name", ["shop.yaml", "engines/twin/engine.yaml", *(f"{kind}.yaml" for kind in BUILD_FILES)])
@pytest.mark.parametrize("text", ["format: 2\n", "format: 1\nodd: 1\n", "format: 010\n", "", b"\xff\n", "- a\n"])
def test_an_error_in_any_file_leaves_no_build(book: Book, name: str, text: str | bytes) -> None:
    path = book.write(name, text)
    loaded = load(book)
    assert loaded.build is None
    errors = [finding for finding in loaded.findings if finding.severity == "error"]
    assert errors
    assert {Path(finding.where.file) for finding in errors} == {path}


@pytest.mark.parametrize(
    ("name", "text", "rule", "line", "at"),
    [
        ("weighings.yaml", SESSION.replace("units: {mass: g}\n", ""), "quantity", 3, "655.3"),
        ("weighings.yaml", SESSION.replace("2026-10-03", "2026-02-30"), "date", 4, "2026-02-30"),
        ("weighings.yaml", SESSION.replace("655.3", "655.3000000000000000000"), "quantity", 4, "655.3"),
        ("parts.yaml", f"format: 1\nparts:\n  - {{kind: ring_set, count: {'1' * 30}}}\n", "quantity", 3, "111"),
        ("parts.yaml", "format: 1\nparts:\n  - {kind: ring_set, count: 16161616}\n", "out-of-range", 3, "1616"),
        ("build.yaml", BUILD.replace("factor: 50,", f"factor: 50.{'0' * 30},"), "quantity", 6, "50.0"),
        ("build.yaml", BUILD.replace("opened: 2026-10-01", "opened: 2026-13-01"), "date", 4, "2026-13-01"),
        ("shop.yaml", SHOP.replace("calibrated: 2026-01-10", "calibrated: 2026-01-32"), "date", 6, "2026-01-32"),
    ],
)
def test_a_value_that_only_the_reading_can_judge_leaves_no_build_either(
    book: Book, name: str, text: str, rule: str, line: int, at: str
) -> None:
    path = book.write(name, text)
    column = text.splitlines()[line - 1].index(at) + 1
    assert found(book) == [("error", rule, str(path.relative_to(book.root)), line, column)]
    assert load(book).build is None


def test_a_bare_angle_or_speed_needs_no_unit_where_there_is_only_one(book: Book) -> None:
    book.write("build.yaml", BUILD.replace("oil: 3.0", "oil: 3.0, max_speed: 5200") + "intake_closes: 58\n")
    book.write("shop.yaml", SHOP + "bits: [{diameter: 12 mm, point: 118}]\n")
    build = load(book).build
    assert build is not None
    assert (build.intake_closes, build.balance.max_speed, build.shop.bits[0].point) == (
        read_quantity("58", "angle", "deg"),
        read_quantity("5200", "speed", "rpm"),
        read_quantity("118", "angle", "deg"),
    )


def test_a_doubtful_file_is_read_and_the_doubt_is_said(book: Book) -> None:
    book.write("weighings.yaml", b"\xef\xbb\xbf" + SESSION.replace("\n", "\r\n").encode())
    loaded = load(book)
    assert [(finding.severity, finding.rule) for finding in loaded.findings] == [
        ("warning", "byte-order-mark"),
        ("note", "line-ends"),
    ]
    assert loaded.build is not None


def test_each_file_is_read_only_once(book: Book) -> None:
    reader = Reader(book.root)
    first = reader.load("twin/first")
    (book.root / "shop.yaml").unlink()
    assert reader.load("twin/first") == first
    assert load(book).build is None


def test_findings_are_in_the_order_shop_engine_build(book: Book) -> None:
    book.write("shop.yaml", "format: 2\n")
    book.write("engines/twin/engine.yaml", "format: 2\n")
    for kind in BUILD_FILES:
        book.write(f"{kind}.yaml", "format: 2\n")
    files = list(dict.fromkeys(Path(finding.where.file).stem for finding in load(book).findings))
    assert files == ["shop", "engine", *BUILD_FILES]


def test_a_reader_of_one_change_sees_it_and_reads_nothing_else_again(book: Book) -> None:
    path = book.write("weighings.yaml", "format: 1\nunits: {mass: g}\nsessions: []\n")
    reader = Reader(book.root)
    assert reader.load("twin/first").build is not None
    (book.folder / "build.yaml").write_text("not: read: again\n")
    session = "  - {id: W1, what: rod, readings: {R1: 611.4}}\n"
    changed = reader.with_change(path, f"format: 1\nunits: {{mass: g}}\nsessions:\n{session}".encode())
    build = changed.load("twin/first").build
    assert build is not None
    assert [each.id for each in build.weighings] == ["W1"]
    before = reader.load("twin/first").build
    assert before is not None
    assert before.weighings == ()


def test_what_was_read_holds_until_any_file_of_it_changes_comes_or_goes(book: Book) -> None:
    path = book.write("weighings.yaml", "format: 1\n")
    reader = Reader(book.root)
    reader.load("twin/first")
    assert reader.still_holds()
    spins = book.write("spins.yaml", "format: 1\n")
    assert not reader.still_holds()
    spins.unlink()
    assert reader.still_holds()
    path.write_text("format: 1 \n")
    assert not reader.still_holds()
    path.unlink()
    assert not reader.still_holds()


def test_a_change_that_was_written_holds(book: Book) -> None:
    path = book.write("weighings.yaml", "format: 1\n")
    reader = Reader(book.root).with_change(path, b"format: 1\nsessions: []\n")
    reader.load("twin/first")
    assert not reader.still_holds()
    path.write_bytes(b"format: 1\nsessions: []\n")
    assert reader.still_holds()


def test_what_is_forgotten_is_read_again(book: Book) -> None:
    reader = Reader(book.root)
    assert reader.load("twin/first").build is not None
    (book.folder / "build.yaml").unlink()
    assert reader.load("twin/first").build is not None
    reader.forget(book.folder)
    assert reader.load("twin/first").build is None
