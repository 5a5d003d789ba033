"""Which shells for which journals, through the files: target, limits, what is in, what is on offer."""

from fractions import Fraction

import pytest
from conftest import Book

from buildbook.figures.shells import NoShells, ShellFigures, Wanted, shell_figures, usual_sizes
from figures.bearings import JOURNALS, ROD_BORES, ROD_JOURNAL, SHEET, SIZES, mains
from figures.measurements import GAUGES, PAIRED, write


def chosen(book: Book, which: str = "main", wanted: Wanted | None = None) -> ShellFigures:
    return shell_figures(book.figures(), which, wanted or Wanted())


def mm(*texts: str) -> tuple[Fraction, ...]:
    return tuple(map(Fraction, texts))


def test_three_mains_worked_by_hand(book: Book) -> None:
    # With 0.000 and 0.025 to be had: main 1 stays at 0.052 with standard, 2 takes 0.025 or one of each, 3 takes 0.025.
    # c + f − (a + b)/2: 0.063 − 0.0125 = 0.0505; 0.071 − 0.025 = 0.046.
    found = chosen(mains(book), wanted=Wanted(sizes=mm("0", "0.025")))
    assert (found.target, found.target_from) == (Fraction("0.05"), "the middle of the limits")
    best = found.recommended
    assert best.sizes == mm("0", "0.025")
    by_journal = {each.journal: (each.now, each.halves, each.then, each.from_target) for each in found.journals(best)}
    assert by_journal == {
        "1": (Fraction("0.052"), mm("0", "0"), Fraction("0.052"), Fraction("0.002")),
        "2": (Fraction("0.063"), mm("0", "0.025"), Fraction("0.0505"), Fraction("0.0005")),
        "3": (Fraction("0.071"), mm("0.025", "0.025"), Fraction("0.046"), Fraction("-0.004")),
    }
    assert best.to_order == {Fraction(0): 3, Fraction("0.025"): 3}


def test_each_journal_is_so_much_smaller_than_the_engines_standard(book: Book) -> None:
    assert chosen(mains(book)).undersize == {"1": Fraction("0.002"), "2": Fraction("0.001"), "3": Fraction("0.004")}
    assert chosen(mains(book, sizes=SIZES.replace("main_journal: 50.00, ", ""))).undersize == {}


def test_rods_are_known_by_their_ids_and_measured_by_their_throw(book: Book) -> None:
    write(book, ROD_JOURNAL, ROD_BORES, sizes=SIZES, paired=PAIRED, limits="rod_clearance: {max: 0.06}")
    found = chosen(book, "rod", Wanted(target=Fraction("0.04")))
    assert {fit.place: fit.value for fit in found.clearances} == {"R1": Fraction("0.050"), "R2": Fraction("0.054")}
    assert found.undersize == {"R1": Fraction("0.01"), "R2": Fraction("0.01")}


def test_the_wanted_target_goes_before_the_limits(book: Book) -> None:
    found = chosen(mains(book), wanted=Wanted(target=Fraction("0.055")))
    assert (found.target, found.target_from) == (Fraction("0.055"), "as asked")
    assert (found.bounds.least, found.bounds.most) == (Fraction("0.04"), Fraction("0.06"))


def test_where_limits_differ_by_journal_the_narrowest_count(book: Book) -> None:
    # 0.001 of the journal: 0.049998, 0.049999, 0.049996 as the least, and 0.0012 of it as the most
    limits = "main_clearance: {min: {per_mm: 0.0010}, max: {per_mm: 0.0012}}"
    bounds = chosen(mains(book, limits=limits)).bounds
    assert (bounds.least, bounds.most) == (Fraction("0.049999"), Fraction("0.0599952"))


def test_limits_that_contradict_each_other_are_said(book: Book) -> None:
    write(
        book,
        "what: cam_journal, readings: {1: 30.000, 2: 60.000}",
        "what: cam_bore, readings: {1: 30.040, 2: 60.070}",
        limits="cam_clearance: {min: {per_mm: 0.0010}, max: {per_mm: 0.0015}}",
    )
    with pytest.raises(NoShells, match="differ too much in diameter") as refused:
        chosen(book, "cam", Wanted(target=Fraction("0.05")))
    assert "set one limit" in refused.value.remedy


