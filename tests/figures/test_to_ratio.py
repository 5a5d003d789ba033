"""Every way to a wanted compression ratio, proven by going that way in the files."""

import pytest
from conftest import Book

from buildbook.figures.to_ratio import ToRatio, to_ratio
from figures.ledger import PARTS
from figures.measurements import PAIRED, write

DECKS = {"1": 0.30, "2": 0.35}
CHAMBERS = {"1": 50.0, "2": 51.0}


def written(
    book: Book,
    decks: dict[str, float] = DECKS,
    chambers: dict[str, float] = CHAMBERS,
    gasket: float = 1.0,
    limits: str = "",
) -> Book:
    """A twin of 90 × 80 mm, each of its cylinders with a deck height and a chamber of its own."""
    pistons = PARTS.replace("ids: [P1, P2]", "ids: [P1, P2], stated: {dish: 5.0 cc}")
    gaskets = f"  - {{kind: head_gasket, ids: [HG1, HG2], stated: {{thickness: {gasket:.9f} mm, diameter: 91.0 mm}}}}\n"
    write(
        book,
        f"with: feeler, what: deck_height, readings: {_readings(decks)}",
        f"with: burette, what: chamber_volume, readings: {_readings(chambers)}",
        sizes="bore: 90, stroke: 80, rod_length: 140",
        limits=limits,
        parts=pistons + gaskets,
        paired=PAIRED,
    )
    return book


def _readings(values: dict[str, float]) -> str:
    return "{" + ", ".join(f"{name}: {value:.9f}" for name, value in values.items()) + "}"


@pytest.fixture
def twin(book: Book) -> Book:
    return written(book)


def ratios(book: Book) -> dict[str, float]:
    cylinders = book.figures().compression.cylinders
    return {name: each.ratio.value for name, each in cylinders.items() if each.ratio is not None}


def quenches(book: Book) -> dict[str, float]:
    cylinders = book.figures().compression.cylinders
    return {name: each.quench.value for name, each in cylinders.items() if each.quench is not None}


def ways(book: Book, wanted: float | None) -> ToRatio:
    found = to_ratio(book.figures(), wanted)
    assert found is not None
    return found


# Nine digits are written into the files, far more than anyone reads, so that the ratio comes back to seven.
@pytest.mark.parametrize("wanted", [8.4, 9.5, 11.0])
@pytest.mark.parametrize("cylinder", ["1", "2"])
def test_a_gasket_of_the_thickness_that_is_named_makes_the_ratio(twin: Book, wanted: float, cylinder: str) -> None:
    gasket = ways(twin, wanted).cylinders[cylinder].gasket
    assert gasket.becomes is not None
    assert gasket.quench is not None
    written(twin, gasket=gasket.becomes)
    assert ratios(twin)[cylinder] == pytest.approx(wanted, rel=1e-7)
    assert quenches(twin)[cylinder] == pytest.approx(gasket.quench.value)


@pytest.mark.parametrize("cylinder", ["1", "2"])
def test_a_block_cut_by_as_much_makes_the_ratio(twin: Book, cylinder: str) -> None:
    cut = ways(twin, 10.0).cylinders[cylinder].cut
    assert cut.change > 0
    assert cut.quench is not None
    written(twin, decks={name: deck - cut.change for name, deck in DECKS.items()})
    assert ratios(twin)[cylinder] == pytest.approx(10.0, rel=1e-7)
    assert quenches(twin)[cylinder] == pytest.approx(cut.quench.value)


@pytest.mark.parametrize("cylinder", ["1", "2"])
def test_a_chamber_of_the_volume_that_is_named_makes_the_ratio(twin: Book, cylinder: str) -> None:
    chamber = ways(twin, 10.0).cylinders[cylinder].chamber
    assert chamber.becomes is not None
    written(twin, chambers=CHAMBERS | {cylinder: chamber.becomes})
    assert ratios(twin)[cylinder] == pytest.approx(10.0, rel=1e-7)
    assert chamber.quench is None


def test_what_cannot_be_had_is_marked(twin: Book) -> None:
    higher, lower = ways(twin, 16.0).cylinders["1"], ways(twin, 6.0).cylinders["1"]
    # about 26 cc less: a gasket of 1 mm holds 6.5, and a cut by 4 mm sends the piston through the head
    assert (higher.gasket.possible, higher.cut.possible, higher.chamber.possible) == (False, False, True)
    # metal does not go back onto the block
    assert (lower.gasket.possible, lower.cut.possible, lower.chamber.possible) == (True, False, True)


def test_the_quench_that_is_left_is_held_to_its_limits(twin: Book) -> None:
    written(twin, limits="quench: {min: 0.9, max: 1.6}")
    verdicts = {
        wanted: [ways(twin, wanted).cylinders["1"].gasket.verdict, ways(twin, wanted).cylinders["1"].cut.verdict]
        for wanted in (7.9, 9.0, 9.6)
    }
    assert verdicts == {7.9: ["over", "over"], 9.0: ["within", "within"], 9.6: ["under", "under"]}


def test_unasked_the_middle_of_the_limits_is_shown_only_where_a_cylinder_is_outside(twin: Book) -> None:
    assert to_ratio(twin.figures(), None) is None
    least, most = (pick(ratios(twin).values()) for pick in (min, max))
    written(twin, limits=f"compression_ratio: {{min: {least - 0.1:.3f}, max: {most + 0.1:.3f}}}")
    assert to_ratio(twin.figures(), None) is None
    written(twin, limits=f"compression_ratio: {{min: {least - 1.1:.3f}, max: {most - 0.01:.3f}}}")
    found = ways(twin, None)
    assert found.wanted == pytest.approx((least - 1.1 + most - 0.01) / 2, abs=0.001)
    assert found.wanted_from == "the middle of the limits"
    assert set(found.cylinders) == {"1", "2"}
    assert ways(twin, 9.0).wanted == 9.0
    written(twin, limits=f"compression_ratio: {{max: {most - 0.01:.3f}}}")
    assert to_ratio(twin.figures(), None) is None  # one limit has no middle


def test_a_cylinder_whose_ratio_is_not_known_is_left_out(twin: Book) -> None:
    written(twin, chambers={"1": 50.0})
    assert set(ways(twin, 9.5).cylinders) == {"1"}
