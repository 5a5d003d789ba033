"""`spins`: the whole story on one screen and in JSON."""

import json
from typing import Any

import pytest
from conftest import SAMPLES, Book, Run
from figures.ledger import PARTS
from figures.turning import PLANES, on_the_machine
from figures.turning import spin as spin_step

from buildbook.balance.unbalance import Reading
from buildbook.views.polar import polar_plot
from cli.workshop import one_after_the_other, screens

HERON = "heron-07/2025-06-first"


def told(run: Run, name: str) -> dict[str, Any]:
    done = run("spins", name, "--json", cwd=SAMPLES)
    assert (done.returncode, done.stderr) == (0, "")
    said: dict[str, Any] = json.loads(done.stdout)["figures"]
    return said


def test_json_has_the_figures_by_their_names(run: Run) -> None:
    said = told(run, HERON)
    assert {"spins", "tolerance", "floor", "verdict"} <= set(said)
    assert [each["id"] for each in said["spins"]] == ["S1", "S3", "S7", "S10", "S12", "S13", "S15"]
    for each in said["spins"]:
        assert {"id", "front", "rear", "static", "couple", "predicted", "missed_by"} <= set(each)
        assert set(each["front"]) == set(each["rear"]) == {"amount", "angle"}
    assert said["spins"][0]["front"] == pytest.approx({"amount": 23.7, "angle": 206})  # as the machine showed it
    assert {"permissible_total", "front", "rear"} <= set(said["tolerance"])
    assert set(said["tolerance"]["front"]) == {"g_mm", "g"}
    assert {"front", "rear", "lines"} == set(said["floor"])
    assert {"what", "front", "rear", "unknown"} == set(said["floor"]["lines"][0])
    assert said["verdict"] in {"over", "go_on", "stop"}


def test_the_tolerance_of_the_sample_by_hand(run: Run) -> None:
    # Crankshaft 25.2 kg, flywheel 13.9 kg and damper 4.3 kg turn in the last spin; G 16 at 4800 rpm (ISO 21940-11, from
    # memory): 9549.2966 × 16 × 43.4/4800 g·mm. Bearings at −56 and 391, the centre of mass at 171 mm: the front gets
    # 220/447 of it.
    tolerance = told(run, HERON)["tolerance"]
    total = 9549.2966 * 16 * 43.4 / 4800
    assert tolerance["permissible_total"] == pytest.approx(total)
    assert tolerance["front"] == pytest.approx({"g_mm": total * 220 / 447, "g": total * 220 / 447 / 88})
    assert tolerance["rear"] == pytest.approx({"g_mm": total * 227 / 447, "g": total * 227 / 447 / 91})


def test_the_screen_has_every_reading_every_change_and_every_line_of_the_floor(run: Run) -> None:
    said, screen = told(run, HERON), screens(HERON)["spins"]
    for each in said["spins"]:
        for plane in ("front", "rear"):
            assert f"{each[plane]['amount']:.1f} @ {each[plane]['angle']:3.0f}" in screen
        for change in each["since"]:
            assert f"\n{change['id']} " in screen
    for line in said["floor"]["lines"]:
        assert line["what"] in screen
        assert f"{line['front']:.2f}" in screen
    assert "ISO 21940-11" in screen
    assert "not weighed" in " ".join(screen.split())


def test_the_polar_plots_number_the_spins_in_their_order() -> None:
    screen = screens(HERON)["spins"]
    assert "FRONT                                   REAR" in screen
    assert "spins: 1 S1  2 S3  3 S7  4 S10  5 S12  6 S13  7 S15" in screen


def test_a_polar_plot_has_zero_on_top_and_runs_clockwise() -> None:
    # 4 g on the rim; 1 g half way out, for the distance is the square root of the amount
    readings = [Reading(4, 0), Reading(4, 90), Reading(1, 180), Reading(4, 270), Reading(0, 0)]
    title, zero, *rows, half, scale = polar_plot("REAR", readings, 1.0)
    places = {
        mark: (row, line.index(mark, 4, 34)) for row, line in enumerate(rows) for mark in "12345" if mark in line[4:34]
    }
    assert places["1"] == (0, 18)
    assert places["2"] == (7, 33)
    assert places["3"] == (10, 18)
    assert places["4"] == (7, 4)
    assert places["5"][0] == 7
    assert [text.strip() for text in (title, zero, half)] == ["REAR", "0", "180"]
    assert scale.strip() == "rim 4.0 g, inner circle 1.0 g"
    assert rows[7].startswith("270 ")
    assert rows[7].endswith(" 90 ")


