"""The build sheet: what stands on it, for whom, and what never does."""

import re
from pathlib import Path

import pytest
from conftest import BUILD, Book
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings
from figures.turning import on_the_machine, spin

from buildbook.pages.fitting import SAID
from buildbook.pages.html import text
from buildbook.quantities import fixed
from pages.printshop import PAGES, READERS, Seen, figures_of, page_of, printed

DONE, BEGUN = "heron-07/2025-06-first", "heron-07/2026-10-rebuild"


@pytest.mark.parametrize(("build", "reader"), PAGES)
def test_no_request_leaves_the_page_and_nothing_in_it_runs(build: str, reader: str) -> None:
    page = printed(build, reader)
    seen = Seen(page)
    assert not seen.open
    assert not {"script", "link", "img", "iframe", "object", "embed", "a", "form", "base", "use", "image"} & {
        name for name, _ in seen.elements
    }
    for _, attributes in seen.elements:
        assert not {"src", "href", "xlink:href", "srcset", "action", "data", "background"} & set(attributes)
        assert not [name for name in attributes if name.startswith("on")]
    assert not re.search(r"url\(|@import|@font-face|https?:|//\w", page)


@pytest.mark.parametrize(("build", "reader"), PAGES)
def test_every_drawing_says_in_words_what_it_shows(build: str, reader: str) -> None:
    page = printed(build, reader)
    drawings = re.findall(r"<svg[^>]*>", page)
    assert len(
        re.findall(r"<svg[^>]* role=\"img\"[^>]*><title>[^<]+</title><desc>[^<]+</desc>|<svg[^>]*><title>", page)
    ) == len(drawings)
    assert all('role="img"' in each and "aria-label=" in each for each in drawings)


def test_no_line_of_a_drawing_is_styled_by_what_the_page_is_for() -> None:
    """Else a style of the drawing's lines would reach all of the page, as one did the letters on the wall."""
    kinds = "|".join(READERS)
    assert re.search(rf'<body class="({kinds})"', printed(DONE, "wall"))
    for reader in READERS:
        assert not re.search(rf'<(?!body)\w+[^>]* class="(?:[^"]* )?({kinds})["\s]', printed(DONE, reader))


def test_nothing_is_printed_smaller_than_ten_points() -> None:
    css = (Path(__file__).parent.parent.parent / "buildbook" / "pages" / "print.css").read_text(encoding="utf-8")
    sizes = [float(each) for each in re.findall(r"(?:font-size: |font: |, )([0-9.]+)pt", css)]
    assert len(sizes) > 8
    assert min(sizes) >= 10


@pytest.mark.parametrize("build", sorted({build for build, _ in PAGES}))
def test_ids_on_the_wall_are_large_enough_to_be_read_from_two_metres(build: str) -> None:
    (size,) = re.findall(r"--id: (\d+)pt", printed(build, "wall"))
    assert int(size) >= 24


@pytest.mark.parametrize("reader", READERS)
def test_every_piece_of_the_pairing_stands_on_every_page(reader: str) -> None:
    pairing = figures_of(DONE).pairing
    assert pairing is not None
    page = printed(DONE, reader)
    for cylinder in pairing.cylinders.values():
        for piece in cylinder.pieces.values():
            assert f"<bdi>{piece}</bdi>" in page


def test_the_map_stands_as_the_engine_does_with_its_front_nearest() -> None:
    numbers = re.findall(r"<strong><bdi>(\d)</bdi></strong>", printed(DONE, "wall"))
    assert numbers == ["7", "5", "3", "1", "8", "6", "4", "2"]  # the left bank from the rear, then the right one


def test_the_customer_reads_the_figures_that_are_worked_out() -> None:
    figures, seen = figures_of(DONE), Seen(printed(DONE, "customer"))
    aim, pairing = figures.bobweights.target, figures.pairing
    assert aim is not None
    assert pairing is not None
    assert pairing.spread is not None
    assert f"Target {fixed(aim.total, 1)} g" in seen.text
    assert f"heaviest less lightest {fixed(pairing.spread, 2)} g; the limit is 1.00 g" in seen.text
    assert "front 23.7 g at 206° → 0.5 g at 213°; rear 67.7 g at 48° → 0.3 g at 80°" in seen.text
    assert "167 within their limits, 22 without a limit" in seen.text
    for fit in figures.fits.of("compression_ratio"):
        assert fixed(fit.value, 2) in seen.text
    for said in ("Harbour ferry co-op", "7F-20931", "Ava Merrow", "2025-06-17 15:05", "5756 cc"):
        assert said in seen.text


