"""A session as the record that it becomes: as the ledger writes it, and as the rules of `check` look at it."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from buildbook.bench.plan import Plan
from buildbook.book.writing import Value
from buildbook.quantities import Quantity, QuantityError, read_quantity
from buildbook.records.finding import Where
from buildbook.records.model import (
    Build,
    CheckWeight,
    Lot,
    MeasuringSession,
    Reading,
    Spot,
    WeighingSession,
)


class Entered(NamedTuple):
    """What was entered, in texts: place → readings, or a lot; the check weight; the temperature of piece and gauge; the
    steps that a fastener was to be tightened in; and the unit of bare numbers."""

    unit: str
    readings: Mapping[str, Sequence[str]]
    total: Sequence[str] = ()
    pieces: int | None = None
    each: int | None = None
    nominal: str | None = None
    before: str | None = None
    after: str | None = None
    temperature: str | None = None
    steps: Sequence[str] = ()

    @property
    def is_empty(self) -> bool:
        return not self.readings and not self.total


class NotWritten(Exception):
    """Readings that cannot stand in one record: what is wrong, and the remedy."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(f"{what}: {remedy}")
        self.what = what
        self.remedy = remedy


def quantity(text: str, dimension: str, unit: str, where: str) -> Quantity:
    """A number as it was entered. Raises NotWritten."""
    try:
        return read_quantity(text, dimension, unit)
    except QuantityError as error:
        raise NotWritten(f"{where}: {error.what}", error.remedy) from None


def fields(plan: Plan, with_: str, entered: Entered) -> dict[str, Value]:
    """The fields of the record, beside who made it and when. Raises NotWritten."""

    def read(texts: Sequence[str], where: str) -> Value:
        values: list[Value] = [quantity(text, plan.dimension, entered.unit, where) for text in texts]
        return values[0] if len(values) == 1 else values

    result: dict[str, Value] = {"with": with_, "what": plan.what}
    if entered.temperature is not None:
        result["temperature"] = _temperature(entered.temperature)
    if entered.nominal is not None and (entered.before is not None or entered.after is not None):
        stated = {"nominal": entered.nominal, "before": entered.before, "after": entered.after}
        result["check_weight"] = {name: read([text], name) for name, text in stated.items() if text is not None}
    if entered.total:
        lot: dict[str, Value] = {"total": read(entered.total, "total"), "pieces": entered.pieces or 1}
        if plan.lot is not None and entered.each is not None:
            lot[plan.lot.each_name] = entered.each
        result["lot"] = lot
    else:
        result["readings"] = _nested({place: read(texts, place) for place, texts in entered.readings.items()})
    if entered.steps:
        result["asked"] = [quantity(text, plan.dimension, entered.unit, "--asked") for text in entered.steps]
    return result


def _temperature(text: str) -> Quantity:
    return quantity(text, "temperature", "degC", "--temperature")


def _nested(readings: Mapping[str, Value]) -> dict[str, Value]:
    """`1/front` → 62.180 as the ledger has it, `1: {front: 62.180}`. Raises NotWritten."""
    nested: dict[str, Value] = {}
    for name, value in readings.items():
        *path, last = name.split("/")
        inner = nested
        for step in path:
            deeper = inner.setdefault(step, {})
            if not isinstance(deeper, dict):
                raise NotWritten(f"{step} is read both whole and divided", "enter it one way")
            inner = deeper
        if last in inner:
            raise NotWritten(f"{name} is read both whole and divided", "enter it one way")
        inner[last] = value
    return nested


TYPED = "(typed)"  # stands for a file where a reading is in none yet


def place_of(places: Sequence[str], name: str) -> Where:
    """Where a reading that is in no file yet is taken to be: a line for each piece or whole place, a column for each
    of its parts."""
    if name not in places:
        return Where(TYPED, 1, 1)
    whole = [each.partition("/")[0] for each in places]
    return Where(TYPED, 2 + whole.index(name.partition("/")[0]), 1 + places.index(name))


def with_session(build: Build, plan: Plan, with_: str, entered: Entered) -> Build:
    """The build as it would be with the session in it. Raises NotWritten."""
    names = list(entered.readings)
    top = Where(TYPED, 1, 1)

    def read(texts: Sequence[str], name: str) -> Reading:
        values = tuple(quantity(text, plan.dimension, entered.unit, name) for text in texts)
        where = place_of(names, name)
        return Reading(values, where, where)

    if plan.file == "clearances":
        spots = []
        for name, texts in entered.readings.items():
            place, along, within = (*name.split("/"), "", "")[:3]
            spots.append(Spot(place, along, within, read(texts, name)))
        measured = MeasuringSession(
            where=top,
            id="M0",
            with_=with_,
            what=plan.what,
            where_what=top,
            temperature=_temperature(entered.temperature) if entered.temperature is not None else None,
            spots=tuple(spots),
            asked=tuple(quantity(text, plan.dimension, entered.unit, "--asked") for text in entered.steps),
        )
        return build._replace(clearances=(*build.clearances, measured))
    check = None
    if entered.nominal is not None:
        seen = [
            quantity(text, "mass", entered.unit, "check weight") if text is not None else None
            for text in (entered.before, entered.after)
        ]
        check = CheckWeight(quantity(entered.nominal, "mass", entered.unit, "check weight"), *seen)
    lot = Lot(read(entered.total, "total"), entered.pieces or 1, entered.each or 1, True) if entered.total else None
    weighed = WeighingSession(
        where=top,
        id="W0",
        with_=with_,
        what=plan.what,
        where_what=top,
        check_weight=check,
        readings={name: read(texts, name) for name, texts in entered.readings.items()},
        lot=lot,
    )
    return build._replace(weighings=(*build.weighings, weighed))


def name_of_reading(build: Build, file: str, where: Where) -> str | None:
    """The piece or place of the last session of a file whose reading stands there."""
    if file == "weighings":
        named = list(build.weighings[-1].readings.items())
    else:
        named = [(_name(spot), spot.reading) for spot in build.clearances[-1].spots]
    return next((name for name, reading in named if where in (reading.where, reading.where_name)), None)


def _name(spot: Spot) -> str:
    return "/".join(filter(None, (spot.place, spot.along, spot.within)))


def is_recorded(build: Build, plan: Plan, by: str, with_: str, taken: str, entered: Entered) -> str | None:
    """The id of the record that this very session has become already: of the same minute, with the same digits."""
    if plan.file == "clearances":
        read = {name: list(texts) for name, texts in entered.readings.items()}
        for session in build.clearances:
            spots = {_name(spot): _texts(spot.reading) for spot in session.spots}
            if _same(session, plan.what, by, with_, taken) and spots == read:
                return session.id
        return None
    for each in build.weighings:
        readings = {name: _texts(reading) for name, reading in each.readings.items()}
        if each.lot is not None:
            readings = {"": _texts(each.lot.total)}
        wanted = {"": list(entered.total)} if entered.total else {n: list(t) for n, t in entered.readings.items()}
        if _same(each, plan.what, by, with_, taken) and readings == wanted:
            return each.id
    return None


def _texts(reading: Reading) -> list[str]:
    """The readings in the digits that were typed: a file in another unit has it behind them."""
    return [value.digits for value in reading.values]


def _same(session: WeighingSession | MeasuringSession, what: str, by: str, with_: str, taken: str) -> bool:
    own = session.taken.text if session.taken else None
    return (session.what, session.by, session.with_, own) == (what, by, with_, taken)
