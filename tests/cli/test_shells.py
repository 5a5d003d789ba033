"""`shells`: what to order, on the screen and in JSON, and why there is nothing to order."""

import json
from typing import Any

import pytest
from conftest import SAMPLES, Book, Run
from figures.bearings import BORES, JOURNALS, ROD_BORES, ROD_JOURNAL, SHEET, SIZES, mains
from figures.measurements import PAIRED, write
from rich.cells import cell_len

from cli.workshop import BUILDS, one_after_the_other


def in_json(book: Book, run: Run, *options: str, code: int = 0) -> dict[str, Any]:
    done = run("shells", "main", "--json", *options, cwd=book.folder)
    assert (done.returncode, done.stderr) == (code, "")
    found: dict[str, Any] = json.loads(done.stdout)["figures"]["shells"]
    return found


def test_json_has_the_choices_by_their_names(book: Book, run: Run) -> None:
    found = in_json(mains(book), run, "--sizes", "0,0.025")
    assert (found["which"], found["target"], found["fitted"]) == ("main", 0.05, 0.0)
    assert found["sizes_offered"] == [0.0, 0.025]
    assert found["undersize"] == {"1": 0.002, "2": 0.001, "3": 0.004}
    assert found["limit"] == {"min": 0.04, "max": 0.06, "source": "bearing maker's sheet", "common_practice": False}
    one, two = found["choices"]
    # 0.025 alone makes 0.027, 0.038 ± 0.003 and 0.046; standard alone leaves both 0.063 ± 0.003 and 0.071 outside
    assert (one["sizes"], one["outside"], one["in_doubt"]) == ([0.025], ["1"], ["2"])
    assert (two["sizes"], two["outside"], two["in_doubt"]) == ([0.0, 0.025], [], [])
    assert (one["farthest"], two["farthest"]) == (pytest.approx(0.023), pytest.approx(0.004))
    assert two["journals"]["2"]["halves"] == [0.0, 0.025]
    assert two["journals"]["2"]["clearance"] == pytest.approx(0.0505)
    assert two["to_order"] == [{"size": 0.0, "halves": 3}, {"size": 0.025, "halves": 3}]
    assert found["recommended"] == 1
    assert found["missing"] == {}


def test_the_screen_shows_the_same_journal_by_journal(book: Book, run: Run) -> None:
    done = run("shells", "main", "--sizes", "0,0.025", cwd=mains(book).folder)
    said = done.stdout
    cells = [line.split() for line in said.splitlines()]
    first, second = (" ".join(next(row for row in cells if row[:1] == [journal])) for journal in "12")
    assert first.startswith("1 0.002 0.052 both 0.000 0.052 +0.002 ")
    # 0.0505 is written with the digits that were read
    assert second.startswith("2 0.001 0.063 0.000 and +0.025 0.050 0.000 ")
    assert "Two sizes in one bearing: one of each (common practice)." in said
    assert "two sizes bring every journal within the limits" in said
    order = said.partition("To order")[2]
    assert [row.split()[:2] for row in order.splitlines()[3:5]] == [["0.000", "3"], ["+0.025", "3"]]
    assert "this size is in now" in order.splitlines()[3]
    assert "caps torqued" in said
    assert "The bearing maker's limits come first." in " ".join(said.split())
    assert done.returncode == 0


def test_numbers_are_in_the_shops_unit_of_length_or_carry_their_own(book: Book, run: Run) -> None:
    mains(book)
    assert in_json(book, run, "--target", "0.0020 in")["target"] == pytest.approx(0.0508)
    shop = (book.root / "shop.yaml").read_text()
    book.write("shop.yaml", shop + "preferred_units: {length: in}\n")
    inches = in_json(book, run, "--target", "0.0020", "--sizes", "0,0.0005in,0.001", "--fitted", "0.01 mm")
    assert inches["target"] == pytest.approx(0.0508)
    assert inches["sizes_offered"] == pytest.approx([0, 0.0127, 0.0254])
    assert inches["fitted"] == pytest.approx(0.01)
    said = run("shells", "main", "--target", "0.0020", cwd=book.folder).stdout
    assert "-0.0010, -0.0005, 0.0000, +0.0005, +0.0010" in said
    assert said.splitlines()[1].startswith("in at 20 °C")


def test_it_is_said_whose_steps_are_on_offer_only_where_nobody_named_them(book: Book, run: Run) -> None:
    usual = "a shop's usual steps (common practice); the maker's catalogue decides"
    mains(book)
    assert usual in run("shells", "main", cwd=book.folder).stdout
    assert usual not in run("shells", "main", "--sizes", "0,0.01", cwd=book.folder).stdout


def test_a_journal_that_no_choice_brings_within_limits_is_a_finding(book: Book, run: Run) -> None:
    done = run("shells", "main", "--sizes", "0", cwd=mains(book).folder)
    assert done.returncode == 1
    said = " ".join(done.stdout.split())
    assert "no choice of shells brings main bearing 2, 3 within limits" in said
    assert "OVER" in said
    assert "outside 2, 3" in said
    assert "the best there is, and not within the limits" in said


