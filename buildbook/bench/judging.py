"""Whether a number may be taken as it was typed: by the rules of `check`, asked before it is written, not after."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from buildbook.bench.entry import Judged, Session, Slot
from buildbook.bench.fellows import Unclear, as_written, is_near, middle
from buildbook.bench.plan import Plan
from buildbook.bench.record import TYPED, Entered, NotWritten, place_of, with_session
from buildbook.figures import Figures, fit_rules, rules, slip_rules, work_out
from buildbook.quantities import DIMENSIONS, UNITS, QuantityError, decimals_for, read_quantity
from buildbook.records.finding import Finding
from buildbook.records.model import MEASUREMENT_KINDS, Build

# Those rules that one reading alone can offend, and the builder at the scale can still put right.
_OF_WEIGHINGS = (
    rules.weights_are_more_than_nothing,
    rules.weights_come_from_a_scale,
    rules.scales_carry_what_they_read,
    rules.digits_are_those_of_the_scale,
    rules.readings_are_among_their_fellows,
    rules.ends_add_up_to_the_rod,
    rules.piston_and_pin_add_up,
)

_EITHER = "no-clearance"  # a hole smaller than what runs in it: this reading is to blame, or the one of the other part


def _sense(build: Build, figures: Figures) -> Iterator[Finding]:
    """Of what follows from the readings, what can be put right by reading again."""
    return (
        each for each in fit_rules.figures_make_sense(build, figures) if each.rule in {"no-form", "far-off", _EITHER}
    )


_OF_MEASUREMENTS = (
    fit_rules.readings_can_be,
    fit_rules.gauges_read_what_they_are_said_to,
    slip_rules.sizes_are_of_this_engine,
    _sense,
)

# How far off a number may be before it is asked for again, as a share of what it should be about. Our choice: it costs
# a few keys, so it is finer than what `check` calls gross; a diameter 0.1 mm off in 100 mm should be read twice anyway.
_APART = {"mass": Fraction(1, 20), "volume": Fraction(1, 5)}
_DIAMETERS, _GAPS = Fraction(1, 1000), Fraction(1, 2)
_CHECK_WEIGHT = Fraction(1, 100)  # a check weight that reads a hundredth off was another weight, or another number


@dataclass(frozen=True, slots=True)
class Bench:
    """What a session is judged with: the build as it is, what is asked, on which instrument, in which unit, and how
    warm it is."""

    build: Build
    plan: Plan
    with_: str
    unit: str
    temperature: str | None = None

    @property
    def decimals(self) -> int | None:
        """How many digits the instrument shows after the point in this unit, where shop.yaml says it."""
        instrument = self.build.shop.instruments.get(self.with_)
        step = instrument.resolution if instrument else None
        if step is None or step.dimension != self.plan.dimension:
            return None
        return decimals_for(step.worth(self.unit)) if step.unit == self.unit else None

    def in_unit(self, value: Fraction) -> Fraction:
        """A value in the first unit of its dimension, in the unit of the session."""
        return value * UNITS[DIMENSIONS[self.plan.dimension][0]].factor / UNITS[self.unit].factor

    def values(self, session: Session, leave_out: Slot | None = None) -> dict[str, Fraction]:
        """Place → the mean of what was read there [unit], of this session and of others of the kind in this build."""
        found: dict[str, list[Fraction]] = {}
        for slot, text in session.read.items():
            if slot.role == "reading" and slot != leave_out:
                found.setdefault(slot.place, []).append(self._worth(text))
        means = {place: sum(values, Fraction(0)) / len(values) for place, values in found.items()}
        return {place: self.in_unit(value) for place, value in self.plan.fellows.items()} | means

    def _worth(self, text: str) -> Fraction:
        return read_quantity(text, self.plan.dimension, self.unit).worth(self.unit)

    def reference(self, session: Session, slot: Slot) -> Fraction | None:
        """What a reading is expected to be about [unit]: what was read at this place already, or the middle of its
        fellows, or what is known of it from before."""
        if slot.role in {"before", "after"}:
            nominal = session.of("nominal")
            return self._worth(nominal) if nominal is not None else None
        if slot.role == "total":
            read = session.read.get(Slot("total")) if slot.nth > 1 else None
            known = self.plan.expected.get("")
            return self._worth(read) if read is not None else self.in_unit(known) if known is not None else None
        if slot.role != "reading":
            return None
        values = self.values(session, leave_out=slot)
        if slot.place in values:
            return values[slot.place]
        expected = {place: self.in_unit(value) for place, value in self.plan.expected.items()}
        return middle(list(values.values())) or expected.get(slot.place) or middle(list(expected.values()))

    def entered(self, session: Session) -> Entered:
        """What a session holds so far."""
        lot, pieces, each = self.plan.lot, session.of("pieces"), session.of("each")
        return Entered(
            self.unit,
            session.readings(),
            session.readings("total").get("", ()),
            int(pieces) if pieces is not None else None,
            int(each) if each is not None else lot.each if lot else None,
            session.of("nominal"),
            session.of("before"),
            session.of("after"),
            self.temperature,
        )

    def __call__(self, session: Session, slot: Slot, typed: str) -> Judged:
        if slot.role in {"pieces", "each"}:
            return _count(typed)
        reference = self.reference(session, slot)
        try:
            text = as_written(typed, self.decimals, reference)
            value = read_quantity(text, self.plan.dimension, self.unit)
        except Unclear:
            what = f"{typed} could be {typed.replace(',', '.')} or {typed.replace(',', '')}"
            return Judged(typed, refused=what, remedy="type it with a point")
        except QuantityError as error:
            return Judged(typed, refused=error.what, remedy=error.remedy)
        if self.plan.dimension == "mass" and value.number <= 0:
            return Judged(text, refused=f"{text} is no weight", remedy="type what the scale shows; - alone goes back")
        refused, doubt = self._by_the_rules(session, slot, text)
        if refused is not None:
            return Judged(text, refused=refused.what, remedy=refused.remedy)
        if reference is not None and not is_near(value.worth(self.unit), reference, self._share(slot)):
            return Judged(text, doubt=f"{text} {self.unit} is far off: about {_about(reference)} was to be expected")
        if slot.role in {"total", "before", "after"} and len(text.partition(".")[2]) < (self.decimals or 0):
            return Judged(text, doubt=f"{text} has fewer digits than {self.with_} shows")
        return Judged(text, doubt=doubt.what if doubt is not None else "")

    def _share(self, slot: Slot) -> Fraction:
        if slot.role in {"before", "after"}:
            return _CHECK_WEIGHT
        kind = MEASUREMENT_KINDS.get(self.plan.what)
        if kind is not None and kind.made_of is not None and not self.plan.what.startswith("cam"):
            return _DIAMETERS
        return _APART.get(self.plan.dimension, _GAPS)

    def _by_the_rules(self, session: Session, slot: Slot, text: str) -> tuple[Finding | None, Finding | None]:
        """The first finding that keeps the reading from being taken, and the first that puts it in doubt, of those that
        are about its own place."""
        if slot.role in {"nominal", "before", "after"}:
            return self._check_weight(session, slot, text)
        entered = self.entered(session)
        if slot.role == "total":
            entered = entered._replace(total=[*entered.total, text])
        else:
            others = [own for each, own in session.read.items() if each[:2] == slot[:2] and each != slot]
            entered = entered._replace(readings={**entered.readings, slot.place: [*others, text]})
        try:
            build = with_session(self.build, self.plan, self.with_, entered)
        except NotWritten:  # another number is to blame, and was taken all the same
            return None, None
        figures = work_out(build)
        asked = _OF_WEIGHINGS if self.plan.file == "weighings" else _OF_MEASUREMENTS
        found = [finding for rule in asked for finding in rule(build, figures)]
        lines = {place_of(list(entered.readings), slot.place).line, place_of((), "").line}
        mine = [each for each in found if each.where.file == TYPED and each.where.line in lines]
        refused = [each for each in mine if each.severity == "error" and each.rule != _EITHER]
        doubts = [each for each in mine if each.severity == "warning" or each.rule == _EITHER]
        doubts.sort(key=lambda each: each.rule == "digits")  # what is far off is said first
        return next(iter(refused), None), next(iter(doubts), None)

    def _check_weight(self, session: Session, slot: Slot, text: str) -> tuple[Finding | None, Finding | None]:
        if slot.role == "nominal":
            return None, None
        # only this reading of it: what was found of the other has been said
        entered = self.entered(session)._replace(readings={}, total=(), before=None, after=None)
        entered = entered._replace(before=text) if slot.role == "before" else entered._replace(after=text)
        build = self.build._replace(weighings=())
        build = with_session(build, self.plan, self.with_, entered)
        found = list(rules.scale_held_its_zero(build, work_out(build)))
        return None, found[0] if found else None


def _about(value: Fraction) -> str:
    return f"{float(value):.5g}"


def _count(typed: str) -> Judged:
    if typed.isascii() and typed.isdecimal() and 0 < int(typed) < 1000:
        return Judged(str(int(typed)))
    return Judged(
        typed, refused=f"{typed[:20]} is no number of pieces", remedy="type how many there are, in whole pieces"
    )


def brought_by(build: Build, plan: Plan, with_: str, entered: Entered) -> Mapping[str, list[Finding]]:
    """What `check` would say of a session that is in no file yet: place → findings; of the session as a whole, by `""`.

    Raises NotWritten.
    """
    after = with_session(build, plan, with_, entered)
    figures = work_out(after)
    places = {place_of(list(entered.readings), name): name for name in reversed(list(entered.readings))}
    found: dict[str, list[Finding]] = {}
    for finding in figures.thorough_findings:
        if finding.where.file == TYPED and finding.rule != "unsigned":
            found.setdefault(places.get(finding.where, ""), []).append(finding)
    return found
