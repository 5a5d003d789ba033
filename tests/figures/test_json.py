"""The names that figures have in --json, and that every weight there is a number of grams."""

import json
from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from conftest import SAMPLES, Book

from buildbook.book.reading import Reader
from buildbook.figures import Figures, work_out
from buildbook.views import as_json
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings


@pytest.fixture(scope="module")
def heron() -> Figures:
    build = Reader(SAMPLES).load("heron-07/2025-06-first").build
    assert build is not None
    return work_out(build)


def printed(figures: Mapping[str, object]) -> Any:
    """The figures as a program that reads --json gets them."""
    return json.loads(as_json.dump("a/b", figures, []))["figures"]


def is_grams(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def test_one_object_with_build_figures_and_findings(book: Book) -> None:
    book.write("weighings.yaml", "format: 1\nsessions:\n  - {id: W1, what: pin, readings: {N1: 152.3 g}}\n")
    findings = book.findings()
    said = json.loads(as_json.dump("twin/first", {}, findings))
    assert list(said) == ["build", "figures", "findings"]
    assert said["build"] == "twin/first"
    (finding,) = said["findings"]
    assert list(finding) == ["severity", "rule", "file", "line", "column", "what", "why", "remedy"]
    assert (finding["severity"], finding["rule"], finding["line"], finding["column"]) == ("warning", "unsigned", 3, 5)


def test_weighings(heron: Figures) -> None:
    said = printed({"weighings": as_json.weighings(heron)})["weighings"]
    assert set(said) == {
        "rod", "rod_big_end", "rod_small_end", "piston", "pin", "ring_set", "pin_locks", "rod_bearing",
    }  # fmt: skip
    for what, kind in said.items():
        assert {"count", "mean", "spread", "lightest", "heaviest", "uncertainty"} <= set(kind)
        assert isinstance(kind["count"], int)
        assert is_grams(kind["mean"])
        assert is_grams(kind["uncertainty"])
        lot = what in {"pin_locks", "rod_bearing"}
        assert [is_grams(kind[name]) for name in ("spread", "lightest", "heaviest")] == [not lot] * 3
        if not lot:
            assert kind["spread"] == pytest.approx(kind["heaviest"] - kind["lightest"])


def test_match(heron: Figures) -> None:
    said = printed({"match": as_json.match(heron)})["match"]
    for name in ("spread", "as_numbered_spread", "sorted_spread", "bound"):
        assert is_grams(said[name])
    assert said["proven"] is True
    assert list(said["cylinders"]) == ["1", "2", "3", "4", "5", "6", "7", "8"]
    for cylinder in said["cylinders"].values():
        assert {"rod", "piston", "pin", "reciprocating"} <= set(cylinder)
        assert all(isinstance(cylinder[kind], str) for kind in ("rod", "piston", "pin"))
    sums = [cylinder["reciprocating"] for cylinder in said["cylinders"].values()]
    assert all(map(is_grams, sums))
    assert said["spread"] == pytest.approx(max(sums) - min(sums))


def test_bobweights(heron: Figures) -> None:
    said = printed({"bobweights": as_json.bobweights(heron)})["bobweights"]
    assert list(said["throws"]) == ["1", "2", "3", "4"]
    for throw in said["throws"].values():
        assert all(is_grams(throw[name]) for name in ("reciprocating", "rotating", "oil", "total", "half"))
        assert throw["half"] == pytest.approx(throw["total"] / 2)
        share = said["factor"] / 100 * throw["reciprocating"]
        assert throw["total"] == pytest.approx(throw["rotating"] + share + throw["oil"])
    assert said["target"] == pytest.approx(sum(throw["total"] for throw in said["throws"].values()) / 4)
    assert said["half"] == pytest.approx(said["target"] / 2)


def test_the_same_figures_whatever_unit_they_were_written_in(book: Book) -> None:
    # 17 oz is 481.941894125 g; a mass in ounces is printed in grams all the same
    book.write("weighings.yaml", weighings("id: W1, what: piston, readings: {P1: 17, P2: 17}", unit="oz"))
    said = printed({"weighings": as_json.weighings(book.figures())})["weighings"]["piston"]
    assert said["mean"] == pytest.approx(481.941893125, abs=1e-9)


def test_the_pairing_and_its_locks(book: Book) -> None:
    locked = "locked:\n  - {piston: P1, cylinder: 2, because: honed}\n"
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings("rod: R1, piston: P2, pin: N1", "rod: R2, piston: P1, pin: N2", locked=locked))
    said = printed({"pairing": as_json.pairing(book.figures())})["pairing"]
    assert said["spread"] == pytest.approx(0.7)
    assert said["cylinders"]["2"]["piston"] == "P1"
    assert said["locked"] == [{"piston": "P1", "cylinder": "2", "because": "honed"}]


def numbers(value: object) -> Iterator[float]:
    if isinstance(value, dict):
        for inner in value.values():
            yield from numbers(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from numbers(inner)
    elif isinstance(value, float):
        yield value


def test_strict_json_with_no_number_that_json_lacks(heron: Figures) -> None:
    text = as_json.dump("a/b", {**as_json.build(heron), "match": as_json.match(heron)}, [])
    assert text.isascii()
    assert not {"NaN", "Infinity"} & set(text.replace(",", " ").split())
    assert sum(1 for _ in numbers(json.loads(text))) > 100
