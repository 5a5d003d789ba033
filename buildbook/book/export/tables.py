"""The tables that a book is exported as, and what every column of them says."""

from collections.abc import Callable, Iterable, Iterator
from functools import cache
from typing import Any, Literal, NamedTuple

from buildbook.book.export import rows
from buildbook.book.export.rows import Exported, Row
from buildbook.book.schema import schema_text
from buildbook.quantities import DIMENSIONS
from buildbook.records.read import CHANGE_NUMBERS, CHANGE_WORDS


class Column(NamedTuple):
    """A column: its unit (`text`, `name`, `date`, `count` and `flag` where it has none), and what it says; where that
    is a field of a file, `at` leads to it in the file's schema, whose description it is then."""

    name: str
    unit: str
    said: str = ""
    at: tuple[str, ...] = ()

    @property
    def type(self) -> Literal["TEXT", "INTEGER", "REAL"]:
        if self.unit in {"count", "flag"}:
            return "INTEGER"
        return "TEXT" if self.unit in {"text", "name", "date", "written"} else "REAL"

    @property
    def description(self) -> str:
        """Raises LookupError where the schema has no such field."""
        if not self.at:
            return self.said
        described = _described(*self.at)
        return f"{described} {self.said}" if self.said else described


class Table(NamedTuple):
    name: str
    said: str
    columns: tuple[Column, ...]
    rows: Callable[[Exported], Iterable[Row]]


@cache
def _schema(kind: str) -> dict[str, Any]:
    import json

    found: dict[str, Any] = json.loads(schema_text(kind))
    return found


def _described(kind: str, *path: str) -> str:
    """The description of a field in the schema of a kind of file; a list or a group by name is stepped into."""
    node = _schema(kind)
    for key in path:
        found = [inner for each in _inside(kind, node) if (inner := each.get("properties", {}).get(key))]
        if not found:
            raise LookupError(f"the schema of {kind} has no {'.'.join(path)}")
        node = found[0]
    while "$ref" in node:
        node = _schema(kind)["$defs"][node["$ref"].rpartition("/")[2]]
    return str(node["description"])


