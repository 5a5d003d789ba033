"""`history`: the life of an engine and of a build, from real files and real git."""

import json
import os
import re
import shutil
from collections import Counter
from pathlib import Path

import pytest
from conftest import Book, Run
from figures.ledger import ALL_WEIGHED, weighings

from cli.test_screens import HOSTILE, hostile_book, lost, steering, too_wide
from cli.workshop import git, into_git, one_after_the_other


def together(text: str) -> str:
    return " ".join(text.split())


def test_an_engine_is_told_build_by_build_and_day_by_day(kept: Path, run: Run) -> None:
    done = run("history", "heron-07", cwd=kept)
    assert (done.returncode, done.stderr) == (0, "")
    said = together(done.stdout)
    assert said.index("heron-07/2025-06-first") < said.index("heron-07/2026-10-rebuild")
    assert "2025-06-02 opened: New rods and pistons after a dropped valve" in said
    assert "weighed: whole rod, rod big end, rod small end, piston, pin, ring set, pin locks, rod bearing" in said
    assert "W3 weighed: rod small end VOID: the hanger rubbed on the draught shield" in said
    assert "spun 7 times: at last front 0.5 g @ 213, rear 0.3 g @ 80 · Tomas Reddick" in said
    assert "2025-06-11 signed: balanced · Ava Merrow" in said
    assert "edited by hand: engine: Begin · Test" in said
    assert len(re.findall(r"^  2025-06-10 ", done.stdout, re.MULTILINE)) == 1


def test_all_shows_every_record_with_its_id_and_its_note(kept: Path, run: Run) -> None:
    said = run("history", "heron-07/2025-06-first", "--all", cwd=kept).stdout
    for name in [f"S{number}" for number in range(1, 16)] + [f"W{number}" for number in range(1, 11)]:
        assert len(re.findall(rf"^  [\d: -]*\b{name} ", said, re.MULTILINE)) == 1, name
    assert "nothing was weighed or changed since" in together(said)


def test_days_before_can_be_left_out(kept: Path, run: Run) -> None:
    said = run("history", "heron-07", "--since", "2026-10", cwd=kept).stdout
    assert "2026-10-01  opened" in said
    assert "2025-06-02" not in said
    for day in ("yesterday", "2026-1", "2026-10-05T10:00"):
        done = run("history", "heron-07", "--since", day, cwd=kept)
        assert (done.returncode, "write it like 2026-10-05" in done.stderr) == (2, True)


def test_what_a_command_recorded_and_what_a_hand_edited_are_told_apart(book: Book, run: Run) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:2]))
    book.write(
        "shop.yaml", (book.root / "shop.yaml").read_text() + "  feeler: {kind: feeler_gauge, resolution: 0.01 mm}\n"
    )
    book.write("clearances.yaml", "format: 1\nunits: {length: mm}\nsessions: []\n")
    book.write("parts.yaml", "format: 1\nparts:\n  - {kind: rod, ids: [R1, R2]}\n")
    into_git(book.root)
    measured = run("measure", "rod_side", "--with", "feeler", "R1=0.30", "--by", "tomas", cwd=book.folder)
    assert "kept in git" in measured.stdout, measured.stderr + measured.stdout
    book.write("weighings.yaml", weighings(ALL_WEIGHED[0], ALL_WEIGHED[1].replace("id: W2,", "id: W2, void: draught,")))
    git(
        book.root,
        "commit",
        "--all",
        "--quiet",
        "--author=Ava <a@x>",
        "--date=2026-10-09T10:00+01:00",
        "-m",
        "W2 is void",
    )
    events = json.loads(run("history", "--all", "--json", cwd=book.folder).stdout)["figures"]["history"]
    by_record = {each["record"]: each for each in events if each["what"] in {"weighed", "measured"}}
    assert by_record["M1"]["how"] == "record"
    assert by_record["M1"]["who"] == "Tomas Reddick"
    assert by_record["M1"]["in_the_book_since"] is None
    assert (by_record["W2"]["how"], by_record["W2"]["void"]) == ("hand", "draught")
    (voided,) = [each for each in events if each["what"] == "called void"]
    assert (voided["record"], voided["who"], voided["when"]) == ("W2", "Ava", "2026-10-09T10:00+01:00")
    edits = [(each["who"], each["of"]) for each in events if each["what"] == "edited by hand"]
    assert ("Ava", "weighings: W2 is void") in edits
    assert all("M1" not in of for _, of in edits)
    shown = together(run("history", cwd=book.folder).stdout)
    assert "called void: W2 rod small end · Ava" in shown


