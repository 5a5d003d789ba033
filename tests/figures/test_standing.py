"""When to stop: the permissible residual, the shop's limit, the floor line by line, and the verdict."""

from math import hypot, sqrt

import pytest
from conftest import BUILD, Book

from figures.ledger import ALL_WEIGHED, PARTS, weighings
from figures.turning import PLANES, STROKE, WITH_BALANCER, on_the_machine, spin, spins, story


def choose(book: Book, balance: str = "", limits: str = "") -> None:
    """build.yaml with more balance choices, and other limits."""
    text = BUILD.replace("oil: 3.0", f"oil: 3.0{balance}")
    if limits:
        text = text.partition("limits:")[0] + f"limits: {{{limits}}}\n"
    book.write("build.yaml", text)


# ---- the permissible residual, ISO 21940-11


def test_the_worked_example_of_an_inboard_rotor_through_the_files(book: Book) -> None:
    # Annex of ISO 1940-1:2003, from memory: 3600 kg, 3000 rpm, G 2.5, bearings 2400 mm apart, the centre of mass
    # 1500 mm from the front one: 28 648 g·mm, of which 10 743 at the front and 17 905 at the rear; at radii of 80 and
    # 100 mm that is 134.29 and 179.05 g.
    on_the_machine(book, spin("9.0@0", "9.0@0"), more="bearings: {front: 0, rear: 2400}\nmass_centre: 1500\n")
    choose(book, ", grade: G2.5, max_speed: 3000 rpm")
    book.write("parts.yaml", PARTS + "  - {kind: crankshaft, ids: [C1], mass: 3600 kg}\n")
    tolerance = story(book)["tolerance"]
    assert tolerance["permissible_total"] == pytest.approx(28_648, rel=1e-4)
    assert tolerance["front"] == pytest.approx({"g_mm": 10_743, "g": 134.29}, rel=1e-4)
    assert tolerance["rear"] == pytest.approx({"g_mm": 17_905, "g": 179.05}, rel=1e-4)
    assert (tolerance["rule"], tolerance["grade"], tolerance["mass_kg"], tolerance["speed"]) == (
        "inboard", "G2.5", 3600, 3000,
    )  # fmt: skip


def test_a_crankshaft_by_hand_in_pounds_and_inches(book: Book) -> None:
    # U_per = 9549.2966 G m/n (ISO 21940-11, from memory): 55 lb = 24.9475804 kg, G 16, 4800 rpm: 794.106 g·mm.
    # Bearings at −4 and 6 in, centre of mass at 2 in: the front gets 4/10, the rear 6/10.
    on_the_machine(
        book,
        spin("0.9@0", "0.9@0"),
        more="bearings: {front: -4 in, rear: 6 in}\nmass_centre: 2 in\n",
    )
    choose(book, ", grade: G16, max_speed: 4800 rpm")
    book.write("parts.yaml", PARTS + "  - {kind: crankshaft, ids: [C1], mass: 55 lb}\n")
    tolerance = story(book)["tolerance"]
    assert tolerance["permissible_total"] == pytest.approx(9549.2966 * 16 * 55 * 0.45359237 / 4800, rel=1e-8)
    assert tolerance["permissible_total"] == pytest.approx(794.106, rel=1e-6)
    assert tolerance["front"]["g_mm"] == pytest.approx(317.642, rel=1e-5)
    assert tolerance["rear"]["g"] == pytest.approx(4.76464, rel=1e-5)


def test_what_is_carried_and_states_a_weight_counts_and_what_is_not_carried_does_not(book: Book) -> None:
    parts = (
        PARTS + "  - {kind: crankshaft, ids: [C1], mass: 20 kg}\n"
        "  - {kind: flywheel, ids: [F1], mass: 10 kg}\n"
        "  - {kind: damper, ids: [D1], mass: 4 kg}\n"
        "  - {kind: other, ids: [H1], mass: 2 kg}\n"
        "  - {kind: other, ids: [H2], mass: 1 kg}\n"
    )
    for carried, mass in (("", 20), ("F1", 30), ("F1, D1", 34), ("F1, D1, H1, H2", 37)):
        on_the_machine(book, spin("0.9@0", "0.9@0", f", carrying: [{carried}]"))
        choose(book, ", grade: G16, max_speed: 4800 rpm")
        book.write("parts.yaml", parts)
        assert story(book)["tolerance"]["mass_kg"] == mass


@pytest.mark.parametrize(
    ("choices", "crankshaft"),
    [
        (", grade: G16", "mass: 20 kg"),
        (", max_speed: 4800 rpm", "mass: 20 kg"),
        (", grade: G16, max_speed: 4800 rpm", "note: not weighed"),
    ],
)
def test_without_grade_speed_or_mass_there_is_no_tolerance(book: Book, choices: str, crankshaft: str) -> None:
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    choose(book, choices)
    book.write("parts.yaml", PARTS + f"  - {{kind: crankshaft, ids: [C1], {crankshaft}}}\n")
    assert story(book)["tolerance"] is None


