"""The Tab key, by way of the protocol that bash, zsh and fish speak with the installed command."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import SAMPLES, Book

SCRIPT = Path(sys.executable).parent / "buildbook"


def completed(words: str, cwd: Path, shell: str = "bash") -> list[str]:
    """What is offered for the last of the words."""
    asked = {"COMP_WORDS": words, "COMP_CWORD": str(words.count(" "))}
    if shell != "bash":
        asked = {"_TYPER_COMPLETE_ARGS": words, "_TYPER_COMPLETE_FISH_ACTION": "get-args"}
    done = subprocess.run(
        [str(SCRIPT)],
        cwd=cwd,
        env={**os.environ, "_BUILDBOOK_COMPLETE": f"complete_{shell}", **asked},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.stderr == ""
    return [line for line in done.stdout.split("\n") if line]


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        ("buildbook we", ["weigh", "weighings"]),
        ("buildbook show ", ["dunlin-21", "heron-07", "magpie-02", "plover-03"]),
        ("buildbook map her", ["heron-07"]),
        ("buildbook match heron-07/", ["heron-07/2025-06-first", "heron-07/2026-10-rebuild"]),
        ("buildbook check heron-07/2026", ["heron-07/2026-10-rebuild"]),
        ("buildbook show nothing", []),
        ("buildbook show nothing/", []),
        ("buildbook weighings --kind rod_", ["rod_big_end", "rod_small_end", "rod_bearing"]),
        (
            "buildbook new engine x --layout v6_",
            ["v6_60_common_pin", "v6_60_split_pin_60", "v6_90_common_pin", "v6_90_split_pin_30"],
        ),
        ("buildbook layout --name v12", ["v12_60"]),
        ("buildbook weigh rod_b", ["rod_big_end", "rod_bearing"]),
        ("buildbook weigh pin --build heron-07 N", [f"N{number}" for number in range(1, 9)]),
        ("buildbook measure main_journal --build heron-07 ", ["1", "2", "3", "4", "5"]),
        ("buildbook correct fit D", []),
        ("buildbook diff heron-07/2025-06-first@", ["heron-07/2025-06-first@A1", "heron-07/2025-06-first@A2"]),
        ("buildbook new en", ["engine"]),
        ("buildbook spins her", ["heron-07"]),
        ("buildbook plan heron-07/2025", ["heron-07/2025-06-first"]),
        ("buildbook spin --by a", ["ava"]),
        ("buildbook correct pl", ["plug"]),
        ("buildbook measure main_", ["main_journal", "main_bore"]),
        ("buildbook measure main_bore --with bore_gauge_5", ["bore_gauge_50_100"]),
        ("buildbook weigh pin --with ", ["bench_scale", "fine_scale"]),
        ("buildbook spin --with ", ["balancer"]),
        ("buildbook fits --kind pin", ["pin_in_piston", "pin_in_rod"]),
        ("buildbook correct drill --by to", ["tomas"]),
    ],
)
def test_tab_offers(words: str, offered: list[str]) -> None:
    assert completed(words, SAMPLES) == offered


def test_tab_offers_all_commands() -> None:
    assert set(completed("buildbook ", SAMPLES)) == {
        "tour", "new", "check", "show", "next", "weigh", "weighings", "match", "place", "map",
        "measure", "fits", "shells", "compression", "motion",
        "keep", "history", "diff", "trace", "find", "trend", "sign", "reopen", "audit", "sync",
        "layout", "shaking", "factor", "sheet", "labels", "export",
        "bobweight", "spin", "correct", "spins", "plan", "prove", "trial",
    }  # fmt: skip


def test_tab_outside_a_book_offers_nothing_and_says_nothing(tmp_path: Path) -> None:
    assert completed("buildbook show ", tmp_path) == []


def test_tab_in_a_book_that_cannot_be_read_says_nothing(book: Book) -> None:
    book.write("build.yaml", b"\xff\xfe")
    book.write("shop.yaml", "people: [\n")
    assert completed("buildbook show twin/", book.root) == ["twin/first"]


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_other_shells_are_offered_builds_too(shell: str) -> None:
    assert "heron-07/2025-06-first" in "\n".join(completed("buildbook map heron-07/2025", SAMPLES, shell))
