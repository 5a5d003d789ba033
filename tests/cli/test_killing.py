"""A writing command is killed, with every git that it started, at one system call after the other: nothing that was
accepted is lost, the book always loads, and the next command repairs what was left.

With BUILDBOOK_EVERY_POINT set, at every system call that can change anything; else at a part of them.
"""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from conftest import Book

from cli.killing import CHANGING, RECORD
from cli.test_survival import CLEARANCES, session, twin
from cli.workshop import git

__all__ = ["twin"]  # the fixture

EVERY_POINT = "BUILDBOOK_EVERY_POINT" in os.environ


def killings(book: Book, command: tuple[str, ...], stride: int) -> list[dict[str, Any]]:
    """What came of killing the command at its system calls, every `stride`-th of them: two processes share them."""
    running = [
        subprocess.Popen(
            [sys.executable, "-m", "cli.killing", str(book.root), str(book.root.parent / f"copy {first}"),
             str(first * stride), str(2 * stride), *command],
            cwd=Path(__file__).parents[1], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for first in (1, 2)
    ]  # fmt: skip
    told = [process.communicate(timeout=240) for process in running]
    if any("ptrace: " in said for _, said in told):
        pytest.skip("no process may trace another here")
    assert [process.returncode for process in running] == [0, 0], told
    return [json.loads(line) for said, _ in told for line in said.splitlines()]


@pytest.mark.skipif(not CHANGING, reason="the numbers of this machine's system calls are not known")
@pytest.mark.parametrize(("command", "stride", "fewest"), [("measure", 3, 40), ("keep", 6, 15)])
def test_killed_with_its_git_at_any_system_call_nothing_is_lost_and_the_next_command_repairs_it(
    twin: Book, command: str, stride: int, fewest: int
) -> None:
    stride = 1 if EVERY_POINT else stride
    if command == "keep":
        twin.write("clearances.yaml", CLEARANCES + session(1) + session(2))
    seen = killings(twin, tuple(RECORD) if command == "measure" else ("keep", "--by", "ava"), stride)
    assert len(seen) > fewest
    for each in seen:
        assert each["left"] in (["M1"], ["M1", "M2"]), each  # it loads: the old state, or the new
        if command == "keep" or "recorded" in each["said"]:
            assert each["left"] == ["M1", "M2"], each  # what was accepted is there
    followed = [each for each in seen if "again" in each]
    assert {each["left"][-1] for each in followed} == ({"M1", "M2"} if command == "measure" else {"M2"})
    for each in followed:
        code, said = each["again"]
        assert (code, "\nkept in git\n" in said) == (0, True), each
        assert each["after"] == each["in git"] == [*each["left"], f"M{len(each['left']) + 1}"], each
        assert (each["keep"][0], each["status"], each["fsck"], each["leftovers"]) == (0, "", "", []), each
    assert [each["code"] for each in seen if each["code"] is not None] == [0, 0]  # the last went through undisturbed
    assert any("index.lock" in each["locks"] for each in followed)
    if command == "measure":
        said_after = "".join(each["again"][1] for each in followed)
        assert "was edited by hand: kept in git by itself" in said_after
        assert "left behind by a command that was killed" in said_after


@pytest.mark.skipif(not CHANGING, reason="the numbers of this machine's system calls are not known")
def test_a_sync_that_is_killed_at_any_system_call_leaves_a_book_that_loads_and_syncs(twin: Book) -> None:
    root = twin.root
    git(root, "init", "--quiet", "--bare", "--initial-branch=main", "hub.git")
    git(root, "remote", "add", "origin", "hub.git")
    twin.write("clearances.yaml", CLEARANCES + session(1) + session(2).replace("ava", "tomas"))
    git(root, "commit", "--quiet", "--all", "--message=At the other bench")
    git(root, "push", "--quiet", "origin", "main")
    git(root, "reset", "--quiet", "--hard", "HEAD~1")
    twin.write("clearances.yaml", CLEARANCES + session(1) + session(2))
    git(root, "commit", "--quiet", "--all", "--message=At this bench")
    seen = killings(twin, ("sync",), 1 if EVERY_POINT else 50)
    assert len(seen) > 15
    for each in seen:
        assert each["left"] in (["M1", "M2"], ["M1", "M3", "M2"]), each  # the old state, or the new
    for each in (each for each in seen if "again" in each):
        assert (each["again"][0], each["after"], each["in git"]) == (0, ["M1", "M3", "M2"], ["M1", "M3", "M2"]), each
        assert (each["status"], each["fsck"], each["leftovers"]) == ("?? hub.git/\n", "", []), each
