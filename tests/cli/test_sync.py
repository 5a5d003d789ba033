"""`sync`: what came, what went, what is to decide; and git's own merge, asking the same program."""

import json
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest
from conftest import Book, Run
from figures.ledger import PARTS
from rich.cells import cell_len

from cli.workshop import git, into_git, one_after_the_other

WEIGHED = """\
format: 1
units: {mass: g}
sessions:
  - {id: W1, taken: 2026-10-03T09:00+01:00, by: ava, with: scale, what: rod, readings: {R1: 575.3}}
"""

ONE = "  - {id: W2, taken: 2026-10-03T09:20+01:00, by: ava, with: scale, what: piston, readings: {P1: 480.1}}\n"
TWO = "  - {id: W2, taken: 2026-10-03T09:10+01:00, by: tomas, with: scale, what: pin, readings: {N1: 152.3}}\n"


class Pair(NamedTuple):
    one: Path
    two: Path

    def file(self, bench: Path) -> Path:
        return bench / "engines" / "twin" / "first" / "weighings.yaml"

    def enter(self, bench: Path, text: str) -> None:
        self.file(bench).write_text(text)
        git(bench, "commit", "--quiet", "--all", "--message=By hand")


@pytest.fixture
def pair(book: Book, tmp_path: Path) -> Pair:
    """Two benches with one remote, which have entered different things."""
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", WEIGHED)
    into_git(book.root)
    git(tmp_path, "init", "--quiet", "--bare", "--initial-branch=main", "hub.git")
    git(book.root, "remote", "add", "origin", str(tmp_path / "hub.git"))
    git(book.root, "push", "--quiet", "origin", "main")
    git(tmp_path, "clone", "--quiet", "hub.git", "two")
    both = Pair(book.root, tmp_path / "two")
    both.enter(both.one, WEIGHED.replace("575.3", "575.4") + ONE)
    both.enter(both.two, WEIGHED.replace("575.3", "575.80") + TWO)
    return both


def test_the_screen_has_all_of_it_in_80_columns_and_in_60(pair: Pair, run: Run) -> None:
    sent = run("sync", cwd=pair.one)
    assert (sent.returncode, sent.stderr) == (0, "")
    assert "sent from this bench" in sent.stdout
    assert "W2 piston" in sent.stdout
    done = run("sync", cwd=pair.two, COLUMNS="60")
    assert (done.returncode, done.stderr) == (1, "")
    assert max(map(cell_len, done.stdout.splitlines())) <= 60
    said = " ".join(done.stdout.split())
    for words in (
        "merged and sent origin, main",
        "taken from the other benches twin/first by ava W1 whole rod, changed, W2 piston",
        "sent from this bench twin/first by ava, tomas W1 whole rod, changed, W2 pin",
        "W2 of the other bench is now W3 engines/twin/first/weighings.yaml",
        "this bench 575.80 the other bench 575.4",
        "kept in W4, which is void",
        "→ measure again",
    ):
        assert words in said, words
    assert [each for each in done.stdout.splitlines() if "\x1b" in each] == []
    received = run("sync", cwd=pair.one)
    assert received.returncode == 0
    assert "W3 piston" in received.stdout
    check = run("check", cwd=pair.one)
    assert " error" not in check.stdout


def test_json_has_both_values_and_what_to_do(pair: Pair) -> None:
    assert one_after_the_other(["sync"], pair.one)[0].code == 0
    done, again = one_after_the_other(["sync --json", "sync --remote origin --json"], pair.two)
    assert (done.code, again.code, done.stderr) == (1, 0, "")
    said = json.loads(done.stdout)
    figures = said["figures"]["sync"]
    assert (figures["outcome"], figures["remote"], figures["branch"]) == ("merged", "origin", "main")
    assert figures["commit"] == git(pair.two, "rev-parse", "HEAD").strip()
    [question] = figures["questions"]
    assert {name: question[name] for name in ("file", "where", "ours", "theirs")} == {
        "file": "engines/twin/first/weighings.yaml",
        "where": "W1 readings R1",
        "ours": "575.80",
        "theirs": "575.4",
    }
    assert question["remedy"]
    assert [(each["side"], each["old"], each["new"]) for each in figures["renumbered"]] == [("theirs", "W2", "W3")]
    assert [each["rule"] for each in said["findings"]] == ["conflict"]
    assert json.loads(again.stdout)["figures"]["sync"]["outcome"] == "nothing"