FITTED = {
    "nothing is said": ("", "0", "parts.yaml states no undersize"),
    "one line": ("  - {kind: main_bearing, count: 3, undersize: 0.25 mm}\n", "0.25", "parts.yaml"),
    "all agree": (
        "  - {kind: main_bearing, count: 2, undersize: 0.25 mm}\n"
        "  - {kind: main_bearing, count: 1, undersize: 0.250 mm}\n",
        "0.25",
        "parts.yaml",
    ),
    "one is standard": (
        "  - {kind: main_bearing, count: 2, undersize: 0.25 mm}\n  - {kind: main_bearing, count: 1}\n",
        "0",
        "more than one undersize",
    ),
    "a spare": (
        "  - {kind: main_bearing, count: 3, undersize: 0.25 mm}\n"
        "  - {kind: main_bearing, count: 3, undersize: 0.5 mm, state: spare}\n",
        "0.25",
        "parts.yaml",
    ),
    "those of the rods": ("  - {kind: rod_bearing, count: 4, undersize: 0.25 mm}\n", "0", "states no undersize"),
}


@pytest.mark.parametrize("case", FITTED.values(), ids=FITTED)
def test_what_is_in_now_is_what_the_parts_list_says(book: Book, case: tuple[str, str, str]) -> None:
    parts, undersize, said = case
    found = chosen(mains(book, parts=parts))
    assert found.fitted == Fraction(undersize)
    assert said in found.fitted_from
    asked = chosen(book, wanted=Wanted(fitted=Fraction("0.5")))
    assert (asked.fitted, asked.fitted_from) == (Fraction("0.5"), "as asked")


def test_sizes_count_from_what_is_in_now(book: Book) -> None:
    # 0.25 under are in: sizes are absolute, so 0.26 closes by 0.01 and 0.25 changes nothing
    found = chosen(mains(book), wanted=Wanted(fitted=Fraction("0.25"), sizes=mm("0.26")))
    assert found.recommended.clearances["1"] == Fraction("0.042")


def test_a_shops_usual_steps_go_by_its_unit_of_length(book: Book) -> None:
    hundredths = mm("0.23", "0.24", "0.25", "0.26", "0.27")
    assert usual_sizes(Fraction("0.25"), "mm") == hundredths
    half_thousandths = mm("-0.0254", "-0.0127", "0", "0.0127", "0.0254")
    assert usual_sizes(Fraction(0), "in") == usual_sizes(Fraction(0), "thou") == half_thousandths
    found = chosen(mains(book), wanted=Wanted(fitted=Fraction("0.25")))
    assert (found.sizes, found.usual_steps) == (hundredths, True)
    book.write("shop.yaml", GAUGES + "preferred_units: {length: in}\n")
    assert chosen(book).sizes == half_thousandths
    assert not chosen(book, wanted=Wanted(sizes=mm("0"))).usual_steps


def test_a_journal_without_a_clearance_is_named_and_the_rest_chosen_for(book: Book) -> None:
    write(book, JOURNALS, "what: main_bore, readings: {1: 50.050, 3: 50.067}", limits=SHEET, sizes=SIZES)
    found = chosen(book)
    assert [(each.place, each.lacking) for each in found.missing] == [("2", "main bore")]
    assert set(found.recommended.clearances) == {"1", "3"}


def test_shells_that_change_nothing_leave_the_verdict_of_the_fits(book: Book) -> None:
    # U is 0.003: 0.052 and 0.070 are farther than that from a limit, and 0.059 is not
    write(
        book,
        "what: main_journal, readings: {1: 50.000, 2: 50.000, 3: 50.000}",
        "what: main_bore, readings: {1: 50.052, 2: 50.059, 3: 50.070}",
        limits=SHEET,
    )
    found = chosen(book, wanted=Wanted(sizes=mm("0")))
    said = {each.journal: each.verdict for each in found.journals(found.recommended)}
    assert said == {fit.place: fit.verdict for fit in found.clearances}
    assert said == {"1": "within", "2": "cannot tell", "3": "over"}
    assert found.known_within == pytest.approx(2 * max(fit.uncertainty for fit in found.clearances))


def test_without_a_target_or_a_clearance_it_is_said_what_to_do(book: Book) -> None:
    with pytest.raises(NoShells, match="no main bearing clearance to aim at") as aimless:
        chosen(mains(book, limits="main_clearance: {max: 0.060}"))
    assert "--target" in aimless.value.remedy
    write(book, JOURNALS, limits=SHEET, sizes=SIZES)
    with pytest.raises(NoShells, match="no main bearing clearance is known; missing: main bore") as lacking:
        chosen(book)
    assert "buildbook measure main_bore" in lacking.value.remedy
    with pytest.raises(NoShells, match="no cam bearing clearance is known"):
        chosen(book, "cam")
