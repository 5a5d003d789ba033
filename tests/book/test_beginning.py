"""What `new` writes passes `check` as it is, points editors at a schema that is there, and is whole or not there."""

import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import SAMPLES, Book

from buildbook.balance.layouts import KNOWN, known_layout
from buildbook.book import git
from buildbook.book.beginning import begin_book, begin_build, begin_engine, copy_schemas, install_hook
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


def test_every_file_of_the_practice_book_points_at_a_schema_that_is_there(samples: Path) -> None:
    copy_schemas(samples)
    files = [path for path in samples.rglob("*.yaml") if "schemas" not in path.parts]
    assert len(files) > 30
    for path in files:
        pointer = re.match(r"# yaml-language-server: \$schema=(\S+)\n", path.read_text(encoding="utf-8"))
        assert pointer is not None, path
        assert (path.parent / pointer[1]).resolve() == samples.resolve() / "schemas" / f"{path.stem}.schema.json"
        assert (path.parent / pointer[1]).is_file()


@pytest.mark.parametrize("layout", KNOWN)
def test_an_engine_of_any_known_layout_can_be_begun(new_book: Path, layout: str) -> None:
    begin_engine(new_book, "another", layout)
    begin_build(new_book, "another/first", "2026-10-01", "ava", None)
    assert findings(new_book, "another/first") == []
    folder = new_book / "engines/another/first"
    for path in folder.glob("*.yaml"):  # its examples can be taken up as they are, with a piece for each cylinder
        path.write_text(re.sub(r"^#( {2,}|angles|planes)", r"\1", path.read_text(), flags=re.MULTILINE))
    loaded = Reader(new_book).load("another/first")
    assert [each for each in loaded.findings if each.severity == "error"] == []
    assert loaded.build is not None
    assert len(next(part for part in loaded.build.parts if part.kind == "rod").ids) == len(
        known_layout(layout).cylinders
    )
    assert all(plane.windows for plane in loaded.build.spins.planes.values())


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
    # where readings act, and where metal may be taken; nothing of what was spun
    machine, spun = (folder / "spins.yaml" for folder in (after, before))
    assert {*re.findall(r"^ {2,}.*|^units:.*|^mass_.*", machine.read_text(), re.M)} <= {*spun.read_text().splitlines()}
    assert re.search(r"# As in 2026-10-rebuild\..*\nangles: {zero: throw 1 up,", machine.read_text())
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
    assert [plane.windows for plane in loaded.spins.planes.values()] != [(), ()]
    assert loaded.spins.steps == ()
    assert loaded.pairings.decision is None
    assert findings(samples, "heron-07/2027-01-next") == []


def test_fasteners_that_were_tightened_have_one_more_use_and_the_file_says_so(samples: Path) -> None:
    def carried(name: str, follows: str) -> str:
        begin_build(samples, f"heron-07/{name}", "2027-01-10", "ava", follows)
        return (samples / "engines/heron-07" / name / "parts.yaml").read_text()

    once = carried("second", "2025-06-first")
    assert "{kind: rod_bolt, count: 16, number: NF-88, uses: 1}" in once
    assert "{kind: main_bolt, count: 10, uses: 1}" in once
    assert once.count("# uses: one more than in 2025-06-first, where these fasteners were tightened once") == 1
    twice = carried("third", "second")
    assert "{kind: rod_bolt, count: 16, number: NF-88, uses: 2}" in twice
    assert twice.count("# uses:") == 1
    assert "one more than in second" in twice
    loaded = Reader(samples).load("heron-07/third").build
    assert loaded is not None
    assert {part.kind: part.uses for part in loaded.parts if part.uses} == {"rod_bolt": 2, "main_bolt": 2}
    assert findings(samples, "heron-07/third") == []


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("{kind: rod_bolt, count: 4, uses: 2, state: reused}", "{kind: rod_bolt, count: 4, uses: 3}"),
        ("{kind: rod_bolt, count: 4, state: replaced, uses: 0}", "{kind: rod_bolt, count: 4, uses: 1}"),
        ("{kind: other, count: 4, uses: 0, state: new}", "{kind: other, count: 4, uses: 1, state: reused}"),
        ("{kind: rod_bolt, count: 4, state: reused}", "{kind: rod_bolt, count: 4}"),  # how often is not known
        ("{kind: rod_bolt, count: 4, uses: 1, state: spare}", "{kind: rod_bolt, count: 4, uses: 1, state: spare}"),
        ("kind: rod_bolt\n    state: new\n    count: 4", "kind: rod_bolt\n    uses: 1\n    count: 4"),
    ],
)
def test_uses_are_carried_as_far_as_they_are_known(book: Book, before: str, after: str) -> None:
    book.write("parts.yaml", f"format: 1\nparts:\n  - {before}\n")
    begin_build(book.root, "twin/next", "2026-10-01", "ava", "first")
    assert f"\nformat: 1\nparts:\n  - {after}\n" in (book.root / "engines/twin/next/parts.yaml").read_text()
    assert Reader(book.root).load("twin/next").build is not None


