"""What reaches the screen: figures whole, text as data, 80 columns, and nothing that steers a terminal."""

import json
import os
import re
import subprocess
import sys
import unicodedata
from collections import Counter

import pytest
from conftest import SAMPLES, SHOP, Book, Run
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings
from figures.turning import WINDOWS, on_the_machine, spin, spins
from rich.cells import cell_len

from cli.workshop import BUILDS, SCREENS, one_after_the_other, screens

PLACE = re.compile(r"^(error|warning|note)  .+:\d+:\d+  [a-z-]+$")  # an editor jumps to it, so it is never broken


def too_wide(text: str, width: int = 80) -> list[str]:
    return [line for line in text.splitlines() if cell_len(line) > width and not PLACE.match(line)]


def steering(text: str) -> list[str]:
    """Characters that a terminal obeys: controls, and marks that turn the direction of the text (UAX #9)."""
    return [mark for mark in text if unicodedata.category(mark) in {"Cc", "Cf", "Zl", "Zp"} and mark != "\n"]


@pytest.mark.parametrize("build", BUILDS)
def test_no_line_is_wider_than_80_cells_and_no_escape_reaches_a_pipe(build: str) -> None:
    for command, text in screens(build).items():
        assert text, command
        assert too_wide(text) == [], command
        assert steering(text) == [], command


FIGURE = re.compile(r"\d+(?:\.\d+)?")


def lost(narrow: str, wide: str) -> Counter[str]:
    """Figures of a wide screen that are cut, broken or left out on a narrow one."""
    return Counter(FIGURE.findall(wide)) - Counter(FIGURE.findall(narrow))


@pytest.mark.parametrize("columns", [80, 60])
@pytest.mark.parametrize("build", BUILDS)
def test_no_figure_is_cut_or_broken_for_want_of_room(build: str, columns: int) -> None:
    for command, text in screens(build, columns).items():
        assert lost(text, screens(build, 200)[command]) == Counter(), command
        assert columns < 80 or "…" not in text, command


LONG = "PISTON-OF-THE-LEFT-BANK-NUMBER-"


def test_long_ids_do_not_push_figures_off_the_screen(book: Book, run: Run) -> None:
    pistons = f"id: W3, what: piston, readings: {{{LONG}1: 480.17, {LONG}2: 482.03}}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:2], pistons, *ALL_WEIGHED[3:]))
    book.write("pairings.yaml", pairings(f"rod: R1, piston: {LONG}1, pin: N1", f"rod: R2, piston: {LONG}2, pin: N2"))
    pistons_alone = ("480.17", "482.03")
    figures = {
        "weighings": pistons_alone,
        "weighings --kind piston": pistons_alone,
        "bobweight": pistons_alone,
        # small end + piston + pin + rings: 153.9 + 482.03 + 152.3 + 55.4, and 154.9 + 480.17 + 152.5 + 55.4
        "match": ("843.63", "842.97"),
        # as decided: 153.9 + 480.17 + 152.3 + 55.4, and 154.9 + 482.03 + 152.5 + 55.4
        "map": ("841.77", "844.83"),
    }
    for command, shown in zip(figures, one_after_the_other(tuple(figures), book.folder), strict=True):
        assert shown.stderr == ""
        assert too_wide(shown.stdout) == []
        for figure in figures[command]:
            assert figure in shown.stdout, command


# An engine whose pieces weigh kilograms, with four rods on each pin.
LARGE = """\
format: 1
engine: twin
units: {angle: deg}
layout:
  banks: {far_left: -60, left: -20, right: 20, far_right: 60}
  throws:
    1: {angle: 0, cylinders: {1: far_left, 2: left, 3: right, 4: far_right}}
    2: {angle: 180, cylinders: {5: far_left, 6: left, 7: right, 8: far_right}}
"""


