"""The whole book at once: looking up by words and figures."""

from pathlib import Path

import pytest
from conftest import Book
from figures.ledger import ALL_WEIGHED, PARTS, weighings
from figures.measurements import GAUGES, clearances
from hypothesis import given
from hypothesis import strategies as st

from buildbook.book.library import Library, Said, matches
from buildbook.book.places import Misuse
from buildbook.figures.query import read_condition

OWNED = """\
format: 1
engine: twin
owner: {ref: C-118, name: Harbour  Ferry co-op}
description: Air-cooled twin
family: gulls
serials: {block: 20931}
layout: v2_90_common_pin
"""


def said(*texts: str) -> list[Said]:
    return [Said(f"field{number}", text, False) for number, text in enumerate(texts)]


@pytest.mark.parametrize(
    ("word", "text", "met"),
    [
        ("ferry", "Harbour Ferry", "Ferry"),
        ("FERRY", "the ferry's", "ferry"),
        ("harbour ferry", "Harbour \n Ferry", "Harbour \n Ferry"),
        ("strasse", "Hauptstraße 3", "straße"),  # one letter folds into two
        ("R1", "rods R10 and R1", "R1"),
        ("R1", "R10", None),  # one or two characters are a whole word
        ("x", "x-ray", "x"),
        ("18 g", "of 18 g", "18 g"),
        ("1524", "NF-1524", "1524"),
        (".*", "anything", None),  # letters, not a pattern
        ("[bold]", "[bold]Merrow[/bold]", "[bold]"),
        ("ferry", "", None),
    ],
)
def test_a_word_is_met_whatever_the_letters_and_the_spaces(word: str, text: str, met: str | None) -> None:
    found = matches(word, said(text))
    assert [each.text[each.start : each.end] for each in found] == ([met] if met is not None else [])


@given(before=st.text(), word=st.text(min_size=3).filter(str.strip), after=st.text())
def test_a_word_of_three_letters_is_met_wherever_it_stands(before: str, word: str, after: str) -> None:
    folded = " ".join(word.casefold().split())
    if len(folded) < 3:
        return
    found = matches(word, said(f"{before}{word}{after}"))
    if word == word.strip():
        (match,) = found
        assert " ".join(match.text[match.start : match.end].casefold().split()).find(folded) >= 0


@pytest.mark.parametrize(
    ("word", "days"),
    [
        ("2026", ["2026-10-03", "2026-11-01"]),
        ("2026-10", ["2026-10-03"]),
        ("2026-10-03", ["2026-10-03"]),
        ("2026-10-03T09", ["2026-10-03T09"]),
        ("2026-1", []),  # no month
        ("10-03", []),
    ],
)
def test_a_date_is_met_by_its_year_month_or_day_and_one_day_counts_once(word: str, days: list[str]) -> None:
    taken = ["2026-10-03T09:10+01:00", "2026-10-03T11:00+01:00", "2026-11-01"]
    found = matches(word, [Said(f"weighings.W{number}.taken", text, True) for number, text in enumerate(taken)])
    assert [each.text for each in found] == days
    if word == "2026-10":
        assert [(each.field, each.times) for each in found] == [("weighings.taken", 2)]


def fields(book: Book, *words: str) -> dict[str | None, list[str]]:
    """Build (None for the engine) → the fields by which it was found."""
    search = Library(book.root).find(words, [])
    assert search.findings == ()
    return {each.build: [match.field for match in each.texts] for each in search.found}


@pytest.fixture
def owned(book: Book) -> Book:
    book.write("engines/twin/engine.yaml", OWNED)
    book.write("parts.yaml", PARTS.replace("[R1, R2]", "[R1, R2], maker: Northlight, number: 1524, note: shot-peened"))
    book.write(
        "weighings.yaml", weighings(*ALL_WEIGHED, "id: W9, what: piston, void: 'the pan''s lid', readings: {P1: 9.0}")
    )
    return book


@pytest.mark.parametrize(
    ("word", "where"),
    [
        ("c-118", {None: ["owner.ref"]}),
        ("harbour ferry", {None: ["owner.name"]}),
        ("20931", {None: ["serials.block"]}),
        ("gulls", {None: ["family"]}),
        ("northlight", {"twin/first": ["parts.rod.maker"]}),
        ("1524", {"twin/first": ["parts.rod.number"]}),
        ("shot", {"twin/first": ["parts.rod.note"]}),
        ("P2", {"twin/first": ["parts.piston.ids"]}),
        ("pan's", {"twin/first": ["weighings.W9.void"]}),
        ("2026-10-01", {"twin/first": ["opened"]}),
        ("scale", {"twin/first": ["weighings.with"]}),
        ("ava", {"twin/first": ["weighings.by"]}),
        ("421.4", {}),  # what was read is asked for by figures
        ("mass", {}),
    ],
)
@pytest.mark.parametrize("known", [False, True], ids=["fresh", "passed before"])
def test_each_field_is_found_by_what_it_says(
    owned: Book, word: str, where: dict[str | None, list[str]], known: bool
) -> None:
    """A file that passed before is parsed only where it may say the word: that must find the same."""
    if known:
        owned.findings()
    assert fields(owned, word) == where