def test_without_bearings_the_planes_stand_for_them_and_without_a_centre_of_mass_each_gets_half(book: Book) -> None:
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    choose(book, ", grade: G16, max_speed: 4800 rpm")
    book.write("parts.yaml", PARTS + "  - {kind: crankshaft, ids: [C1], mass: 20 kg}\n")
    tolerance = story(book)["tolerance"]
    assert tolerance["front"]["g_mm"] == tolerance["rear"]["g_mm"] == tolerance["permissible_total"] / 2
    assert tolerance["rule"] == "halves"


def test_a_grade_that_is_none_is_said_and_the_other_yardsticks_stay(book: Book) -> None:
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    choose(book, ", grade: G17, max_speed: 4800 rpm")
    book.write("parts.yaml", PARTS + "  - {kind: crankshaft, ids: [C1], mass: 20 kg}\n")
    figures = book.figures()
    assert figures.yardsticks.tolerance is None
    assert figures.yardsticks.standing(figures.balance.spins[-1]).floor["front"] > 0
    (finding,) = [each for each in figures.thorough_findings if each.rule == "grade"]
    assert "'G17' is not a balance quality grade" in finding.what


# ---- the floor. The twin's one throw stands midway between the planes, 40 mm out: half of it acts at each


def lines(book: Book) -> dict[str, tuple[float | None, float | None]]:
    return {line["what"]: (line["front"], line["rear"]) for line in story(book)["floor"]["lines"]}


def why_unknown(book: Book) -> dict[str, str]:
    return {line["what"]: line["unknown"] for line in story(book)["floor"]["lines"] if line["unknown"]}


PARTS_LINE, SET_LINE = "parts against their bobweights", "bobweights as set on the scale"
WEIGHED_LINE, MACHINE_LINE = "the weighings behind the bobweights", "the machine's own repeatability"


@pytest.mark.parametrize("as_set", ["1774.55", "1776.55"])
def test_a_bobweight_off_by_a_gram(book: Book, as_set: str) -> None:
    # 1775.55 g is right; 1 g × 40 mm = 40 g·mm, 20 of it at each plane: 20/80 = 0.25 g and 20/100 = 0.2 g
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    book.write("spins.yaml", (book.folder / "spins.yaml").read_text().replace("{1: 1775.6}", f"{{1: {as_set}}}"))
    assert lines(book)[PARTS_LINE] == pytest.approx((0.25, 0.2))


def test_the_scale_that_the_bobweights_were_set_on(book: Book) -> None:
    # resolution 0.1 g and repeatability 0.05 g: u² = 0.1²/12 + 0.05² = 1/300 (GUM 4.3.7, F.2.2.1, from memory);
    # at k = 2, half at each plane: 2 × √(1/300) × 40/2 = 2.3094 g·mm
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    assert lines(book)[SET_LINE] == pytest.approx((2.3094 / 80, 2.3094 / 100), rel=1e-4)


def test_the_weighings_behind_the_bobweight(book: Book) -> None:
    # Each reading and each total of a lot 1/300 g². Two big ends and the lot of bearings go round: 3/300. Two each of
    # small ends, pistons and pins, and the lot of rings, go up and down, and half of them is carried: 7/300/4.
    # u = √((3 + 7/4)/300) = 0.125831 g; 2 × u × 40/2 = 5.0332 g·mm
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    assert lines(book)[WEIGHED_LINE] == pytest.approx((5.0332 / 80, 5.0332 / 100), rel=1e-4)


def test_the_machines_repeatability_as_stated_and_as_spun(book: Book) -> None:
    # 0.12 g stated, at the larger radius of 100 mm: 2 × 12 g·mm
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    assert lines(book)[MACHINE_LINE] == pytest.approx((24 / 80, 24 / 100))
    # The rear x reads 1.0 and 1.6 g at 100 mm: squared deviations 30² + 30² over 4 degrees of freedom: s = 21.213
    on_the_machine(book, spin("1.0@0", "1.0@0"), spin("1.0@0", "1.6@0"))
    assert lines(book)[MACHINE_LINE] == pytest.approx((2 * sqrt(450) / 80, 2 * sqrt(450) / 100))


def test_the_floor_is_the_root_of_the_sum_of_squares_of_its_lines(book: Book) -> None:
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    book.write("spins.yaml", (book.folder / "spins.yaml").read_text().replace("{1: 1775.6}", "{1: 1776.55}"))
    floor = story(book)["floor"]
    # 0.25, 0.0289, 0.0629 and 0.3 g at the front; at the rear 0.8 of each
    assert floor["front"] == pytest.approx(hypot(0.25, 2.3094 / 80, 5.0332 / 80, 0.3), rel=1e-4)
    assert floor["rear"] == pytest.approx(0.8 * floor["front"])


