"""The schemas say what the ledger says, field by field, and the sample book obeys them."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML
from ruamel.yaml.constructor import SafeConstructor

ROOT = Path(__file__).parents[2]
SCHEMAS = {
    path.name.removesuffix(".schema.json"): json.loads(path.read_text(encoding="utf-8"))
    for path in sorted((ROOT / "schemas").glob("*.schema.json"))
}
SAMPLES = sorted((ROOT / "sample_builds").rglob("*.yaml"))
UNITS = {
    *("mass", "length", "angle", "speed", "volume", "density", "torque", "temperature"),
    *("quantity", "percent", "count", "date", "name", "text", "none"),
}

# What the ledger's own examples look like, short forms included.
LEDGER = {
    "engine": """
        format: 1
        engine: heron-07
        owner: {ref: C-118, name: Harbour ferry co-op}
        description: 5.7 L marine V8
        serials: {block: 7F-20931, crankshaft: HC-5512}
        units: {length: mm}
        layout:
          banks: {left: -45, right: 45}
          throws:
            1: {angle: 0, cylinders: {1: left, 2: right}}
            2: {angle: 90, cylinders: {3: {bank: left, angle: 105}, 4: right}}
        bore: 101.8
        stroke: 88.4
        rod_length: 152.4
        bore_spacing: 111.8
        bank_offset: 24.0
        firing_order: [1, 8, 4, 3, 6, 5, 7, 2]
        """,
    "build": """
        format: 1
        engine: heron-07
        build: 2026-10-rebuild
        follows: 2025-06-first
        purpose: Rebuild at 1,460 hours
        opened: 2026-10-01
        units: {mass: g, length: mm, speed: rpm}
        balance: {factor: 50, oil: 3.0, grade: G16, max_speed: 5200}
        limits:
          reciprocating_spread: {max: 1.0}
          bobweight_set: {within: 0.5}
          residual: {front: 1.0, rear: 1.0}
          main_clearance: {min: 0.045, max: 0.075}
          piston_clearance: {min: 0.070, max: 0.095}
          top_ring_gap: {min: 0.46}
        sign_offs:
          - {id: A1, stage: balanced, taken: 2026-10-09T16:20+01:00, by: ava, figures: {anything: [1, 2]}}
        """,
    "parts": """
        format: 1
        units: {mass: g, length: mm}
        parts:
          - {kind: rod, ids: [R1, R2], maker: Northlight, number: 6135, state: new, stated: {rod_big_end: 612}}
          - {kind: piston, ids: [P1], material: forged}
          - {kind: ring_set, count: 8}
          - {kind: crankshaft, ids: [C1], mass: "24.6 kg", density: "7.85 g/cm3", balanced_externally: [rear]}
        """,
    "weighings": """
        format: 1
        units: {mass: g}
        sessions:
          - id: W1
            taken: 2026-10-03T09:10+01:00
            by: ava
            with: bench_scale
            what: rod_big_end
            check_weight: {nominal: 500.0, before: 500.0, after: 500.1}
            readings: {R1: 611.4, R2: 611.9, R3: [611.2, 611.3], R4: "21.59 oz"}
          - {id: W4, what: piston_with_pin, readings: {P1+N1: 655.3, P2+N2: 654.9}}
          - {id: W5, what: pin_locks, lot: {total: 29.6, pieces: 16, per_cylinder: 2}}
          - {id: W6, what: pin, void: wrong tray}
        """,
    "pairings": """
        format: 1
        locked:
          - {piston: P3, cylinder: 5, because: honed to this piston}
        decided: {taken: 2026-10-03T11:30+01:00, by: ava, how: match, from: [W2, W4]}
        cylinders:
          1: {rod: R6, piston: P7, pin: N7}
        """,
    "spins": """
        format: 1
        units: {mass: g, length: mm, angle: deg, speed: rpm}
        angles: {zero: throw 1 up, positive: against_rotation, reading: heavy_side}
        planes:
          front: {position: -54, radius: 88}
          rear: {position: 389, radius: 91}
        bobweights: {target: 1912.6, set: {1: 1912.6, 2: 1912.5}, by: ava, taken: 2026-10-08}
        steps:
          - id: S1
            by: ava
            with: balancer
            spin: {speed: 700, carrying: [F1], front: {amount: 9.2, angle: 212}, rear: {amount: 64.0, angle: 48}}
          - {id: S2, by: ava, drill: {plane: rear, angle: 48, diameter: 22, depth: 19, point: 118}}
          - id: S3
            drill: {plane: rear, angle: 48, diameter: 22, depth: 19, depth_to: tip, radius: 90, position: 380,
                    density: "7.85 g/cm3"}
          - id: S4
            plug: {plane: front, angle: 30, radius: 74, along: axis, diameter: 19, length: 22, density: "17 g/cm3"}
          - {id: S5, grind: {plane: rear, angle: 51}}
          - {id: S6, fit: {part: D1}}
        """,
    "clearances": """
        format: 1
        units: {length: mm, volume: cc}
        sessions:
          - id: M1
            taken: 2026-10-05
            by: ava
            with: micrometer_50_75
            what: main_journal
            readings:
              1: {front: [62.180, 62.179], rear: [62.180, 62.178]}
          - {id: M2, what: main_bore, readings: {1: {front: [62.236, 62.238]}}}
        """,
}


class _DatesAsText(SafeConstructor):
    """A ledger's date stays the text that was written."""