def test_all_words_must_hold_and_what_the_engine_says_holds_for_its_builds(owned: Book) -> None:
    assert fields(owned, "ferry", "northlight") == {"twin/first": ["owner.name", "parts.rod.maker"]}
    assert fields(owned, "ferry", "c-118") == {None: ["owner.name", "owner.ref"]}
    assert fields(owned, "ferry", "nobody") == {}


def test_an_escape_in_a_file_that_passed_before_is_still_read(owned: Book) -> None:
    owned.write("build.yaml", 'format: 1\nengine: twin\nbuild: first\npurpose: "caf\\u00e9 racer"\n')
    owned.findings()
    assert fields(owned, "café") == {"twin/first": ["purpose"]}


def test_a_condition_is_told_with_its_figure_and_words_count_too(owned: Book) -> None:
    library = Library(owned.root)
    search = library.find(["ferry"], [read_condition("piston > 481", {})])
    ((found),) = search.found
    assert found.build == "twin/first"
    assert [each.named.name for each in found.figures] == ["piston.P2"]
    assert search.names == {"piston.P1", "piston.P2"}
    assert library.find(["nobody"], [read_condition("piston > 481", {})]).found == ()
    assert library.find([], [read_condition("piston > 481", {}), read_condition("piston > 999", {})]).found == ()


def test_what_cannot_be_read_is_said_and_the_rest_is_searched(owned: Book) -> None:
    owned.write("spins.yaml", "format: 1\nsteps: {\n")
    search = Library(owned.root).find(["northlight"], [])
    assert [each.build for each in search.found] == ["twin/first"]
    assert any(finding.where.file.endswith("spins.yaml") for finding in search.findings)
    with_figures = Library(owned.root).find([], [read_condition("piston > 481", {})])
    assert with_figures.found == ()
    assert any(finding.where.file.endswith("spins.yaml") for finding in with_figures.findings)


@pytest.mark.parametrize("asked", ["rod_side > 0", "main_journal < 3", "main_journal.1 > 0"])
def test_sizes_and_fits_that_cannot_be_trusted_satisfy_nothing_and_weights_still_do(owned: Book, asked: str) -> None:
    engine = OWNED + "units: {length: mm}\nmain_bearings: 2\nmain_journal: 62.2\n"
    owned.write("engines/twin/engine.yaml", engine)
    inches = "what: main_journal, readings: {1: 2.448}"
    owned.write("shop.yaml", GAUGES)
    owned.write("clearances.yaml", clearances(inches, "what: rod_side, with: feeler, readings: {R1: 0.30}"))
    library = Library(owned.root)
    fits = library.find([], [read_condition(asked, {})])
    assert fits.found == ()
    assert [finding.rule for finding in fits.findings] == ["unit-slip"]
    weights = library.find([], [read_condition("piston > 481", {})])
    assert [each.build for each in weights.found] == ["twin/first"]
    assert weights.findings == ()


def test_what_makes_the_figures_of_a_hit_doubtful_is_said_with_it(owned: Book) -> None:
    owned.write("weighings.yaml", weighings(*ALL_WEIGHED, "id: W9, by: nobody_here, what: rod, readings: {R1: 600.0}"))
    library = Library(owned.root)
    assert [each.rule for each in library.find([], [read_condition("rod > 1", {})]).findings] == ["unknown-by"]
    assert library.find([], [read_condition("rod > 999", {})]).findings == ()


def test_two_hundred_builds_are_found_in_by_one_serial(tmp_path: Path) -> None:
    book = Book(tmp_path / "many")
    for number in range(1, 200):
        name = f"e-{number}"
        book.write(f"engines/{name}/engine.yaml", OWNED.replace("twin", name).replace("20931", f"{20000 + number}"))
        book.write(f"engines/{name}/first/build.yaml", f"format: 1\nengine: {name}\nbuild: first\nopened: 2026-10-01\n")
        book.write(f"engines/{name}/first/weighings.yaml", weighings(*ALL_WEIGHED))
    for _ in range(2):  # and again, when all files passed before
        search = Library(book.root).find(["20117"], [])
        assert (search.builds, [(each.engine, each.build) for each in search.found]) == (200, [("e-117", None)])


def test_an_engine_means_its_builds_in_the_order_they_were_opened(owned: Book) -> None:
    owned.write("engines/twin/a-later/build.yaml", "format: 1\nengine: twin\nbuild: a-later\nopened: 2027-01-01\n")
    library = Library(owned.root)
    both = ("twin", ["twin/first", "twin/a-later"], True)
    assert library.meant("twin", owned.root) == both
    assert library.meant("twin/", owned.root) == both
    assert library.meant(None, owned.root) == both  # the only engine there is
    assert library.meant(None, owned.folder.parent) == both
    assert library.meant(None, owned.folder) == ("twin", ["twin/first"], False)
    assert library.meant("twin/first", owned.root) == ("twin", ["twin/first"], False)
    with pytest.raises(Misuse, match="did you mean twin"):
        library.meant("twinn", owned.root)


def test_a_family_has_its_engines(owned: Book) -> None:
    owned.write("engines/other/engine.yaml", OWNED.replace("twin", "other").replace("gulls", "terns"))
    assert Library(owned.root).family("gulls") == (["twin"], ["gulls", "terns"])
    assert Library(owned.root).family("none") == ([], ["gulls", "terns"])
