"""`trend`: a figure through the builds: its value, its change against what can be measured, and the chart."""

import json
import re
from collections import Counter
from fractions import Fraction
from math import sqrt
from pathlib import Path

import pytest
from conftest import SAMPLES, Book, Run
from figures.ledger import PARTS, weighings

from buildbook.figures.fits import Bounds
from buildbook.figures.named import Named
from buildbook.figures.trend import Point, changes, followed, point
from cli.test_screens import HOSTILE, hostile_book, lost, steering, too_wide
from cli.workshop import one_after_the_other


def clearance(value: str, uncertainty: float | None = 0.001, place: str = "1") -> Named:
    return Named("main_clearance", place, Fraction(value), uncertainty, "mm", 3)


def test_a_point_of_one_place_is_its_figure() -> None:
    held = {"main_clearance.1": Bounds(Fraction("0.045"), Fraction("0.075"))}
    found = point([clearance("0.05"), clearance("0.06", place="2")], held, "main_clearance", "1")
    assert found is not None
    assert (found.value, found.uncertainty, found.places) == (Fraction("0.05"), 0.001, 1)
    assert found.limit == held["main_clearance.1"]


def test_a_point_of_a_kind_is_the_mean_with_the_least_and_the_most_and_what_keeps_all_limits() -> None:
    held = {
        "main_clearance.1": Bounds(Fraction("0.040"), Fraction("0.075")),
        "main_clearance.2": Bounds(Fraction("0.045"), None),
    }
    named = [clearance("0.050", 0.001), clearance("0.060", 0.003, "2"), clearance("0.055", 0.002, "3")]
    found = point(named, held, "main_clearance", "")
    assert found is not None
    assert (found.least, found.value, found.most) == (Fraction("0.050"), Fraction("0.055"), Fraction("0.060"))
    assert found.uncertainty == pytest.approx(0.002)  # as if all of it were shared: their mean, not a third less
    assert found.limit is not None
    assert (found.limit.least, found.limit.most) == (Fraction("0.045"), Fraction("0.075"))
    unknown = point([*named, clearance("0.05", None, "4")], {}, "main_clearance", "")
    assert unknown is not None
    assert (unknown.uncertainty, unknown.limit) == (None, None)


def test_a_build_without_the_figure_has_no_point() -> None:
    assert point([clearance("0.05")], {}, "main_clearance", "2") is None
    assert point([clearance("0.05")], {}, "rod_clearance", "") is None


def test_a_change_is_real_where_it_is_more_than_its_uncertainty() -> None:
    def at(value: str, uncertainty: float | None = 0.001) -> Point | None:
        return point([clearance(value, uncertainty)], {}, "main_clearance", "")

    first, second, third, fourth = changes([at("0.050"), None, at("0.053"), at("0.0555")])
    assert first is None
    assert second is None
    assert third is not None  # from the build before that has the figure
    assert third.amount == Fraction("0.003")
    assert third.uncertainty == pytest.approx(2 * sqrt(2) * 0.001)
    assert third.significant  # 0.0030 is more than 0.00283
    assert fourth is not None
    assert fourth.significant is False  # 0.0025 is less
    assert [each.significant for each in changes([at("0.05"), at("0.06", None)]) if each] == [None]


def test_where_a_mean_says_nothing_each_place_is_followed_by_itself() -> None:
    planes = {"residual.rear", "residual.front"}
    assert followed("residual", "", planes) == ["residual.front", "residual.rear"]
    assert followed("residual", "front", planes) == ["residual.front"]
    assert followed("residual", "", set()) == ["residual"]
    assert followed("main_clearance", "", {"main_clearance.1", "main_clearance.2"}) == ["main_clearance"]


PISTONS = {"2024-first": ("480.1", "482.0"), "2025-second": ("480.2", "481.6"), "2026-third": ("480.9", "481.5")}


@pytest.fixture
def through(book: Book) -> Book:
    """Three builds of an engine and one of its family: pistons by a scale of u = √(0.1²/12 + 0.05²) = 0.0577 g."""
    book.write("build.yaml", "format: 1\nengine: twin\nbuild: first\nopened: 2023-01-01\n")
    for number, (build, (first, second)) in enumerate(PISTONS.items()):
        book.write(f"engines/twin/{build}/build.yaml", opened("twin", build, 2026 - number))
        book.write(f"engines/twin/{build}/parts.yaml", PARTS)
        pistons = f"id: W1, what: piston, readings: {{P1: {first}, P2: {second}}}"
        book.write(f"engines/twin/{build}/weighings.yaml", weighings(pistons))
    for engine, family in (("twin", "gulls"), ("other", "gulls"), ("third", "terns")):
        text = f"format: 1\nengine: {engine}\nfamily: {family}\nlayout: v2_90_common_pin\n"
        book.write(f"engines/{engine}/engine.yaml", text)
    book.write("engines/other/only/build.yaml", opened("other", "only", 2025).replace("2025-01", "2025-06"))
    book.write("engines/other/only/parts.yaml", PARTS)
    book.write("engines/other/only/weighings.yaml", weighings("id: W1, what: piston, readings: {P1: 490.0}"))
    return book