def test_records_of_another_day_than_the_commit_that_brought_them_are_named(book: Book, run: Run) -> None:
    sessions = [f"id: W{number}, taken: 2026-10-03, what: pin, readings: {{N1: 152.3}}" for number in (1, 2, 3)]
    book.write("weighings.yaml", weighings(*sessions))
    git(book.root, "init", "--quiet")
    git(book.root, "add", "--all")
    git(book.root, "commit", "--quiet", "--date=2026-10-20T10:00+01:00", "--message=Typed in from paper")
    said = together(run("history", "twin/first", cwd=book.root).stdout)
    assert "in the book since 2026-10-20, not since their own day" in said
    assert re.search(r"\(Test, [0-9a-f]{7}\): W1 to W3\b", said)
    (event,) = [
        each
        for each in json.loads(run("history", "--json", cwd=book.folder).stdout)["figures"]["history"]
        if each["record"] == "W1"
    ]
    assert event["in_the_book_since"] == "2026-10-20T10:00+01:00"


def test_records_of_two_benches_are_each_told_by_the_commit_that_brought_them(book: Book, run: Run) -> None:
    """Both benches entered W2, the other one eleven days late; there it is W3 since they were brought together."""
    w1, ours = "id: W1, what: pin, readings: {N1: 152.3}", "id: W2, what: piston, readings: {P1: 480.1}"
    theirs = "id: W2, by: tomas, what: pin, readings: {N2: 152.5}"
    book.write("weighings.yaml", weighings(w1))
    into_git(book.root)
    git(book.root, "switch", "--quiet", "--create", "bench")
    book.write("weighings.yaml", weighings(w1, theirs))
    late = ("--author=Tomas Reddick <t@x>", "--date=2026-10-14T10:00+01:00", "--message=Typed in")
    git(book.root, "commit", "--all", "--quiet", *late)
    git(book.root, "switch", "--quiet", "main")
    book.write("weighings.yaml", weighings(w1, ours))
    here = ("--date=2026-10-03T10:00+01:00", "--message=Record W2: piston\n\nBuild: twin/first\nRecord: W2")
    git(book.root, "commit", "--all", "--quiet", *here)
    git(book.root, "merge", "--quiet", "--no-commit", "--strategy=ours", "bench")
    book.write("weighings.yaml", weighings(w1, ours, theirs.replace("id: W2,", "id: W3, note: entered as W2,")))
    git(book.root, "commit", "--all", "--quiet", "--message=Merge with origin: 1 record added\n\nBuild: twin/first")
    events = json.loads(run("history", "--json", cwd=book.folder).stdout)["figures"]["history"]
    of = {each["record"]: each for each in events if each["record"]}
    assert (of["W2"]["how"], of["W2"]["in_the_book_since"]) == ("record", None)
    assert (of["W3"]["how"], of["W3"]["in_the_book_since"]) == ("hand", "2026-10-14T10:00+01:00")
    assert of["W3"]["brought_by"] == git(book.root, "rev-parse", "bench").strip()
    (merge,) = [each for each in events if each["what"] == "brought together"]
    assert (merge["how"], merge["of"]) == ("merged", "weighings: Merge with origin: 1 record added")
    shown = together(run("history", cwd=book.folder).stdout)
    assert "brought together: weighings: Merge with origin: 1 record added · Test" in shown
    assert "edited by hand: weighings: Merge" not in shown


