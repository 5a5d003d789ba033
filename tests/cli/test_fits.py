"""`fits`: every fit on the screen and in JSON, worst first; and where it reaches `show`, `map` and `match`."""

import json
import re

import pytest
from conftest import SAMPLES, Book, Run
from figures.ledger import ALL_WEIGHED, weighings
from figures.measurements import PAIRED, write

from cli.workshop import one_after_the_other

SIZES = "bore: 101.8, main_bearings: 3"
MAINS = (
    "what: main_journal, readings: {1: 62.180, 2: 62.180, 3: 62.180}",
    "what: main_bore, readings: {1: 62.240, 2: 62.223, 3: 62.225}",
)
LIMIT = "main_clearance: {min: 0.045, max: 0.075, source: 'the [red]maker[/red]'}"


@pytest.fixture
def mains(book: Book) -> Book:
    """Three main bearings: 0.060 is good, 0.043 crosses the limit within ± 0.0029, 0.045 stands on it."""
    write(book, *MAINS, limits=LIMIT, sizes=SIZES)
    return book


def test_the_worst_stands_first_with_its_verdict_and_what_it_came_from(mains: Book, run: Run) -> None:
    done = run("fits", cwd=mains.folder)
    assert done.returncode == 1
    rows = [line for line in done.stdout.splitlines() if re.search(r"62\.\d+ − 62\.180", line)]
    assert [re.split(r"\s{2,}", row.strip())[:3] for row in rows] == [
        ["cannot tell", "2", "0.043"],
        ["cannot tell", "3", "0.045"],
        ["within", "1", "0.060"],
    ]
    assert "62.223 − 62.180  M2, M1" in rows[0]
    assert "the [red]maker[/red]" in done.stdout


def test_json_has_value_uncertainty_limit_verdict_and_from_by_kind_and_place(mains: Book, run: Run) -> None:
    said = json.loads(run("fits", "--json", cwd=mains.folder).stdout)
    first = said["figures"]["fits"]["main_clearance"]["1"]
    assert first["value"] == pytest.approx(0.060)
    # two readings of a micrometer of 0.001 mm that repeats within 0.001: √2 √(1e-6/12 + 1e-6), GUM 5.1.2
    assert first["uncertainty"] == pytest.approx(0.00147196, rel=1e-5)
    assert first["limit"] == {"min": 0.045, "max": 0.075, "source": "the [red]maker[/red]", "common_practice": False}
    assert first["verdict"] == "within"
    assert [(each["what"], each["session"]) for each in first["from"]] == [("main bore", "M2"), ("main journal", "M1")]
    assert [finding["rule"] for finding in said["findings"]] == ["cannot-tell", "cannot-tell"]


def test_one_cylinder_of_two_without_a_reading_is_missing_and_not_good(book: Book, run: Run) -> None:
    write(book, "what: top_ring_gap, with: feeler, readings: {1: 0.52}", limits="top_ring_gap: {min: 0.46}")
    done = run("fits", cwd=book.folder)
    assert done.returncode == 1
    assert re.search(r"missing +2 ", done.stdout)
    assert "1 within, 0 outside, 0 cannot tell, 1 missing" in done.stdout
    said = json.loads(run("fits", "--json", cwd=book.folder).stdout)["figures"]["fits"]["top_ring_gap"]["2"]
    assert (said["value"], said["verdict"]) == (None, "missing")


def test_a_rule_of_thumb_says_that_nobody_set_it_and_is_no_finding(book: Book, run: Run) -> None:
    write(book, "what: top_ring_gap, with: feeler, readings: {1: 0.30, 2: 0.52}")
    done = run("fits", cwd=book.folder)
    assert done.returncode == 0
    assert "UNDER" in done.stdout
    assert "common practice" in done.stdout
    assert "the part maker's figure is what counts" in " ".join(done.stdout.split())


def test_one_kind_and_one_place_can_be_asked_for(run: Run) -> None:
    asked = [f"fits heron-07/2025-06-first {more}" for more in ("--kind rod_side", "--at R5")]
    kind, place = one_after_the_other(asked, SAMPLES)
    assert "rod side clearance" in kind.stdout
    assert "piston clearance" not in kind.stdout
    assert "pin in rod" in place.stdout
    assert "piston clearance" not in place.stdout


@pytest.mark.parametrize(
    ("typed", "remedy"),
    [
        ("--kind main_clearence", "did you mean main_clearance?"),
        ("--at R9", "did you mean R"),
        ("--at nowhere", "see "),
    ],
)
def test_a_kind_or_place_that_is_not_there_is_misuse(run: Run, typed: str, remedy: str) -> None:
    done = run("fits", "heron-07/2025-06-first", *typed.split(), cwd=SAMPLES)
    assert (done.returncode, done.stdout) == (2, "")
    assert remedy in done.stderr


def test_a_shop_that_prefers_inches_reads_inches(mains: Book, run: Run) -> None:
    shop = mains.root / "shop.yaml"
    shop.write_text(shop.read_text() + "preferred_units: {length: in}\n")
    said = run("fits", cwd=mains.folder).stdout
    assert "0.0024" in said  # 0.060 / 25.4 = 0.00236
    assert "2.4504 − 2.4480" in said  # 62.240 and 62.180 mm
    assert "0.0018 to 0.0030" in said  # 0.045 / 25.4 = 0.00177, 0.075 / 25.4 = 0.00295