def test_a_journal_that_cannot_be_told_from_its_limit_is_a_finding_as_in_fits(book: Book, run: Run) -> None:
    # 0.071 ± 0.003 with a limit of 0.073
    done = run("shells", "main", "--sizes", "0", cwd=mains(book, limits=SHEET.replace("0.060", "0.073")).folder)
    assert done.returncode == 1
    said = " ".join(done.stdout.split())
    assert "no choice of shells brings main bearing 3 within limits for certain" in said
    assert "cannot tell 3" in said
    assert "the best there is, and not for certain within the limits" in said
    assert "OVER" not in said


def test_a_rule_of_thumb_is_marked_and_its_miss_is_only_a_note(book: Book, run: Run) -> None:
    done = run("shells", "main", "--sizes", "0", cwd=mains(book, limits="").folder)
    assert done.returncode == 0
    assert "common practice, 0.00075 to 0.0010 of the journal: nobody set a limit" in " ".join(done.stdout.split())


def test_readings_that_make_no_sense_give_no_shells_and_other_doubts_do_not_clutter(book: Book, run: Run) -> None:
    write(book, JOURNALS, BORES.replace("50.050", "49.950"), limits=SHEET, sizes=SIZES)
    done = run("shells", "main", cwd=book.folder)
    assert done.returncode == 1
    assert "no figures until what was found below is put right" in done.stdout
    assert "is smaller than" in done.stdout
    # a bearing of a rod that was misread is no matter of the mains
    mains(book, ROD_JOURNAL, ROD_BORES.replace("45.040", "44.900"))
    book.write("pairings.yaml", PAIRED)
    mains_alone = run("shells", "main", cwd=book.folder)
    assert (mains_alone.returncode, "is smaller than" in mains_alone.stdout) == (0, False)
    assert run("shells", "rod", cwd=book.folder).returncode == 1


def test_a_journal_that_is_not_measured_is_named(book: Book, run: Run) -> None:
    write(book, JOURNALS, "what: main_bore, readings: {1: 50.050, 2: 50.060}", limits=SHEET, sizes=SIZES)
    done = run("shells", "main", "--sizes", "0,0.01", cwd=book.folder)
    assert "3 is not in the choice; missing: main bore" in done.stdout
    assert in_json(book, run, "--sizes", "0,0.01")["missing"] == {"3": "main bore"}


REFUSED = {
    "which bearings": ("big", "say main, rod or cam"),
    "a misspelt one": ("mian", "did you mean main?"),
    "a size that is none": ("main --sizes 0,x", "plain digits"),
    "no size": ("main --sizes ,", "plain digits"),
    "a size in the wrong unit": ("main --sizes 0,25", "a bare number is in mm here"),
    "a weight": ("main --sizes 0,10g", "use one of mm"),
    "a target of nothing": ("main --target 0", "a bare number is in mm here"),
    "a target of an inch": ("main --target 1in", "a bare number is in mm here"),
    "a target with a comma": ("main --target 0,05", "write it with a point"),
    "shells ten inches under": ("main --fitted 10in", "no shell has an undersize"),
    "more sizes than there are": (
        "main --sizes " + ",".join(f"0.{n:02d}" for n in range(20)),
        "offer at most 16",
    ),
}


@pytest.mark.parametrize("case", REFUSED.values(), ids=REFUSED)
def test_what_was_typed_wrong_is_said_in_one_message(book: Book, case: tuple[str, str]) -> None:
    command, remedy = case
    (shown,) = one_after_the_other([f"shells {command}"], mains(book).folder)
    assert (shown.code, shown.stdout) == (2, "")
    assert remedy in " ".join(shown.stderr.split())


def test_without_clearances_it_is_said_how_to_get_them(book: Book, run: Run) -> None:
    done = run("shells", "cam", cwd=mains(book).folder)
    assert done.returncode == 1
    assert "'buildbook measure cam_bore' and 'buildbook measure cam_journal'" in " ".join(done.stdout.split())
    said = json.loads(run("shells", "cam", "--json", cwd=book.folder).stdout)
    assert (said["figures"], [each["rule"] for each in said["findings"]]) == ({}, ["no-shells"])


@pytest.mark.parametrize("columns", [60, 80, 120])
def test_the_samples_fit_every_screen(columns: int) -> None:
    commands = [f"shells {which} {build}" for build in BUILDS for which in ("main", "rod")]
    commands += [f"{each} --sizes 0,0.0005in,0.001in,0.25,0.26 --target 0.0455" for each in commands]
    for command, shown in zip(commands, one_after_the_other(commands, SAMPLES, columns), strict=True):
        assert shown.code in {0, 1}, (command, shown.stderr)
        wide = [line for line in shown.stdout.splitlines() if cell_len(line) > columns and ".yaml:" not in line]
        assert wide == [], command
        assert "…" not in shown.stdout, command