def test_throws_are_spaced_by_the_bores_and_point_where_the_layout_says(book: Book) -> None:
    # A V4 with pins at 0 and 180°, throws 100 mm apart, planes at 0 and 100 mm: each throw acts at its own plane.
    # Both bobweights 2 g light: 2 g × 40 mm at each: 80/80 = 1 g, 80/100 = 0.8 g.
    on_the_machine(book, spin("0.9@0", "0.9@0"), planes=PLANES.replace("-100", "0"))
    throws = "1: {angle: 0, cylinders: {1: left, 2: right}}, 2: {angle: 180, cylinders: {3: left, 4: right}}"
    book.write(
        "engines/twin/engine.yaml",
        "format: 1\nengine: twin\nunits: {length: mm, angle: deg}\nstroke: 80\nbore_spacing: 100\n"
        f"layout: {{banks: {{left: -45, right: 45}}, throws: {{{throws}}}}}\n",
    )
    book.write("parts.yaml", "format: 1\nparts: []\n")
    right = book.figures().bobweights.throws["1"].total
    text = (book.folder / "spins.yaml").read_text()
    book.write("spins.yaml", text.replace("{1: 1775.6}", f"{{1: {float(right) - 2:.6f}, 2: {float(right) - 2:.6f}}}"))
    assert lines(book)[PARTS_LINE] == pytest.approx((1.0, 0.8), abs=1e-6)
    # with the planes far apart, the two pins, opposite to one another, leave a couple only: 80 g·mm × 100 mm over 1 m
    book.write("spins.yaml", (book.folder / "spins.yaml").read_text().replace("position: 100", "position: 1000"))
    assert lines(book)[PARTS_LINE] == pytest.approx((8 / 80, 8 / 100), abs=1e-6)


def test_a_bobweight_stands_for_both_halves_of_a_split_pin(book: Book) -> None:
    # Pins at 0 and 60°, each with half of the bobweight, which is 2 g light: 1 g × 40 mm at each,
    # 40 × |1 + e^(i60°)| = 40 √3 = 69.282 g·mm in all, half of it at each plane: 34.641/80 and 34.641/100 g
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    throws = "{1: {angle: 0, cylinders: {1: left, 2: {bank: right, angle: 60}}}}"
    book.write(
        "engines/twin/engine.yaml",
        "format: 1\nengine: twin\nunits: {length: mm, angle: deg}\nstroke: 80\n"
        f"layout: {{banks: {{left: -45, right: 45}}, throws: {throws}}}\n",
    )
    right = float(book.figures().bobweights.throws["1"].total)
    text = (book.folder / "spins.yaml").read_text()
    book.write("spins.yaml", text.replace("{1: 1775.6}", f"{{1: {right - 2:.6f}}}"))
    assert lines(book)[PARTS_LINE] == pytest.approx((34.641 / 80, 34.641 / 100), rel=1e-4)


def test_lines_that_are_not_known_say_why_and_add_nothing(book: Book) -> None:
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    shop = (book.root / "shop.yaml").read_text()
    book.write("shop.yaml", shop.replace(", repeatability: 0.12 g", ""))
    book.write("engines/twin/engine.yaml", STROKE.replace("stroke: 80\n", ""))
    assert "no stroke" in why_unknown(book)[PARTS_LINE]
    assert "no stroke" in why_unknown(book)[SET_LINE]
    assert "no stroke" in why_unknown(book)[WEIGHED_LINE]
    assert "spin the same state twice" in why_unknown(book)[MACHINE_LINE]
    assert (story(book)["floor"]["front"], story(book)["floor"]["rear"]) == (0, 0)


def test_a_bobweight_set_on_a_scale_nobody_named_is_not_known(book: Book) -> None:
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    text = (book.folder / "spins.yaml").read_text()
    book.write("spins.yaml", text.replace(", with: scale}", "}"))
    assert set(why_unknown(book)) == {SET_LINE}
    assert "which scale" in why_unknown(book)[SET_LINE]


def test_a_throw_whose_bobweight_is_not_recorded_is_not_known(book: Book) -> None:
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    text = (book.folder / "spins.yaml").read_text()
    book.write("spins.yaml", text.replace("target: 1775.6, set: {1: 1775.6}", "target: 1775.6, set: {}"))
    assert "throw 1" in why_unknown(book)[PARTS_LINE]


def test_what_was_not_weighed_leaves_its_lines_unknown(book: Book) -> None:
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    book.write("weighings.yaml", weighings(*ALL_WEIGHED[:3]))
    assert "pin" in why_unknown(book)[PARTS_LINE]


