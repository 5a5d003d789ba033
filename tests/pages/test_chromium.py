"""The pages in a real browser: how many sheets they print on, whether anything sticks out, and whether all can read
them."""

from concurrent.futures import ThreadPoolExecutor
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

import pytest
from conftest import Book
from figures.ledger import ALL_WEIGHED, PARTS, engine, pairings, weighings

from buildbook.cli.printing import pages_of, pdf_of
from buildbook.pages.html import element, page
from buildbook.pages.sheet import build_sheet
from pages.printshop import (
    AXE,
    PAGES,
    figures_of,
    looked_at,
    needs_axe,
    needs_chromium,
    page_of,
    printed,
    without_policy,
)

# Pixels of 1/96 in: the width of a sheet of A4 and of Letter.
A4, LETTER = 794, 816

MATCHED, NOT_MATCHED = "heron-07/2025-06-first", "heron-07/2026-10-rebuild"


def pages_printed(pages: list[str]) -> list[int]:
    with ThreadPoolExecutor(2) as workers:
        return [pages_of(pdf) for pdf in workers.map(pdf_of, pages)]


@needs_chromium
@pytest.mark.parametrize("width", [A4, LETTER])
def test_nothing_sticks_out_at_the_width_of_the_paper(width: int, book: Book, tmp_path: Path) -> None:
    pages = {f"{build} {reader}": printed(build, reader) for build, reader in PAGES}
    long = "R1-" + "LONG" * 15
    book.write("parts.yaml", PARTS.replace("R1", long))
    book.write("weighings.yaml", weighings(*(each.replace("R1", long) for each in ALL_WEIGHED)))
    lock = "locked: [{piston: P1, cylinder: 2}]\n"
    book.write("pairings.yaml", pairings(f"rod: {long}, piston: P1, pin: N1", "rod: R2, piston: P2", locked=lock))
    pages |= {f"long {reader}": page_of(book.figures(), reader) for reader in ("customer", "shop", "wall")}
    assert long in pages["long customer"]
    assert "PISTON P1 BELONGS IN CYLINDER 2" in pages["long wall"]
    wide = element("p", "too wide", style="width: 250mm")
    script = """
    function look() {
      const out = [], width = document.documentElement.clientWidth
      if (document.documentElement.scrollWidth > width) out.push('the page scrolls sideways')
      for (const each of document.querySelectorAll('main *')) {
        const box = each.getBoundingClientRect()
        if (box.right > width + 0.5 || box.left < -0.5) out.push(each.outerHTML.slice(0, 80))
        if (each.scrollWidth > each.clientWidth + 1 && getComputedStyle(each).display != 'inline'
            && !each.closest('svg')) out.push('inside: ' + each.outerHTML.slice(0, 80))
      }
      return out
    }"""
    found = looked_at({**pages, "wide": page("wide", wide, kind="shop")}, width, script, tmp_path)
    assert found.pop("wide")  # it can see what sticks out
    assert found == {name: [] for name in pages}


@needs_chromium
def test_the_map_for_the_wall_is_one_sheet_of_a4_and_of_letter() -> None:
    papers = [(MATCHED, "letter"), (MATCHED, "A4"), (NOT_MATCHED, "letter")]
    pages = [build_sheet(figures_of(build), "wall", (), paper) for build, paper in papers]
    assert pages_printed(pages) == [1] * len(pages)


def _twelve(bank: str) -> str:
    """A twelve with ids too long for one line."""
    return pairings(
        *(f"{{rod: ROD-{bank}-{number}, piston: PISTON-{number}, pin: PIN-{number}}}"[1:-1] for number in range(1, 13))
    )


@needs_chromium
def test_a_twelve_is_one_sheet_on_the_wall_with_long_ids_and_not_yet_matched(book: Book) -> None:
    book.write("engines/twin/engine.yaml", engine("v12_60"))
    pages = [build_sheet(book.figures(), "wall", (), "letter")]
    book.write("pairings.yaml", _twelve("LEFT"))
    pages.append(build_sheet(book.figures(), "wall", (), "letter"))
    assert pages[0].count("NOT MATCHED") == 12
    assert "ROD-LEFT-12" in pages[1]
    assert pages_printed(pages) == [1, 1]


@needs_chromium
def test_no_id_is_broken_over_lines_in_the_narrow_columns_of_a_radial(book: Book, tmp_path: Path) -> None:
    banks = ", ".join(f"b{number}: {round(360 / 7 * number)}" for number in range(7))
    cylinders = ", ".join(f"{number + 1}: b{number}" for number in range(7))
    radial = f"layout:\n  banks: {{{banks}}}\n  throws: {{1: {{angle: 0, cylinders: {{{cylinders}}}}}}}\n"
    book.write("engines/twin/engine.yaml", f"format: 1\nengine: twin\nunits: {{angle: deg}}\n{radial}")
    book.write("pairings.yaml", pairings(*(f"rod: R{each}, piston: P{each}, pin: N{each}" for each in range(1, 8))))
    figures = book.figures()
    script = """
    function look() {
      const ids = [...document.querySelectorAll('.pieces b')]
      return [`${ids.length} ids`, ...ids.filter(id => id.getClientRects().length == 0 ||
        id.firstChild.getClientRects().length != 1).map(id => id.textContent)]
    }"""
    pages = {reader: page_of(figures, reader) for reader in ("customer", "wall")}
    assert looked_at(pages, A4, script, tmp_path) == {reader: ["21 ids"] for reader in pages}


@needs_chromium
def test_the_policy_of_the_page_stops_a_request_and_a_script_even_if_one_were_in_it() -> None:
    asked: list[str] = []

    class Listening(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        def log_message(self, *_: object) -> None:
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Listening) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        here = f"http://127.0.0.1:{server.server_port}"
        slipped_in = f"<img src='{here}/picture'><script>fetch('{here}/script')</script></body>"
        slipped_in = f"<style>body {{ background: url({here}/style) }}</style>{slipped_in}"
        sheet = printed("magpie-02/2026-07-first", "customer").replace("</body>", slipped_in)
        pdf_of(sheet)
        with_policy = list(asked)
        pdf_of(without_policy(sheet))
        server.shutdown()
    assert with_policy == []
    assert {"/picture", "/style"} <= set(asked)  # it can see what leaves


@needs_axe
def test_an_accessibility_checker_finds_nothing(tmp_path: Path) -> None:
    # the shop's sheet has every part that the customer's has, but for what is not known yet and what is said in short
    chosen = [(MATCHED, "wall"), (MATCHED, "labels"), ("magpie-02/2026-07-first", "shop"), (NOT_MATCHED, "customer")]
    pages = {f"{build} {reader}": printed(build, reader) for build, reader in chosen}
    script = (
        AXE.read_text(encoding="utf-8").replace("</script", "<\\/script")
        + """
    async function look() {
      const found = await axe.run(document, { resultTypes: ['violations'] })
      return found.violations.map(each => each.id + ': ' + each.nodes.slice(0, 3).map(node => node.html).join(' '))
    }"""
    )
    unclear = page("unclear", element("p", "pale", style="color: #bbb"), element("svg", role="img"), kind="shop")
    found = looked_at({**pages, "unclear": unclear}, A4, script, tmp_path)
    assert {str(each).partition(":")[0] for each in found.pop("unclear")} >= {"color-contrast", "svg-img-alt"}
    assert found == {name: [] for name in pages}