def opened(engine: str, build: str, year: int) -> str:
    limits = "units: {mass: g}\nlimits: {reciprocating_spread: {max: 1.0}}\n"
    return f"format: 1\nengine: {engine}\nbuild: {build}\nopened: {year}-01-01\n{limits}"


def rows(shown: str) -> list[list[str]]:
    """The rows of the table, cell by cell."""
    return [re.split(r"\s{2,}", each.strip()) for each in shown.splitlines() if re.match(r" *\d  \S*[a-z]", each)]


def test_builds_stand_in_the_order_they_were_opened_each_with_its_change(through: Book, run: Run) -> None:
    done = run("trend", "piston.P1", "twin", cwd=through.root)
    assert (done.returncode, done.stderr) == (0, "")
    # u = 0.0577 g each: U = 0.115 g, and 2 √2 × 0.0577 = 0.163 g of a change
    assert rows(done.stdout) == [
        ["1", "first", "none"],
        ["2", "2026-third", "480.9", "0.12"],
        ["3", "2025-second", "480.2", "0.12", "-0.7", "down"],
        ["4", "2024-first", "480.1", "0.12", "-0.1", "cannot tell"],
    ]


def test_a_kind_shows_the_least_the_mean_and_the_most(through: Book, run: Run) -> None:
    said = run("trend", "piston", "twin/2024-first", cwd=through.root).stdout
    assert rows(said)[1:] == [
        ["2", "2026-third", "2", "480.9", "481.20", "481.5", "0.12"],
        ["3", "2025-second", "2", "480.2", "480.90", "481.6", "0.12", "-0.30", "down"],
        ["4", "2024-first", "2", "480.1", "481.05", "482.0", "0.12", "+0.15", "cannot tell"],
    ]


def test_the_engine_is_that_of_the_folder(through: Book, run: Run) -> None:
    named = run("trend", "piston.P1", "twin", cwd=through.root).stdout
    assert run("trend", "piston.P1", cwd=through.folder).stdout == named
    assert run("trend", "piston.P1", cwd=through.folder.parent).stdout == named


def test_a_family_is_all_its_engines(through: Book, run: Run) -> None:
    said = json.loads(run("trend", "piston.P1", "--family", "gulls", "--json", cwd=through.root).stdout)
    trend = said["figures"]["trend"]
    assert (trend["figure"], trend["unit"]) == ("piston.P1", "g")
    values = [(each["build"], each["opened"], each["value"]) for each in trend["points"]]
    assert values == [
        ("twin/first", "2023-01-01", None),
        ("twin/2026-third", "2024-01-01", 480.9),
        ("twin/2025-second", "2025-01-01", 480.2),
        ("other/only", "2025-06-01", 490.0),
        ("twin/2024-first", "2026-01-01", 480.1),
    ]
    last = trend["points"][-1]
    assert (last["change"], last["significant"]) == (pytest.approx(-9.9), True)
    assert last["change_uncertainty"] == pytest.approx(2 * sqrt(2) * 0.0577350, rel=1e-4)
    assert last["limit"] is None
    assert "twin/2026-third" in run("trend", "piston.P1", "--family", "gulls", cwd=through.root).stdout


def test_the_chart_has_all_builds_on_one_scale_with_the_limits(run: Run) -> None:
    said = run("trend", "main_clearance.1", "heron-07", cwd=SAMPLES).stdout
    (chart,) = [each for each in said.splitlines() if re.match(r"  1  2025-06-02 ", each)]
    picture = chart[17:]
    # 0.0550 between 0.045 and 0.075: a third of the way from one limit to the other, within half a step of the scale
    low, dot, high = picture.index("│"), picture.index("●"), picture.rindex("│")
    assert dot == pytest.approx(low + (high - low) / 3, abs=1)
    # U = 0.0037 on a scale on which 0.030 is the distance of the limits
    assert picture.count("─") + 1 == pytest.approx(2 * 0.0037 / 0.030 * (high - low) + 1, abs=1.5)
    assert "limit: min 0.045, max 0.075" in said


def test_a_bare_size_can_be_followed(run: Run) -> None:
    # what diff says of it too: +0.0365 ± 0.0022 mm
    said = run("trend", "cylinder_bore.5", "heron-07", cwd=SAMPLES).stdout
    assert re.search(r"1  2025-06-first +101\.8034 +0\.00158\s", said)
    assert re.search(r"2  2026-10-rebuild +101\.8399 +0\.00158 +\+0\.0365 +up", said)