def test_nothing_at_all_can_be_plotted() -> None:
    assert polar_plot("REAR", [Reading(0, 0)], None)[-1].strip() == "rim 1.0 g"


def limit(book: Book, residual: str) -> None:
    """The shop's own limit, in g."""
    build = (book.folder / "build.yaml").read_text()
    book.write("build.yaml", build.replace("limits: {", f"limits: {{residual: {{{residual}}}, "))


def test_the_limit_circle_is_named_beside_the_plot_and_left_out_where_there_is_none(book: Book) -> None:
    on_the_machine(book, spin_step("9.0@30", "6.0@150"))
    (without,) = one_after_the_other(["spins"], book.folder)
    limit(book, "front: 1.5, rear: 2.5")
    (with_limit,) = one_after_the_other(["spins"], book.folder)
    assert "inner circle" not in without.stdout
    assert "rim 9.0 g, inner circle 1.5 g" in with_limit.stdout
    assert "inner circle 2.5 g" in with_limit.stdout


@pytest.mark.parametrize(
    ("reading", "said"),
    [
        ("0.05@30", "STOP. Another spin cannot tell better from worse."),
        ("0.9@30", "another hole would still do some good"),
        ("5.0@30", "buildbook plan"),
    ],
)
def test_the_verdict_is_in_plain_words(book: Book, reading: str, said: str) -> None:
    on_the_machine(book, spin_step(reading, "0.05@150"))
    limit(book, "front: 1")
    (shown,) = one_after_the_other(["spins"], book.folder)
    assert said in " ".join(shown.stdout.split())
    assert "keep out of the plane of spinning bobweights" in " ".join(shown.stdout.split())


@pytest.mark.parametrize(
    ("steps", "planes", "said"),
    [
        ((), PLANES, "S1: front 5.00 g, rear 0.05 g left, OVER THE LIMIT"),
        (("grind: {plane: front, angle: 30}",), PLANES, "left, OVER THE LIMIT; changed since, and not spun again"),
        ((), "{front: {position: -100, radius: 80}}", "1 step recorded"),
    ],
)
def test_the_build_on_one_screen_says_what_the_last_spin_left(
    book: Book, steps: tuple[str, ...], planes: str, said: str
) -> None:
    on_the_machine(book, spin_step("5.0@30", "0.05@150"), *steps, planes=planes)
    limit(book, "front: 1")
    (shown,) = one_after_the_other(["show"], book.folder)
    assert said in " ".join(shown.stdout.split())


def test_below_the_floor_but_over_the_shops_limit_says_what_would_help(book: Book) -> None:
    on_the_machine(book, spin_step("0.2@30", "0.05@150"))
    limit(book, "front: 0.1")
    (shown,) = one_after_the_other(["spins"], book.folder)
    assert "finer than this job can tell: weigh, set and repeat better first" in " ".join(shown.stdout.split())


def test_without_any_limit_nothing_is_said_to_be_within_one(book: Book) -> None:
    on_the_machine(book, spin_step("900.0@30", "6.0@150"))
    (shown,) = one_after_the_other(["spins"], book.folder)
    assert "within" not in shown.stdout
    assert "ABOVE THE FLOOR and no limit is known" in " ".join(shown.stdout.split())


def test_a_floor_above_the_permissible_residual_says_so(book: Book) -> None:
    # spun twice, 60 g apart: by that scatter nothing can be told, and 9549.3 × 16 × 20/5000 = 611 g·mm are permissible
    on_the_machine(book, spin_step("5.0@30", "60.0@150"), spin_step("5.0@30", "6.0@150"))
    book.write("parts.yaml", PARTS + '  - {kind: crankshaft, ids: [C1], mass: "20 kg"}\n')
    choices = book.folder / "build.yaml"
    choices.write_text(choices.read_text().replace("oil: 3.0", 'oil: 3.0, grade: G16, max_speed: "5000 rpm"'))
    (shown,) = one_after_the_other(["spins"], book.folder)
    said = " ".join(shown.stdout.split())
    assert "BELOW THE FLOOR STOP." in said
    assert "The permissible residual is finer than this job can tell" in said


