"""`find`: engines and builds by words and figures, with the reason for each; and what is not imported for words."""

import json
import os
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest
from conftest import SAMPLES, Book, Run
from figures.ledger import ALL_WEIGHED, weighings

from cli.test_screens import HOSTILE, hostile_book, lost, steering, too_wide
from cli.workshop import one_after_the_other


def test_a_word_finds_the_engine_and_marks_what_it_met(run: Run) -> None:
    done = run("find", "FERRY", cwd=SAMPLES)
    assert (done.returncode, done.stderr) == (0, "")
    assert re.search(r"^heron-07 +the engine, with all its builds$", done.stdout, re.MULTILINE)
    assert re.search(r"owner\.name +Harbour «ferry» co-op", done.stdout)
    assert "found 1 engine" in done.stdout


def test_a_figure_is_told_with_its_place_its_uncertainty_and_its_limit(run: Run) -> None:
    done = run("find", "heron", "main_clearance < 0.056 mm", cwd=SAMPLES)
    assert done.returncode == 0
    rows = [re.split(r"\s{2,}", each.strip()) for each in done.stdout.splitlines() if "main_clearance." in each]
    # bearings 1 and 5 have 0.0550 mm; U = 2 × 0.00185
    assert rows == [
        ["main_clearance.1", "0.055", "0.0037", "mm", "min 0.045, max 0.075"],
        ["main_clearance.5", "0.055", "0.0037", "mm", "min 0.045, max 0.075"],
    ]
    assert "found 1 of 5 builds" in done.stdout


def test_json_says_engine_build_and_each_reason(run: Run) -> None:
    done = run("find", "NF-1524", "residual.front > 0.4 g", "--json", cwd=SAMPLES)
    said = json.loads(done.stdout)
    (hit,) = said["figures"]["found"]
    assert (hit["engine"], hit["build"], hit["opened"]) == ("heron-07", "heron-07/2025-06-first", "2025-06-02")
    text, figure = hit["matches"]
    assert text == {"field": "parts.rod.number", "text": "NF-1524", "match": "NF-1524", "times": 1}
    assert (figure["field"], figure["value"], figure["unit"]) == ("residual.front", pytest.approx(0.5), "g")
    assert figure["limit"] == {"min": None, "max": 1.0, "source": "house rule", "common_practice": False}
    assert figure["condition"] == "residual.front > 0.4 g"


def test_nothing_found_is_said_and_is_no_fault(run: Run) -> None:
    done = run("find", "no such owner", cwd=SAMPLES)
    assert done.returncode == 0
    assert "nothing found in 5 builds" in done.stdout
    assert json.loads(run("find", "no such owner", "--json", cwd=SAMPLES).stdout)["figures"]["found"] == []


@pytest.mark.parametrize(
    ("asked", "remedy"),
    [
        (["main_clearanse < 0.05"], "did you mean main_clearance?"),
        (["main_clearance.6 < 0.05"], "did you mean main_clearance."),
        (["residual > 1 mm"], "use one of g"),
        (["residual >"], "all in one pair of quotes"),
        (["residual", ">", "1"], "all in one pair of quotes"),
        ([" "], "give a word"),
    ],
)
def test_what_cannot_be_asked_says_how_to_ask(run: Run, asked: list[str], remedy: str) -> None:
    done = run("find", *asked, cwd=SAMPLES)
    assert (done.returncode, done.stdout) == (2, "")
    assert remedy in " ".join(done.stderr.split())


def test_a_build_that_cannot_be_read_is_said_and_the_rest_is_found(samples: Path, run: Run) -> None:
    broken = samples / "engines" / "plover-03" / "2026-03-first" / "spins.yaml"
    broken.write_text(broken.read_text() + "steps: [\n")
    for asked in (["tarnside"], ["piston > 1"]):
        done = run("find", *asked, cwd=samples)
        assert done.returncode == 1
        assert "heron-07/2025-06-first" in done.stdout
        assert re.search(r"^error  .*plover-03.*spins\.yaml:\d+:\d+", done.stdout, re.MULTILINE)