def test_what_stands_in_the_way_is_one_message_with_its_remedy(pair: Pair, tmp_path: Path) -> None:
    pair.file(pair.one).write_text(WEIGHED)
    unkept, nowhere = one_after_the_other(["sync", "sync --remote hub"], pair.one)
    assert (unkept.code, unkept.stdout) == (2, "")
    assert "buildbook keep" in unkept.stderr
    hub = tmp_path / "hub.git"
    hub.rename(tmp_path / "gone.git")
    gone, unknown, program = one_after_the_other(
        ["sync", "sync --remote hub", ["sync", "--remote", "ext::sh -c 'touch ran'"]], pair.two
    )
    assert (gone.code, unknown.code, program.code, nowhere.code) == (2, 2, 2, 2)
    assert "nothing was changed here" in gone.stderr
    assert "no remote named 'hub'" in unknown.stderr
    assert "could make git run a program" in " ".join(program.stderr.split())
    assert not (pair.two / "ran").exists()
    assert "Traceback" not in gone.stderr + unknown.stderr + program.stderr


def test_user_text_cannot_steer_the_terminal(pair: Pair, run: Run) -> None:
    note = 'note: "\\e]0;owned\\a[bold]x[/bold]"\n'
    pair.enter(pair.one, WEIGHED + note)
    pair.enter(pair.two, WEIGHED + "note: plain\n")
    run("sync", cwd=pair.one)
    done = run("sync", cwd=pair.two)
    assert done.returncode == 1
    assert "[bold]x[/bold]" in done.stdout
    assert "\x1b" not in done.stdout
    assert "\x07" not in done.stdout


def merge_by_hand(bench: Path) -> subprocess.CompletedProcess[str]:
    """`git merge` with this program as the driver, as the help says."""
    driver = f"'{sys.executable}' -m buildbook sync --merge-file %O %A %B %P"
    for setting in (("merge.buildbook.name", "records by id"), ("merge.buildbook.driver", driver)):
        subprocess.run(["git", "config", "--global", *setting], check=True)
    (bench / ".git" / "info").mkdir(exist_ok=True)
    (bench / ".git" / "info" / "attributes").write_text("*.yaml merge=buildbook\n")
    git(bench, "fetch", "--quiet", "origin")
    identity = ["-c", "user.name=Test", "-c", "user.email=test@example.org"]
    return subprocess.run(
        ["git", *identity, "merge", "--no-edit", "origin/main"], cwd=bench, capture_output=True, text=True, check=False
    )


def test_git_merges_by_records_when_it_asks(pair: Pair) -> None:
    git(pair.one, "push", "--quiet", "origin", "main")
    done = merge_by_hand(pair.two)
    assert done.returncode == 0, done.stderr + done.stdout
    text = pair.file(pair.two).read_text()
    assert all(value in text for value in ("575.4", "575.80", "480.1", "152.3", "id: W3"))
    assert "<<<<" not in text
    assert "W2 is W3 now" in done.stderr + done.stdout
    assert git(pair.two, "status", "--porcelain") == ""


def test_git_says_so_where_theirs_could_not_be_merged_in(pair: Pair) -> None:
    other_unit = WEIGHED.replace("mass: g", "mass: oz").replace("575.3", "20.29")
    pair.enter(pair.one, other_unit)
    git(pair.one, "push", "--quiet", "origin", "main")
    ours = pair.file(pair.two).read_text()
    done = merge_by_hand(pair.two)
    assert done.returncode == 1
    assert pair.file(pair.two).read_text() == ours
    assert "engines/twin/first/weighings.yaml" in git(pair.two, "diff", "--name-only", "--diff-filter=U")


def test_the_help_has_the_two_lines_for_git(run: Run) -> None:
    said = " ".join(run("sync", "--help").stdout.split())
    assert "git config --global merge.buildbook.driver 'buildbook sync --merge-file %O %A %B %P'" in said
    assert "git config --global merge.buildbook.name" in said
