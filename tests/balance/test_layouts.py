import json
from collections.abc import Mapping
from math import inf, nan
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.balance.layouts import (
    KNOWN,
    LayoutError,
    Pin,
    bobweights_wanted,
    known_layout,
    plan_of,
    spelled_layout,
)

SCHEMA = Path(__file__).parents[2] / "schemas" / "engine.schema.json"

Throws = Mapping[str, tuple[float, Mapping[str, str | tuple[str, float]]]]

CYLINDERS_AND_THROWS = {
    "single": (1, 1),
    "i2_180": (2, 2),
    "i2_270": (2, 2),
    "i2_360": (2, 2),
    "i3": (3, 3),
    "i4": (4, 4),
    "i4_cross_plane": (4, 4),
    "i5": (5, 5),
    "i6": (6, 6),
    "v2_45_common_pin": (2, 1),
    "v2_45_split_pin_90": (2, 1),
    "v2_60_common_pin": (2, 1),
    "v2_90_common_pin": (2, 1),
    "v4_60_split_pin_120": (4, 2),
    "v4_90": (4, 2),
    "v6_60_common_pin": (6, 3),
    "v6_60_split_pin_60": (6, 3),
    "v6_90_common_pin": (6, 3),
    "v6_90_split_pin_30": (6, 3),
    "v8_90_cross_plane": (8, 4),
    "v8_90_flat_plane": (8, 4),
    "v10_72_common_pin": (10, 5),
    "v10_90_common_pin": (10, 5),
    "v10_90_split_pin_18": (10, 5),
    "v12_60": (12, 6),
    "flat_2": (2, 2),
    "flat_4": (4, 4),
    "flat_6": (6, 6),
}
SPUN_WITHOUT = {"i4", "i6", "v8_90_flat_plane", "v12_60", "flat_4", "flat_6"}


def test_cross_plane_v8_expands_to_the_mapping_the_ledger_documents() -> None:
    known = known_layout("v8_90_cross_plane")
    spelled = spelled_layout(
        banks={"left": -45, "right": 45},
        throws={
            "1": (0, {"1": "left", "2": "right"}),
            "2": (90, {"3": "left", "4": "right"}),
            "3": (270, {"5": "left", "6": "right"}),
            "4": (180, {"7": "left", "8": "right"}),
        },
        name="v8_90_cross_plane",
    )
    assert known == spelled
    assert list(known.throws) == ["1", "2", "3", "4"]
    assert list(known.cylinders) == ["1", "2", "3", "4", "5", "6", "7", "8"]


@pytest.mark.parametrize("name", KNOWN)
def test_a_known_layout_has_every_cylinder_once_on_one_pin_of_one_throw(name: str) -> None:
    cylinders, throws = CYLINDERS_AND_THROWS[name]
    layout = known_layout(name)
    numbers = [str(number) for number in range(1, cylinders + 1)]
    assert layout.name == name
    assert list(layout.cylinders) == numbers
    assert len(layout.throws) == throws
    carried = [one for throw in layout.throws for pin in layout.pins(throw) for one in pin.cylinders]
    assert sorted(carried, key=int) == numbers
    for number, cylinder in layout.cylinders.items():
        assert cylinder.name == number
        assert cylinder.bank_angle == layout.banks[cylinder.bank]


def test_a_split_pin_gives_a_throw_two_crankpins() -> None:
    assert known_layout("v6_90_split_pin_30").pins("1") == (Pin(15, ("1",)), Pin(345, ("2",)))
    assert known_layout("v6_90_common_pin").pins("1") == (Pin(0, ("1", "2")),)


@pytest.mark.parametrize(
    ("asked", "banks", "pins"),
    [
        ("v2_52_common_pin", (-26, 26), [Pin(0, ("1", "2"))]),
        ("v2_52_split_pin_76", (-26, 26), [Pin(38, ("1",)), Pin(322, ("2",))]),
        ("v2_180_common_pin", (-90, 90), [Pin(0, ("1", "2"))]),
        ("v4_65_common_pin", (-32.5, 32.5), [Pin(0, ("1", "2")), Pin(180, ("3", "4"))]),
        ("v6_120_common_pin", (-60, 60), [Pin(0, ("1", "2")), Pin(240, ("3", "4")), Pin(120, ("5", "6"))]),
    ],
)
def test_a_v2_a_v4_and_a_v6_are_known_at_any_angle(asked: str, banks: tuple[float, float], pins: list[Pin]) -> None:
    layout = known_layout(asked)
    assert tuple(layout.banks.values()) == banks
    assert [pin for throw in layout.throws for pin in layout.pins(throw)] == pins


