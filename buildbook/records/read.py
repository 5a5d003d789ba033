"""From trees that passed their schema to records. What a schema cannot see in a single value is found here."""

from collections.abc import Container, Iterator, Mapping
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from buildbook.quantities import DIMENSIONS, Quantity, QuantityError, read_number, read_quantity
from buildbook.records.finding import Finding, Where
from buildbook.records.model import (
    LENGTH_LIMITS,
    MASS_LIMITS,
    MEASUREMENT_KINDS,
    RATIO_LIMITS,
    Balance,
    Bit,
    Build,
    Change,
    CheckWeight,
    CountedAngles,
    CylinderSet,
    Decision,
    Engine,
    Instrument,
    KeptCoefficients,
    Limit,
    Lock,
    Lot,
    MeasuringSession,
    Pairings,
    Part,
    Person,
    Reading,
    Reopening,
    SetBobweights,
    Shop,
    SignedFigure,
    SignOff,
    SpelledLayout,
    SpelledThrow,
    Spin,
    SpinPlane,
    SpinReading,
    Spins,
    Spot,
    StampedId,
    Step,
    Taken,
    WeighingSession,
    Window,
)
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

# of one kind in one engine; each has a name, so a slip of the keyboard would cost a wait
MOST_PIECES = 1000

BUILD_FILES = ("build", "parts", "weighings", "pairings", "spins", "clearances")

# A bare angle or speed needs no unit stated: there is only one of each.
_ONLY_UNITS = {dimension: units[0] for dimension, units in DIMENSIONS.items() if len(units) == 1}

_NOWHERE: dict[str, TextNode] = {}


