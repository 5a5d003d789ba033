"""`sheet`: where the page goes, what it never overwrites, and what it says when it cannot print."""

import json
import os
import re
from pathlib import Path

import pytest
from conftest import SAMPLES, Book, Run
from figures.ledger import ALL_WEIGHED, weighings
from pages.printshop import needs_chromium

from buildbook.cli.printing import pages_of

BUILD = "heron-07/2025-06-first"


@pytest.mark.parametrize("reader", ["customer", "shop", "wall"])
def test_it_goes_into_the_current_folder_under_a_name_that_says_what_it_is(
    run: Run, tmp_path: Path, reader: str
) -> None:
    done = run("sheet", BUILD, "--for", reader, "--book", str(SAMPLES))
    assert (done.returncode, done.stderr) == (0, "")
    name = f"heron-07-2025-06-first-{reader}.html"
    assert f"printed  {name}" in done.stdout
    assert (tmp_path / name).read_text(encoding="utf-8").startswith("<!doctype html>")


def test_it_is_for_the_shop_unless_said_otherwise_and_a_page_of_ours_is_printed_anew(run: Run, tmp_path: Path) -> None:
    for _ in range(2):
        assert run("sheet", BUILD, "--book", str(SAMPLES)).returncode == 0
    assert [each.name for each in tmp_path.glob("*.html")] == ["heron-07-2025-06-first-shop.html"]


def test_json_says_which_file_and_for_whom(run: Run) -> None:
    done = run("sheet", BUILD, "--for", "wall", "--to", "map.html", "--json", "--book", str(SAMPLES))
    assert json.loads(done.stdout) == {
        "build": BUILD,
        "figures": {"sheet": {"file": "map.html", "for": "wall"}},
        "findings": [],
    }


def test_a_folder_gets_the_usual_name_and_one_that_is_not_there_is_said(run: Run, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    assert run("sheet", BUILD, "--to", "out", "--book", str(SAMPLES)).returncode == 0
    assert (tmp_path / "out" / "heron-07-2025-06-first-shop.html").exists()
    done = run("sheet", BUILD, "--to", "nowhere/sheet.html", "--book", str(SAMPLES))
    assert done.returncode == 2
    assert "there is no folder" in done.stderr


@pytest.mark.parametrize("content", ["<!doctype html><title>mine</title>", "", "%PDF-1.4 of somebody else"])
def test_a_file_that_is_not_ours_is_left_alone(run: Run, tmp_path: Path, content: str) -> None:
    (tmp_path / "mine.html").write_text(content)
    done = run("sheet", BUILD, "--to", "mine.html", "--book", str(SAMPLES))
    assert done.returncode == 2
    assert "was not printed by buildbook" in " ".join(done.stderr.split())
    assert (tmp_path / "mine.html").read_text() == content


def test_a_page_that_cannot_be_put_in_its_place_leaves_nothing_behind(run: Run, tmp_path: Path) -> None:
    (tmp_path / "a" / "page.html").mkdir(parents=True)
    before = sorted(tmp_path.rglob("*"))
    done = run("sheet", BUILD, "--to", "a/page.html/x/y.html", "--book", str(SAMPLES))
    assert done.returncode == 2
    assert [each for each in sorted(tmp_path.rglob("*")) if "home" not in each.parts] == [
        each for each in before if "home" not in each.parts
    ]


def test_standard_output_gets_the_page_and_nothing_else(book: Book, run: Run) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED).replace("by: ava", "by: eva", 1))
    done = run("sheet", "--to", "-", cwd=book.root)
    assert done.returncode == 1
    assert done.stdout.startswith("<!doctype html>")
    assert done.stdout.endswith("</html>\n")
    assert "eva" in done.stderr
    assert "1 error" in done.stderr or "1 warning" in done.stderr


@pytest.mark.parametrize("more", [[], ["--json"], ["--to", "-"], ["--to", "sheet.html"]])
def test_while_a_file_holds_an_error_nothing_is_printed(book: Book, run: Run, more: list[str]) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED).replace("421.4", "421,4"))
    done = run("sheet", *more, cwd=book.root)
    assert done.returncode == 1
    assert "<!doctype" not in done.stdout
    assert "no figures until what was found below is put right" in done.stdout + done.stderr or more == ["--json"]
    assert not list(book.root.glob("*.html"))


def test_a_limit_that_cannot_be_keeps_the_sheet_from_being_printed(book: Book, run: Run) -> None:
    limits = "units: {length: mm}\nlimits: {top_ring_gap: {min: 0.50, max: 0.40}}\n"
    book.write("engines/twin/first/build.yaml", f"format: 1\nengine: twin\nbuild: first\n{limits}")
    done = run("sheet", cwd=book.root)
    assert done.returncode == 1
    assert "1 error" in done.stdout
    assert not list(book.root.glob("*.html"))


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--for", "custmer"], "did you mean customer?"),
        (["--paper", "A3"], "is no paper known here"),
        (["--to", "-", "--pdf"], "a PDF cannot go to standard output"),
        (["--to", "page.html", "--pdf"], "name it .pdf"),
        (["--to", "-", "--json"], "cannot go to standard output"),
    ],
)
def test_what_was_not_asked_right_is_said_with_its_remedy(run: Run, arguments: list[str], said: str) -> None:
    done = run("sheet", BUILD, *arguments, "--book", str(SAMPLES))
    assert (done.returncode, done.stdout) == (2, "")
    assert said in " ".join(done.stderr.split())


def test_without_a_chromium_a_pdf_is_refused_with_the_remedy(run: Run, tmp_path: Path) -> None:
    done = run("sheet", BUILD, "--pdf", "--book", str(SAMPLES), PATH=str(tmp_path))
    assert (done.returncode, done.stdout) == (2, "")
    assert "no Chromium is found" in done.stderr
    assert "leave --pdf out" in " ".join(done.stderr.split())
    assert not list(tmp_path.glob("*.pdf"))


def test_a_chromium_that_fails_is_said_and_nothing_is_written(run: Run, tmp_path: Path) -> None:
    fake = tmp_path / "bin" / "chromium"
    fake.parent.mkdir()
    fake.write_text("#!/bin/sh\necho the display is on fire >&2\nexit 1\n")
    fake.chmod(0o755)
    done = run("sheet", BUILD, "--pdf", "--book", str(SAMPLES), PATH=f"{fake.parent}:{os.environ['PATH']}")
    assert done.returncode == 2
    assert "the display is on fire" in " ".join(done.stderr.split())
    assert not list(tmp_path.glob("*.pdf"))


@needs_chromium
def test_a_pdf_says_how_many_pages_it_has_and_is_printed_anew(run: Run, tmp_path: Path) -> None:
    place = tmp_path / "heron-07-2025-06-first-wall.pdf"
    for more, box in ((["--pdf"], "595"), (["--to", place.name, "--paper", "Letter"], "612")):
        done = run("sheet", BUILD, "--for", "wall", *more, "--json", "--book", str(SAMPLES))
        assert (done.returncode, done.stderr) == (0, "")
        assert json.loads(done.stdout)["figures"]["sheet"] == {"file": place.name, "for": "wall", "pages": 1}
        content = place.read_bytes()
        assert pages_of(content) == 1
        boxes = re.findall(rb"/MediaBox \[0 0 ([0-9.]+) ", content)
        assert [str(round(float(each))) for each in boxes] == [box]  # points: A4, then Letter
    assert sorted(each.name for each in tmp_path.iterdir()) == [place.name, "home"]