def test_a_name_of_any_angle_is_the_known_layout_of_that_angle() -> None:
    for cylinders, angle, known in ((4, 90, "v4_90"), (6, 60, "v6_60_common_pin"), (2, 45, "v2_45_common_pin")):
        by_angle, by_name = known_layout(f"v{cylinders}_{angle}_common_pin"), known_layout(known)
        assert (by_angle.banks, by_angle.throws, by_angle.cylinders) == (
            by_name.banks, by_name.throws, by_name.cylinders,
        )  # fmt: skip


def test_every_known_layout_is_said_in_plain_words_of_its_own() -> None:
    said = [plan_of(name).said for name in KNOWN]
    assert len(set(said)) == len(said)
    assert plan_of("v6_75_split_pin_45").said == "V6 of 75°, the two pins of a throw 45° apart"


def test_the_known_names_are_those_that_the_schema_offers_to_editors() -> None:
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    *names, spelled = schema["properties"]["layout"]["examples"]
    assert names == [*KNOWN]
    assert spelled["throws"]


def test_a_cylinder_may_be_given_its_own_pin_angle() -> None:
    layout = spelled_layout({"left": -45, "right": 45}, {"2": (90, {"3": ("left", 105), "4": "right"})})
    assert layout.name is None
    assert layout.cylinders["3"].pin_angle == 105
    assert layout.cylinders["4"].pin_angle == 90
    assert layout.pins("2") == (Pin(105, ("3",)), Pin(90, ("4",)))


def test_a_full_turn_does_not_split_a_pin() -> None:
    layout = spelled_layout({"left": -45, "right": 45}, {"1": (-90, {"1": "left", "2": ("right", 270)})})
    assert layout.pins("1") == (Pin(270, ("1", "2")),)


def test_cylinders_come_in_the_order_of_their_numbers_then_of_their_names() -> None:
    layout = spelled_layout(
        {"left": -45, "right": 45},
        {
            "1": (0, {"10": "left", "spare": "right"}),
            "2": (90, {"2": "left", "another": "right"}),
        },
    )
    assert list(layout.cylinders) == ["2", "10", "another", "spare"]


@pytest.mark.parametrize(
    ("asked", "offered"),
    [
        ("v8_90_crossplane", "v8_90_cross_plane"),
        ("i_6", "i6"),
        ("v2_common_pin", "v2_90_common_pin"),
        ("V6 90", "v6_90_split_pin_30"),
        ("V-twin", "v2_45_common_pin"),
        ("boxer", "flat_4"),
        ("inline four", "i4"),
    ],
)
def test_a_misspelt_layout_offers_the_nearest(asked: str, offered: str) -> None:
    with pytest.raises(LayoutError) as caught:
        known_layout(asked)
    assert offered in caught.value.nearest
    assert offered in str(caught.value)


@pytest.mark.parametrize(
    "name",
    [
        "",
        "warp drive",
        "v2_0_common_pin",
        "v2_181_common_pin",
        "V2_90_COMMON_PIN ",
        "v3_90_common_pin",
        "v2_90_split_pin_0",
        "v2_90_split_pin_180",
        "v8_60_common_pin",
    ],
)
def test_an_unknown_layout_is_refused(name: str) -> None:
    with pytest.raises(LayoutError):
        known_layout(name)


@given(st.text(max_size=30).filter(lambda name: name not in KNOWN))
def test_any_other_text_is_a_layout_error_that_offers_only_known_names(name: str) -> None:
    with pytest.raises(LayoutError) as caught:
        known_layout(name)
    assert set(caught.value.nearest) <= set(KNOWN)


@pytest.mark.parametrize(
    ("throws", "at", "words"),
    [
        ({"1": (0, {"1": "middle"})}, ("throws", "1", "cylinders", "1"), "bank 'middle'; the banks are left, right"),
        (
            {"1": (0, {"1": "left"}), "2": (180, {"1": "right"})},
            ("throws", "2", "cylinders", "1"),
            "on throw 1 and on throw 2",
        ),
        ({"1": (0, {})}, ("throws", "1", "cylinders"), "carries no cylinder"),
        ({"1": (nan, {"1": "left"})}, ("throws", "1", "angle"), "not a direction"),
        ({"1": (0, {"1": ("left", inf)})}, ("throws", "1", "cylinders", "1"), "not a direction"),
        ({}, ("throws",), "at least one throw"),
    ],
)
def test_a_layout_that_does_not_hold_together_says_where(throws: Throws, at: tuple[str, ...], words: str) -> None:
    with pytest.raises(LayoutError, match=words) as caught:
        spelled_layout({"left": -45, "right": 45}, throws)
    assert caught.value.at == at


