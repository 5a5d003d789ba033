"""What the tests of the printed pages share: pages of the sample builds, and a real Chromium to look at them with."""

import json
import os
import re
import subprocess
from functools import cache
from html import escape, unescape
from html.parser import HTMLParser
from pathlib import Path
from shutil import which

import pytest
from cli.workshop import BUILDS
from conftest import SAMPLES

from buildbook.book.reading import Reader
from buildbook.cli.printing import CHROMIUMS
from buildbook.figures import Figures, work_out
from buildbook.pages.labels import label_sheet
from buildbook.pages.sheet import build_sheet

READERS = ("customer", "shop", "wall", "labels")
PAGES = [(build, reader) for build in BUILDS for reader in READERS]

CHROMIUM = next((path for name in CHROMIUMS if (path := which(name))), None)
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")

AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
needs_axe = pytest.mark.skipif(
    CHROMIUM is None or not AXE.exists(), reason="no axe-core here: 'npm ci --prefix tests/pages' fetches it"
)


@cache
def figures_of(build: str) -> Figures:
    loaded = Reader(SAMPLES).load(build)
    assert loaded.build is not None, loaded.findings
    return work_out(loaded.build)


@cache
def printed(build: str, reader: str) -> str:
    """A page of a sample build; each is made once."""
    return page_of(figures_of(build), reader)


def page_of(figures: Figures, reader: str) -> str:
    if reader == "labels":
        return label_sheet(figures)
    assert reader in {"customer", "shop", "wall"}
    return build_sheet(figures, reader, figures.thorough_findings)  # type: ignore[arg-type]


class Seen(HTMLParser):
    """A page as a reader of it finds it: its elements with their attributes, and its text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attributes)))
        if tag not in {"meta", "br", "wbr"}:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attributes)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", "".join(self.words))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.elements if name == tag]


def without_policy(page: str) -> str:
    assert "Content-Security-Policy" in page
    return re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)


def looked_at(pages: dict[str, str], width: int, script: str, folder: Path) -> dict[str, list[str]]:
    """What a script finds out about each page, all of them side by side in one real browser, so many pixels wide.

    The script, which defines `look()` and gives back a list of texts, runs inside each page; the page's own policy,
    which forbids any script, is taken out for that.
    """
    assert CHROMIUM is not None
    frames = []
    for name, page in pages.items():
        told = f"Promise.resolve(look()).then(found => parent.postMessage([{json.dumps(name)}, found], '*'))"
        inside = without_policy(page).replace("</body>", f"<script>{script}\n{told}</script></body>")
        size = f"width: {width}px; height: 900px; border: 0"
        frames.append(f'<iframe srcdoc="{escape(inside)}" style="{size}"></iframe>')
    host = (
        "<!doctype html><html><head><script>const all = {};"
        "addEventListener('message', e => { all[e.data[0]] = e.data[1]; "
        f"if (Object.keys(all).length == {len(pages)}) "
        "document.getElementById('found').textContent = JSON.stringify(all) })</script></head>"
        f"<body><pre id='found'></pre>{''.join(frames)}</body></html>"
    )
    path = folder / "look.html"
    path.write_text(host, encoding="utf-8")
    dom = subprocess.run(
        [
            *(CHROMIUM, "--headless", "--disable-gpu", "--no-first-run", "--virtual-time-budget=60000"),
            *(["--no-sandbox"] if os.geteuid() == 0 else []),
            *(f"--user-data-dir={folder / 'profile'}", "--window-size=1400,1000", "--dump-dom", path.as_uri()),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    ).stdout
    found = re.search(r'<pre id="found">(.*?)</pre>', dom, re.DOTALL)
    assert found, dom[-2000:]
    assert found[1], "no page answered"
    result: dict[str, list[str]] = json.loads(unescape(found[1]))
    return result
