"""The quick look at a file says yes only where the validator proper finds nothing, and says it of every sound file."""

import copy
from collections.abc import Iterator
from typing import Any

import pytest
from conftest import SAMPLES
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildbook.book import schema
from buildbook.book.conforming import conforms, unit_error
from buildbook.book.loader import parse

KINDS = ("shop", "engine", "build", "parts", "weighings", "pairings", "spins", "clearances")
FILES = sorted(SAMPLES.rglob("*.yaml"))
ODD: list[Any] = [
    *(None, True, False, 0, 1, -1, 7, 1.0, 0.0, -0.5, 12.5, 10**17, float("inf"), float("nan")),
    *("", " ", "x", "12,5", "5", "0 g", "5 mm", "5 stone", "24.6 kg", "R1", "P1+N1", "2026-13-40\n", "ü" * 300),
    *([], {}, [1], [1, 1], ["a", "a"], [True, 1], [[1]], [None], {"a": 1}, {"1": 1}, {"id": "W1"}, {"per_mm": 1}),
]  # fmt: skip

Place = list[str | int]


def value_of(text: str) -> Any:
    root, findings = parse(text, "file.yaml")
    assert root is not None, findings
    return root.value


VALUES = [(path.stem, value_of(path.read_text())) for path in FILES]


def quick(kind: str, value: object) -> bool:
    return conforms(schema.schema_of(kind), value, schema.schema_of(kind))


def thorough(kind: str, value: object) -> bool:
    return next(schema._validator(kind).iter_errors(value), None) is None


def places(value: object, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every place in a value, but for the whole."""
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in inside:
        yield (*path, key)
        yield from places(inner, (*path, key))


PLACES = [list(places(value)) for _, value in VALUES]


@pytest.mark.parametrize("file", FILES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_every_sample_conforms_so_that_a_sound_file_is_never_waited_for(file: Any) -> None:
    assert quick(file.stem, value_of(file.read_text()))


@given(st.data())
@settings(max_examples=600, suppress_health_check=list(HealthCheck))
def test_whatever_is_changed_nothing_passes_that_the_validator_would_refuse(data: st.DataObject) -> None:
    number = data.draw(st.integers(0, len(VALUES) - 1))
    kind, sound = VALUES[number]
    changed = copy.deepcopy(sound)
    *path, last = data.draw(st.sampled_from(PLACES[number]))
    parent: Any = changed
    for step in path:
        parent = parent[step]
    how = data.draw(st.sampled_from(("odd", "moved", "gone", "more")))
    if how == "gone":
        del parent[last]
    elif how == "moved" and isinstance(parent, dict):
        parent[data.draw(st.sampled_from(("partz", "1", "readings", "id", "P1+N1", "no\nname")))] = parent.pop(last)
    elif how == "more" and isinstance(parent, list):
        parent.append(parent[0])
    else:
        parent[last] = data.draw(st.sampled_from(ODD))
    if quick(kind, changed):
        assert thorough(kind, changed)


@pytest.mark.parametrize("kind", KINDS)
def test_no_odd_value_of_any_field_passes_that_the_validator_would_refuse(kind: str) -> None:
    sound = next(value for each, value in VALUES if each == kind)
    passed = refused = 0
    for field in schema.schema_of(kind)["properties"]:
        for odd in ODD:
            value = {**sound, field: odd}
            if quick(kind, value):
                assert thorough(kind, value), value
                passed += 1
            refused += not thorough(kind, value)
    assert passed >= 3
    assert refused > 30


@pytest.mark.parametrize(
    "rule", [{"oneOf": [{}]}, {"not": {}}, {"format": "date"}, {"$ref": "other.json"}, {"multipleOf": 2}]
)
def test_a_word_that_it_does_not_know_is_left_to_the_validator(rule: dict[str, Any]) -> None:
    assert conforms({"type": "integer"}, 4, {})
    assert not conforms({"type": "integer", **rule}, 4, {})


def test_true_is_no_number_and_one_point_nought_no_certain_count() -> None:
    for value in (True, 1.0):
        assert not conforms({"type": "integer"}, value, {})
        assert not conforms({"const": 1}, value, {})
        assert not conforms({"enum": [1]}, value, {})
    assert conforms({"const": 1}, 1, {})


def test_a_line_end_at_the_end_is_no_part_of_a_pattern() -> None:
    assert conforms({"pattern": "^a$"}, "a", {})
    assert not conforms({"pattern": "^a$"}, "a\n", {})


def test_a_number_may_carry_a_unit_of_its_own_dimension() -> None:
    assert unit_error("mass", "24.6 kg") is None
    assert unit_error("mass", 5) is None
    wrong = unit_error("mass", "24.6 mm")
    assert wrong is not None
    assert "length" in wrong.what
