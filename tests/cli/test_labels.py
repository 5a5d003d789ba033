"""`labels`: a tag for every piece, with what goes with it."""

import json
import re
from pathlib import Path

from conftest import SAMPLES, Book, Run
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings
from pages.printshop import needs_chromium, page_of

BUILD = "heron-07/2025-06-first"


def tags(page: str) -> list[str]:
    """The text of every tag."""
    return [re.sub(r"<title>.*?</desc>|<[^>]+>", "", each) for each in re.split(r'<div class="tag">', page)[1:]]


def test_every_matched_piece_has_a_tag_that_says_where_it_goes_and_with_what(run: Run, tmp_path: Path) -> None:
    done = run("labels", BUILD, "--book", str(SAMPLES))
    assert (done.returncode, done.stderr) == (0, "")
    found = tags((tmp_path / "heron-07-2025-06-first-labels.html").read_text(encoding="utf-8"))
    assert len(found) == 32
    assert found[0].startswith(
        "rodR1cylinder 1left bank, throw 1with piston P6, pin N3, ring set G2beside R7 of cylinder 2"
    )
    assert "whole rod 779.5 g, big end 611.4 g, small end 168.1 g" in found[0]
    assert found[1].startswith("pistonP6cylinder 1left bank, throw 1with rod R1, pin N3, ring set G2piston 507.43 g")
    assert all("FRONT" in each for each in found)


def test_json_says_where_it_went(run: Run) -> None:
    done = run("labels", BUILD, "--to", "tags.html", "--json", "--book", str(SAMPLES))
    assert json.loads(done.stdout)["figures"] == {"labels": {"file": "tags.html"}}


def test_a_spare_and_a_piece_without_a_place_say_so(book: Book) -> None:
    book.write("parts.yaml", f"{PARTS}  - {{kind: piston, ids: [P3], state: spare}}\n  - {{kind: rod, ids: [R3]}}\n")
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P2, pin: N2"))
    found = tags(page_of(book.figures(), "labels"))
    assert len(found) == 8
    assert next(each for each in found if "SPARE" in each).startswith("pistonP3")
    assert next(each for each in found if "NOT MATCHED" in each).startswith("rodR3")
    assert not any("FRONT" in each for each in found[-2:])


def test_a_piston_weighed_with_its_pin_shows_that_weight_on_both(book: Book) -> None:
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings("id: W1, what: piston_with_pin, readings: {P1+N2: 632.4}"))
    found = tags(page_of(book.figures(), "labels"))
    with_weight = [each for each in found if "piston with pin 632.4 g" in each]
    assert [each[:8] for each in with_weight] == ["pistonP1", "pinN2pis"]


@needs_chromium
def test_tags_print_to_pdf(run: Run, tmp_path: Path) -> None:
    done = run("labels", BUILD, "--pdf", "--paper", "letter", "--book", str(SAMPLES))
    assert (done.returncode, done.stderr) == (0, "")
    assert re.fullmatch(r"printed  heron-07-2025-06-first-labels\.pdf  3 pages\n", done.stdout)
    assert (tmp_path / "heron-07-2025-06-first-labels.pdf").read_bytes().startswith(b"%PDF-")
