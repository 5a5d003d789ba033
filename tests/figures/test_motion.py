"""Engine arithmetic through the files: displacement, piston motion, and the load on a rod bolt."""

from itertools import pairwise
from math import pi

import pytest
from conftest import BUILD, Book
from hypothesis import given
from hypothesis import strategies as st

from buildbook.figures.motion import MotionFigures, NoMotion, in_gravities, motion_figures
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings
from figures.measurements import engine

ENGINE = engine(sizes="bore: 90, stroke: 80, rod_length: 140")

# r = 40 mm, λ = 2/7; at 6000 rpm ω = 200 π rad/s, r ω² = 15 791.4 m/s²
R_OMEGA_SQUARED = 0.040 * (200 * pi) ** 2


@pytest.fixture
def twin(book: Book) -> Book:
    book.write("engines/twin/engine.yaml", ENGINE)
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    return book


def moved(book: Book, speed: float | None = 6000.0, every: float = 15.0) -> MotionFigures:
    return motion_figures(book.figures(), speed, every)


def test_a_twin_by_hand(twin: Book) -> None:
    found = moved(twin)
    assert found.cylinder_displacement == pytest.approx(pi / 4 * 9.0**2 * 8.0)  # cm: 508.9 cc
    assert found.displacement == pytest.approx(1017.9, abs=0.05)
    assert (found.bore_to_stroke, found.rod_ratio) == (1.125, 1.75)
    assert found.crank_to_rod == pytest.approx(2 / 7)
    assert found.mean_piston_speed == pytest.approx(16.0)  # 2 × 0.080 m × 100 turns a second
    # exact at both dead centres: r ω² (1 ± λ)
    assert found.top.acceleration == pytest.approx(R_OMEGA_SQUARED * (1 + 2 / 7))
    assert found.bottom.acceleration == pytest.approx(-R_OMEGA_SQUARED * (1 - 2 / 7))
    assert found.top.two_term == pytest.approx(found.top.acceleration)


def test_the_piston_is_fastest_where_no_row_is_faster(twin: Book) -> None:
    found = moved(twin, every=1.0)
    assert found.fastest is not None
    angle, highest = found.fastest
    assert found.at(angle).speed == pytest.approx(highest)
    speeds = {moment.angle: moment.speed or 0.0 for moment in found.table}
    assert highest >= max(speeds.values())
    assert abs(max(speeds, key=lambda each: speeds[each]) - angle) <= 1


@given(st.floats(1, 90))
def test_a_table_has_both_dead_centres_and_comes_up_as_it_went_down(every: float) -> None:
    found = MotionFigures(90.0, 80.0, 140.0, 2, 6000.0, "as asked", every, None, "")
    angles = [moment.angle for moment in found.table]
    assert angles == sorted(set(angles))
    assert {0.0, 180.0} <= set(angles)
    assert all(0 <= angle < 360 for angle in angles)
    assert max(after - before for before, after in pairwise(angles)) <= every + 1e-9
    down, up = found.table[1:], found.table[:0:-1]
    assert [moment.angle for moment in up] == pytest.approx([360 - moment.angle for moment in down])
    assert [moment.travel for moment in up] == pytest.approx([moment.travel for moment in down])


def test_gravity_is_the_standard_one() -> None:
    # 9.80665 m/s², by definition
    assert in_gravities(9.80665) == 1.0


def test_the_speed_of_the_build_counts_unless_another_is_asked_for(twin: Book) -> None:
    twin.write("build.yaml", BUILD.replace("oil: 3.0", "oil: 3.0, max_speed: 4800 rpm"))
    assert (moved(twin, None).speed, moved(twin, None).speed_from) == (4800, "the highest, by build.yaml")
    assert (moved(twin, 3000).speed, moved(twin, 3000).speed_from) == (3000, "as asked")


def test_without_a_speed_there_are_places_alone(twin: Book) -> None:
    found = moved(twin, None)
    assert (found.speed, found.mean_piston_speed, found.fastest, found.rod_bolt) == (None, None, None, None)
    assert "no speed" in found.no_rod_bolt
    assert [moment.travel for moment in found.table][12] == pytest.approx(80)
    assert {moment.acceleration for moment in found.table} == {None}