class _File:
    """One file's tree, its units, and the findings met while reading it."""

    def __init__(self, root: MapNode | None, top: Where, findings: list[Finding]) -> None:
        self.root = root or MapNode(_NOWHERE, {}, False, top, 0, 0)
        self.findings = findings
        stated = {name: node.text for name, node in self.map(self.root, "units") if isinstance(node, TextNode)}
        self.units = _ONLY_UNITS | stated

    @staticmethod
    def map(parent: MapNode, key: str) -> Iterator[tuple[str, Node]]:
        node = parent.get(key)
        return iter(node.items()) if isinstance(node, MapNode) else iter(())

    @staticmethod
    def maps(parent: MapNode, key: str) -> Iterator[MapNode]:
        node = parent.get(key)
        items = node.items if isinstance(node, ListNode) else ()
        return (item for item in items if isinstance(item, MapNode))

    @staticmethod
    def text(parent: MapNode, key: str) -> str | None:
        node = parent.get(key)
        return node.text if isinstance(node, TextNode) and not node.is_null else None

    def number(self, parent: MapNode, key: str) -> Decimal | None:
        node = parent.get(key)
        if not isinstance(node, TextNode) or not node.is_number:
            return None
        try:
            return read_number(node.text)
        except QuantityError as error:
            why = "No count and no share has so many digits."
            self.findings.append(Finding("error", "quantity", node.where, error.what, why, error.remedy))
            return None

    def texts(self, parent: MapNode, key: str) -> tuple[str, ...]:
        node = parent.get(key)
        items = node.items if isinstance(node, ListNode) else ()
        return tuple(item.text for item in items if isinstance(item, TextNode))

    def sub(self, parent: MapNode, key: str) -> MapNode | None:
        node = parent.get(key)
        return node if isinstance(node, MapNode) else None

    def quantity(self, node: Node | None, dimension: str) -> Quantity | None:
        if not isinstance(node, TextNode) or node.is_null:
            return None
        try:
            return read_quantity(node.text, dimension, self.units.get(dimension))
        except QuantityError as error:
            why = "Without its unit, nobody could say later what was measured."
            self.findings.append(Finding("error", "quantity", node.where, error.what, why, error.remedy))
            return None

    def quantities(
        self, node: Node | None, dimension: str, names: Container[str] | None = None
    ) -> Iterator[tuple[str, Quantity]]:
        for name, inner in node.items() if isinstance(node, MapNode) else ():
            value = self.quantity(inner, dimension) if names is None or name in names else None
            if value is not None:
                yield name, value

    def any_quantity(self, parent: MapNode, key: str) -> Quantity | None:
        """A quantity of whatever dimension its own unit has, as instruments state it: "0.1 g", "0.001 mm"."""
        text = self.text(parent, key)
        for dimension in DIMENSIONS if text else ():
            try:
                return read_quantity(str(text), dimension, None)
            except QuantityError:
                continue
        if text:
            why = "What a reading of this instrument is worth is worked out from it."
            what = f"'{text}' is not a number with a unit"
            remedy = 'write it like "0.1 g" or "0.001 mm"'
            self.findings.append(Finding("error", "quantity", parent.values[key].where, what, why, remedy))
        return None

    def reading(self, parent: MapNode, name: str, dimension: str = "mass") -> Reading:
        node = parent.values[name]
        inner = node.items if isinstance(node, ListNode) else (node,)
        values = (self.quantity(item, dimension) for item in inner)
        return Reading(tuple(value for value in values if value is not None), node.where, parent.where_of(name))

    def readings(self, parent: MapNode, key: str) -> dict[str, Reading]:
        node = self.sub(parent, key)
        return {name: self.reading(node, name) for name in node.values} if node else {}

    def taken(self, parent: MapNode, key: str = "taken") -> Taken | None:
        text = self.text(parent, key)
        if text is None:
            return None
        try:
            instant = datetime.fromisoformat(text)
        except ValueError:
            what = f"'{text}' is not a date that exists"
            why = "The order of the record rests on its dates."
            remedy = "write it like 2026-10-03 or 2026-10-03T09:10+01:00"
            self.findings.append(Finding("error", "date", parent.values[key].where, what, why, remedy))
            return None
        return Taken(text, instant if instant.tzinfo else instant.replace(tzinfo=UTC))

    def entry(self, node: MapNode) -> dict[str, Any]:
        """The fields that every record has, for the record's own constructor."""
        return {
            "where": node.where,
            "id": self.text(node, "id"),
            "taken": self.taken(node),
            "by": self.text(node, "by"),
            "with_": self.text(node, "with"),
            "note": self.text(node, "note"),
            "void": self.text(node, "void"),
            "places": {name: node.where_of(name) for name in ("taken", "by", "with") if name in node.values},
        }

    def spots(self, parent: MapNode, dimension: str, path: tuple[str, ...] = ()) -> Iterator[Spot]:
        for name, node in parent.items():
            if isinstance(node, MapNode):
                yield from self.spots(node, dimension, (*path, name))
            else:
                place, along, within = (*path, name, "", "")[:3]
                yield Spot(place, along, within, self.reading(parent, name, dimension))


def read_shop(root: MapNode | None, top: Where, findings: list[Finding]) -> Shop:
    file = _File(root, top, findings)
    people = {
        name: Person(file.text(node, "name"), file.text(node, "email"))
        for name, node in file.map(file.root, "people")
        if isinstance(node, MapNode)
    }
    instruments = {
        name: Instrument(
            file.text(node, "kind") or "other",
            file.text(node, "description"),
            file.any_quantity(node, "resolution"),
            file.any_quantity(node, "repeatability"),
            file.any_quantity(node, "uncertainty"),
            file.any_quantity(node, "capacity"),
            tuple(
                (file.taken(each, "calibrated"), file.taken(each, "calibration_due"))
                for each in (node, *file.maps(node, "recalibrated"))
            ),
        )
        for name, node in file.map(file.root, "instruments")
        if isinstance(node, MapNode)
    }
    shop = file.sub(file.root, "shop")
    bits = [
        Bit(diameter, file.quantity(node.get("point"), "angle"))
        for node in file.maps(file.root, "bits")
        if (diameter := file.quantity(node.get("diameter"), "length"))
    ]
    coefficients = [
        KeptCoefficients(
            file.text(node, "id") or "",
            {
                plane: {
                    name: (file.number(answer, "amount") or Decimal(0), file.number(answer, "angle") or Decimal(0))
                    for name, answer in column.items()
                    if isinstance(answer, MapNode)
                }
                for plane, column in file.map(node, "planes")
                if isinstance(column, MapNode)
            },
        )
        for node in file.maps(file.root, "coefficients")
    ]
    preferred = {name: node.text for name, node in file.map(file.root, "preferred_units") if isinstance(node, TextNode)}
    name = file.text(shop, "name") if shop else None
    return Shop(name, people, instruments, tuple(bits), tuple(coefficients), preferred, top)


