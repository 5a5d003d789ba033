"""`tour`: the whole job on practice engines, in a real git repository."""

import json
from pathlib import Path

from conftest import Run
from rich.cells import cell_len

from cli.workshop import git


def test_the_tour_walks_through_the_whole_job_and_leaves_a_clean_repository(run: Run, tmp_path: Path) -> None:
    done = run("tour")
    assert (done.returncode, done.stderr) == (0, "")
    steps = [line for line in done.stdout.splitlines() if line.startswith("$ buildbook ")]
    assert [step.split()[2] for step in steps] == [
        "check", "show", "next", "weighings", "match", "match", "place", "bobweight", "map",
        "measure", "measure", "fits", "compression", "shaking", "factor",
        "spin", "plan", "correct", "correct", "spin", "spins", "prove", "prove",
        "diff", "trace", "sign", "audit", "sheet", "audit",
    ]  # fmt: skip
    assert "nothing found" in done.stdout
    assert "as sealed" in done.stdout
    assert (tmp_path / "practice_book" / "magpie-02-2026-07-first-customer.html").is_file()
    assert "W4 readings P1: 462.31 → 472.31" in " ".join(done.stdout.split())
    assert "TARGET" in done.stdout
    assert "locked: bore 5" in done.stdout
    assert "Rings to file" in done.stdout
    assert "\x1b" not in done.stdout
    book = tmp_path / "practice_book"
    assert git(book, "status", "--porcelain") == ""
    begin, match, *balanced = git(book, "log", "--reverse", "--format=%an: %s").splitlines()
    assert match.startswith("Ava Merrow: Match heron-07/2026-10-rebuild: spread ")
    assert begin == "buildbook: Begin a practice book"
    assert balanced == [
        "Tomas Reddick: Set the bobweights of heron-07/2026-10-rebuild",
        "Mika Dunnow: Record M4: top ring gap",
        "Mika Dunnow: Record M5: top ring gap",
        "Tomas Reddick: Record S1: spin",
        "Tomas Reddick: Record S2: drill",
        "Tomas Reddick: Record S3: drill",
        "Tomas Reddick: Record S4: spin",
        "Ava Merrow: Record A2: assembled signed off",
    ]
    assert git(book, "fsck", "--strict") == ""


def test_every_screen_of_the_tour_fits_80_columns(run: Run, tmp_path: Path) -> None:
    said = run("tour", "book").stdout.replace(str(tmp_path), "~")  # a path is as long as it is
    assert [line for line in said.splitlines() if cell_len(line) > 80] == []


def test_what_the_tour_shows_can_be_done_again_by_hand(run: Run, tmp_path: Path) -> None:
    run("tour", "book")
    book = tmp_path / "book"
    assert run("check", cwd=book).returncode == 0
    assert run("map", "heron-07", cwd=book).returncode == 0
    # an editor finds the schemas that the files point at, with no network
    for file in book.rglob("*.yaml"):
        first = file.read_text().split("\n", 1)[0]
        assert (file.parent / first.partition("$schema=")[2]).is_file(), file


def test_the_tour_in_json_is_one_object(run: Run, tmp_path: Path) -> None:
    done = run("tour", "book", "--json")
    assert (done.returncode, done.stderr) == (0, "")
    said = json.loads(done.stdout)
    assert list(said) == ["build", "figures", "findings"]
    assert said["build"] == "heron-07/2026-10-rebuild"
    assert {"weighings", "match", "bobweights"} <= set(said["figures"])
    assert Path(said["figures"]["book"]) == tmp_path / "book"
    assert said["figures"]["match"]["cylinders"]["5"]["piston"] == "P3"


def test_a_folder_that_is_there_is_refused_and_left_alone(run: Run, tmp_path: Path) -> None:
    (tmp_path / "book").mkdir()
    (tmp_path / "book" / "mine.txt").write_text("mine\n")
    done = run("tour", "book")
    assert (done.returncode, done.stdout) == (2, "")
    assert "name a folder that does not exist yet" in done.stderr
    assert [path.name for path in (tmp_path / "book").iterdir()] == ["mine.txt"]


def test_a_second_tour_makes_a_second_book(run: Run, tmp_path: Path) -> None:
    assert run("tour", "--json").returncode == run("tour", "--json").returncode == 0
    assert sorted(path.name for path in tmp_path.glob("practice*")) == ["practice_book", "practice_book_2"]


def test_without_git_the_tour_still_walks_and_says_what_is_missing(run: Run, tmp_path: Path) -> None:
    nothing = tmp_path / "bin"
    nothing.mkdir()
    done = run("tour", "book", PATH=str(nothing))
    assert done.returncode == 0
    assert "git was not found" in done.stderr
    assert "TARGET" in done.stdout