def test_the_customer_reads_first_how_it_was_matched_balanced_and_measured_and_who_signed() -> None:
    said = Seen(printed(DONE, "customer")).text
    in_short = said[said.index("In short") : said.index("What is in the engine")]
    for told in (
        "weighs the same in all cylinders within 0.02 g (1.00 g allowed)",
        "front 23.7 g → 0.5 g, rear 67.7 g → 0.3 g: within every limit",
        "all 167 that have a limit are within it",
        "balanced 2025-06-11 by Ava Merrow; assembled 2025-06-17 by Ava Merrow",
    ):
        assert told in in_short
    assert '<h1><bdi class="long">5.8 L' in printed(DONE, "customer") or "<h1><bdi>5.8 L" in printed(DONE, "customer")
    begun = Seen(printed(BEGUN, "customer")).text
    for told in ("matched not yet", "balanced not yet", "12 missing", "signed by nobody yet"):
        assert told.replace(" ", "") in begun.replace(" ", "")


def test_a_sign_off_that_no_longer_holds_is_not_told_in_short(book: Book) -> None:
    signed = BUILD + "sign_offs:\n  - {id: A1, stage: balanced, taken: 2026-10-01, by: ava}\n"
    book.write("build.yaml", signed)
    assert "balanced 2026-10-01" in Seen(page_of(book.figures(), "customer")).text
    book.write("build.yaml", signed + "reopened:\n  - {id: B1, sign_off: A1, taken: 2026-10-02, by: ava, because: x}\n")
    assert "balanced 2026-10-01" not in Seen(page_of(book.figures(), "customer")).text


def test_an_opening_stands_after_the_sign_off_that_it_undid(book: Book) -> None:
    signed = "".join(f"  - {{id: {each}, stage: balanced, taken: 2026-10-01, by: ava}}\n" for each in ("A1", "A2"))
    opened = "reopened:\n  - {id: O1, sign_off: A1, taken: 2026-10-01, by: ava, because: a tapped lifter}\n"
    book.write("build.yaml", f"{BUILD}sign_offs:\n{signed}{opened}")
    page = page_of(book.figures(), "customer")
    assert page.index(">A1<") < page.index(">O1<") < page.index(">A2<")


@pytest.mark.parametrize("reader", ["customer", "shop"])
def test_the_cautions_never_stand_alone_on_a_page(reader: str) -> None:
    together = printed(DONE, reader).rpartition('<div class="together"><section')[2].partition("</section></div>")[0]
    assert "Sign-offs</h2>" in together
    assert "Cautions</h2>" in together


def test_only_the_shop_reads_of_sessions_instruments_and_every_place() -> None:
    shop, customer = Seen(printed(DONE, "shop")).text, Seen(printed(DONE, "customer")).text
    for said in ("Sessions", "the hanger rubbed on the draught shield", "bench_scale", "0.05 g", "P6 lightened"):
        assert said in shop
        assert said not in customer
    for fit in figures_of(DONE).fits.of("main_clearance"):
        assert fit.mean is not None
        assert fixed(fit.mean.value, fit.decimals + 1) in shop
    for throw in figures_of(DONE).bobweights.throws.values():
        for line in throw.lines:
            assert f"{line.what} {line.piece}".strip() in shop
    assert "the machine's own repeatability" in shop
    locked = "Kept as it was: piston P3 in cylinder 5"
    assert f"{locked} (" in Seen(printed(BEGUN, "shop")).text
    customer = Seen(printed(BEGUN, "customer")).text
    assert locked in customer
    assert f"{locked} (" not in customer


def test_the_shop_reads_each_reading_with_the_digits_that_the_scale_showed() -> None:
    assert "611.2 611.3" in printed(DONE, "shop")  # their mean has a digit more


def test_a_layout_is_told_in_plain_words() -> None:
    assert "V8 of 90°, cross-plane crankshaft" in printed(DONE, "customer")


def test_a_build_that_is_not_finished_says_what_is_missing() -> None:
    seen = Seen(printed(BEGUN, "customer"))
    assert "Not finished" in seen.text
    assert "pairing: not matched" in seen.text
    assert "Nothing has been spun yet." in seen.text
    assert "Nothing has been signed off." in seen.text
    assert seen.text.count("NOT MATCHED") == 8
    assert "Not finished" not in Seen(printed(DONE, "customer")).text


