"""Which pistons come to the top together, and which firing orders a layout allows."""

from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.balance.firing import Top, can_fire_evenly, firing, tops
from buildbook.balance.layouts import KNOWN, Layout, known_layout, spelled_layout

UNEVEN = {
    "i2_180",
    "i2_270",
    "i4_cross_plane",
    "v2_45_common_pin",
    "v2_45_split_pin_90",
    "v2_60_common_pin",
    "v2_90_common_pin",
    "v4_90",
    "v6_60_common_pin",
    "v6_90_common_pin",
    "v10_90_common_pin",
}


def test_pistons_that_come_to_the_top_together_are_named_together_from_cylinder_1_on() -> None:
    assert tops(known_layout("i6")) == (Top(0, ("1", "6")), Top(120, ("2", "5")), Top(240, ("3", "4")))
    assert tops(known_layout("flat_4")) == (Top(0, ("1", "2")), Top(180, ("3", "4")))
    assert tops(known_layout("v2_90_common_pin")) == (Top(0, ("1",)), Top(90, ("2",)))
    assert [each.angle for each in tops(known_layout("i5"))] == [0, 72, 144, 216, 288]


@pytest.mark.parametrize("name", KNOWN)
def test_a_known_layout_can_fire_evenly_or_not(name: str) -> None:
    assert can_fire_evenly(known_layout(name)) == (name not in UNEVEN)


def cylinders(order: str) -> list[str]:
    return order.split("-")


@pytest.mark.parametrize(
    ("name", "order", "interval"),
    [
        # the usual orders of the trade on these throws, front to rear
        ("single", "1", 720),
        ("i2_360", "1-2", 360),
        ("i3", "1-3-2", 240),
        ("i4", "1-3-4-2", 180),
        ("i4", "1-2-4-3", 180),
        ("i5", "1-2-4-5-3", 144),
        ("i6", "1-5-3-6-2-4", 120),
        ("v8_90_cross_plane", "1-5-6-3-4-2-7-8", 90),
        ("flat_4", "1-3-2-4", 180),
    ],
)
def test_an_order_that_fires_evenly_does_so_all_through_two_turns(name: str, order: str, interval: int) -> None:
    found = firing(known_layout(name), cylinders(order))
    assert found is not None
    assert found.is_even
    assert found.variant == "as_laid_out"
    assert list(found.angles) == cylinders(order)
    assert list(found.angles.values()) == [pytest.approx(number * interval) for number in range(720 // interval)]
    assert found.intervals == pytest.approx([interval] * (720 // interval))


@pytest.mark.parametrize(
    ("name", "order", "intervals"),
    [
        ("i2_180", "1-2", (180, 540)),
        ("i2_270", "1-2", (270, 450)),
        ("v2_45_common_pin", "1-2", (405, 315)),
        ("v2_90_common_pin", "1-2", (450, 270)),
        ("v4_90", "1-3-4-2", (180, 90, 180, 270)),
        ("i4_cross_plane", "1-3-2-4", (90, 180, 270, 180)),
    ],
)
def test_an_odd_order_says_how_far_on_each_next_one_is(name: str, order: str, intervals: tuple[int, ...]) -> None:
    found = firing(known_layout(name), cylinders(order))
    assert found is not None
    assert not found.is_even
    assert found.intervals == pytest.approx(intervals)


@pytest.mark.parametrize(
    ("name", "order"),
    [
        ("i4", "1-2-3-4"),  # 2 and 3 are at the top together: a whole turn apart, and then 4 with 1
        ("flat_6", "1-6-2-4-3-5"),  # numbered bank by bank
        ("v8_90_flat_plane", "1-2-3-4-5-6-7-8"),
    ],
)
def test_an_order_that_takes_more_than_two_turns_cannot_be(name: str, order: str) -> None:
    assert firing(known_layout(name), cylinders(order)) is None


@pytest.mark.parametrize(
    ("name", "order", "variant"),
    [
        ("v8_90_cross_plane", "1-8-4-3-6-5-7-2", "sides"),  # cylinder 1 in the bank that is left from the driver's seat
        ("v6_90_split_pin_30", "1-6-5-4-3-2", "sides"),
        ("i3", "1-2-3", "mirror"),
        ("i6", "1-4-2-6-3-5", "mirror"),
        ("v6_60_split_pin_60", "1-2-3-4-5-6", "mirror"),
        ("v8_90_cross_plane", "1-3-6-2-4-8-7-5", "mirror_and_sides"),
    ],
)
def test_an_order_of_an_engine_that_is_the_other_way_round_says_which(name: str, order: str, variant: str) -> None:
    found = firing(known_layout(name), cylinders(order))
    assert found is not None
    assert (found.is_even, found.variant) == (True, variant)


def test_the_other_way_round_is_what_the_layout_would_be_if_it_were_spelled_out_so() -> None:
    order = cylinders("1-2-3-4-5-6")
    mirror = spelled_layout(
        {"left": -30, "right": 30},
        {
            "1": (0, {"1": ("left", 30), "2": ("right", 330)}),
            "2": (120, {"3": ("left", 150), "4": ("right", 90)}),
            "3": (240, {"5": ("left", 270), "6": ("right", 210)}),
        },
    )
    found, guessed = firing(mirror, order), firing(known_layout("v6_60_split_pin_60"), order)
    assert found is not None
    assert guessed is not None
    assert found.variant == "as_laid_out"
    assert found.angles == pytest.approx(guessed.angles)


def turned_layout(layout: Layout, turn: float) -> Layout:
    """The same engine counted from another zero."""
    return spelled_layout(
        {bank: angle + turn for bank, angle in layout.banks.items()},
        {
            throw: (
                angle + turn,
                {
                    name: (each.bank, each.pin_angle + turn)
                    for name, each in layout.cylinders.items()
                    if each.throw == throw
                },
            )
            for throw, angle in layout.throws.items()
        },
    )


@given(st.sampled_from(sorted(KNOWN)), st.floats(-360, 360), st.data())
def test_every_cylinder_fires_at_its_top_once_in_two_turns_and_where_angles_count_from_does_not_matter(
    name: str, turn: float, data: st.DataObject
) -> None:
    layout = known_layout(name)
    order = data.draw(st.permutations(list(layout.cylinders)))
    found = firing(layout, order)
    at = {cylinder: top.angle for top in tops(layout) for cylinder in top.cylinders}
    if found is not None:
        assert sum(found.intervals) == pytest.approx(720)
        assert min(found.intervals) > 0
        if found.variant == "as_laid_out":
            for cylinder, angle in found.angles.items():
                ahead = (angle - (at[cylinder] - at[order[0]])) % 360
                assert min(ahead, 360 - ahead) == pytest.approx(0, abs=1e-6)
    turned = turned_layout(layout, turn)
    again = {cylinder: top.angle for top in tops(turned) for cylinder in top.cylinders}
    assert again == pytest.approx(at, abs=1e-6)


@pytest.mark.parametrize("name", [each for each in KNOWN if len(known_layout(each).cylinders) <= 6])
def test_an_even_order_is_possible_where_one_of_all_orders_is_even(name: str) -> None:
    layout = known_layout(name)
    first, *rest = layout.cylinders
    found = (firing(layout, [first, *others]) for others in permutations(rest))
    assert any(each.is_even and each.variant == "as_laid_out" for each in found if each) == can_fire_evenly(layout)