def read_engine(name: str, root: MapNode | None, top: Where, findings: list[Finding]) -> Engine:
    file = _File(root, top, findings)
    owner = file.sub(file.root, "owner") or MapNode(_NOWHERE, {}, False, top, 0, 0)
    return Engine(
        name=name,
        description=file.text(file.root, "description"),
        family=file.text(file.root, "family"),
        owner_ref=file.text(owner, "ref"),
        owner_name=file.text(owner, "name"),
        serials={
            part: node.text
            for part, node in file.map(file.root, "serials")
            if isinstance(node, TextNode) and not node.is_null
        },
        layout=_layout(file),
        bore=file.quantity(file.root.get("bore"), "length"),
        stroke=file.quantity(file.root.get("stroke"), "length"),
        rod_length=file.quantity(file.root.get("rod_length"), "length"),
        bore_spacing=file.quantity(file.root.get("bore_spacing"), "length"),
        bank_offset=file.quantity(file.root.get("bank_offset"), "length"),
        main_bearings=_count(file, file.root, "main_bearings"),
        main_journal=file.quantity(file.root.get("main_journal"), "length"),
        rod_journal=file.quantity(file.root.get("rod_journal"), "length"),
        firing_order=file.texts(file.root, "firing_order"),
        where=top,
        where_layout=file.root.where_of("layout"),
        where_firing_order=file.root.where_of("firing_order"),
    )


def _layout(file: _File) -> str | SpelledLayout | None:
    node = file.root.get("layout")
    if not isinstance(node, MapNode):
        return file.text(file.root, "layout")
    throws = {}
    for name, throw in file.map(node, "throws"):
        angle = file.quantity(throw.get("angle"), "angle") if isinstance(throw, MapNode) else None
        if not isinstance(throw, MapNode) or angle is None:
            continue
        cylinders: dict[str, tuple[str, Quantity | None]] = {}
        for cylinder, place in file.map(throw, "cylinders"):
            if isinstance(place, MapNode):
                pin_angle = file.quantity(place.get("angle"), "angle")
                cylinders[cylinder] = (file.text(place, "bank") or "", pin_angle)
            elif isinstance(place, TextNode):
                cylinders[cylinder] = (place.text, None)
        throws[name] = SpelledThrow(angle, cylinders)
    return SpelledLayout(dict(file.quantities(node.get("banks"), "angle")), throws)


