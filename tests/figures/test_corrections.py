"""Plans for the last spin, through the files: what may be taken where, and why there is none."""

from collections.abc import Mapping
from math import cos, radians, sin
from typing import Any

import pytest
from conftest import BUILD, Book

from buildbook.balance.holes import RadialHole
from buildbook.figures.corrections import NoWay
from buildbook.records.finding import Finding
from figures.turning import PLANES, WINDOWS, on_the_machine, planned, spin

OPEN = WINDOWS % (350, 80, 100, 200)


def in_the_way(book: Book, **more: Any) -> tuple[Finding, ...]:
    with pytest.raises(NoWay) as stopped:
        planned(book, **more)
    return stopped.value.findings


def test_a_plan_names_real_bits_and_depths_and_what_each_hole_really_takes(book: Book) -> None:
    on_the_machine(book, spin("20.0@30", "62.0@150"), planes=OPEN)
    plans = planned(book)
    assert len(plans) > 1
    for plan in plans:
        for hole in plan["holes"]:
            rim = {"front": 80, "rear": 100}[hole["plane"]]
            assert (hole["diameter"], hole["point"]) in {(8, 118), (16, 118), (22, 135)}
            assert hole["depth"] == pytest.approx(round(hole["depth"], 1))  # set in tenths of a millimetre
            cut = RadialHole(rim, hole["diameter"], hole["depth"], hole["point"], 7.83)
            assert cut.tip_depth <= {"front": 30, "rear": 32}[hole["plane"]]
            assert (hole["weight"], hole["acts_as"]) == pytest.approx((cut.weight, cut.unbalance / rim))
            assert hole["simple"] == pytest.approx(cut.simple.weight)


def test_metal_does_not_go_back_so_a_share_stays(book: Book) -> None:
    on_the_machine(book, spin("20.0@30", "60.0@150"), planes=OPEN)
    for share in (0.0, 0.05, 0.2):
        remains = planned(book, leave=share)[0]["remains"]
        assert remains["rear"]["amount"] == pytest.approx(60 * share, abs=0.5)
        assert share == 0 or remains["rear"]["angle"] == pytest.approx(150, abs=2)


def test_a_plane_within_the_shops_limit_is_left_alone(book: Book) -> None:
    on_the_machine(book, spin("0.9@30", "60.0@150"), planes=OPEN)
    book.write("build.yaml", BUILD.replace("limits: {", "limits: {residual: {front: 1.0, rear: 1.0}, "))
    best = planned(book)[0]
    assert {hole["plane"] for hole in best["holes"]} == {"rear"}
    assert best["ways"]["front"] == "left alone"


def test_a_window_may_lie_elsewhere_than_its_plane(book: Book) -> None:
    """What a hole takes there is carried to both reading planes."""
    away = OPEN.replace("width: 28}", "width: 28, position: 60, radius: 95}")
    on_the_machine(book, spin("20.0@30", "62.0@150"), planes=away)
    for hole in (hole for plan in planned(book) for hole in plan["holes"] if hole["plane"] == "rear"):
        assert (hole["position"], hole["radius"]) == (60, 95)


def test_there_is_nothing_to_plan_before_the_first_spin(book: Book) -> None:
    on_the_machine(book, planes=OPEN)
    (found,) = in_the_way(book)
    assert (found.rule, found.what) == ("no-spin", "there is no spin to correct")
    assert "buildbook spin" in found.remedy


def test_a_crankshaft_changed_since_is_spun_again_first(book: Book) -> None:
    hole = "drill: {plane: rear, angle: 150, diameter: 16, depth: 5}"
    on_the_machine(book, spin("20.0@30", "62.0@150"), hole, planes=OPEN)
    (found,) = in_the_way(book)
    assert (found.rule, found.remedy) == ("no-spin", "spin it again first")
    assert "S2 changed the crankshaft" in found.what


def test_without_windows_nobody_knows_where_metal_may_go(book: Book) -> None:
    on_the_machine(book, spin("20.0@30", "62.0@150"), planes=PLANES)
    (found,) = in_the_way(book)
    assert (found.rule, found.where.file.rpartition("/")[2]) == ("no-window", "spins.yaml")
    assert "windows: [{from: 20" in found.remedy


def test_without_bits_there_is_nothing_to_drill_with(book: Book) -> None:
    on_the_machine(book, spin("20.0@30", "62.0@150"), planes=OPEN)
    book.write("shop.yaml", (book.root / "shop.yaml").read_text().partition("bits:")[0])
    (found,) = in_the_way(book)
    assert found.rule == "no-bit"
    assert "--bit" in found.remedy


@pytest.mark.parametrize("positive", ["with_rotation", "against_rotation"])
def test_why_there_is_no_plan_is_said_in_the_machines_own_angles(book: Book, positive: str) -> None:
    # the rear is heavy at 250, on this machine, between no two counterweights that could share it
    on_the_machine(
        book,
        spin("0.0@0", "300.0@250"),
        planes=WINDOWS % (0, 10, 100, 130),
        angles=f"{{zero: throw 1 up, positive: {positive}, reading: heavy_side}}",
    )
    found = in_the_way(book)
    assert {finding.severity for finding in found} == {"warning"}
    assert any("250°" in finding.what for finding in found)
    assert all(finding.what.startswith("rear: ") and "--bit" in finding.remedy for finding in found)


