"""`bobweight`, and `--set`: what the bobweights were set to, recorded once."""

import re
from pathlib import Path

import pytest
from conftest import SAMPLES, Book, Run
from figures.ledger import ALL_WEIGHED, PARTS, weighings
from figures.turning import PLANES, UNITS, WITH_BALANCER

from buildbook.book.reading import Reader
from buildbook.records.model import SetBobweights
from cli.workshop import git, into_git, one_after_the_other

EMPTY = "format: 1\nunits: {mass: g}   # of this file\nsteps: []\n"


@pytest.fixture
def twin(book: Book) -> Book:
    """A twin with everything weighed and no bobweight set, in git. Its bobweight is 1775.55 g."""
    book.write("shop.yaml", WITH_BALANCER)
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("spins.yaml", EMPTY)
    into_git(book.root)
    return book


def recorded(book: Book) -> SetBobweights | None:
    build = Reader(book.root).load("twin/first").build
    assert build is not None
    return build.spins.bobweights


def file(book: Book) -> Path:
    return book.folder / "spins.yaml"


def test_it_is_recorded_beside_the_target_and_shown_against_it(twin: Book, run: Run) -> None:
    done = run("bobweight", "--set", "1=1775.40", "--with", "scale", "--by", "tomas", cwd=twin.folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert file(twin).read_text().startswith(EMPTY)
    found = recorded(twin)
    assert found is not None
    assert (found.by, found.with_) == ("tomas", "scale")
    assert found.taken is not None
    assert found.target is not None
    assert found.target.text == "1775.6"  # 1775.55, rounded half to even
    assert {throw: [each.text for each in reading.values] for throw, reading in found.set.items()} == {"1": ["1775.40"]}
    assert "1775.4" in done.stdout
    assert git(twin.root, "show", "--name-only", "--format=%an: %s", "HEAD").split("\n")[:3] == [
        "Tomas Reddick: Set the bobweights of twin/first", "", "engines/twin/first/spins.yaml",
    ]  # fmt: skip
    assert git(twin.root, "status", "--porcelain") == ""


def test_after_it_a_spin_may_be_recorded(twin: Book) -> None:
    file(twin).write_text(f"format: 1\nunits: {UNITS}\nangles: {{}}\nplanes: {PLANES}\n")
    spin = "spin --front 9.2@212 --rear 64@48 --by ava"
    before, as_set, after = one_after_the_other(
        [spin, "bobweight --set 1=1775.4 --with scale --by ava", spin], twin.folder
    )
    assert (before.code, as_set.code, after.code) == (1, 0, 0)
    assert "record them first" in " ".join(before.stdout.split())


def test_one_off_its_target_is_recorded_and_found(twin: Book, run: Run) -> None:
    done = run("bobweight", "--set", "1=1777.0", "--with", "scale", "--by", "ava", cwd=twin.folder)
    assert done.returncode == 1
    assert recorded(twin) is not None
    assert "bobweight" in done.stdout


def test_in_a_file_in_ounces_the_unit_is_asked_for_and_told(twin: Book, run: Run) -> None:
    file(twin).write_text(EMPTY.replace("mass: g", "mass: oz"))
    git(twin.root, "commit", "--quiet", "--all", "--message=In ounces")
    unsaid = run("bobweight", "--set", "1=1775.4", "--with", "scale", "--by", "ava", cwd=twin.folder)
    assert (unsaid.returncode, recorded(twin)) == (2, None)
    assert "write 1775.4oz, or 1775.4g" in unsaid.stderr
    done = run("bobweight", "--set", "1=1775.4g", "--with", "scale", "--by", "ava", cwd=twin.folder)
    assert (done.returncode, done.stderr) == (0, "")
    found = recorded(twin)
    assert found is not None
    assert [(each.text, each.unit) for each in found.set["1"].values] == [("1775.4g", "g")]
    assert found.target is not None
    assert found.target.worth("g") * 10 == 17756


REFUSED = {
    "no weight": ("1=", "--with scale", "1=2180.4,2=2180.3"),
    "no throw": ("1775.4", "--with scale", "1=2180.4,2=2180.3"),
    "a throw that is not there": ("1=1775.4,2=1775.4", "--with scale", "throw 2"),
    "one throw twice": ("1=1775.4,1=1775.5", "--with scale", "each throw once"),
    "no scale": ("1=1775.4", "", "add --with SCALE"),
    "a scale nobody has": ("1=1775.4", "--with bank", "add --with SCALE"),
    "what weighs nothing": ("1=1775.4", "--with balancer", "SCALE (shop.yaml has: scale)"),
    "a decimal comma": ("1=1775,4", "--with scale", "1=2180.4"),
    "below nothing": ("1=-3", "--with scale", "look for a lost point"),
}


def test_bad_input_has_its_remedy_and_writes_nothing(twin: Book) -> None:
    before, head = file(twin).read_bytes(), git(twin.root, "rev-parse", "HEAD")
    typed = [" ".join(f"bobweight --set {as_set} {scale} --by ava".split()) for as_set, scale, _ in REFUSED.values()]
    for (case, (_, _, remedy)), done in zip(REFUSED.items(), one_after_the_other(typed, twin.folder), strict=True):
        assert (done.code, done.stdout) == (2, ""), case
        assert remedy in " ".join(done.stderr.split()), case
    assert file(twin).read_bytes() == before
    assert git(twin.root, "rev-parse", "HEAD") == head


def test_what_was_set_is_not_overwritten(twin: Book) -> None:
    typed = "bobweight --set 1=1775.4 --with scale --by ava"
    first, second = one_after_the_other([typed, typed.replace("1775.4", "1775.5")], twin.folder)
    assert (first.code, second.code) == (0, 2)
    assert "stands in the file already" in second.stderr
    assert "1775.5" not in file(twin).read_text()


def test_without_a_layout_there_is_no_target_and_no_fault(twin: Book) -> None:
    twin.write("engines/twin/engine.yaml", "format: 1\nengine: twin\n")
    (done,) = one_after_the_other(["bobweight --set 1=1775.4 --with scale --by ava"], twin.folder)
    assert (done.code, done.stderr) == (1, "")
    found = recorded(twin)
    assert found is not None
    assert found.target is None


def test_for_split_pins_each_pin_has_its_own_weight_and_one_in_the_middle_is_lighter() -> None:
    six, eight = one_after_the_other([f"bobweight {build}" for build in ("plover-03", "heron-07")], SAMPLES)
    assert "clamped on as one weight midway" in " ".join(six.stdout.split())
    # two pins 60° apart: √3/2 of both
    totals = [float(each) for each in re.findall(r"TOTAL +([0-9.]+)", six.stdout)]
    midway = [float(each) for each in re.findall(r"one, midway +([0-9.]+)", six.stdout)]
    assert midway == pytest.approx([total * 3**0.5 / 2 for total in totals], abs=0.02)
    assert "midway" not in eight.stdout
