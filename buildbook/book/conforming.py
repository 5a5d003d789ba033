"""Whether a value keeps to a schema, told quickly and only where it is certain.

This says yes, or that it does not know: then the validator proper (`book/schema.py`) decides, and finds the words for
what is wrong. It knows the keywords of our own schemas; any other, and every doubt, counts as not known. It may
therefore be stricter than JSON Schema anywhere, and more lenient nowhere.
"""

import re
from collections.abc import Callable, Mapping
from typing import Any

from buildbook.quantities import DIMENSIONS, QuantityError, read_quantity

Schema = Mapping[str, Any]


def conforms(schema: Schema, value: object, root: Schema) -> bool:
    """Whether `value` keeps to `schema` for certain; `root` is the schema that holds the `$defs`."""
    for keyword, said in schema.items():
        if keyword in _SAY_NOTHING:
            continue
        keeps = _KEYWORDS.get(keyword)
        if keeps is None or not keeps(said, value, schema, root):
            return False
    return True


_SAY_NOTHING = frozenset(("title", "description", "examples", "$schema", "$defs"))

_TYPES: dict[str, tuple[type, ...]] = {
    "string": (str,),
    "number": (int, float),
    "integer": (int,),
    "object": (dict,),
    "array": (list,),
    "boolean": (bool,),
    "null": (type(None),),
}


def _type(said: str | list[str], value: object, *_: Schema) -> bool:
    # by the exact type: for Python, True is a number
    return any(type(value) in _TYPES[name] for name in ([said] if isinstance(said, str) else said))


def _enum(said: list[object], value: object, *_: Schema) -> bool:
    return any(type(value) is type(each) and value == each for each in said)


def _const(said: object, value: object, *_: Schema) -> bool:
    return type(value) is type(said) and value == said


def _ref(said: str, value: object, _: Schema, root: Schema) -> bool:
    own, name = said[: len("#/$defs/")], said[len("#/$defs/") :]
    return own == "#/$defs/" and name in root["$defs"] and conforms(root["$defs"][name], value, root)


def _required(said: list[str], value: object, *_: Schema) -> bool:
    return not isinstance(value, dict) or all(name in value for name in said)


def _properties(said: Schema, value: object, _: Schema, root: Schema) -> bool:
    if not isinstance(value, dict):
        return True
    return all(conforms(said[name], inner, root) for name, inner in value.items() if name in said)


def _pattern_properties(said: Schema, value: object, _: Schema, root: Schema) -> bool:
    if not isinstance(value, dict):
        return True
    return all(
        conforms(inner_schema, inner, root)
        for expression, inner_schema in said.items()
        for name, inner in value.items()
        if re.search(expression, name)
    )


def _additional_properties(said: object, value: object, schema: Schema, root: Schema) -> bool:
    if not isinstance(value, dict):
        return True
    fields, patterns = schema.get("properties", ()), schema.get("patternProperties", ())
    others = [
        inner
        for name, inner in value.items()
        if name not in fields and not any(re.search(expression, name) for expression in patterns)
    ]
    return not others or said is True or (isinstance(said, dict) and all(conforms(said, each, root) for each in others))


def _items(said: Schema, value: object, _: Schema, root: Schema) -> bool:
    return not isinstance(value, list) or all(conforms(said, item, root) for item in value)


def _unique(said: bool, value: object, *_: Schema) -> bool:
    if not isinstance(value, list) or not said:
        return True
    return all(type(item) in (str, int) for item in value) and len(set(value)) == len(value)


def _pattern(said: str, value: object, *_: Schema) -> bool:
    # Python's `$` also matches before a line end at the end of a text, JSON Schema's does not
    return not isinstance(value, str) or ("\n" not in value and re.search(said, value) is not None)


def unit_error(dimension: str, value: object) -> QuantityError | None:
    """What is wrong with a number that carries its own unit, `24.6 kg`; None where nothing is, or where it is none."""
    if isinstance(value, str) and dimension in DIMENSIONS:
        try:
            read_quantity(value, dimension, DIMENSIONS[dimension][0])
        except QuantityError as error:
            return error
    return None


def _number(keeps: Callable[[Any, Any], bool]) -> Callable[..., bool]:
    def bound(said: float, value: object, *_: Schema) -> bool:
        return type(value) not in (int, float) or keeps(value, said)

    return bound


def _longer(kind: type) -> Callable[..., bool]:
    def bound(said: int, value: object, *_: Schema) -> bool:
        return not isinstance(value, kind) or len(value) >= said  # type: ignore[arg-type]

    return bound


_KEYWORDS: dict[str, Callable[..., bool]] = {
    "type": _type,
    "enum": _enum,
    "const": _const,
    "$ref": _ref,
    "required": _required,
    "properties": _properties,
    "patternProperties": _pattern_properties,
    "additionalProperties": _additional_properties,
    "items": _items,
    "uniqueItems": _unique,
    "pattern": _pattern,
    "unit": lambda said, value, *_: unit_error(said, value) is None,
    "minimum": _number(lambda value, said: value >= said),
    "maximum": _number(lambda value, said: value <= said),
    "exclusiveMinimum": _number(lambda value, said: value > said),
    "exclusiveMaximum": _number(lambda value, said: value < said),
    "minLength": _longer(str),
    "minItems": _longer(list),
    "minProperties": _longer(dict),
}