def test_what_is_too_much_for_any_hole_says_how_deep_it_would_have_to_be(book: Book) -> None:
    on_the_machine(book, spin("0.0@0", "90.0@150"), planes=OPEN)
    assert any("the limit is 32.0 mm" in finding.what for finding in in_the_way(book, holes=1))


def test_a_plug_no_heavier_than_the_crankshaft_is_refused(book: Book) -> None:
    on_the_machine(book, spin("0.0@0", "20.0@330"), planes=OPEN)
    found = in_the_way(book, plug=7.0)
    assert [finding.rule for finding in found] == ["cannot-cut"]
    assert "density of the heavy metal" in found[0].remedy


def plugs(plans: list[dict[str, Any]]) -> list[Mapping[str, Any]]:
    return [hole for plan in plans for hole in plan["holes"] if hole["kind"] == "plug"]


def test_a_plug_is_planned_on_the_light_side(book: Book) -> None:
    # heavy at 330, where no counterweight is; light at 150, in the rear window
    on_the_machine(book, spin("0.0@0", "20.0@330"), planes=OPEN)
    found = plugs(planned(book, plug=17.0))
    assert found
    for plug in found:
        assert abs(plug["angle"] - 150) <= 40
        assert plug["depth"] <= 28
        assert plug["radius"] == 100 - 3 - plug["diameter"] / 2  # 3 mm of metal stays between the plug and the rim


def test_new_holes_keep_clear_of_those_there_are_and_stay_in_their_window(book: Book) -> None:
    # the rear window goes from 100 to 200: a hole of 22 mm stands in its middle, right where the rear is still heavy
    hole = "drill: {plane: rear, angle: 150, diameter: 22, depth: 15}"
    on_the_machine(book, spin("0.0@0", "62.0@150"), hole, spin("0.0@0", "12.0@150"), planes=OPEN)
    plans = planned(book)
    assert {plan["ways"]["rear"] for plan in plans} == {"one hole to either side", "two holes to either side"}
    for plan in plans:
        assert plan["remains"]["rear"]["amount"] == pytest.approx(0.6, abs=0.4)
        for each in plan["holes"]:
            assert each["too_near"] is None
            assert 100 < each["angle"] < 200
            # seen from the old hole's axis: the near wall of the new one, from the rim down to its full depth
            off = radians(abs(each["angle"] - 150))
            for height in (100 - each["depth"] * share / 20 for share in range(21)):
                across = height * sin(off) - each["diameter"] / 2 * cos(off)
                assert across > 11 + 2.9


def test_where_there_is_no_room_beside_a_hole_the_plan_says_which_it_comes_too_near(book: Book) -> None:
    hole = "drill: {plane: rear, angle: 150, diameter: 22, depth: 15}"
    on_the_machine(
        book, spin("0.0@0", "62.0@150"), hole, spin("0.0@0", "12.0@150"), planes=WINDOWS % (350, 80, 138, 162)
    )
    found = [each for plan in planned(book) for each in plan["holes"]]
    assert found
    assert {each["too_near"] for each in found} == {"S2"}


def test_a_hole_elsewhere_along_the_crankshaft_is_not_in_the_way(book: Book) -> None:
    hole = "drill: {plane: rear, angle: 150, diameter: 22, depth: 15, position: 60}"
    on_the_machine(book, spin("0.0@0", "62.0@150"), hole, spin("0.0@0", "12.0@150"), planes=OPEN)
    assert "one hole" in {plan["ways"]["rear"] for plan in planned(book)}


@pytest.mark.parametrize("window", [(0, "360 deg"), (90, 89.9)])
def test_all_round_a_rim_the_room_goes_on_past_zero(book: Book, window: tuple[float, float | str]) -> None:
    hole = "drill: {plane: rear, angle: 150, diameter: 22, depth: 15}"
    story = (spin("0.0@0", "62.0@150"), hole, spin("0.0@0", "12.0@0"))
    on_the_machine(book, *story, planes=WINDOWS % (350, 80, *window))
    best = planned(book)[0]
    assert (best["ways"]["rear"], [each["angle"] for each in best["holes"]]) == (
        "one hole",
        [pytest.approx(0, abs=1e-6)],
    )


def test_all_round_a_rim_there_is_room_to_either_side_of_a_hole(book: Book) -> None:
    hole = "drill: {plane: rear, angle: 150, diameter: 22, depth: 15}"
    story = (spin("0.0@0", "62.0@150"), hole, spin("0.0@0", "12.0@150"))
    on_the_machine(book, *story, planes=WINDOWS % (350, 80, 0, "360 deg"))
    best = planned(book)[0]
    assert best["ways"]["rear"] == "one hole to either side"
    assert sorted(150 - each["angle"] > 0 for each in best["holes"]) == [False, True]