def test_an_empty_build_prints_too(book: Book) -> None:
    for reader in READERS:
        seen = Seen(page_of(book.figures(), reader))
        assert "twin/first" in seen.text
    assert "Not weighed: rod big end, rod small end" in Seen(page_of(book.figures(), "customer")).text


def test_an_engine_without_a_layout_prints_all_that_needs_none(book: Book) -> None:
    book.write("engines/twin/engine.yaml", "format: 1\nengine: twin\n")
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    for reader in READERS:
        assert "layout is not known" in Seen(page_of(book.figures(), reader)).text
    assert "rod big end" in Seen(page_of(book.figures(), "customer")).text


def test_what_misses_its_limit_is_loud_and_names_its_place(book: Book) -> None:
    book.write("engines/twin/first/build.yaml", """\
        format: 1
        engine: twin
        build: first
        units: {length: mm}
        limits: {top_ring_gap: {min: 0.40}, crankshaft_end_play: {max: 0.2}}
        """)  # fmt: skip
    book.write("clearances.yaml", """\
        format: 1
        units: {length: mm}
        sessions:
          - {id: M1, what: top_ring_gap, taken: 2026-10-05, by: ava, readings: {1: 0.30, 2: 0.50}}
          - {id: M2, what: crankshaft_end_play, taken: 2026-10-05, by: ava, readings: {1: 0.2}}
        """)  # fmt: skip
    page = page_of(book.figures(), "customer")
    assert re.search(r"0\.30 <span class=\"bad\">UNDER</span>", page)
    assert text(SAID["cannot tell"]) in page
    assert "To file, mm" in Seen(page).text


def test_a_set_that_was_changed_since_is_loud_on_the_wall(book: Book) -> None:
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P9, pin: N2"))
    page = page_of(book.figures(), "wall")
    assert len(re.findall(r'class="cylinder uncertain"', page)) == 1
    assert "PISTON P9 IS NOT IN THE PARTS LIST" in Seen(page).text


NASTY = {
    "markup": "<script>alert('x')</script><b>",
    "screen markup": "[bold]Ann[/bold]",
    "a formula": "=cmd()|'/C calc'!A0",
    "escape codes": "\x1b[31mred\x1b[0m\x07",
    "right to left": "מנוע שמונה צילינדרים",
    "turned round": "gnp\u202egnp.exe",
    "very long": "Ferry" * 120,
    "quotes": "\"'`&amp;",
}


@pytest.mark.parametrize("said", NASTY.values(), ids=NASTY)
@pytest.mark.parametrize("reader", READERS)
def test_whatever_a_name_holds_is_printed_as_text(book: Book, reader: str, said: str) -> None:
    import json

    quoted = json.dumps(said)
    book.write("shop.yaml", f"format: 1\nshop: {{name: {quoted}}}\npeople: {{ava: {{name: {quoted}}}}}\n")
    engine = f"format: 1\nengine: twin\nlayout: v2_90_common_pin\ndescription: {quoted}\nowner: {{name: {quoted}}}\n"
    book.write("engines/twin/engine.yaml", engine + f"serials: {{block: {quoted}}}\n")
    book.write("engines/twin/first/build.yaml", f"format: 1\nengine: twin\nbuild: first\npurpose: {quoted}\n")
    book.write("parts.yaml", f"{PARTS}  - {{kind: block, maker: {quoted}, number: {quoted}, material: {quoted}}}\n")
    locked = f"locked:\n  - {{piston: P1, cylinder: 1, because: {quoted}}}\n"
    book.write("pairings.yaml", pairings("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P2, pin: N2", locked=locked))
    page = page_of(book.figures(), reader)
    seen = Seen(page)
    assert not seen.open
    plain = "".join(mark if mark.isprintable() else f"\\u{ord(mark):04x}" for mark in said)
    if reader == "wall":
        assert plain[:100] in seen.text
    elif reader != "labels":
        assert seen.text.count(plain) >= 5
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069]", page)
    assert "script" not in {name for name, _ in seen.elements}


@pytest.mark.parametrize("reader", ["customer", "shop"])
def test_without_any_limit_a_balance_is_not_printed_as_within_one(book: Book, reader: str) -> None:
    on_the_machine(book, spin("900.0@30", "6.0@150"))
    said = Seen(page_of(book.figures(), reader)).text
    assert "ABOVE THE FLOOR. No limit for it is known." in said
    assert "WITHIN" not in said