def test_a_large_engine_with_four_banks_fits(book: Book, run: Run) -> None:
    def each(letter: str, weight: float) -> str:
        return ", ".join(f"{letter}{number}: {weight + number / 10:.1f}" for number in range(1, 9))

    book.write("engines/twin/engine.yaml", LARGE)
    book.write(
        "weighings.yaml",
        weighings(
            f"id: W1, what: rod_big_end, readings: {{{each('R', 14210)}}}",
            f"id: W2, what: rod_small_end, readings: {{{each('R', 6150)}}}",
            f"id: W3, what: piston, readings: {{{each('P', 18400)}}}",
            f"id: W4, what: pin, readings: {{{each('N', 5230)}}}",
            *ALL_WEIGHED[4:],
        ),
    )
    places = [f"rod: R{number}, piston: P{number}, pin: N{number}" for number in range(1, 9)]
    book.write("pairings.yaml", pairings(*places))
    book.write(
        "spins.yaml", "format: 1\nunits: {mass: g}\nbobweights: {taken: 2026-10-05, by: ava, set: {1: 99999.9}}\n"
    )
    commands = ("show", "weighings", "match", "bobweight", "map")
    for narrow, wide in zip(*(one_after_the_other(commands, book.folder, width) for width in (80, 200)), strict=True):
        assert narrow.stderr == wide.stderr == ""
        assert too_wide(narrow.stdout) == []
        assert lost(narrow.stdout, wide.stdout) == Counter()


def test_ids_are_whole_on_the_map(book: Book) -> None:
    """Pieces whose ids differ in the last character would be taken for one another."""
    ids = {
        kind: [f"{kind.upper()[:2]}-1524-0{number}" for number in (1, 2)]
        for kind in ("rod", "piston", "pin", "ring_set")
    }
    places = [", ".join(f"{kind}: {names[place]}" for kind, names in ids.items()) for place in (0, 1)]
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings(*places))
    (shown,) = one_after_the_other(["map"], book.folder)
    assert too_wide(shown.stdout) == []
    assert [name for names in ids.values() for name in names if name not in shown.stdout] == []


def test_ids_are_whole_on_the_map_of_an_engine_with_four_banks(book: Book) -> None:
    book.write("engines/twin/engine.yaml", LARGE)
    book.write(
        "pairings.yaml", pairings(*(f"rod: R{number}, piston: P{number}, pin: N{number}" for number in range(1, 9)))
    )
    (shown,) = one_after_the_other(["map"], book.folder)
    assert too_wide(shown.stdout) == []
    assert [
        name for name in (f"{kind}{number}" for kind in "RPN" for number in range(1, 9)) if name not in shown.stdout
    ] == []


# Texts as hostile as a file may hold. YAML's escapes put real control characters into the text that is read.
HOSTILE = {
    "markup": "[bold]Merrow[/bold] [/x] [link=http://x.example]",
    "emoji code": ":smile: :warning:",
    "HTML": "<script>alert(1)</script> &amp;",
    "escape codes": r"red \e[31m bell \a back \b return \r clear \e[2J title \e]0;x\a",
    "C1 controls": r"\x9b31m \x85 \x90 \u2028 \u2029",
    "right to left": r"שלום \u202e reversed \u2066 \u200f مرحبا",
    "very long": "m" * 600,
    "long and wide": "曲軸" * 200,
    "many lines": r"one\ntwo\n\n\nthree",
    "combining marks": "e" + "\u0301" * 60,
    "a spread of spaces": "a" + " " * 200 + "b",
}


def hostile_book(book: Book, text: str) -> None:
    """A book that says the text wherever a ledger takes free text, with something to find in it."""
    said = f'"{text}"'
    book.write(
        "shop.yaml", SHOP.replace("Ava Merrow", said).replace("kind: scale,", f"kind: scale, description: {said},")
    )
    book.write(
        "engines/twin/engine.yaml",
        f"format: 1\nengine: twin\nlayout: v2_90_common_pin\ndescription: {said}\n"
        f"owner: {{ref: {said}, name: {said}}}\nserials: {{block: {said}, {said}: 12}}\n",
    )
    book.write(
        "build.yaml",
        "format: 1\nengine: twin\nbuild: first\nopened: 2026-10-01\n"
        f"purpose: {said}\nnote: {said}\nbalance: {{factor: 50, note: {said}}}\n",
    )
    book.write("parts.yaml", PARTS.replace("[R1, R2]", f"[R1, R2], maker: {said}, note: {said}"))
    steps = [
        f"note: {said}, " + spin("20.0@30", "62.0@150"),
        f"void: {said}, fit: {{part: R1}}",
        f"fit: {{part: R1, note: {said}}}",
        spin("21.0@30", "62.0@150"),
        f"index: {{part: R1, angle: 180, note: {said}}}",
        spin("22.0@30", "62.0@150"),
    ]
    zero = f"{{zero: {said}, positive: against_rotation, reading: light_side}}"
    book.write("spins.yaml", spins(*steps, angles=zero, planes=WINDOWS % (150, 260, 290, 20)))
    book.write(
        "weighings.yaml",
        weighings(
            *ALL_WEIGHED,
            f"id: W8, what: piston, void: {said}, readings: {{P1: 999.9}}",
            f"id: W9, note: {said}, what: piston, readings: {{P9: 480.0}}",
        ),
    )
    locked = f"locked:\n  - {{piston: P2, cylinder: 1, because: {said}}}\n"
    book.write("pairings.yaml", pairings("rod: R1, piston: P2, pin: N1", "rod: R2, piston: P1, pin: N2", locked=locked))


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_whatever_a_file_says_is_shown_as_data(book: Book, text: str) -> None:
    hostile_book(book, text)
    commands = ("show", "map", "weighings", "weighings --kind piston", "match", "bobweight", "check --verbose",
                "spins", "prove", "plan --bit 16")  # fmt: skip
    for command, shown in zip(commands, one_after_the_other(commands, book.folder), strict=True):
        assert shown.code in {0, 1}, shown.stderr
        assert shown.stderr == "", command
        assert steering(shown.stdout) == [], command
        assert too_wide(shown.stdout) == [], command