def test_new_files_are_in_the_units_that_the_shop_prefers_and_their_examples_stay_true(new_book: Path) -> None:
    shop = new_book / "shop.yaml"
    preferred = "preferred_units: {length: in, mass: oz, volume: in3, torque: lbf ft, temperature: degF}\n"
    shop.write_text(shop.read_text() + preferred)
    begin_engine(new_book, "plover-03", "i4")
    begin_build(new_book, "plover-03/first", "2026-10-01", "ava", None)
    folder = new_book / "engines/plover-03/first"
    stated = {path.name: re.findall(r"^units: (.*)$", path.read_text(), re.MULTILINE) for path in folder.glob("*.yaml")}
    assert stated == {
        "build.yaml": ["{mass: g, length: mm}"],  # the house's limits are copied, and so is what their numbers mean
        "parts.yaml": ["{mass: oz, length: in, volume: in3}"],
        "weighings.yaml": ["{mass: oz}"],
        "spins.yaml": ["{mass: oz, length: in, angle: deg, speed: rpm}"],
        "clearances.yaml": ["{length: in, volume: in3, torque: lbf ft, temperature: degF}"],
        "pairings.yaml": [],
    }
    assert "units: {length: in, angle: deg}" in (folder.parent / "engine.yaml").read_text()
    examples = "".join(path.read_text() for path in [folder.parent / "engine.yaml", *folder.glob("*.yaml")])
    assert "[62.180 mm, 62.179 mm]" in examples
    assert "R1: 611.4 g," in examples
    assert "# bore: 101.6 mm" in examples
    for path in folder.glob("*.yaml"):  # with every example taken up, the files still hold together
        path.write_text(re.sub(r"^#(  - |    )", r"\1", path.read_text(), flags=re.MULTILINE))
    loaded = Reader(new_book).load("plover-03/first")
    errors = [each for each in loaded.findings if each.severity == "error"]
    assert errors == []
    assert loaded.build is not None
    assert float(loaded.build.weighings[0].readings["R1"].values[0].worth("g")) == 611.4


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
    pointer = "# yaml-language-server: $schema=../../../schemas/parts.schema.json\n"  # which the file before had not
    assert carried == pointer + parts.replace("'new'", "reused")
    assert parse(carried, "parts.yaml")[0] is not None


def test_the_schemas_of_a_new_book_are_this_versions(new_book: Path) -> None:
    ours = SAMPLES.parent / "schemas"
    for schema in sorted(ours.glob("*.schema.json")):
        assert (new_book / "schemas" / schema.name).read_bytes() == schema.read_bytes()


@pytest.fixture
def repository(new_book: Path) -> Path:
    git.begin(new_book)
    return new_book


def test_a_new_book_gets_a_hook_that_can_be_run_and_says_so(repository: Path) -> None:
    said = install_hook(repository)
    hook = repository / ".git" / "hooks" / "pre-commit"
    assert said == ("git now has buildbook check what is staged before a commit made by hand (.git/hooks/pre-commit)")
    assert os.access(hook, os.X_OK)
    assert hook.read_text().startswith("#!/bin/sh\n# Written by 'buildbook new book'")


def test_a_hook_that_is_there_is_left_alone(repository: Path) -> None:
    hook = repository / ".git" / "hooks" / "pre-commit"
    hook.parent.mkdir(exist_ok=True)
    hook.write_text("mine")
    assert "left alone" in install_hook(repository)
    assert hook.read_text() == "mine"
    hook.unlink()
    hook.symlink_to(repository / "nowhere")
    assert "left alone" in install_hook(repository)
    assert not (repository / "nowhere").exists()


def test_no_hook_is_written_outside_the_book(repository: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    git.run(repository, "config", "core.hooksPath", str(elsewhere))
    assert "core.hooksPath" in install_hook(repository)
    git.run(repository, "config", "--unset", "core.hooksPath")
    hooks = repository / ".git" / "hooks"
    hooks.rename(hooks.with_name("hooks-as-they-were"))
    hooks.symlink_to(elsewhere)
    assert "lies elsewhere" in install_hook(repository)
    assert list(elsewhere.iterdir()) == []


def test_without_a_repository_there_is_no_hook(new_book: Path) -> None:
    assert "no hook" in install_hook(new_book)
    assert not (new_book / ".git").exists()


def test_a_session_under_way_is_nothing_that_git_takes(tmp_path: Path) -> None:
    book = tmp_path / "book"
    begin_book(book, "Shop", "ava", "Ava")
    git.begin(book)
    (book / "engines" / ".piston.taking").write_text("{}\n")
    begin_engine(book, "heron-07", "i4")
    begin_build(book, "heron-07/a-wall.1", "2026-10-01", "ava", None)
    for folder in (book, book / "engines" / "heron-07" / "a-wall.1"):
        (folder / "heron-07-first-customer.pdf").write_bytes(b"%PDF")
    taken = git.run(book, "ls-files", "--others", "--exclude-standard").decode().split()
    assert {"shop.yaml", "engines/heron-07/a-wall.1/parts.yaml"} <= {*taken}
    assert [name for name in taken if name.endswith((".taking", ".pdf"))] == []
