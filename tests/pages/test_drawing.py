"""The drawings: everything is where it belongs, and inside the paper."""

import re
from itertools import combinations
from math import hypot

import pytest

from buildbook.balance.layouts import KNOWN, known_layout, spelled_layout
from buildbook.balance.unbalance import Reading
from buildbook.pages.drawing import Mark, Spun, banks_from_left, engine_from_the_front, polar_plot
from pages.printshop import Seen


def view(drawn: str) -> tuple[float, float]:
    (svg,) = Seen(drawn).all("svg")
    _, _, width, height = map(float, str(svg["viewbox"]).split())
    return width, height


def circles(drawn: str, class_: str) -> list[tuple[float, float, float]]:
    found = [each for each in Seen(drawn).all("circle") if each["class"] == class_]
    return [(float(str(each["cx"])), float(str(each["cy"])), float(str(each["r"]))) for each in found]


@pytest.mark.parametrize("name", [*KNOWN, "v2_45_common_pin"])
def test_every_known_engine_lies_inside_its_drawing_and_says_what_it_shows(name: str) -> None:
    drawn = engine_from_the_front(known_layout(name))
    width, height = view(drawn)
    for x, y, radius in [*circles(drawn, "paper"), *circles(drawn, "ink")]:
        assert radius <= x <= width - radius
        assert radius <= y <= height - radius
    (svg,) = Seen(drawn).all("svg")
    assert svg["role"] == "img"
    for bank in known_layout(name).banks:
        assert bank in str(svg["aria-label"])


def test_banks_lean_as_far_as_the_layout_says_and_the_left_one_to_the_left() -> None:
    drawn = engine_from_the_front(known_layout("v8_90_cross_plane"))
    turned = [float(each) for each in re.findall(r'<g transform="translate\([^)]*\) rotate\(([-0-9.]+)\)', drawn)]
    assert turned == [-45.0, 45.0]


def test_pins_stand_at_their_angles_clockwise_from_the_top() -> None:
    drawn = engine_from_the_front(known_layout("v8_90_cross_plane"))
    crank, *pins = circles(drawn, "paper")
    towards = [(round(x - crank[0]), round(y - crank[1])) for x, y, _ in pins]
    assert towards == [(0, -8), (8, 0), (-8, 0), (0, 8)]  # throws 1 to 4 at 0, 90, 270 and 180


@pytest.mark.parametrize("name", KNOWN)
def test_no_pin_hides_the_number_of_another(name: str) -> None:
    _, *pins = circles(engine_from_the_front(known_layout(name)), "paper")
    assert all(hypot(a[0] - b[0], a[1] - b[1]) >= a[2] + b[2] for a, b in combinations(pins, 2))


def test_an_upside_down_engine_is_drawn_below_its_crankshaft() -> None:
    drawn = engine_from_the_front(spelled_layout({"inverted": 180.0}, {"1": (0, {"1": "inverted"})}))
    _, height = view(drawn)
    crank = circles(drawn, "paper")[0]
    assert height - crank[1] > 30
    assert "dashed" not in drawn  # no bank to lead up to its column


def test_banks_stand_from_left_to_right_as_they_are_seen() -> None:
    layout = spelled_layout({"b": 30.0, "a": -30.0}, {"1": (0, {"1": "a", "2": "b"})})
    assert banks_from_left(layout) == ["a", "b"]


def spun(step: str, amount: float, angle: float) -> Spun:
    return Spun(step, Reading(amount, angle), None)


def test_a_reading_is_drawn_at_its_angle_and_at_the_root_of_its_amount() -> None:
    drawn = polar_plot("front", [spun("S1", 16.0, 0), spun("S2", 4.0, 90), spun("S3", 1.0, 180)], (), {})
    ((middle_x, middle_y, rim),) = circles(drawn, "thin")
    places = [(x - middle_x, middle_y - y) for x, y, _ in circles(drawn, "ink")]
    expected = [(0.0, rim), (rim / 2, 0.0), (0.0, -rim / 4)]
    assert [pytest.approx(each, abs=0.02) for each in expected] == places


def test_the_limit_is_a_circle_on_the_same_scale() -> None:
    drawn = polar_plot("rear", [spun("S1", 16.0, 0)], (), {"limit": 1.0})
    ((_, _, rim),) = circles(drawn, "thin")
    ((_, _, limit),) = circles(drawn, "limit")
    assert limit == pytest.approx(rim / 4, abs=0.01)


def test_what_was_predicted_never_lies_outside_the_plot() -> None:
    drawn = polar_plot("rear", [Spun("S1", Reading(1.0, 0), Reading(50.0, 90))], (), {})
    ((middle_x, middle_y, rim),) = circles(drawn, "thin")
    ((x, y, _),) = circles(drawn, "open")
    assert hypot(x - middle_x, y - middle_y) == pytest.approx(rim, abs=0.02)


def test_spins_that_fall_together_keep_names_that_can_be_told_apart() -> None:
    crowd = [spun(f"S{number}", 0.5, 40 + number) for number in range(1, 9)]
    drawn = polar_plot("front", [spun("S0", 30.0, 200), *crowd], (), {"limit": 1.0})
    named = re.findall(r'<text x="([-0-9.]+)" y="([-0-9.]+)"[^>]*>(S\d)</text>', drawn)
    assert {name for _, _, name in named} == {f"S{number}" for number in range(9)}
    places = [(float(x), float(y)) for x, y, _ in named]
    for number, (x, y) in enumerate(places):
        for other_x, other_y in places[:number]:
            assert abs(x - other_x) > 4 or abs(y - other_y) > 3.4


def test_metal_taken_points_out_and_metal_put_on_points_in() -> None:
    drawn = polar_plot("rear", [spun("S1", 9.0, 0)], (Mark("S2", 90, True), Mark("S3", 270, False)), {})
    ((middle_x, _, rim),) = circles(drawn, "thin")
    tips = dict(re.findall(r'<path d="M([-0-9.]+) [^"]*" class="(ink|open)">', drawn))
    tips = {class_: float(x) - middle_x for x, class_ in tips.items()}
    assert tips["ink"] > rim + 3
    assert -rim - 1 < tips["open"] < -rim
