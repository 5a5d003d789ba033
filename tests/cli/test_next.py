"""`next` at the command line: what is left on one build, and over the whole book."""

import json
import os
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from conftest import SAMPLES, Book, Run
from rich.cells import cell_len

from buildbook.book.library import Library
from buildbook.book.reading import Reader
from buildbook.book.waiting import Waiting, waiting_builds
from cli.workshop import git, into_git, one_after_the_other


def todo(text: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(text)["figures"]["next"]
    return found


def test_each_thing_has_its_command_and_what_it_waits_for(run: Run) -> None:
    done = run("next", "heron-07/2026-10-rebuild", "--json", cwd=SAMPLES)
    assert done.returncode == 0, done.stderr
    found = {each["what"]: each for each in todo(done.stdout)}
    assert found["match pieces to cylinders"] == {
        "what": "match pieces to cylinders",
        "command": "buildbook match heron-07/2026-10-rebuild --write",
        "waits_for": [],
        "since": "2026-10-06",
    }
    assert found["set the bobweights: throw 1, 2, 3, 4"]["waits_for"] == ["match"]


def test_a_command_without_capitals_can_be_run_as_it_stands(samples: Path) -> None:
    (told,) = one_after_the_other([["next", "heron-07", "--json"]], samples)
    commands = [each["command"] for each in todo(told.stdout) if not re.search("[A-Z]{2}|=G", each["command"])]
    looking = [command for command in commands if not re.search(" (sign|measure|weigh) | --write", command)]
    ran = one_after_the_other([command.split()[1:] for command in [*looking, "buildbook match heron-07"]], samples)
    assert [each.code for each in ran] == [0] * len(ran)
    taken = [command for command in commands if " sign " in command]
    known = one_after_the_other([[*command.split()[1:3], "--help"] for command in taken], samples)
    assert [each.code for each in known] == [0] * len(taken)


@pytest.mark.parametrize("columns", [60, 80, 120])
def test_on_a_screen_no_command_is_broken_and_in_the_builds_folder_none_names_it(columns: int) -> None:
    folder = SAMPLES / "engines" / "heron-07" / "2026-10-rebuild"
    inside, outside = (one_after_the_other(["next" + more], folder, columns)[0] for more in ("", " --book ."))
    assert inside.code == outside.code == 0
    lines = inside.stdout.splitlines()
    assert any(line.endswith("buildbook match --write") for line in lines)
    assert any(line.endswith("buildbook measure main_bore") for line in lines)
    assert "heron-07" not in "".join(lines[1:])
    assert max(map(cell_len, lines)) <= columns
    (named,) = one_after_the_other(["next heron-07"], SAMPLES, columns)
    assert any(line.endswith("buildbook measure main_bore --build heron-07") for line in named.stdout.splitlines())


def begun(tmp_path: Path, layout: str) -> Path:
    """A new book with one engine and one build, in git; the build's folder."""
    book = tmp_path / "begun"
    begin = ["new", "book", str(book), "--person", "ava"]
    (first,) = one_after_the_other([begin], tmp_path)
    rest = one_after_the_other([f"new engine heron-07 --layout {layout}", "new build heron-07/first"], book)
    assert [each.code for each in (first, *rest)] == [0, 0, 0]
    return book / "engines" / "heron-07" / "first"


def test_the_first_screen_of_a_new_engine_is_short_and_what_can_be_done_now_stands_first(tmp_path: Path) -> None:
    folder = begun(tmp_path, "v8_90_cross_plane")
    shown, as_json = one_after_the_other(["next", "next --json"], folder)
    assert len(shown.stdout.splitlines()) <= 34
    now, later = shown.stdout.split("\nLater\n")
    assert now.count("→ ") == 3  # the instruments, the pieces, how the machine reads
    assert "→" not in later
    assert later.count("weigh: ") == 1  # all kinds wait for the same
    assert "weigh: rod big end, rod small end, piston, pin, ring set, rod bearing" in later
    assert re.search("buildbook weigh KIND +after instruments, parts", later)
    kinds = [each for each in todo(as_json.stdout) if " weigh " in each["command"]]
    assert kinds[0]["command"] == "buildbook weigh rod_big_end --build heron-07/first"
    assert [each["waits_for"] for each in kinds] == [["instruments", "parts"]] * 6


def test_what_was_edited_by_hand_is_to_be_kept_before_a_stage_is_signed(tmp_path: Path) -> None:
    folder = begun(tmp_path, "v2_90_common_pin")
    (before,) = one_after_the_other(["next"], folder)
    assert "buildbook keep" not in before.stdout
    (folder / "tags.html").write_text("a page that was printed here")  # which 'keep' does not keep
    assert one_after_the_other(["next"], folder)[0].stdout == before.stdout
    parts = folder / "parts.yaml"
    parts.write_text(parts.read_text() + "# mine\n")
    after, kept, again = one_after_the_other(["next", "keep", "next"], folder)
    assert re.search("→ keep what was edited by hand +buildbook keep", after.stdout)
    assert kept.code == 0
    assert again.stdout == before.stdout


def test_where_several_people_work_it_is_said_once_how_to_say_who(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("BUILDBOOK_BY", raising=False)
    shown = one_after_the_other(["next heron-07"], SAMPLES)[0].stdout
    assert shown.count("BUILDBOOK_BY=PERSON") == 1
    monkeypatch.setenv("BUILDBOOK_BY", "ava")
    assert "BUILDBOOK_BY" not in one_after_the_other(["next heron-07"], SAMPLES)[0].stdout


def test_a_sealed_build_says_so(run: Run) -> None:
    done = run("next", "heron-07/2025-06-first", cwd=SAMPLES)
    assert done.returncode == 0
    assert "sealed: nothing is left to do" in done.stdout
    assert todo(run("next", "heron-07/2025-06-first", "--json", cwd=SAMPLES).stdout) == []


def test_over_the_book_who_waits_longest_stands_first_and_what_is_over_is_only_counted(run: Run) -> None:
    done = run("next", "--all", cwd=SAMPLES)
    assert done.returncode == 0, done.stderr
    listed = re.findall(r"^([a-z]+-\d\d/\S+) +(\d{4}-\d\d-\d\d)", done.stdout, re.MULTILINE)
    assert [name for name, _ in listed] == [
        "plover-03/2026-03-first", "dunlin-21/2026-05-first", "magpie-02/2026-07-first", "heron-07/2026-10-rebuild",
    ]  # fmt: skip
    assert [day for _, day in listed] == sorted(day for _, day in listed)
    assert "4 of 5 builds wait" in " ".join(done.stdout.split())
    found = todo(run("next", "--all", "--json", cwd=SAMPLES).stdout)
    assert {each["build"] for each in found} == {name for name, _ in listed}
    assert {"build", "what", "command", "waits_for", "since"} == set(found[0])


def test_an_engine_that_came_in_and_has_no_build_yet_waits_for_its_first(samples: Path, run: Run) -> None:
    assert run("new", "engine", "wren-11", "--layout", "i4", cwd=samples).returncode == 0
    done = run("next", "--all", cwd=samples)
    assert re.search(r"wren-11 +\? +begin a build of it +1", done.stdout)
    assert "5 of 6 builds wait" in " ".join(done.stdout.split())
    found = todo(run("next", "--all", "--json", cwd=samples).stdout)
    assert [each["command"] for each in found if each["build"] == "wren-11"] == ["buildbook new build wren-11/NAME"]


def builds_listed(root: Path) -> set[str]:
    return {each.build for each in waiting_builds(Library(root), lambda: None)}


def test_an_older_build_counts_while_it_is_open_and_no_build_follows_it(book: Book) -> None:
    def begin(name: str, more: str) -> None:
        shutil.copytree(book.folder, book.folder.parent / name)
        text = (book.folder / "build.yaml").read_text().replace("build: first", f"build: {name}")
        book.write(f"engines/twin/{name}/build.yaml", text.replace("2026-10-01", "2026-12-01") + more)

    begin("second", "")
    assert builds_listed(book.root) == {"twin/first", "twin/second"}
    begin("third", "follows: first\n")
    assert builds_listed(book.root) == {"twin/second", "twin/third"}
    seal = "sign_offs: [{id: A1, stage: assembled, taken: 2026-12-09, by: ava, figures: {}}]\n"
    again = "reopened: [{id: O1, sign_off: A1, taken: 2026-12-10, by: ava, because: a tapped lifter}]\n"
    for text, found in ((seal, {"twin/third"}), (seal + again, {"twin/second", "twin/third"})):
        path = book.root / "engines/twin/second/build.yaml"
        path.write_text(path.read_text().partition("sign_offs")[0] + text)
        assert builds_listed(book.root) == found


def test_a_build_that_cannot_be_read_is_told_and_hides_no_other(book: Book, run: Run) -> None:
    shutil.copytree(book.folder.parent, book.root / "engines" / "other")
    for name in ("engine.yaml", "first/build.yaml"):
        path = book.root / "engines" / "other" / name
        path.write_text(path.read_text().replace("engine: twin", "engine: other"))
    book.write("weighings.yaml", "format: 1\nsessions: [broken\n")
    done = run("next", "--all", cwd=book.root)
    assert done.returncode == 1
    assert "weighings.yaml" in done.stdout
    assert "other/first" in done.stdout
    assert "2 of 2 builds wait" in done.stdout


def test_what_an_engine_waits_for_is_remembered_until_something_of_it_changes(
    samples: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    into_git(samples)
    looked: list[str] = []
    load = Reader.load

    def watched(reader: Reader, name: str) -> Any:
        looked.append(name)
        return load(reader, name)

    monkeypatch.setattr(Reader, "load", watched)

    def told() -> tuple[list[Waiting], list[str]]:
        looked.clear()
        return waiting_builds(Library(samples), lambda: None), looked.copy()

    first, all_open = told()
    assert sorted(all_open) == sorted(each.build for each in first)
    assert told() == (first, [])
    parts = samples / "engines" / "magpie-02" / "2026-07-first" / "spins.yaml"
    text = parts.read_text()
    parts.write_text(text + "# more\n")
    assert told() == (first, ["magpie-02/2026-07-first"])
    parts.write_text("steps: [broken\n")
    git(samples, "commit", "--all", "--quiet", "--message=Broken")
    for _ in range(2):  # what cannot be read is never remembered
        again, looked_at = told()
        assert [each.build for each in again if each.findings] == looked_at == ["magpie-02/2026-07-first"]
    parts.write_text(text)
    (samples / "engines" / "plover-03" / "2027-01-empty").mkdir()  # which git cannot see
    again, looked_at = told()
    assert {"plover-03/2027-01-empty", "magpie-02/2026-07-first"} <= set(looked_at)
    kept = next(Path(os.environ["XDG_CACHE_HOME"]).rglob("waiting.json"))
    kept.write_text(re.sub(r"\[\[[^]]*\]", "[7", kept.read_text()))
    assert [each.build for each in told()[0]] == [each.build for each in again]


def test_all_and_a_build_exclude_each_other(run: Run) -> None:
    done = run("next", "heron-07", "--all", cwd=SAMPLES)
    assert done.returncode == 2
    assert "--all is the whole book" in done.stderr