def test_a_shop_that_prefers_inches_asks_and_reads_inches(book: Book, run: Run) -> None:
    mains = "\n".join(
        f"  - {{id: M{number}, taken: 2026-10-05, by: ava, with: scale, what: {what}}}"
        for number, what in enumerate(("main_journal, readings: {1: 62.180}", "main_bore, readings: {1: 62.240}"), 1)
    )
    shop = (book.root / "shop.yaml").read_text().replace("resolution: 0.1 g, repeatability: 0.05 g, ", "")
    book.write("shop.yaml", shop.replace("kind: scale", "kind: other") + "preferred_units: {length: in}\n")
    book.write("engines/twin/engine.yaml", "format: 1\nengine: twin\nlayout: v2_90_common_pin\nmain_bearings: 3\n")
    book.write("clearances.yaml", f"format: 1\nunits: {{length: mm}}\nsessions:\n{mains}\n")
    # 0.060 mm is 0.002362 in
    inches, more = (run("find", f"main_clearance > {bound}", cwd=book.root) for bound in ("0.002", "0.0024"))
    assert "main_clearance > 0.002 in" in inches.stdout
    assert re.search(r"main_clearance\.1 +0\.0024 .* in ", inches.stdout)
    assert "nothing found" in more.stdout


HEAVY = ("jsonschema", "numpy", "git", "buildbook.figures", "buildbook.balance", "buildbook.fits")

WATCHED = f"""\
import sys
from buildbook.__main__ import main
try:
    main()
finally:
    print(*sorted(set({HEAVY!r}) & sys.modules.keys()), file=sys.stderr)
"""


def test_words_alone_work_out_no_figure_and_import_nothing_for_it(run: Run) -> None:
    assert run("check", cwd=SAMPLES).returncode == 0

    def imported(*asked: str) -> str:
        done = subprocess.run(
            [sys.executable, "-c", WATCHED, "find", *asked],
            cwd=SAMPLES, env={**os.environ}, capture_output=True, text=True, timeout=60, check=True,
        )  # fmt: skip
        assert "found" in done.stdout
        return done.stderr.strip()

    assert imported("ferry", "2025-06") == ""
    assert not {"jsonschema", "numpy", "git"} & set(imported("tarnside", "--json").split())
    assert "jsonschema" not in imported("residual > 0.1")


@pytest.mark.parametrize("columns", [80, 60])
def test_no_figure_is_lost_on_a_narrow_screen(columns: int) -> None:
    commands = [["find", "tarnside", "piston_clearance > 0.08"], ["find", "2025"], ["find", "residual > 0.1 g"]]
    wide = one_after_the_other(commands, SAMPLES, 200)
    for narrow, whole in zip(one_after_the_other(commands, SAMPLES, columns), wide, strict=True):
        assert (narrow.code, narrow.stderr) == (0, "")
        assert too_wide(narrow.stdout, columns) == []
        assert lost(narrow.stdout, whole.stdout) == Counter()


def test_many_reasons_are_counted_and_each_word_has_one(run: Run) -> None:
    said = run("find", "2025", "co-op", cwd=SAMPLES).stdout
    assert "«co-op»" in said
    assert re.search(r"^ +and \d+ more *$", said, re.MULTILINE)


def test_digits_that_hide_on_which_side_of_a_value_a_figure_lies_are_shown(run: Run) -> None:
    below = run("find", "dunlin", "main_clearance <= 0.048", cwd=SAMPLES).stdout
    assert "main_clearance.2" in below
    said = " ".join(below.split())
    assert "missed by less than its usual digits show: main_clearance.1 of dunlin-21/2026-05-first, 0.04802 mm" in said
    above = run("find", "dunlin", "main_clearance > 0.048", cwd=SAMPLES).stdout
    assert re.search(r"main_clearance\.1 +0\.04802 +0\.0037", above)
    assert "missed" not in above
    assert "missed" not in run("find", "dunlin", "main_clearance <= 0.0481", cwd=SAMPLES).stdout


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_whatever_a_file_says_is_found_and_shown_as_data(book: Book, text: str) -> None:
    hostile_book(book, text)
    word = "a" if set(text) & {"\\", "<"} or not text.isascii() else text[:20]
    for shown in one_after_the_other([["find", word], ["find", "twin"], ["find", "\x1b[31m", "[bold]"]], book.folder):
        assert shown.code in {0, 1}, shown.stderr
        assert steering(shown.stdout) == []
        assert too_wide(shown.stdout) == []


def test_an_ascii_terminal_is_sent_ascii(book: Book, run: Run) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    ascii_only = {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "LC_ALL": "C"}
    done = run("find", "first", "piston > 481", cwd=book.root, **ascii_only)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.isascii()
    assert "?" not in done.stdout
    assert ">first<" in done.stdout
    assert "482.0" in done.stdout