def test_a_bank_without_a_direction_is_refused() -> None:
    with pytest.raises(LayoutError) as caught:
        spelled_layout({"left": nan}, {"1": (0, {"1": "left"})})
    assert caught.value.at == ("banks", "left")


@pytest.mark.parametrize("name", KNOWN)
def test_only_crankshafts_whose_pins_answer_one_another_are_spun_without_bobweights(name: str) -> None:
    wanted, why = bobweights_wanted(known_layout(name))
    assert wanted == (name not in SPUN_WITHOUT)
    assert "cancel all round and end to end" in why if not wanted else "bobweight" in why


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("single", "pull to one side"),
        ("i2_360", "pull to one side"),
        ("v8_90_cross_plane", "rock the crankshaft"),
        ("i3", "rock the crankshaft"),
    ],
)
def test_why_bobweights_are_wanted_is_said(name: str, words: str) -> None:
    assert words in bobweights_wanted(known_layout(name))[1]


@pytest.mark.parametrize(
    "middle",
    [
        pytest.param({"3": "left"}, id="one rod where others carry two"),
        pytest.param({"3": "left", "4": ("right", 210)}, id="a split pin where others are common"),
        pytest.param({"3": "left", "4": "right", "9": "left"}, id="three rods"),
    ],
)
def test_unequal_loads_want_bobweights_even_on_throws_that_answer_one_another(
    middle: Mapping[str, str | tuple[str, float]],
) -> None:
    others: Throws = {
        "1": (0, {"1": "left", "2": "right"}),
        "3": (180, {"5": "left", "6": "right"}),
        "4": (0, {"7": "left", "8": "right"}),
    }
    throws = {"1": others["1"], "2": (180, middle), "3": others["3"], "4": others["4"]}
    wanted, why = bobweights_wanted(spelled_layout({"left": -45, "right": 45}, throws))
    assert wanted
    assert "same number of rods" in why


def test_split_pins_of_two_rods_and_one_want_bobweights() -> None:
    # equal weights on these four pins would cancel; two rods against one on each throw rock the crankshaft
    throws: Throws = {
        "1": (0, {"1": "up", "2": "up", "3": ("up", 180)}),
        "2": (180, {"4": "up", "5": "up", "6": ("up", 0)}),
    }
    assert bobweights_wanted(spelled_layout({"up": 0}, throws))[0]


def test_throws_of_two_pins_among_throws_of_one_want_bobweights() -> None:
    # one rod on every pin, and equal pins would cancel; but a split pin shares its throw's oil
    split: Throws = {
        "1": (180, {"1": "up", "2": ("up", 0)}),
        "2": (0, {"3": "up", "4": ("up", 180)}),
    }
    single: Throws = {
        str(n): (angle, {str(n + 2): "up"}) for n, angle in zip(range(3, 7), (0, 180, 180, 0), strict=True)
    }
    assert bobweights_wanted(spelled_layout({"up": 0}, {**split, **single}))[0]
    assert not bobweights_wanted(spelled_layout({"up": 0}, split))[0]
    assert not bobweights_wanted(spelled_layout({"up": 0}, single))[0]


def test_split_pins_that_rock_within_their_throws_want_bobweights() -> None:
    # each throw has two pins half a turn apart: taken throw by throw they cancel, pin by pin they rock
    throws: Throws = {"1": (0, {"1": "up", "2": ("up", 180)}), "2": (0, {"3": "up", "4": ("up", 180)})}
    wanted, why = bobweights_wanted(spelled_layout({"up": 0}, throws))
    assert wanted
    assert "rock" in why


@given(st.sampled_from(sorted(KNOWN)), st.floats(-360, 360))
def test_where_angles_count_from_does_not_matter(name: str, turn: float) -> None:
    layout = known_layout(name)
    turned = spelled_layout(
        layout.banks,
        {
            throw: (
                angle + turn,
                {
                    cylinder.name: (cylinder.bank, cylinder.pin_angle + turn)
                    for cylinder in layout.cylinders.values()
                    if cylinder.throw == throw
                },
            )
            for throw, angle in layout.throws.items()
        },
    )
    assert bobweights_wanted(turned) == bobweights_wanted(layout)