def read_build(
    name: str,
    shop: Shop,
    engine: Engine,
    roots: Mapping[str, MapNode | None],
    files: Mapping[str, Where],
    findings: list[Finding],
) -> Build:
    """The build whose files' trees are `roots`; a file that is not there reads as one with nothing in it yet."""
    read = {kind: _File(roots.get(kind), files[kind], findings) for kind in BUILD_FILES}
    build = read["build"]
    balance = build.sub(build.root, "balance") or MapNode(_NOWHERE, {}, False, files["build"], 0, 0)
    return Build(
        name=name,
        shop=shop,
        engine=engine,
        purpose=build.text(build.root, "purpose"),
        use=build.text(build.root, "use"),
        follows=build.text(build.root, "follows"),
        opened=build.taken(build.root, "opened"),
        balance=Balance(
            build.number(balance, "factor"),
            build.quantity(balance.get("oil"), "mass"),
            build.text(balance, "grade"),
            build.quantity(balance.get("max_speed"), "speed"),
            build.number(balance, "leave"),
            build.root.where_of("balance"),
        ),
        limits={
            name: _limit(build, name, node)
            for name, node in build.map(build.root, "limits")
            if isinstance(node, MapNode)
        },
        parts=tuple(_parts(read["parts"])),
        weighings=tuple(_weighings(read["weighings"])),
        pairings=_pairings(read["pairings"]),
        spins=_spins(read["spins"], files["spins"]),
        intake_closes=build.quantity(build.root.get("intake_closes"), "angle"),
        clearances=tuple(_measurements(read["clearances"])),
        sign_offs=tuple(_sign_offs(build)),
        reopened=tuple(_reopened(build)),
        files=files,
    )


_BOUNDS = ("min", "max", "within", "front", "rear")


def _limit(file: _File, name: str, node: MapNode) -> Limit:
    per_mm = {
        bound: share
        for bound, inner in node.items()
        if isinstance(inner, MapNode) and (share := file.number(inner, "per_mm")) is not None
    }
    ratios: dict[str, Decimal] = {}
    bounds: dict[str, Quantity] = {}
    for bound in _BOUNDS:
        if bound in per_mm or bound not in node.values:
            continue
        if name in RATIO_LIMITS:
            ratio = file.number(node, bound)
            ratios |= {bound: ratio} if ratio is not None else {}
            continue
        dimension = "mass" if name in MASS_LIMITS else "length" if name in LENGTH_LIMITS else None
        value = file.quantity(node.get(bound), dimension) if dimension else file.any_quantity(node, bound)
        bounds |= {bound: value} if value is not None else {}
    return Limit(bounds, node.where, per_mm, ratios, file.text(node, "source"))


def _count(file: _File, node: MapNode, key: str) -> int | None:
    """A count, unless it is more than any engine has of anything."""
    count = file.number(node, key)
    if count is not None and count > MOST_PIECES:
        what, why = f"{key} is {count}", f"No engine has more than {MOST_PIECES} of anything."
        remedy = "write how many there are"
        file.findings.append(Finding("error", "out-of-range", node.values[key].where, what, why, remedy))
        return None
    return int(count) if count is not None else None


# What makers state of a piece is a weight, except for these.
_STATED_SIZES = {
    "diameter": "length",
    "length": "length",
    "thickness": "length",
    "compression_height": "length",
    "dish": "volume",
    "chamber": "volume",
}


def _stated(file: _File, node: MapNode) -> Iterator[tuple[str, Quantity]]:
    for name, inner in file.map(node, "stated"):
        value = file.quantity(inner, _STATED_SIZES.get(name, "mass")) if name != "note" else None
        if value is not None:
            yield name, value


def _parts(file: _File) -> Iterator[Part]:
    for node in file.maps(file.root, "parts"):
        ids = node.get("ids")
        yield Part(
            kind=file.text(node, "kind") or "",
            ids=tuple(
                StampedId(item.text, item.where)
                for item in (ids.items if isinstance(ids, ListNode) else ())
                if isinstance(item, TextNode)
            ),
            count=_count(file, node, "count"),
            maker=file.text(node, "maker"),
            number=file.text(node, "number"),
            state=file.text(node, "state"),
            material=file.text(node, "material"),
            undersize=file.quantity(node.get("undersize"), "length"),
            uses=_count(file, node, "uses"),
            mass=file.quantity(node.get("mass"), "mass"),
            density=file.quantity(node.get("density"), "density"),
            stated=dict(_stated(file, node)),
            balanced_externally=file.texts(node, "balanced_externally"),
            where=node.where,
        )