_DatesAsText.add_constructor("tag:yaml.org,2002:timestamp", lambda _, node: node.value)


def read(text: str) -> Any:
    yaml = YAML(typ="safe", pure=True)
    yaml.Constructor = _DatesAsText
    return with_text_keys(yaml.load(text))


def with_text_keys(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): with_text_keys(item) for key, item in value.items()}
    return [with_text_keys(item) for item in value] if isinstance(value, list) else value


def faults(schema: dict[str, Any], value: Any) -> list[str]:
    return [f"{error.json_path}: {error.message}" for error in Draft202012Validator(schema).iter_errors(value)]


def subschemas(schema: dict[str, Any], path: str = "$") -> Iterator[tuple[str, dict[str, Any]]]:
    """The schema and every schema inside it, with its path."""
    yield path, schema
    for group in ("properties", "patternProperties", "$defs"):
        for name, inner in schema.get(group, {}).items():
            yield from subschemas(inner, f"{path}.$defs.{name}" if group == "$defs" else f"{path}.{name}")
    for single in ("items", "additionalProperties"):
        if isinstance(schema.get(single), dict):
            yield from subschemas(schema[single], f"{path}.{single}")


def fields(schema: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every field, in the shared shapes too; not the file itself, and not the shapes, which fields point at."""
    shapes = {f"$.$defs.{name}" for name in schema.get("$defs", {})}
    return ((path, inner) for path, inner in subschemas(schema) if path != "$" and path not in shapes)


each_schema = pytest.mark.parametrize("kind", SCHEMAS)


def test_every_file_of_the_ledger_has_a_schema() -> None:
    assert set(SCHEMAS) == {"shop", *LEDGER}


@each_schema
def test_schema_is_valid_against_its_metaschema(kind: str) -> None:
    assert SCHEMAS[kind]["$schema"] == Draft202012Validator.META_SCHEMA["$id"]
    Draft202012Validator.check_schema(SCHEMAS[kind])


@each_schema
def test_every_field_says_what_it_is_in_what_unit_with_an_example(kind: str) -> None:
    for path, field in fields(SCHEMAS[kind]):
        assert field.get("title"), path
        assert field.get("description", "").endswith("."), path
        assert field.get("unit") in UNITS, path
        assert field.get("examples"), path


@each_schema
def test_every_example_is_valid_against_its_own_field(kind: str) -> None:
    shapes = {"$defs": SCHEMAS[kind].get("$defs", {})}
    for path, field in fields(SCHEMAS[kind]):
        for example in field["examples"]:
            assert not faults(shapes | field, example), path


@each_schema
def test_a_misspelt_field_is_refused_everywhere(kind: str) -> None:
    open_by_design = {"$.serials", "$.limits", "$.sign_offs.items.figures"}
    for path, inner in subschemas(SCHEMAS[kind]):
        types = inner.get("type", [])
        if ("object" in types or "properties" in inner) and path not in open_by_design:
            assert inner.get("additionalProperties") is False, path


@each_schema
def test_no_schema_reaches_outside_itself_or_gives_unreadable_errors(kind: str) -> None:
    for path, inner in subschemas(SCHEMAS[kind]):
        assert not {"$id", "$dynamicRef", "multipleOf", "oneOf", "anyOf", "allOf", "not", "if"} & set(inner), path
        assert inner.get("$ref", "#/$defs/").startswith("#/$defs/"), path


@pytest.mark.parametrize("kind", LEDGER)
def test_the_ledgers_own_examples_are_accepted(kind: str) -> None:
    assert faults(SCHEMAS[kind], read(LEDGER[kind])) == []


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("weighings", "{format: 1, sessions: [{id: W1, what: rod, reading: {R1: 600.0}}]}"),
        ("weighings", "{format: 1, sessions: [{what: rod}]}"),
        ("weighings", "{format: 1, sessions: [{id: W1, what: bolt}]}"),
        ("weighings", "{format: 1, sessions: [{id: W1, what: rod, readings: {R1: -600.0}}]}"),
        ("weighings", "{format: 1, sessions: [{id: W1, what: rod, taken: 3 October}]}"),
        ("weighings", "{format: 2}"),
        ("build", "{format: 1, engine: a, build: b, limits: {main_clearance: {mim: 0.04}}}"),
        ("build", "{format: 1, engine: a, build: b, limits: {main_clearence: {min: 0.04}}}"),
        ("engine", "{format: 1, engine: a, layout: {banks: {left: 0}, throws: {1: {cylinders: {1: left}}}}}"),
        ("pairings", "{format: 1, cylinders: {one: {rod: R1}}}"),
        ("parts", "{format: 1, parts: [{kind: piston, ids: [P1+N1]}]}"),
        ("spins", "{format: 1, steps: [{id: S1, spin: {front: {amount: 9.2}}}]}"),
        ("spins", "{format: 1, steps: [{id: S1, drill: {plane: rear, angle: 360, diameter: 22, depth: 19}}]}"),
        ("clearances", "{format: 1, sessions: [{id: M1, what: main_journal, readings: {1: {front: {a: {b: 1}}}}}]}"),
        ("shop", "{format: 1, people: {ava: {nmae: Ava}}}"),
    ],
)
def test_a_slip_is_one_fault_or_two_and_never_none(kind: str, text: str) -> None:
    assert 1 <= len(faults(SCHEMAS[kind], read(text))) <= 2


@pytest.mark.parametrize("size", ['".018 in"', '"4. in"', '"4.018 in"', "4.018"])
def test_a_size_is_written_as_the_trade_writes_it(size: str) -> None:
    assert faults(SCHEMAS["engine"], read(f"{{format: 1, engine: a, layout: single, bore: {size}}}")) == []


def test_house_choices_and_a_builds_own_have_one_shape_since_they_are_copied() -> None:
    shop, build = SCHEMAS["shop"], SCHEMAS["build"]
    assert shop["$defs"] == build["$defs"]
    for name in ("balance", "limits"):
        assert shop["properties"][name]["properties"] == build["properties"][name]["properties"]


def test_every_sample_file_is_valid_against_the_schema_it_points_at() -> None:
    assert len(SAMPLES) >= 4 * 7
    for path in SAMPLES:
        text = path.read_text(encoding="utf-8")
        _, _, pointer = text.splitlines()[0].partition("# yaml-language-server: $schema=")
        schema = (path.parent / pointer).resolve().relative_to((ROOT / "sample_builds").resolve())
        assert schema == Path("schemas", f"{path.stem}.schema.json"), path
        assert faults(SCHEMAS[path.stem], read(text)) == [], path