def _inside(kind: str, node: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """A schema and those of what it holds, without the groups that have a name of their own."""
    yield node
    if "$ref" in node:
        yield from _inside(kind, _schema(kind)["$defs"][node["$ref"].rpartition("/")[2]])
    for name in ("items", "additionalProperties"):
        if isinstance(node.get(name), dict):
            yield from _inside(kind, node[name])
    for inner in (*node.get("patternProperties", {}).values(), *node.get("anyOf", ()), *node.get("oneOf", ())):
        yield from _inside(kind, inner)


def _pair(name: str, unit: str, *at: str, said: str = "") -> tuple[Column, Column]:
    """Two columns for one number: in its unit, and as it was written."""
    short = {"g/cm3": "g_cm3", "degC": "degc", "per cent": "percent"}.get(unit, unit)
    return Column(f"{name}_{short}", unit, said, at), Column(f"{name}_written", "written", _AS_WRITTEN)


_AS_WRITTEN = "The same as it was written, with its digits and its unit."
_BUILD = Column("build", "name", "The build's full name, ENGINE/BUILD.")
_COUNTS = Column(
    "counts", "flag", "1 where it is this that counts; 0 where it is void, or a later record took its place."
)


def _who_when(kind: str, *path: str) -> tuple[Column, ...]:
    """What every record says of itself."""
    fields = (("taken", "date"), ("by", "name"), ("with", "name"), ("void", "text"), ("note", "text"))
    return tuple(Column(_plain(name), unit, at=(kind, *path, name)) for name, unit in fields)


def _plain(field: str) -> str:
    """A field's name as a column's: words that SQL keeps for itself get a companion."""
    return {"by": "by_person", "with": "with_instrument", "step": "of_step"}.get(field, field)


_SESSION = ("weighings", "sessions")
_GAUGE = ("clearances", "sessions")
_STEP = ("spins", "steps")
_PART = ("parts", "parts")
_NUMBER = Column("reading", "count", "Which reading of it in this session, from 1.")
_ITS_UNIT = (Column("unit", "name", "The unit of `value`."), Column("written", "written", _AS_WRITTEN))
_PART_LINE = (
    Column("part", "count", "Which line of the parts list, from 1."),
    Column("kind", "name", at=(*_PART, "kind")),
)

# A change's numbers and words are described where the first kind of change that has them says so.
_CHANGES = ("drill", "plug", "grind", "add", "fit", "remove", "index")


def _of_a_change(name: str) -> tuple[str, ...]:
    for change in _CHANGES:
        try:
            _described(*_STEP, change, name)
        except LookupError:
            continue
        return (*_STEP, change, name)
    raise LookupError(f"no change has {name}")


def tables() -> tuple[Table, ...]:
    """Every table, in the order in which a reader would want them."""
    change_numbers = [
        column
        for name, dimension in CHANGE_NUMBERS.items()
        for column in _pair(name, DIMENSIONS[dimension][0], *_of_a_change(name))
    ]
    return (
        Table("people", "Who works in the shop.", (
            Column("person", "name", "The person's id, as records name it."),
            Column("name", "text", at=("shop", "people", "name")),
            Column("email", "text", at=("shop", "people", "email")),
        ), rows.people),
        Table("instruments", "What is weighed and measured with.", (
            Column("instrument", "name", "The instrument's id, as records name it."),
            Column("kind", "name", at=("shop", "instruments", "kind")),
            Column("description", "text", at=("shop", "instruments", "description")),
            Column("unit", "name", "The unit of the three numbers that follow."),
            *(column for name in ("resolution", "repeatability", "uncertainty") for column in (
                Column(name, "unit", "In `unit`.", ("shop", "instruments", name)),
                Column(f"{name}_written", "written", _AS_WRITTEN))),
            Column("capacity", "own unit", "In g or mm or the like.", ("shop", "instruments", "capacity")),
            Column("capacity_written", "written", _AS_WRITTEN),
        ), rows.instruments),
        Table("calibrations", "When each instrument was calibrated.", (
            Column("instrument", "name", "The instrument's id."),
            Column("calibrated", "date", at=("shop", "instruments", "calibrated")),
            Column("calibration_due", "date", at=("shop", "instruments", "calibration_due")),
        ), rows.calibrations),
        Table("engines", "The engines, for life.", (
            Column("engine", "name", at=("engine", "engine")),
            Column("description", "text", at=("engine", "description")),
            Column("family", "name", at=("engine", "family")),
            Column("owner_ref", "text", at=("engine", "owner", "ref")),
            Column("owner_name", "text", at=("engine", "owner", "name")),
            Column("layout", "name", at=("engine", "layout")),
            Column("main_bearings", "count", at=("engine", "main_bearings")),
            Column("firing_order", "text", at=("engine", "firing_order")),
            *(column for name in rows.SIZES for column in _pair(name, "mm", "engine", name)),
        ), rows.engines),
        Table("serials", "The numbers stamped on the engines' parts.", (
            Column("engine", "name", at=("engine", "engine")),
            Column("part", "name", "Which part it is stamped on."),
            Column("serial", "text", at=("engine", "serials")),
        ), rows.serials),
        Table("builds", "Each time an engine came in.", (
            _BUILD,
            Column("engine", "name", at=("build", "engine")),
            Column("follows", "name", at=("build", "follows")),
            Column("purpose", "text", at=("build", "purpose")),
            Column("use", "text", at=("build", "use")),
            Column("opened", "date", at=("build", "opened")),
            Column("factor_percent", "per cent", at=("build", "balance", "factor")),
            Column("leave_percent", "per cent", at=("build", "balance", "leave")),
            Column("grade", "name", at=("build", "balance", "grade")),
            *_pair("oil", "g", "build", "balance", "oil"),
            *_pair("max_speed", "rpm", "build", "balance", "max_speed"),
            *_pair("intake_closes", "deg", "build", "intake_closes"),
        ), rows.builds),
        Table("limits", "What the figures of a build are held to.", (
            _BUILD,
            Column("limit_name", "name", "The figure that it is a limit of."),
            Column("bound", "name", "min, max or within; front and rear for the residual."),
            Column("value", "unit", "In `unit`."),
            *_ITS_UNIT,
            Column("source", "text", "Who says so."),
        ), rows.limits),
        Table("parts", "The parts lists, one row for each lot of like pieces.", (
            _BUILD,
            *_PART_LINE,
            Column("count", "count", "How many pieces."),
            Column("maker", "text", at=(*_PART, "maker")),
            Column("number", "text", at=(*_PART, "number")),
            Column("state", "name", at=(*_PART, "state")),
            Column("material", "text", at=(*_PART, "material")),
            Column("uses", "count", at=(*_PART, "uses")),
            *_pair("mass", "g", *_PART, "mass"),
            *_pair("density", "g/cm3", *_PART, "density"),
            *_pair("undersize", "mm", *_PART, "undersize"),
        ), rows.parts),
        Table("stated", "What the makers say of the pieces.", (
            _BUILD,
            *_PART_LINE,
            Column("what", "name", "What is stated: a kind of weighing, or a size by name."),
            Column("value", "unit", "In `unit`."),
            *_ITS_UNIT,
        ), rows.stated),
        Table("pieces", "Every piece with an id of its own.", (
            _BUILD,
            *_PART_LINE,
            Column("piece", "name", at=(*_PART, "ids")),
            Column("state", "name", at=(*_PART, "state")),
            Column("cylinder", "name", "Where it goes by the last pairing."),
        ), rows.pieces),
        Table("weighings", "One row for each reading of a piece on the scale.", (
            _BUILD,
            Column("session", "name", at=(*_SESSION, "id")),
            Column("what", "name", at=(*_SESSION, "what")),
            Column("piece", "name", "The piece; pieces weighed together are joined by +."),
            _NUMBER,
            *_pair("weight", "g", *_SESSION, "readings"),
            _COUNTS,
            *_who_when(*_SESSION),
            *(column for name in ("nominal", "before", "after")
              for column in _pair(f"check_{name}", "g", *_SESSION, "check_weight", name)),
        ), rows.weighings),
        Table("lots", "One row for each reading of pieces weighed all together.", (
            _BUILD,
            Column("session", "name", at=(*_SESSION, "id")),
            Column("what", "name", at=(*_SESSION, "what")),
            Column("pieces", "count", at=(*_SESSION, "lot", "pieces")),
            Column("per_cylinder", "count", "How many of them each cylinder, or rod, has; 1 where that is not said."),
            _NUMBER,
            *_pair("total", "g", *_SESSION, "lot", "total"),
            _COUNTS,
            *_who_when(*_SESSION),
        ), rows.lots),
        Table("pairings", "Which piece goes into which cylinder, by each decision.", (
            _BUILD,
            Column("decision", "count", "The decisions in their order, from 1; the last one counts."),
            Column("cylinder", "name", "The cylinder."),
            Column("kind", "name", "The kind of part."),
            Column("piece", "name", "The id of the piece."),
            _COUNTS,
            Column("taken", "date", at=("pairings", "decided", "taken")),
            Column("by_person", "name", at=("pairings", "decided", "by")),
            Column("how", "name", at=("pairings", "decided", "how")),
            Column("from_sessions", "name", at=("pairings", "decided", "from")),
            Column("because", "text", at=("pairings", "revised", "because")),
        ), rows.pairings),
        Table("locks", "What the matcher may not change.", (
            _BUILD,
            Column("lock", "count", "The locks in their order, from 1."),
            Column("kind", "name", "The kind of part."),
            Column("piece", "name", "The id of the piece."),
            Column("cylinder", "name", at=("pairings", "locked", "cylinder")),
            Column("because", "text", at=("pairings", "locked", "because")),
        ), rows.locks),
        Table("bobweights", "The bobweights as they were set.", (
            _BUILD,
            Column("throw", "name", "The throw."),
            _NUMBER,
            *_pair("weight", "g", "spins", "bobweights", "set"),
            *_pair("target", "g", "spins", "bobweights", "target"),
            *(Column(_plain(name), unit, at=("spins", "bobweights", name))
              for name, unit in (("taken", "date"), ("by", "name"), ("with", "name"))),
        ), rows.bobweights),
        Table("planes", "Where the balancing machine's readings act, and how it counts.", (
            _BUILD,
            Column("plane", "name", "front or rear."),
            *_pair("position", "mm", "spins", "planes", "front", "position"),
            *_pair("radius", "mm", "spins", "planes", "front", "radius"),
            *(Column(f"angles_{name}", "name", at=("spins", "angles", name))
              for name in ("zero", "positive", "reading")),
        ), rows.planes),
        Table("spins", "What the balancing machine showed: one row for each plane of each spin.", (
            _BUILD,
            Column("step_number", "count", "Which step of the story, from 1; corrections count too."),
            Column("step", "name", at=(*_STEP, "id")),
            Column("plane", "name", "front or rear."),
            *_pair("amount", "g", *_STEP, "spin", "front", "amount"),
            *_pair("angle", "deg", *_STEP, "spin", "front", "angle"),
            *_pair("speed", "rpm", *_STEP, "spin", "speed"),
            Column("carrying", "name", at=(*_STEP, "spin", "carrying")),
            _COUNTS,
            *_who_when(*_STEP),
        ), rows.spins),
        Table("corrections", "What was done to what spins, between the spins.", (
            _BUILD,
            Column("step_number", "count", "Which step of the story, from 1; spins count too."),
            Column("step", "name", at=(*_STEP, "id")),
            Column("kind", "name", f"What was done: {', '.join(_CHANGES)}."),
            *(Column(_plain(name), "name", at=_of_a_change(name)) for name in CHANGE_WORDS),
            *change_numbers,
            _COUNTS,
            *_who_when(*_STEP),
        ), rows.corrections),
        Table("measurements", "One row for each reading of a gauge.", (
            _BUILD,
            Column("session", "name", at=(*_GAUGE, "id")),
            Column("what", "name", at=(*_GAUGE, "what")),
            Column("place", "name", "Which journal, cylinder, bank or piece."),
            Column("along", "name", "Where along it, where it was measured at several places."),
            Column("within", "name", "A crank angle or a direction, where that was said."),
            _NUMBER,
            Column("value", "unit", "In `unit`, as it was read: not brought to 20 °C."),
            *_ITS_UNIT,
            _COUNTS,
            *_who_when(*_GAUGE),
            *_pair("temperature", "degC", *_GAUGE, "temperature"),
        ), rows.measurements),
        Table("asked", "What fasteners were to be tightened to.", (
            _BUILD,
            Column("session", "name", at=(*_GAUGE, "id")),
            Column("step_number", "count", "Which step of the tightening, from 1."),
            Column("value", "unit", "In `unit`.", (*_GAUGE, "asked")),
            *_ITS_UNIT,
        ), rows.asked),
        Table("sign_offs", "Who answers for which stage.", (
            _BUILD,
            Column("sign_off", "name", at=("build", "sign_offs", "id")),
            *(Column(name, "name", at=("build", "sign_offs", name)) for name in ("stage", "version", "digest")),
            Column("taken", "date", at=("build", "sign_offs", "taken")),
            Column("by_person", "name", at=("build", "sign_offs", "by")),
            Column("note", "text", at=("build", "sign_offs", "note")),
        ), rows.sign_offs),
        Table("signed_figures", "The figures that a sign-off keeps.", (
            _BUILD,
            Column("sign_off", "name", at=("build", "sign_offs", "id")),
            Column("figure", "name", "The figure's name, as in the table of figures."),
            Column("written", "written", "As it was signed; without a unit of its own it is in that of build.yaml."),
        ), rows.signed_figures),
        Table("reopened", "Signed builds that were opened again.", (
            _BUILD,
            Column("id", "name", at=("build", "reopened", "id")),
            Column("sign_off", "name", at=("build", "reopened", "sign_off")),
            Column("because", "text", at=("build", "reopened", "because")),
            Column("taken", "date", at=("build", "reopened", "taken")),
            Column("by_person", "name", at=("build", "reopened", "by")),
        ), rows.reopened),
        Table("figures", "What is worked out of the records, by name; a build with an error in it has none.", (
            _BUILD,
            Column("figure", "name", "The figure's name, such as main_clearance.5."),
            Column("kind", "name", "What it is of."),
            Column("place", "name", "Where, if there are several."),
            Column("value", "unit", "In `unit`."),
            Column("uncertainty", "unit", "Its standard uncertainty, in `unit`; nothing where it is not known."),
            Column("unit", "name", "The unit of both."),
            Column("shown", "written", "The value with the digits that it deserves."),
        ), rows.figures),
        Table("as_written", "Every single value of every file as it stands, also what has no table of its own.", (
            Column("file", "name", "The file, from the book's folder."),
            Column("line", "count", "The line it stands on."),
            Column("path", "name", "The fields that lead to it; places of a list count from 1."),
            Column("written", "written", "The text."),
        ), rows.as_written),
    )  # fmt: skip