def _weighings(file: _File) -> Iterator[WeighingSession]:
    for node in file.maps(file.root, "sessions"):
        check = file.sub(node, "check_weight")
        nominal = file.quantity(check.get("nominal"), "mass") if check else None
        yield WeighingSession(
            **file.entry(node),
            what=file.text(node, "what") or "",
            where_what=node.where_of("what"),
            check_weight=CheckWeight(
                nominal, file.quantity(check.get("before"), "mass"), file.quantity(check.get("after"), "mass")
            )
            if check and nominal
            else None,
            readings=file.readings(node, "readings"),
            lot=_lot(file, node),
        )


def _lot(file: _File, node: MapNode) -> Lot | None:
    lot = file.sub(node, "lot")
    if lot is None or lot.get("total") is None:
        return None
    pieces = file.number(lot, "pieces")
    per_cylinder = file.number(lot, "per_cylinder") or file.number(lot, "per_rod")
    return Lot(file.reading(lot, "total"), int(pieces or 1), int(per_cylinder or 1), per_cylinder is not None)


def _measurements(file: _File) -> Iterator[MeasuringSession]:
    for node in file.maps(file.root, "sessions"):
        what = file.text(node, "what") or ""
        kind = MEASUREMENT_KINDS.get(what)
        readings = file.sub(node, "readings") if kind else None
        yield MeasuringSession(
            **file.entry(node),
            what=what,
            where_what=node.where_of("what"),
            temperature=file.quantity(node.get("temperature"), "temperature"),
            spots=tuple(file.spots(readings, kind.dimension)) if readings and kind else (),
            asked=file.reading(node, "asked", kind.dimension).values if kind and node.get("asked") else (),
        )


def _pairings(file: _File) -> Pairings:
    root = file.root
    locks = tuple(
        Lock(
            pieces=_pieces(node),
            cylinder=file.text(node, "cylinder"),
            because=file.text(node, "because"),
            where=node.where,
        )
        for node in file.maps(root, "locked")
    )
    first = [root] if root.get("cylinders") is not None else []
    decisions = [_decision(file, node) for node in [*first, *file.maps(root, "revised")]]
    return Pairings(locks, tuple(decisions))


def _decision(file: _File, node: MapNode) -> Decision:
    decided = file.sub(node, "decided") or MapNode(_NOWHERE, {}, False, node.where, 0, 0)
    fields = file.entry(decided)
    fields["id"] = file.text(node, "id")
    return Decision(
        **fields,
        how=file.text(decided, "how"),
        from_=file.texts(decided, "from"),
        because=file.text(node, "because"),
        cylinders={
            cylinder: CylinderSet(_pieces(pieces), pieces.where)
            for cylinder, pieces in file.map(node, "cylinders")
            if isinstance(pieces, MapNode)
        },
    )


def _pieces(node: MapNode) -> dict[str, str]:
    names = {"rod", "piston", "pin", "ring_set"}
    pieces = {kind: value.text for kind, value in node.items() if kind in names and isinstance(value, TextNode)}
    both = node.get("piston_with_pin")
    if isinstance(both, TextNode) and "+" in both.text:
        pieces["piston"], pieces["pin"] = both.text.split("+", 1)
    return pieces


def _bobweights(file: _File) -> SetBobweights | None:
    node = file.sub(file.root, "bobweights")
    if node is None:
        return None
    return SetBobweights(
        **file.entry(node),
        target=file.quantity(node.get("target"), "mass"),
        set=file.readings(node, "set"),
    )


# The numbers of a change to what spins, and the dimension of each.
CHANGE_NUMBERS = {
    "angle": "angle",
    "point": "angle",
    "diameter": "length",
    "depth": "length",
    "length": "length",
    "radius": "length",
    "position": "length",
    "density": "density",
    "amount": "mass",
}
CHANGE_WORDS = ("plane", "depth_to", "along", "retained_by", "part", "step")
CHANGES = ("drill", "plug", "grind", "add", "fit", "remove", "index")


