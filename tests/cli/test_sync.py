"""`sync`: what came, what went, what is to decide; and git's own merge, asking the same program."""

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest
from conftest import Book, Run
from figures.ledger import PARTS
from rich.cells import cell_len

from buildbook.book.sync import undecided
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
        "W2 of this bench is now W3 engines/twin/first/weighings.yaml",
        "counts now 575.80 the other 575.4",
        "→ if 575.80 is right: write 'decided' for 'conflict' in the void of W4",
        "→ if 575.4 is right: take 'void' out of W4, which then counts",
    ):
        assert words in said, words
    assert [each for each in done.stdout.splitlines() if "\x1b" in each] == []
    received = run("sync", cwd=pair.one)
    assert received.returncode == 1  # every bench is asked
    assert "W3 pin" in received.stdout
    assert "counts now  575.80" in received.stdout
    check = run("check", cwd=pair.one)
    assert " error" not in check.stdout
    assert re.search(r"^warning +\S+weighings\.yaml:\d+:\d+ +undecided$", check.stdout, re.MULTILINE)


def test_json_has_both_values_and_what_to_do(pair: Pair) -> None:
    assert one_after_the_other(["sync"], pair.one)[0].code == 0
    done, again = one_after_the_other(["sync --json", "sync --remote origin --json"], pair.two)
    assert (done.code, again.code, done.stderr) == (1, 1, "")
    said = json.loads(done.stdout)
    figures = said["figures"]["sync"]
    assert (figures["outcome"], figures["remote"], figures["branch"]) == ("merged", "origin", "main")
    assert figures["commit"] == git(pair.two, "rev-parse", "HEAD").strip()
    [question] = figures["questions"]
    assert {name: question[name] for name in ("file", "where", "counts", "other", "held_by")} == {
        "file": "engines/twin/first/weighings.yaml",
        "where": "W1 readings R1",
        "counts": "575.80",
        "other": "575.4",
        "held_by": "W4",
    }
    assert len(question["remedies"]) == 2
    assert [(each["side"], each["old"], each["new"]) for each in figures["renumbered"]] == [("ours", "W2", "W3")]
    assert [each["rule"] for each in said["findings"]] == ["undecided"]
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


def decide(bench: Path, name: str, old: str, new: str) -> None:
    """As the remedy says: an edit, and `keep`."""
    path = bench / "engines/twin/first" / name
    text = re.sub(old, new, path.read_text())
    assert text != path.read_text()
    path.write_text(text)
    assert one_after_the_other([["keep", "--by", "ava"]], bench)[0].code == 0


LATER = "decided: {taken: 2026-10-06, by: tomas}\ncylinders:\n  1: {rod: R2, piston: P1}\n  2: {rod: R1, piston: P2}\n"
FORMS = {
    "a choice": ("build.yaml", "balance: {factor: 48}\n", "balance: {factor: 52}\n", ("52", "48"), "note: .*\n"),
    "the use": ("build.yaml", "use: marine\n", "use: street\n", ("street", "marine"), "note: .*\n"),
    "a pairing": (
        "pairings.yaml",
        LATER.replace("R2", "R3").replace("06, by: tomas", "05, by: ava"),
        LATER,
        ("D2 (tomas, 2026-10-06): 1: R2 P1", "the first decision (ava, 2026-10-05): 1: R3 P1"),
        "note: .*\n",
    ),
}


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_whatever_two_benches_said_each_is_asked_with_both_values_until_one_decides(
    pair: Pair, run: Run, form: tuple[str, str, str, tuple[str, str], str]
) -> None:
    name, here, there, values, words = form
    for bench, said in ((pair.one, here), (pair.two, there)):
        git(bench, "reset", "--quiet", "--hard", "origin/main")
        path = bench / "engines/twin/first" / name
        text = path.read_text() if path.exists() else "format: 1\n"
        path.write_text(re.sub(r"^(balance|limits|use): .*\n", "", text, flags=re.MULTILINE) + said)
        git(bench, "add", "--all")
        git(bench, "commit", "--quiet", "--message=By hand")
    run("sync", cwd=pair.one)
    for bench in (pair.two, pair.one, pair.two):
        shown = run("sync", cwd=bench, COLUMNS="80")
        assert shown.returncode == 1, shown.stdout + shown.stderr
        said = " ".join(shown.stdout.split())
        assert all(part in said for value in values for part in value.split(": ", 1)), said
        assert f"out of the note of {name}" in said
    findings = undecided.findings(pair.one, pair.one / "engines/twin/first")
    assert [(each.severity, each.rule) for each in findings] == [("warning", "undecided")]
    assert all(value in findings[0].what for value in values)
    decide(pair.one, name, words, "")
    for bench in (pair.one, pair.two):
        assert run("sync", cwd=bench).returncode == 0
        assert undecided.findings(bench, bench / "engines/twin/first") == []


def test_a_builder_decides_for_the_other_value_and_all_benches_have_it(pair: Pair) -> None:
    for bench in (pair.one, pair.two):
        one_after_the_other(["sync"], bench)
    decide(pair.two, "weighings.yaml", r', void: "conflict.*"', "")
    done, shown = one_after_the_other(["sync", "weighings twin/first --json"], pair.two)
    assert (done.code, json.loads(shown.stdout)["figures"]["weighings"]["rod"]["pieces"]["R1"]) == (0, 575.4)


def merge_by_hand(bench: Path, *how: str) -> subprocess.CompletedProcess[str]:
    """`git merge` with this program as the driver, as the help says."""
    driver = f"'{sys.executable}' -m buildbook sync --merge-file %O %A %B %P"
    for setting in (("merge.buildbook.name", "records by id"), ("merge.buildbook.driver", driver)):
        subprocess.run(["git", "config", "--global", *setting], check=True)
    (bench / ".git" / "info").mkdir(exist_ok=True)
    (bench / ".git" / "info" / "attributes").write_text("*.yaml merge=buildbook\n")
    git(bench, "fetch", "--quiet", "origin")
    identity = ["-c", "user.name=Test", "-c", "user.email=test@example.org"]
    return subprocess.run(
        ["git", *identity, *(how or ("merge", "--no-edit", "origin/main"))], cwd=bench, capture_output=True, text=True,
        check=False,
    )  # fmt: skip


def test_git_merges_by_records_when_it_asks(pair: Pair) -> None:
    git(pair.one, "push", "--quiet", "origin", "main")
    done = merge_by_hand(pair.two)
    assert done.returncode == 0, done.stderr + done.stdout
    text = pair.file(pair.two).read_text()
    assert all(value in text for value in ("575.4", "575.80", "480.1", "152.3", "id: W3"))
    assert "<<<<" not in text
    assert "W2 is W3 now" in done.stderr + done.stdout
    assert git(pair.two, "status", "--porcelain") == ""


def test_in_a_rebase_it_is_what_goes_on_top_that_is_renumbered(pair: Pair) -> None:
    git(pair.one, "push", "--quiet", "origin", "main")
    git(pair.two, "reset", "--quiet", "--hard", "HEAD~1")
    pair.enter(pair.two, WEIGHED + TWO)
    done = merge_by_hand(pair.two, "rebase", "origin/main")
    assert done.returncode == 0, done.stderr + done.stdout
    text = pair.file(pair.two).read_text()
    assert re.search(r"id: W2, .*what: piston", text)
    assert re.search(r"id: W3, .*what: pin,.*entered as W2", text)


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
