"""Where the throws are along the crankshaft."""

import pytest
from conftest import Book

from buildbook.figures.cylinders import layout_of_engine
from buildbook.figures.throws import assumed_of_banks, positions_of
from buildbook.records.model import Engine

NOT_IN_TURN = (
    "{banks: {left: -90, right: 90}, throws: {1: {angle: 0, cylinders: {1: left}}, 2: {angle: 180, cylinders: "
    "{2: left}}, 3: {angle: 0, cylinders: {3: right}}, 4: {angle: 180, cylinders: {4: right}}}}"
)


def engine_of(book: Book, layout: str, said: str) -> Engine:
    units = "units: {length: mm, angle: deg}"
    book.write("engines/twin/engine.yaml", f"format: 1\nengine: twin\n{units}\nlayout: {layout}\n{said}\n")
    return book.figures().build.engine


@pytest.mark.parametrize(
    ("layout", "said", "places"),
    [
        ("i3", "bore_spacing: 100", [0, 100, 200]),
        ("v8_90_cross_plane", "bore_spacing: 110", [0, 110, 220, 330]),
        ("v8_90_cross_plane", "bore_spacing: 110\nbank_offset: 24", [0, 110, 220, 330]),  # a throw is between its rods
        ("flat_4", "bore_spacing: 120", [0, 60, 120, 180]),  # between two throws of one bank is one of the other
        ("flat_4", "bore_spacing: 120\nbank_offset: 40", [0, 40, 120, 160]),
        (NOT_IN_TURN, "bore_spacing: 120", [0, 60, 120, 180]),
        ("single", "bore: 80", [0]),
        ("i3", "bore: 80", None),
        ("flat_2", "bank_offset: 40", [0, 40]),  # one cylinder a bank: there is no bore spacing to give
        ("flat_2", "bore: 80", None),
    ],
)
def test_throws_stand_where_their_bores_are(book: Book, layout: str, said: str, places: list[float] | None) -> None:
    engine = engine_of(book, layout, said)
    found = positions_of(engine, layout_of_engine(engine))
    assert (list(found.values()) if found else None) == places


@pytest.mark.parametrize(
    ("layout", "said", "assumed"),
    [
        ("v6_60_common_pin", "bore_spacing: 110", "rods that share a throw are taken as in one plane"),
        ("flat_4", "bore_spacing: 120", "throws are taken as evenly spaced"),
        ("flat_4", "bore_spacing: 120\nbank_offset: 40", None),
        ("v2_90_common_pin", "bank_offset: 0", None),  # a forked rod with the other one in it
        ("i3", "bore_spacing: 100", None),
    ],
)
def test_what_is_taken_for_granted_of_the_banks_is_said(
    book: Book, layout: str, said: str, assumed: str | None
) -> None:
    engine = engine_of(book, layout, said)
    found = assumed_of_banks(engine, layout_of_engine(engine))
    assert found == (assumed and f"engine.yaml gives no bank_offset: {assumed}")
