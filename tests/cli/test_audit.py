"""`audit`: one line for each build, worst first; whatever was touched after it was signed, by what it means."""

import json
import re
import shlex
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Run

from cli.test_screens import lost, too_wide
from cli.workshop import BUILDS, git, one_after_the_other

MAGPIE, HERON = "magpie-02/2026-07-first", "heron-07/2025-06-first"
TAG = f"sealed/{MAGPIE}/A2"


@pytest.fixture(scope="module")
def once(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return {"folder": tmp_path_factory.mktemp("once")}


@pytest.fixture
def sealed_samples(kept: Path, once: dict[str, Path], tmp_path: Path) -> Path:
    """The sample builds in git, one of them sealed; sealed once and then copied."""
    first = once["folder"] / "book"
    if not first.exists():
        (done,) = one_after_the_other([f"sign assembled {MAGPIE} --by ava"], kept)
        assert (done.code, done.stderr) == (0, "")
        shutil.copytree(kept, first)
    return Path(shutil.copytree(first, tmp_path / "sealed samples"))


def change(book: Path, build: str, file: str, old: str, new: str) -> None:
    path = book / "engines" / build / file
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def commit(book: Path, *arguments: str) -> None:
    git(book, "commit", "--quiet", "--all", "--message=Tidy", *arguments)


def test_the_samples_and_their_older_sign_offs_audit_clean(kept: Path, run: Run) -> None:
    done = run("audit", cwd=kept)
    assert (done.returncode, done.stderr) == (0, "")
    for build in BUILDS:
        assert build in done.stdout
    assert "A2 2025-06-17 by ava: as signed, 2 figures agree" in " ".join(done.stdout.split())
    assert "W3 is void: the hanger rubbed on the draught shield" in " ".join(done.stdout.split())


def test_a_clean_seal_is_one_line(sealed_samples: Path, run: Run) -> None:
    done = run("audit", MAGPIE, cwd=sealed_samples)
    assert (done.returncode, done.stderr) == (0, "")
    said = " ".join(done.stdout.split())
    assert re.fullmatch(rf"{MAGPIE} sealed A2 \d{{4}}-\d\d-\d\d by ava: as sealed, \d+ figures agree", said)


def test_the_worst_build_stands_first_and_says_what_when_and_by_whom(sealed_samples: Path, run: Run) -> None:
    change(sealed_samples, MAGPIE, "weighings.yaml", "P1: 462.31", "P1: 462.37")
    commit(sealed_samples)
    change(sealed_samples, "plover-03/2026-03-first", "spins.yaml", "by: tomas", "by: mika")
    done = run("audit", cwd=sealed_samples)
    assert done.returncode == 1
    assert done.stdout.index(MAGPIE) < done.stdout.index("plover-03") < done.stdout.index("dunlin-21")
    said = " ".join(done.stdout.split())
    assert "NOT AS IT WAS, which moves 6 of its figures, 1 error" in said
    assert re.search(
        r"W\d readings P1: 462.31 → 462.37, since A2 was sealed: by Test on \d{4}-\d\d-\d\d \(\w{7}\)", said
    )
    assert re.search(rf"engines/{MAGPIE}/weighings.yaml:\d+:\d+ sealed-changed", said)
    assert f"git checkout {TAG} -- engines/{MAGPIE}/weighings.yaml" in said


def edited(book: Path) -> None:
    change(book, MAGPIE, "weighings.yaml", "P1: 462.31", "P1: 462.37")


def gone(book: Path) -> None:
    (book / "engines" / MAGPIE / "clearances.yaml").unlink()


def added(book: Path) -> None:
    (book / "engines" / MAGPIE / "notes.yaml").write_text("a: 1\n")


@pytest.mark.parametrize("committed", [False, True])
@pytest.mark.parametrize(
    ("tamper", "stand"), [(edited, "."), (edited, "engines/heron-07"), (gone, f"engines/{MAGPIE}"), (added, "..")]
)
def test_the_remedy_as_it_is_printed_brings_the_sealed_state_back(
    sealed_samples: Path, run: Run, tamper: Callable[[Path], None], stand: str, committed: bool
) -> None:
    tamper(sealed_samples)
    if committed:
        git(sealed_samples, "add", "engines")
        commit(sealed_samples)
    here = sealed_samples / stand
    (finding,) = json.loads(run("audit", MAGPIE, f"--book={sealed_samples}", "--json", cwd=here).stdout)["findings"]
    steps, meant, _ = finding["remedy"].partition("; if it is meant")
    assert meant
    if "delete it" in steps:
        (sealed_samples / "engines" / MAGPIE / "notes.yaml").unlink()
    for typed in re.findall("git ((?:-C|checkout|commit) [^;]+)", steps):
        git(here, *shlex.split(typed))
    assert ("buildbook keep" in steps) == (committed and tamper is not added)
    if "buildbook keep" in steps:
        assert run("keep", "--by=ava", f"--book={sealed_samples}", cwd=here).returncode == 0
    assert run("audit", MAGPIE, f"--book={sealed_samples}", cwd=here).returncode == 0


def test_a_file_that_is_as_it_was_again_is_still_to_be_kept(sealed_samples: Path, run: Run) -> None:
    edited(sealed_samples)
    commit(sealed_samples)
    change(sealed_samples, MAGPIE, "weighings.yaml", "P1: 462.37", "P1: 462.31")
    said = " ".join(run("audit", MAGPIE, cwd=sealed_samples).stdout.split())
    assert "in git, though not on disk: W4 readings P1: 462.31 → 462.37" in said
    assert "the file is as it was again, and not yet in git: buildbook keep" in said
    assert run("keep", "--by=ava", cwd=sealed_samples).returncode == 0
    assert run("audit", MAGPIE, cwd=sealed_samples).returncode == 0


def deleted(book: Path) -> None:
    git(book, "tag", "--delete", TAG)


def moved(book: Path) -> None:
    git(book, "tag", "--force", "--annotate", "--message=Sealed", TAG, "HEAD^")


def amended(book: Path) -> None:
    git(book, "commit", "--quiet", "--amend", "--message=Another")


@pytest.mark.parametrize(
    ("tamper", "rule"), [(deleted, "seal-missing"), (moved, "seal-moved"), (amended, "history-rewritten")]
)
def test_a_seal_that_does_not_hold_is_an_error(sealed_samples: Path, run: Run, tamper: object, rule: str) -> None:
    assert callable(tamper)
    tamper(sealed_samples)
    done = run("audit", "magpie-02", "--json", cwd=sealed_samples)
    assert done.returncode == 1
    assert [(each["rule"], each["severity"]) for each in json.loads(done.stdout)["findings"]] == [(rule, "error")]


def test_json_says_by_build_what_is_sealed_and_what_differs(sealed_samples: Path, run: Run) -> None:
    change(sealed_samples, HERON, "build.yaml", "target: 2180.14", "target: 2180.41")
    said = json.loads(run("audit", "--json", cwd=sealed_samples).stdout)["figures"]["audit"]
    assert said["builds"].keys() == set(BUILDS)
    sealed = said["builds"][MAGPIE]
    assert (sealed["sealed"], sealed["as_signed"], sealed["tag"]) == (True, True, TAG)
    assert sealed["figures_checked"] > 50
    assert (sealed["differing"], sealed["moved"]) == ([], [])
    digest = git(sealed_samples, "tag", "--list", "--format=%(contents)", TAG)
    assert f"Digest: {sealed['digest']}" in digest
    (differing,) = said["builds"][HERON]["differing"]
    assert differing == {
        "sign_off": "A1", "version": None, "figure": "bobweights.target", "signed": "2180.41", "today": "2180.14",
        "by": "-0.27", "unit": "g",
    }  # fmt: skip
    rules = {(each["build"], each["rule"]) for each in said["findings"] if each["severity"] == "error"}
    assert rules == {(HERON, "figures-differ"), (HERON, "sealed-changed")}


def test_a_reopening_is_on_the_record_and_no_tampering(sealed_samples: Path, run: Run) -> None:
    (opened,) = one_after_the_other([["reopen", MAGPIE, "--because", "a [new] pin", "--by", "mika"]], sealed_samples)
    assert opened.code == 0
    change(sealed_samples, MAGPIE, "weighings.yaml", "P1: 462.31", "P1: 462.37")
    commit(sealed_samples)
    done = run("audit", MAGPIE, cwd=sealed_samples)
    assert (done.returncode, done.stderr) == (0, "")
    said = " ".join(done.stdout.split())
    assert "open again A2" in said
    assert "O1 opened A2 and what came before again: a [new] pin" in said
    assert "by mika" in said


def test_what_was_changed_before_the_reopening_is_still_told(sealed_samples: Path, run: Run) -> None:
    change(sealed_samples, MAGPIE, "weighings.yaml", "P1: 462.31", "P1: 462.37")
    commit(sealed_samples)
    one_after_the_other([["reopen", MAGPIE, "--because", "a new pin", "--by", "mika"]], sealed_samples)
    change(sealed_samples, MAGPIE, "weighings.yaml", "N1: 118.42", "N1: 118.47")
    (found,) = [
        each
        for each in json.loads(run("audit", MAGPIE, "--json", cwd=sealed_samples).stdout)["findings"]
        if each["severity"] != "note"
    ]
    assert found["rule"] == "changed-before-reopening"
    assert "P1: 462.31 → 462.37" in found["what"]
    assert "by Test" in found["what"]


def test_a_book_without_git_says_so_once_with_a_remedy(samples: Path, run: Run) -> None:
    done = run("audit", cwd=samples)
    assert done.returncode == 1
    assert done.stderr == ""
    assert done.stdout.count("there is no history to audit") == 1
    assert "changes not known, 2 figures agree" in " ".join(done.stdout.split())
    assert "as signed" not in done.stdout


def test_a_book_without_a_commit_says_so(samples: Path, run: Run) -> None:
    git(samples, "init", "--quiet")
    done = run("audit", cwd=samples)
    assert (done.returncode, done.stderr) == (1, "")
    shown = " ".join(done.stdout.split())
    assert "there is no history to audit: nothing of this book is in git's history yet" in shown
    assert "→ 'buildbook keep' puts it there" in shown


def test_a_detached_head_is_audited_as_well(sealed_samples: Path, run: Run) -> None:
    git(sealed_samples, "checkout", "--quiet", "--detach")
    assert run("audit", cwd=sealed_samples).returncode == 0


def test_a_book_that_stands_before_its_seal_is_not_called_rewritten(sealed_samples: Path, run: Run) -> None:
    git(sealed_samples, "checkout", "--quiet", "HEAD^")
    done = run("audit", MAGPIE, cwd=sealed_samples)
    assert done.returncode == 1
    shown = " ".join(done.stdout.split())
    assert "from before A2 was sealed" in shown
    assert f"git merge --ff-only {TAG}" in shown
    assert "rewr" not in shown


def test_a_copy_with_a_part_of_the_history_accuses_nobody_and_says_how_to_get_the_rest(
    sealed_samples: Path, tmp_path: Path, run: Run
) -> None:
    part = tmp_path / "part"
    git(tmp_path, "clone", "--quiet", "--depth=1", sealed_samples.as_uri(), str(part))
    done = run("audit", cwd=part)
    assert (done.returncode, done.stderr) == (1, "")
    shown = " ".join(done.stdout.split())
    assert "only the newest part of its history" in shown
    assert "git fetch --unshallow --tags" in shown
    assert "A2 2026" in shown
    assert "changes not known" in shown
    assert done.stdout.count("warning ") == 1
    for typed in (("trace", "pin.N1", MAGPIE), ("history", MAGPIE)):
        assert "only the newest part of its history" in " ".join(run(*typed, cwd=part).stdout.split()), typed
    for moment in ("A2", "2026-01"):
        asked = run("diff", MAGPIE, "--as-of", moment, cwd=part)
        assert (asked.returncode, asked.stdout) == (2, "")
        assert "git fetch --unshallow --tags" in asked.stderr
    git(part, "fetch", "--quiet", "--unshallow", "--tags")
    assert run("audit", cwd=part).returncode == 0


def test_a_build_that_is_not_there_is_misuse(kept: Path, run: Run) -> None:
    done = run("audit", "heron-08", cwd=kept)
    assert (done.returncode, done.stdout) == (2, "")
    assert "heron-07" in done.stderr


def test_no_figure_and_no_word_is_lost_for_want_of_room(sealed_samples: Path) -> None:
    change(sealed_samples, MAGPIE, "weighings.yaml", "P1: 462.31", "P1: 462.37")
    change(sealed_samples, HERON, "build.yaml", "target: 2180.14", "target: 2180.41")
    (wide,) = one_after_the_other(["audit"], sealed_samples, 200)
    for columns in (80, 60):
        (narrow,) = one_after_the_other(["audit"], sealed_samples, columns)
        assert (narrow.code, narrow.stderr) == (1, "")
        # a place in a file is never broken: an editor jumps to it
        lines = [line for line in narrow.stdout.splitlines() if not re.search(r"\.yaml:\d+:\d+", line)]
        assert too_wide("\n".join(lines), columns) == []
        assert lost(narrow.stdout, wide.stdout) == Counter()


def test_an_ascii_terminal_is_sent_ascii(sealed_samples: Path, run: Run) -> None:
    change(sealed_samples, MAGPIE, "weighings.yaml", "P1: 462.31", "P1: 462.37")
    done = run("audit", cwd=sealed_samples, PYTHONIOENCODING="ascii", PYTHONUTF8="0", LC_ALL="C")
    assert (done.returncode, done.stderr) == (1, "")
    assert done.stdout.isascii()
    assert "462.31 -> 462.37" in done.stdout


def test_hostile_text_in_what_was_changed_is_shown_as_data(sealed_samples: Path, run: Run) -> None:
    change(sealed_samples, MAGPIE, "build.yaml", "purpose: ", r'note: "[bold]\e[2J\u202e"' + "\npurpose: ")
    git(sealed_samples, "-c", "user.name=[red]\x1b[31mEve", "commit", "--quiet", "--all", "--message=x")
    done = run("audit", MAGPIE, cwd=sealed_samples)
    assert done.returncode == 1
    assert "\x1b" not in done.stdout
    assert "[bold]\\u001b[2J\\u202e" in done.stdout