@pytest.mark.parametrize("name", ["markup", "emoji code", "HTML", "very long"])
def test_text_that_looks_like_a_command_is_there_letter_by_letter(book: Book, name: str) -> None:
    text = HOSTILE[name]
    hostile_book(book, text)
    (shown,) = one_after_the_other(["show"], book.folder)
    assert text.replace(" ", "") in "".join(shown.stdout.split())


def test_hostile_text_is_escaped_in_json_and_comes_back_whole(book: Book, run: Run) -> None:
    hostile_book(book, r"\e[31m \u202e [bold] <script>")
    done = run("map", "--json", cwd=book.folder)
    assert done.stdout.isascii()
    assert steering(done.stdout) == []
    (lock,) = json.loads(done.stdout)["figures"]["pairing"]["locked"]
    assert lock["because"] == "\x1b[31m \u202e [bold] <script>"


def test_hostile_file_and_folder_names_are_shown_as_data(book: Book, run: Run) -> None:
    for name in ("[bold]\x1b[31m\u202e.yaml", ":smile:.yaml", "two\nlines.yaml"):
        (book.folder / name).write_text("format: 1\n")
    (book.root / "engines" / "\x1b[2J[bold]").mkdir()
    for arguments in (("check",), ("show", "twin"), ("show", "\x1b[31m[bold]"), ("nonsense\x1b[31m",)):
        done = run(*arguments, cwd=book.root)
        assert done.returncode in {1, 2}
        assert steering(done.stdout) == steering(done.stderr) == []
        assert "Traceback" not in done.stderr
    assert "[bold]\\u001b[31m\\u202e.yaml" in run("check", cwd=book.root).stdout


@pytest.mark.parametrize("command", [*SCREENS, "check", "--help"])
def test_an_ascii_terminal_is_sent_ascii(run: Run, command: str) -> None:
    build = [] if command in {"check", "--help"} else ["heron-07/2025-06-first"]
    done = run(*command.split(), *build, cwd=SAMPLES, PYTHONIOENCODING="ascii", PYTHONUTF8="0", LC_ALL="C")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.isascii()
    if command in SCREENS:
        assert lost(done.stdout, screens(*build)[command]) == Counter()