def test_an_engine_without_a_layout_leaves_the_machines_line_alone(book: Book) -> None:
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    book.write("engines/twin/engine.yaml", "format: 1\nengine: twin\n")
    assert set(why_unknown(book)) == {PARTS_LINE, SET_LINE, WEIGHED_LINE}
    assert all("layout" in why for why in why_unknown(book).values())


def test_a_crankshaft_that_wants_no_bobweights_has_the_machines_line_alone(book: Book) -> None:
    on_the_machine(book, spin("0.9@0", "0.9@0"))
    book.write("engines/twin/engine.yaml", STROKE.replace("v2_90_common_pin", "i4"))
    assert lines(book) == {MACHINE_LINE: pytest.approx((0.3, 0.24))}


# ---- the verdict


def bare(book: Book, front: str, rear: str, limits: str = "residual: {front: 1.0 g, rear: 1.0 g}") -> Book:
    """A book whose floor is the machine's line alone: 0.3 g at the front, 0.24 g at the rear."""
    book.write("shop.yaml", WITH_BALANCER)
    book.write("spins.yaml", spins(spin(front, rear)).replace(", with: scale}", "}"))
    choose(book, limits=limits)
    return book


@pytest.mark.parametrize(
    ("front", "rear", "verdict"),
    [
        ("0.29@10", "0.23@10", "stop"),
        ("0.31@10", "0.23@10", "go_on"),
        ("0.29@10", "0.25@10", "go_on"),
        ("0.99@10", "0.99@10", "go_on"),
        ("1.0@10", "1.0@10", "go_on"),
        ("1.01@10", "0.1@10", "over"),
        ("0.1@10", "1.01@10", "over"),
    ],
)
def test_over_go_on_and_stop(book: Book, front: str, rear: str, verdict: str) -> None:
    assert story(bare(book, front, rear))["verdict"] == verdict


@pytest.mark.parametrize(("front", "verdict"), [("0.25@10", "stop"), ("0.35@10", "over")])
def test_below_the_floor_is_stop_even_where_the_shops_limit_is_finer(book: Book, front: str, verdict: str) -> None:
    said = story(bare(book, front, "0.1@10", "residual: {front: 0.2 g, rear: 0.2 g}"))
    assert said["verdict"] == verdict


def test_with_no_limit_at_all_nothing_is_over(book: Book) -> None:
    assert story(bare(book, "50.0@10", "50.0@10", "reciprocating_spread: {max: 1.0 g}"))["verdict"] == "go_on"


def test_a_limit_for_one_plane_holds_at_that_plane(book: Book) -> None:
    assert story(bare(book, "50.0@10", "0.9@10", "residual: {rear: 1.0 g}"))["verdict"] == "go_on"
    assert story(bare(book, "0.9@10", "1.1@10", "residual: {rear: 1.0 g}"))["verdict"] == "over"


# G 16, 20 kg, 7639.43728 rpm: 400 g·mm in all, and 200 at each bearing, for the centre of mass stands midway.
# The bearings stand 200 mm outside the planes, at ∓300: of a front reading at −100, (300 + 100)/600 = 2/3 comes to the
# front bearing and 1/3 to the rear one. 2/3 × 80 r = 200 at r = 3.75 g; 200 g·mm at the front plane alone were 2.5 g.
@pytest.mark.parametrize(("front", "verdict"), [("2.6@0", "go_on"), ("3.74@0", "go_on"), ("3.76@0", "over")])
def test_the_permissible_residual_holds_at_the_bearings(book: Book, front: str, verdict: str) -> None:
    on_the_machine(book, spin(front, "0.0@0"), more="bearings: {front: -300, rear: 300}\nmass_centre: 0\n")
    choose(book, ", grade: G16, max_speed: 7639.43728 rpm", "reciprocating_spread: {max: 1.0}")
    book.write("parts.yaml", PARTS + "  - {kind: crankshaft, ids: [C1], mass: 20 kg}\n")
    said = story(book)
    assert said["tolerance"]["front"] == pytest.approx({"g_mm": 200, "g": 2.5})
    assert said["verdict"] == verdict


def test_every_spin_has_its_own_verdict_and_the_last_one_counts(book: Book) -> None:
    ground = "grind: {plane: front, angle: 0}"
    on_the_machine(book, spin("9.0@0", "9.0@0"), ground, spin("0.9@0", "0.9@0"), ground, spin("0.1@0", "0.1@0"))
    choose(book, limits="residual: {front: 1.0 g, rear: 1.0 g}")
    said = story(book)
    assert [each["verdict"] for each in said["spins"]] == ["over", "go_on", "stop"]
    assert said["verdict"] == "stop"


def test_before_the_first_spin_there_is_no_verdict(book: Book) -> None:
    on_the_machine(book)
    said = story(book)
    assert (said["spins"], said["verdict"], said["next"]) == ([], None, None)