def test_what_is_held_against_the_permissible_residual_at_the_bearings_is_shown_beside_it(book: Book) -> None:
    # 2.6 g at 80 mm in front, at −100: 2/3 of it comes to the bearing at −300, 1/3 to that at 300 (0.69 g at 100 mm)
    bearings = "bearings: {front: -300, rear: 300}\nmass_centre: 0\n"
    on_the_machine(book, spin_step("2.6@0", "0.0@0"), more=bearings)
    book.write("parts.yaml", PARTS + '  - {kind: crankshaft, ids: [C1], mass: "20 kg"}\n')
    choices = book.folder / "build.yaml"
    choices.write_text(choices.read_text().replace("oil: 3.0", 'oil: 3.0, grade: G16, max_speed: "7639.43728 rpm"'))
    (shown,) = one_after_the_other(["spins"], book.folder)
    rows = [" ".join(line.split()) for line in shown.stdout.splitlines()]
    assert "the same, carried to the bearings 1.73 0.69" in rows
    assert any(row.startswith("permissible, ISO 21940-11 G16") and row.endswith("2.50 2.00") for row in rows)


def test_nothing_spun_yet_is_said(run: Run) -> None:
    done = run("spins", "heron-07/2026-10-rebuild", cwd=SAMPLES)
    assert done.returncode == 0
    assert "nothing has been spun yet" in done.stdout
    said = told(run, "heron-07/2026-10-rebuild")
    assert (said["spins"], said["verdict"]) == ([], None)


CANNOT_TELL = {
    "planes at the same place": ("position: 100, radius", "position: -100, radius", "plane", "its own position"),
    "no radius": ("position: 100, radius: 100", "position: 100", "plane", "add planes:"),
    "a hole beyond the axis": ("depth: 9", "depth: 99", "cannot-cut", "make the hole shallower"),
}


@pytest.mark.parametrize("case", CANNOT_TELL.values(), ids=CANNOT_TELL)
def test_what_cannot_be_told_is_a_finding_with_its_remedy_and_no_figure(
    book: Book, case: tuple[str, str, str, str]
) -> None:
    old, new, rule, remedy = case
    on_the_machine(book, spin_step("9.0@30", "6.0@150"), "drill: {plane: rear, angle: 150, diameter: 16, depth: 9}")
    text = (book.folder / "spins.yaml").read_text()
    assert old in text
    book.write("spins.yaml", text.replace(old, new))
    commands = ("spins", "plan", "prove")
    for command, shown in zip(commands, one_after_the_other(commands, book.folder), strict=True):
        assert (shown.code, shown.stderr) == (1, ""), command
        assert remedy in " ".join(shown.stdout.split()), command
    for shown in one_after_the_other([f"{command} --json" for command in commands], book.folder):
        said = json.loads(shown.stdout)
        assert (shown.code, said["figures"]) == (1, {})
        assert rule in {each["rule"] for each in said["findings"]}


def test_a_grade_that_is_none_is_a_finding(book: Book) -> None:
    on_the_machine(book, spin_step("9.0@30", "6.0@150"))
    build = (book.folder / "build.yaml").read_text()
    book.write("build.yaml", build.replace("oil: 3.0", "oil: 3.0, grade: G17, max_speed: 6000 rpm"))
    book.write("parts.yaml", PARTS + "  - {kind: crankshaft, ids: [C1], mass: 20 kg}\n")
    check, shown = one_after_the_other(["check", "spins"], book.folder)
    assert check.code == shown.code == 1
    for each in (check, shown):
        assert "'G17' is not a balance quality grade" in " ".join(each.stdout.split())


def test_an_engine_without_a_layout_still_has_its_story(book: Book) -> None:
    on_the_machine(book, spin_step("9.0@30", "6.0@150"))
    book.write("engines/twin/engine.yaml", "format: 1\nengine: twin\n")
    (shown,) = one_after_the_other(["spins"], book.folder)
    assert (shown.stderr, "9.0 @  30" in shown.stdout) == ("", True)
    assert "layout is not known" in " ".join(shown.stdout.split())


def test_figures_of_a_file_in_inches_and_ounces_carry_their_units(book: Book) -> None:
    on_the_machine(
        book,
        spin_step("1.0@30", "0.5@150"),
        "drill: {plane: rear, angle: 150, diameter: 0.5, depth: 0.25}",
        "grind: {plane: rear, angle: 150, amount: 0.1}",
        units="{mass: oz, length: in, angle: deg}",
        planes="{front: {position: -4, radius: 3}, rear: {position: 4, radius: 3}}",
    )
    text = (book.folder / "spins.yaml").read_text().replace("1775.6", "1775.6 g")
    book.write("spins.yaml", text)
    (shown,) = one_after_the_other(["spins"], book.folder, columns=200)
    said = " ".join(shown.stdout.split())
    assert "28.3 @ 30" in said  # 1 oz, in g
    assert "grind rear @ 150: 0.1 oz" in said
    assert "⌀0.5 in, 0.25 in deep" in said