@pytest.mark.parametrize("state", ["no git", "no commit yet"])
def test_a_book_without_commits_is_told_all_the_same_and_says_so(book: Book, run: Run, state: str) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    if state == "no commit yet":
        git(book.root, "init", "--quiet")
    done = run("history", "twin", cwd=book.root)
    assert (done.returncode, done.stderr) == (0, "")
    assert "weighed: rod big end" in done.stdout
    why = {
        "no git": "this book is not a git repository; 'git init' in its folder makes it one",
        "no commit yet": "nothing of this book is in git's history yet; 'buildbook keep' puts it there",
    }
    said = "The book has no history of commits, so hand edits are not known: "
    assert said + why[state] in together(done.stdout)
    assert json.loads(run("history", "twin", "--json", cwd=book.root).stdout)["figures"]["no_commits"]


def test_a_book_that_stands_on_no_branch_is_told_all_the_same(kept: Path, run: Run) -> None:
    git(kept, "checkout", "--quiet", "--detach")
    done = run("history", "plover-03", cwd=kept)
    assert (done.returncode, done.stderr) == (0, "")
    assert "edited by hand" in done.stdout
    assert "no history of commits" not in done.stdout


def test_a_build_that_cannot_be_read_has_its_hand_edits_and_says_why(book: Book, run: Run) -> None:
    into_git(book.root)
    book.write("spins.yaml", "format: 1\nsteps: {\n")
    done = run("history", "twin", cwd=book.root)
    assert done.returncode == 1
    assert "no record can be told until what was found below is put right" in together(done.stdout)
    assert "edited by hand: build: Begin" in together(done.stdout)
    assert "spins.yaml:" in done.stdout


def test_an_unknown_engine_is_misuse_with_the_nearest_name(kept: Path, run: Run) -> None:
    done = run("history", "heron-7", cwd=kept)
    assert (done.returncode, done.stdout) == (2, "")
    assert "did you mean heron-07?" in done.stderr


@pytest.mark.parametrize("columns", [80, 60])
def test_no_figure_is_lost_on_a_narrow_screen(kept: Path, columns: int) -> None:
    commands = ("history heron-07", "history heron-07/2025-06-first --all", "history plover-03")
    wide = one_after_the_other(commands, kept, 200)
    for narrow, whole in zip(one_after_the_other(commands, kept, columns), wide, strict=True):
        assert (narrow.code, narrow.stderr) == (0, "")
        assert too_wide(narrow.stdout, columns) == []
        assert lost(narrow.stdout, whole.stdout) == Counter()


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_whatever_a_file_or_a_commit_says_is_shown_as_data(book: Book, text: str) -> None:
    hostile_book(book, text)
    into_git(book.root)
    book.write("engines/twin/first/parts.yaml", (book.folder / "parts.yaml").read_text() + "# more\n")
    git(book.root, "commit", "--all", "--quiet", "--author=[bold]A[/bold] <a@x>", f"--message=[red]x {text[:60]}")
    for shown in one_after_the_other(["history", "history --all", "history twin"], book.folder):
        assert shown.code == 0, shown.stderr
        assert shown.stderr == ""
        assert steering(shown.stdout) == []
        assert too_wide(shown.stdout) == []
        assert "[bold]A[/bold]" in shown.stdout


def test_an_ascii_terminal_is_sent_ascii(kept: Path, run: Run) -> None:
    ascii_only = {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "LC_ALL": "C"}
    done = run("history", "heron-07", "--all", cwd=kept, **ascii_only)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.isascii()
    assert "?" not in done.stdout


def test_one_git_process_tells_the_life_of_a_build(kept: Path, run: Run, tmp_path: Path) -> None:
    """The whole history comes from one pass, however many records and files a build has."""
    log, real = tmp_path / "calls", shutil.which("git")
    counting = tmp_path / "bin" / "git"
    counting.parent.mkdir()
    counting.write_text(f'#!/bin/sh\necho "$*" >> {log}\nexec {real} "$@"\n')
    counting.chmod(0o755)
    done = run("history", "plover-03/2026-03-first", cwd=kept, PATH=f"{counting.parent}:{os.environ['PATH']}")
    assert done.returncode == 0, done.stderr
    assert "edited by hand" in done.stdout
    (call,) = [each for each in log.read_text().splitlines() if "version" not in each]
    assert " log " in f" {call} "