def _spins(file: _File, top: Where) -> Spins:
    root = file.root
    angles = file.sub(root, "angles")
    planes = file.sub(root, "planes")
    return Spins(
        angles=CountedAngles(
            file.text(angles, "zero"),
            file.text(angles, "positive") or "with_rotation",
            file.text(angles, "reading") or "heavy_side",
            angles.where,
        )
        if angles
        else None,
        planes={
            name: SpinPlane(
                file.quantity(node.get("position"), "length"),
                file.quantity(node.get("radius"), "length"),
                tuple(_windows(file, node)),
                node.where,
            )
            for name, node in (planes.items() if planes else ())
            if isinstance(node, MapNode)
        },
        bearings=dict(file.quantities(root.get("bearings"), "length", {"front", "rear"})),
        mass_centre=file.quantity(root.get("mass_centre"), "length"),
        bobweights=_bobweights(file),
        steps=tuple(_step(file, node) for node in file.maps(root, "steps")),
        where=top,
    )


def _windows(file: _File, plane: MapNode) -> Iterator[Window]:
    for node in file.maps(plane, "windows"):
        start, end = file.quantity(node.get("from"), "angle"), file.quantity(node.get("to"), "angle")
        depth, width, radius, position = (
            file.quantity(node.get(name), "length") for name in ("depth", "width", "radius", "position")
        )
        if start is not None and end is not None:
            yield Window(start, end, depth, width, radius, position, node.where)


def _step(file: _File, node: MapNode) -> Step:
    spin = file.sub(node, "spin")
    changes = [(kind, change) for kind in CHANGES if (change := file.sub(node, kind)) is not None]
    return Step(
        **file.entry(node),
        spin=_spin(file, spin) if spin is not None else None,
        change=_change(file, *changes[0]) if changes else None,
    )


def _spin(file: _File, node: MapNode) -> Spin:
    readings = {}
    for plane in ("front", "rear"):
        reading = file.sub(node, plane)
        amount = file.quantity(reading.get("amount"), "mass") if reading else None
        angle = file.quantity(reading.get("angle"), "angle") if reading else None
        if reading is not None and amount is not None and angle is not None:
            readings[plane] = SpinReading(amount, angle, reading.where)
    return Spin(file.quantity(node.get("speed"), "speed"), file.texts(node, "carrying"), readings)


def _change(file: _File, kind: str, node: MapNode) -> Change:
    numbers = {name: file.quantity(node.get(name), dimension) for name, dimension in CHANGE_NUMBERS.items()}
    words = {name: file.text(node, name) for name in CHANGE_WORDS}
    return Change(
        kind,
        {name: number for name, number in numbers.items() if number is not None},
        {name: word for name, word in words.items() if word is not None},
        node.where,
    )


def _sign_offs(file: _File) -> Iterator[SignOff]:
    for node in file.maps(file.root, "sign_offs"):
        figures = file.sub(node, "figures")
        yield SignOff(
            **file.entry(node),
            stage=file.text(node, "stage") or "",
            version=file.text(node, "version"),
            digest=file.text(node, "digest"),
            figures=dict(_signed(figures)) if figures else {},
            units=file.units,
        )


def _signed(node: MapNode, path: tuple[str, ...] = ()) -> Iterator[tuple[str, SignedFigure]]:
    for name, inner in node.items():
        if isinstance(inner, MapNode):
            yield from _signed(inner, (*path, name))
        elif isinstance(inner, TextNode):
            yield ".".join((*path, name)), SignedFigure(inner.text, inner.where)


def _reopened(file: _File) -> Iterator[Reopening]:
    for node in file.maps(file.root, "reopened"):
        yield Reopening(
            **file.entry(node), sign_off=file.text(node, "sign_off"), because=file.text(node, "because") or ""
        )