# ---- the rod bolt


def test_a_bolt_of_the_heaviest_cylinder_by_hand(twin: Book) -> None:
    # cylinder 2: small end 154.9 + piston 482.0 + pin 152.5 + rings 55.4 = 844.8 g; its big end 420.9 + 2 × 21.75 g
    twin.write("pairings.yaml", pairings(*(f"rod: R{n}, piston: P{n}, pin: N{n}" for n in (1, 2))))
    bolt = moved(twin).rod_bolt
    assert bolt is not None
    assert (bolt.cylinder, bolt.of, float(bolt.reciprocating)) == ("2", 2, 844.8)
    assert bolt.big_end is not None
    assert float(bolt.big_end) == pytest.approx(464.4)
    assert bolt.at_least == pytest.approx(0.8448 * R_OMEGA_SQUARED * (1 + 2 / 7) / 2)
    assert bolt.at_most == pytest.approx(bolt.at_least + 0.4644 * R_OMEGA_SQUARED / 2)


def test_before_anything_is_matched_the_means_stand_for_any_cylinder(twin: Book) -> None:
    bolt = moved(twin).rod_bolt
    assert bolt is not None
    assert bolt.cylinder is None
    # 154.4 + 481.05 + 152.4 + 55.4
    assert float(bolt.reciprocating) == pytest.approx(843.25)


def test_without_its_big_end_a_bolt_has_no_upper_bound(twin: Book) -> None:
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED[1:5]))
    bolt = moved(twin).rod_bolt
    assert bolt is not None
    assert (bolt.big_end, bolt.at_most) == (None, None)
    assert bolt.at_least > 0


def test_what_was_not_weighed_is_why_there_is_no_load(twin: Book) -> None:
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED[:2], *ALL_WEIGHED[3:]))
    assert (moved(twin).rod_bolt, moved(twin).no_rod_bolt) == (None, "not weighed: piston")
    twin.write("weighings.yaml", weighings())
    found = moved(twin)
    assert found.rod_bolt is None
    assert {"rod small end", "piston", "pin", "ring set"} == set(
        found.no_rod_bolt.removeprefix("not weighed: ").split(", ")
    )


def test_a_set_that_is_not_weighed_is_not_the_heaviest(twin: Book) -> None:
    twin.write("pairings.yaml", pairings("rod: R1, piston: P1, pin: N1", "rod: R9, piston: P2, pin: N2"))
    bolt = moved(twin).rod_bolt
    assert bolt is not None
    assert (bolt.cylinder, bolt.of) == ("1", 1)


# ---- engines that do not turn


def test_every_size_that_is_lacking_is_named(twin: Book) -> None:
    twin.write("engines/twin/engine.yaml", ENGINE.replace("bore: 90\n", "").replace("rod_length: 140\n", ""))
    with pytest.raises(NoMotion, match="twin has no bore and no rod_length") as refused:
        moved(twin)
    assert refused.value.remedy == "fill in bore: … mm, rod_length: … mm in engine.yaml"
    assert refused.value.where.file.endswith("engine.yaml")


@pytest.mark.parametrize("size", ["bore: 0", "stroke: -80", "rod_length: 40", "stroke: 280"])
def test_sizes_that_cannot_turn_are_refused(twin: Book, size: str) -> None:
    name = size.partition(":")[0]
    number = size.partition(": ")[2]
    lines = [f'{name}: "{number} mm"' if line.startswith(f"{name}:") else line for line in ENGINE.splitlines()]
    twin.write("engines/twin/engine.yaml", "\n".join(lines) + "\n")
    with pytest.raises(NoMotion, match=r"above zero|must be longer") as refused:
        moved(twin)
    assert "engine.yaml" in refused.value.remedy


def test_an_engine_without_a_layout_has_one_cylinders_displacement(twin: Book) -> None:
    twin.write("engines/twin/engine.yaml", ENGINE.replace("layout: v2_90_common_pin\n", ""))
    found = moved(twin)
    assert (found.cylinders, found.displacement) == (None, None)
    assert found.cylinder_displacement == pytest.approx(508.9, abs=0.05)
    assert found.rod_bolt is not None