@pytest.mark.parametrize("command", ["weighings", "bobweight", "map", "check --verbose", "match --json", "spins"])
def test_a_reader_that_stops_reading_is_no_fault(command: str) -> None:
    name, *options = command.split()
    with subprocess.Popen(
        [sys.executable, "-u", "-m", "buildbook", name, "heron-07/2025-06-first", *options],
        cwd=SAMPLES,
        env={**os.environ, "COLUMNS": "40"},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        assert process.stderr.read() == b""


@pytest.mark.parametrize("columns", ["60", "20", "1", "0", "many"])
@pytest.mark.parametrize("command", ["map", "spins", "prove"])
def test_any_width_is_taken(run: Run, command: str, columns: str) -> None:
    done = run(command, "heron-07/2025-06-first", cwd=SAMPLES, COLUMNS=columns)
    assert (done.returncode, done.stderr) == (0, "")


PLANNING = ("plan --most 20", "plan --plug 17 --most 20", "plan --bit 8 --holes 8")


@pytest.mark.parametrize("columns", [80, 60])
def test_no_figure_of_a_plan_is_lost_for_want_of_room(book: Book, columns: int) -> None:
    on_the_machine(book, spin("20.0@30", "62.0@150"), planes=WINDOWS % (350, 80, 100, 200))
    wide = one_after_the_other(PLANNING, book.folder, 200)
    for narrow, whole in zip(one_after_the_other(PLANNING, book.folder, columns), wide, strict=True):
        assert (narrow.code, narrow.stderr) == (0, "")
        assert too_wide(narrow.stdout, columns) == []
        assert lost(narrow.stdout, whole.stdout) == Counter()
        # each hole says its plane, at any width
        holes = [line for line in whole.stdout.splitlines() if line.startswith(("front drill", "rear drill"))]
        assert len(holes) == sum(line.startswith(("front drill", "rear drill")) for line in narrow.stdout.splitlines())


def test_the_story_of_a_crankshaft_far_out_of_balance_fits(book: Book) -> None:
    on_the_machine(
        book,
        spin("234.5@359", "1234.5@359"),
        "drill: {plane: rear, angle: 359.5, diameter: 31.75, depth: 25.125, point: 135}",
        "add: {plane: front, angle: 0.25, amount: 100.25, radius: 79.995, position: -99.75}",
        spin("345.6@358", "1987.6@358"),
    )
    commands = ("spins", "prove")
    for narrow, wide in zip(*(one_after_the_other(commands, book.folder, width) for width in (80, 200)), strict=True):
        assert narrow.stderr == ""
        assert too_wide(narrow.stdout) == []
        assert lost(narrow.stdout, wide.stdout) == Counter()


def test_an_ascii_terminal_is_sent_plans_and_trials_in_ascii(book: Book, run: Run) -> None:
    on_the_machine(book, spin("20.0@30", "62.0@150"), planes=WINDOWS % (350, 80, 100, 200))
    ascii_only = {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "LC_ALL": "C"}
    plan = run("plan", cwd=book.folder, **ascii_only)
    trial = run("trial", "--first", "4@0", "--trial", "rear 2@0: 4@90", cwd=book.folder, **ascii_only)
    hole = ("correct", "drill", "rear@150", "--diameter", "16", "--depth", "9", "--by", "ava")
    drilled = run(*hole, cwd=book.folder, **ascii_only)
    for done in (plan, trial, drilled):
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout.isascii()
        assert "?" not in done.stdout  # what stands for a mark that was not translated
    assert "D mm" in plan.stdout


def test_a_voided_session_is_shown_with_its_reason_and_is_not_used(book: Book, run: Run) -> None:
    voided = "id: W9, taken: 2026-10-06, void: scale not level, what: piston, readings: {P1: 999.9}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, voided))
    said = run("weighings", cwd=book.folder).stdout
    assert "VOID: scale not level" in said
    assert "999.9" not in said


def test_sorting_that_will_not_help_is_said(book: Book, run: Run) -> None:
    alike = "id: W3, what: piston, readings: {P1: 480.1, P2: 480.2}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:2], alike, *ALL_WEIGHED[3:]))
    said = " ".join(run("weighings", cwd=book.folder).stdout.split())
    assert "piston: sorting these will not help: they differ by 0.1 g, the scale tells 0.16 g" in said


def test_the_map_fits_a_page_that_cannot_print_colours() -> None:
    said = screens("heron-07/2025-06-first")["map"]
    assert len(said.splitlines()) <= 60
    for number in range(1, 9):
        assert f"cylinder {number}, throw {(number + 1) // 2}" in said


def test_show_calls_nothing_done_that_is_over_its_limit_or_changed_since(book: Book, run: Run) -> None:
    again = "id: W9, taken: 2026-10-05, what: piston, readings: {P1: 470.0}"  # 10.8 g apart; the limit is 1.0 g
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, again))
    book.write("pairings.yaml", pairings("rod: R1, piston: P2, pin: N1", "rod: R2, piston: P1, pin: N2"))
    book.write("spins.yaml", "format: 1\nbobweights: {taken: 2026-10-05, by: ava, set: {1: 1999.9 g}}\n")
    said = run("show", cwd=book.folder).stdout
    assert re.search(r"^weighings +done ", said, re.MULTILINE)
    assert not re.search(r"^(pairing|bobweights) +done ", said, re.MULTILINE)