def test_nonsense_keeps_the_figures_from_being_shown(book: Book, run: Run) -> None:
    write(book, "what: main_journal, readings: {1: 2.448}", sizes="bore: 101.8, main_journal: 62.2")
    done = run("fits", cwd=book.folder)
    assert done.returncode == 1
    assert "no figures until" in done.stdout
    assert "inches written as mm" in " ".join(done.stdout.split())


TOO_TIGHT = (
    "what: cylinder_bore, readings: {1: 101.800, 2: 101.806}",
    "what: piston_skirt, readings: {P1: 101.718, P2: 101.770}",
    "what: top_ring_gap, with: feeler, readings: {1: 0.40, 2: 0.52}",
)


def test_the_map_says_bore_and_clearance_and_is_loud_where_they_are_wrong(book: Book, run: Run) -> None:
    limits = "piston_clearance: {min: 0.070, max: 0.110}, top_ring_gap: {min: 0.46}"
    write(book, *TOO_TIGHT, limits=limits, paired=PAIRED)
    said = run("map", cwd=book.folder).stdout
    assert "bore 101.800 mm, clearance 0.030" in said  # 101.800 − 101.770, piston P2 is in cylinder 1
    assert "bore 101.806 mm, clearance 0.088" in said
    assert "PISTON CLEARANCE UNDER" in said
    assert "FILE TOP RING 0.060" in said  # 0.46 − 0.40
    assert "┏" in said


def test_show_counts_the_fits_and_names_what_is_left_to_measure(mains: Book, run: Run) -> None:
    build = (mains.folder / "build.yaml").read_text().replace("limits: {", "limits: {quench: {min: 0.9}, ")
    mains.write("build.yaml", build)
    fits = next(line for line in run("show", cwd=mains.folder).stdout.splitlines() if line.startswith("fits"))
    assert "begun" in fits
    assert "1 fit within, 2 cannot tell, not yet: quench" in " ".join(fits.split())


def with_bores(book: Book, *, locked: str = "", skirts: str = "{P1: 101.718, P2: 101.730}") -> None:
    """A twin whose larger piston is heavier, too: each bore wants another piston than its number."""
    write(
        book,
        "what: cylinder_bore, readings: {1: 101.815, 2: 101.800}",
        f"what: piston_skirt, readings: {skirts}",
        limits="reciprocating_spread: {max: 1.0 g}, piston_clearance: {min: 0.070, max: 0.095}",
    )
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", f"format: 1\n{locked}")


def test_matching_with_bores_puts_each_piston_where_it_clears_most_evenly(book: Book, run: Run) -> None:
    with_bores(book)
    said = json.loads(run("match", "--with-bores", "--json", cwd=book.folder).stdout)["figures"]["match"]
    assert {name: each["piston"] for name, each in said["cylinders"].items()} == {"1": "P2", "2": "P1"}
    # 101.815 − 101.730 and 101.800 − 101.718
    assert said["clearances"]["cylinders"] == pytest.approx({"1": 0.085, "2": 0.082})
    assert (said["clearances"]["outside"], said["conflict"], said["both_proven"]) == (0, False, True)
    assert said["spread"] == said["weights_alone"]["spread"]


def test_what_is_written_names_the_measuring_sessions_too(book: Book, run: Run) -> None:
    with_bores(book)
    assert run("match", "--with-bores", "--write", "--by", "ava", cwd=book.folder).returncode == 0
    assert "from: [W2, W3, W4, M1, M2]" in (book.folder / "pairings.yaml").read_text()
    assert run("check", cwd=book.root).returncode == 0


def test_a_lock_that_sets_weights_against_bores_is_said_and_not_called_proven(book: Book, run: Run) -> None:
    # 153.9 + 480.1 = 634.0 and 154.9 + 482.0 = 636.9 with these locks; 636.9 − 634.0 is over the limit of 1 g, while
    # the other way round 153.9 + 482.0 and 154.9 + 480.1 are within it, and both pistons out of their bores' limits
    locked = "locked: [{rod: R1, cylinder: 2, because: bushed for it}, {pin: N1, cylinder: 2, because: so}]\n"
    with_bores(book, locked=locked)
    done = run("match", "--with-bores", cwd=book.folder)
    said = " ".join(done.stdout.split())
    assert "pull apart" in said
    assert "not proven" in said
    found = json.loads(run("match", "--with-bores", "--json", cwd=book.folder).stdout)["figures"]["match"]
    assert found["conflict"] is True
    assert found["both_proven"] is False
    assert found["clearances"]["outside"] <= found["weights_alone"]["clearances"]["outside"]


def test_without_bores_measured_matching_with_them_says_what_is_missing(book: Book, run: Run) -> None:
    with_bores(book, skirts="{P1: 101.718}")
    done = run("match", "--with-bores", cwd=book.folder)
    assert done.returncode == 1
    assert "not measured yet: skirt of P2" in done.stdout
    assert run("match", cwd=book.folder).returncode == 0
