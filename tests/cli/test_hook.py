"""The hook of a new book: a commit made by hand is checked, and nothing of the book's own is run for it."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import Run

from buildbook.book import git
from buildbook.book.beginning import begin_book, begin_build, begin_engine, install_hook

BROKEN = "\nsessions: [broken\n"


def commit(book: Path, *how: str, **more: str) -> "subprocess.CompletedProcess[str]":
    identity = ["-c", "user.name=Test", "-c", "user.email=test@example.org"]
    return subprocess.run(
        ["git", *identity, "commit", "--quiet", "--message=By hand", *how],
        cwd=book, env={**os.environ, **more}, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip


@pytest.fixture
def begun(tmp_path: Path) -> Path:
    root = tmp_path / "begun"
    written = begin_book(root, "Shop", "ava", "Ava")
    git.begin(root)
    install_hook(root)
    written += begin_engine(root, "heron-07", "i4")
    written += begin_build(root, "heron-07/first", "2026-10-01", "ava", None)
    git.keep(root, written, "Begin")
    return root


def hook_of(book: Path) -> Path:
    return book / ".git" / "hooks" / "pre-commit"


def without_the_program(book: Path) -> None:
    """As where the program that wrote the hook was removed since."""
    hook = hook_of(book)
    text = hook.read_text()
    assert sys.executable in text
    hook.write_text(text.replace(sys.executable, "/nowhere/python3"))


def edit(book: Path, more: str, name: str = "weighings.yaml") -> None:
    path = book / "engines/heron-07/first" / name
    path.write_text(path.read_text() + more)


def test_a_new_book_says_that_it_has_a_hook(tmp_path: Path, run: Run) -> None:
    done = run("new", "book", str(tmp_path / "new"), "--person", "ava")
    said = " ".join(done.stdout.split())
    assert "git now has buildbook check what is staged before a commit made by hand (.git/hooks/pre-commit)" in said
    assert hook_of(tmp_path / "new").exists()


def test_a_commit_that_would_bring_an_error_is_not_made_and_says_why(begun: Path) -> None:
    edit(begun, BROKEN)
    done = commit(begun, "--all")
    assert done.returncode == 1
    assert "weighings.yaml" in done.stderr
    assert "--no-verify" in done.stderr
    assert commit(begun, "--all", "--no-verify").returncode == 0


@pytest.mark.parametrize("how", [("--all",), ("--only", "engines/heron-07/first/weighings.yaml"), ("--amend", "--all")])
def test_whichever_way_it_is_committed_what_goes_in_is_checked(begun: Path, how: tuple[str, ...]) -> None:
    edit(begun, BROKEN)
    assert commit(begun, *how).returncode == 1
    path = begun / "engines/heron-07/first/weighings.yaml"
    path.write_text(path.read_text().replace(BROKEN, "\n# a remark\n"))
    done = commit(begun, *how)
    assert done.returncode == 0
    assert "1 build  nothing found" in done.stderr


def test_commands_of_buildbook_are_not_held_up_by_the_hook(begun: Path, run: Run) -> None:
    edit(begun, "# a remark\n")
    hook_of(begun).write_text(hook_of(begun).read_text().replace("unchecked() {", "exit 1\nunchecked() {"))
    assert run("keep", "--by", "ava", cwd=begun).returncode == 0
    assert commit(begun, "--allow-empty").returncode == 1  # the hook as changed here refuses every other commit


def test_where_the_program_is_gone_the_commit_is_made_and_that_is_said(begun: Path) -> None:
    without_the_program(begun)
    edit(begun, BROKEN)
    done = commit(begun, "--all", PATH="/usr/bin:/bin")
    assert done.returncode == 0
    assert "the program was not found; the commit is made unchecked" in done.stderr


def test_nothing_that_lies_in_the_book_is_run(begun: Path, tmp_path: Path) -> None:
    ran = tmp_path / "ran"
    for name in ("buildbook", "git-tree", "python3"):
        (begun / name).write_text(f"#!/bin/sh\ntouch {ran}\n")
        (begun / name).chmod(0o755)
    for name in ("typing.py", "os.py", "buildbook.py", "sitecustomize.py"):
        (begun / name).write_text(f"open({str(ran)!r}, 'w').close()\n")
    edit(begun, "# a remark\n")
    assert commit(begun, "--all").returncode == 0
    without_the_program(begun)
    for path in (f".:{os.environ['PATH']}", f"{begun}:/usr/bin:/bin"):
        edit(begun, "# another\n")
        done = commit(begun, "--all", PATH=path)
        assert done.returncode == 0
        assert "unchecked" in done.stderr
    assert not ran.exists()


def test_what_cannot_be_checked_does_not_hinder_a_commit(begun: Path) -> None:
    hook_of(begun).write_text(hook_of(begun).read_text().replace("--staged", "--no-such-option"))
    edit(begun, "# a remark\n")
    done = commit(begun, "--all")
    assert done.returncode == 0
    assert "could not be checked; the commit is made unchecked" in done.stderr


def test_an_error_that_was_there_before_hides_no_other(begun: Path) -> None:
    edit(begun, BROKEN)
    assert commit(begun, "--all", "--no-verify").returncode == 0
    edit(begun, "# a remark\n", "build.yaml")
    assert commit(begun, "--all").returncode == 0  # it brings no error
    edit(begun, BROKEN, "parts.yaml")  # the same words, of another file
    done = commit(begun, "--all")
    assert done.returncode == 1
    assert "parts.yaml" in done.stderr
    assert "weighings.yaml" not in done.stderr


def test_what_is_staged_is_checked_and_not_what_is_on_disk(begun: Path) -> None:
    path = begun / "engines/heron-07/first/weighings.yaml"
    good = path.read_text()
    edit(begun, BROKEN)
    edit(begun, "# a remark\n", "parts.yaml")
    assert commit(begun, "--only", "engines/heron-07/first/parts.yaml").returncode == 0  # the broken one stays out
    git.run(begun, "add", "--", str(path))
    path.write_text(good)
    assert commit(begun).returncode == 1


def test_a_merge_that_was_put_together_by_hand_is_checked_and_any_other_with_a_second_name(begun: Path) -> None:
    def two_branches(ours: str, theirs: str) -> None:
        git.run(begun, "checkout", "--quiet", "-B", "theirs")
        edit(begun, *theirs.split("|"))
        assert commit(begun, "--all", "--no-verify").returncode == 0
        git.run(begun, "checkout", "--quiet", "-B", "ours", "HEAD~1")
        edit(begun, *ours.split("|"))
        assert commit(begun, "--all").returncode == 0

    def merge() -> "subprocess.CompletedProcess[str]":
        identity = ["-c", "user.name=Test", "-c", "user.email=test@example.org"]
        return subprocess.run(
            ["git", *identity, "merge", "--no-edit", "theirs"],
            cwd=begun, capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip

    two_branches("# ours\n", "# theirs\n")
    assert merge().returncode == 1  # a conflict, whose marks are no YAML
    assert commit(begun, "--all").returncode == 1
    git.run(begun, "reset", "--quiet", "--hard")
    two_branches("# ours\n|build.yaml", f"{BROKEN}|parts.yaml")
    (begun / ".git/hooks/pre-merge-commit").write_text(hook_of(begun).read_text())
    (begun / ".git/hooks/pre-merge-commit").chmod(0o755)
    done = merge()
    assert done.returncode == 1
    assert "parts.yaml" in done.stderr


def test_a_book_that_was_moved_is_checked_as_before_also_from_a_folder_in_it(begun: Path) -> None:
    moved = begun.rename(begun.parent / "moved büchlein")
    edit(moved, BROKEN)
    for path in (os.environ["PATH"], "/usr/bin:/bin"):  # and whether or not the program is on the PATH
        done = commit(moved / "engines", "--all", PATH=path)
        assert done.returncode == 1
        assert "weighings.yaml" in done.stderr


def test_where_the_environment_is_gone_the_program_on_the_path_checks_and_a_broken_one_is_told(
    begun: Path, tmp_path: Path
) -> None:
    without_the_program(begun)
    edit(begun, BROKEN)
    there = tmp_path / "bin"
    there.mkdir()
    program = there / "buildbook"
    for python, code in ((sys.executable, 1), ("/nowhere/python3", 0)):
        program.write_text(f"#!{python}\nfrom buildbook.__main__ import main\nmain()\n")
        program.chmod(0o755)
        done = commit(begun, "--all", PATH=f"{there}:/usr/bin:/bin")
        assert done.returncode == code, done.stderr
        assert ("weighings.yaml:" in done.stderr) == (code == 1)
    assert "could not be checked; the commit is made unchecked" in done.stderr