def test_what_the_last_spin_left_is_followed_at_each_plane_without_a_mean(run: Run) -> None:
    said = run("trend", "residual", "heron-07", cwd=SAMPLES).stdout
    assert "mean" not in said
    front, rear = said.index("residual.front\n"), said.index("residual.rear\n")
    assert re.search(r"1  2025-06-first +0\.5 ", said[front:rear])
    assert re.search(r"1  2025-06-first +0\.3 ", said[rear:])
    points = json.loads(run("trend", "residual", "heron-07", "--json", cwd=SAMPLES).stdout)["figures"]["trend"][
        "points"
    ]
    shown = [(each["figure"], each["build"], each["places"]) for each in points]
    assert shown == [
        ("residual.front", "heron-07/2025-06-first", 1),
        ("residual.front", "heron-07/2026-10-rebuild", None),
        ("residual.rear", "heron-07/2025-06-first", 1),
        ("residual.rear", "heron-07/2026-10-rebuild", None),
    ]


def test_a_spread_can_be_followed(through: Book, run: Run) -> None:
    assert [each[2] for each in rows(run("trend", "piston_spread", "twin", cwd=through.root).stdout)[1:]] == [
        "0.6",
        "1.4",
        "1.9",
    ]


def test_nothing_measured_yet_is_said_and_is_no_fault(through: Book, run: Run) -> None:
    done = run("trend", "main_clearance", "twin", cwd=through.root)
    assert (done.returncode, done.stderr) == (0, "")
    assert "no build has this figure yet" in done.stdout


@pytest.mark.parametrize(
    ("asked", "remedy"),
    [
        (["pistun", "twin"], "did you mean piston?"),
        (["piston.P3", "twin"], "did you mean piston.P"),
        (["piston", "twn"], "did you mean twin?"),
        (["piston", "--family", "gull"], "did you mean gulls?"),
        (["piston", "twin", "--family", "gulls"], "name one of them"),
        (["piston", "--family", "terns"], "begin one with 'buildbook new build'"),
    ],
)
def test_what_is_not_there_is_misuse_with_the_nearest_name(
    through: Book, run: Run, asked: list[str], remedy: str
) -> None:
    done = run("trend", *asked, cwd=through.root)
    assert (done.returncode, done.stdout) == (2, "")
    assert remedy in " ".join(done.stderr.split())


def test_a_build_that_cannot_be_read_is_said_and_the_others_are_followed(through: Book, run: Run) -> None:
    through.write("engines/twin/2025-second/weighings.yaml", "format: 1\nsessions: {\n")
    done = run("trend", "piston.P1", "twin", cwd=through.root)
    assert done.returncode == 1
    assert rows(done.stdout)[1:] == [
        ["2", "2026-third", "480.9", "0.12"],
        ["3", "2025-second", "cannot be read"],
        ["4", "2024-first", "480.1", "0.12", "-0.8", "down"],
    ]
    assert "weighings.yaml:" in done.stdout


@pytest.mark.parametrize("columns", [80, 60])
def test_no_figure_is_lost_on_a_narrow_screen(columns: int) -> None:
    figures = ("main_clearance", "piston.P1", "piston_clearance", "reciprocating_spread", "bobweight_spread")
    commands = [f"trend {figure} heron-07" for figure in figures] + ["trend residual --family ferry_v8"]
    wide = one_after_the_other(commands, SAMPLES, 200)
    for narrow, whole in zip(one_after_the_other(commands, SAMPLES, columns), wide, strict=True):
        assert (narrow.code, narrow.stderr) == (0, "")
        assert too_wide(narrow.stdout, columns) == []
        assert lost(narrow.stdout, whole.stdout) == Counter()
        assert steering(narrow.stdout) == []


def test_a_shop_that_prefers_inches_reads_inches(samples: Path, run: Run) -> None:
    shop = samples / "shop.yaml"
    shop.write_text(
        shop.read_text().replace("mass: g, length: mm, angle: deg, speed: rpm, volume", "length: in, volume")
    )
    said = run("trend", "main_clearance.1", "heron-07", cwd=samples).stdout
    assert "in in;" in said
    assert re.search(r"2025-06-first +0\.0022 +0\.00015", said)  # 0.0550 and 0.0037 mm


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_whatever_a_file_says_the_screen_holds(book: Book, text: str) -> None:
    hostile_book(book, text)
    for shown in one_after_the_other(["trend piston twin", "trend residual twin"], book.folder):
        assert shown.code in {0, 1}, shown.stderr
        assert steering(shown.stdout) == []
        assert too_wide(shown.stdout) == []


def test_an_ascii_terminal_is_sent_ascii(run: Run) -> None:
    ascii_only = {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "LC_ALL": "C"}
    done = run("trend", "main_clearance", "heron-07", cwd=SAMPLES, **ascii_only)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.isascii()
    assert "?" not in done.stdout
    assert re.search(r"\|  +-+o-*  +\|", done.stdout)


def test_outside_of_an_engine_s_folder_the_engines_are_named(run: Run) -> None:
    for folder in (SAMPLES, SAMPLES / "engines"):
        done = run("trend", "reciprocating_spread", cwd=folder)
        assert (done.returncode, done.stdout) == (2, "")
        said = " ".join(done.stderr.split())
        assert "which engine is meant is not said → name one: dunlin-21, heron-07, magpie-02, plover-03; or" in said
