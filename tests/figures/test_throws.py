"""Where the throws are along the crankshaft."""

import pytest
from conftest import Book

from buildbook.figures.cylinders import layout_of_engine
from buildbook.figures.throws import positions_of

NOT_IN_TURN = (
    "{banks: {left: -90, right: 90}, throws: {1: {angle: 0, cylinders: {1: left}}, 2: {angle: 180, cylinders: "
    "{2: left}}, 3: {angle: 0, cylinders: {3: right}}, 4: {angle: 180, cylinders: {4: right}}}}"
)


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
    ],
)
def test_throws_stand_where_their_bores_are(book: Book, layout: str, said: str, places: list[float] | None) -> None:
    units = "units: {length: mm, angle: deg}"
    book.write("engines/twin/engine.yaml", f"format: 1\nengine: twin\n{units}\nlayout: {layout}\n{said}\n")
    engine = book.figures().build.engine
    found = positions_of(engine, layout_of_engine(engine))
    assert (list(found.values()) if found else None) == places
