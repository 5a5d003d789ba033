"""What is left to do on a build, in the order of the job: which command does it, and what it waits for."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from buildbook.balance import shaking
from buildbook.figures.audit_rules import records_of, reopening_of, sealed_by
from buildbook.figures.balance import PLANES, NoBalance
from buildbook.figures.cylinders import not_weighed
from buildbook.figures.fits import FIT_KINDS, RINGS, unmeasured_limits
from buildbook.figures.throws import unstated_sizes
from buildbook.quantities import fixed, in_numbered_order
from buildbook.records.model import LAST_STAGE, MEASUREMENT_KINDS, WEIGHING_KINDS, Build
from buildbook.records.read import BUILD_FILES

if TYPE_CHECKING:
    from buildbook.figures import Figures
    from buildbook.figures.fits import Fit

# Without these an engine has not been measured, whatever else has.
ESSENTIAL = ("main_clearance", "rod_clearance", "piston_clearance", "top_ring_gap")

# Places that an engine has whether its pieces are listed or not.
_OF_THE_ENGINE = {"main", "cam", "throw", "cylinder", "bank", "fastener"}

_NOTHING = 1e-9  # what rounding leaves of a force of 1, or of a moment


class Task(NamedTuple):
    """One thing that is left to do: what, the command that does it (in capitals what must be filled in), and the names
    of what must be done before, as those have them (`name`)."""

    name: str
    what: str
    command: str
    waits_for: tuple[str, ...] = ()


class Besides(NamedTuple):
    """Something worth knowing that is no duty, and its command."""

    what: str
    command: str


class Stage(NamedTuple):
    """A stage of the job: what is left of it, in order, and how many things of it are done."""

    name: str
    left: tuple[Task, ...]
    done: int


class Job(NamedTuple):
    """A build as work: its stages in their order. Of a sealed build nothing is left, for nothing may be done to it."""

    stages: tuple[Stage, ...]
    sealed: bool
    besides: tuple[Besides, ...] = ()

    @property
    def left(self) -> tuple[Task, ...]:
        return () if self.sealed else tuple(each for stage in self.stages for each in stage.left)

    @property
    def done(self) -> int:
        return sum(stage.done for stage in self.stages)

    def gone_on_with(self, command: str, said: str) -> "Job":
        """With something said of whatever is done by this command."""

        def told(task: Task) -> Task:
            same = f"{task.command} ".startswith(f"{command} ")
            return task._replace(what=f"{task.what} ({said})") if same else task

        stages = tuple(stage._replace(left=tuple(map(told, stage.left))) for stage in self.stages)
        return self._replace(stages=stages)

    def kept_first(self, command: str) -> "Job":
        """With what was edited by hand to be kept in git, which every sign-off waits for."""
        return self.first(Task("keep", "keep what was edited by hand", command))

    def first(self, task: Task) -> "Job":
        """With something to do before all else, which every sign-off waits for."""
        stages = tuple(
            stage._replace(left=tuple(each._replace(waits_for=(*each.waits_for, task.name)) for each in stage.left))
            if stage.name == "sign-offs"
            else stage
            for stage in self.stages
        )
        return self._replace(stages=(Stage(task.name, (task,), 0), *stages))

    @property
    def ready(self) -> tuple[Task, ...]:
        """What waits for nothing."""
        return tuple(each for each in self.left if not each.waits_for)


def job(figures: "Figures", called: str | None = None) -> Job:
    """What is done and left of a build. In its commands it is `called` so; with "" they name no build."""
    work = _Work(figures, figures.build.name if called is None else called)
    stages, sealed = tuple(work.stages()), sealed_by(figures.build) is not None
    return Job(stages, sealed, tuple(work.besides({stage.name: stage.left for stage in stages}, sealed)))


def first_build(engine: str) -> Task:
    """What an engine waits for that no build has been begun of."""
    return Task("build", "begin a build of it", f"buildbook new build {engine}/NAME")


def last_record(build: Build) -> date | None:
    """The day of the last record of a build: of its opening where it has none."""
    entries = [entry for file in BUILD_FILES for entry in records_of(build, file)]
    moments = [each.taken for each in (*entries, *build.sign_offs, *build.reopened) if each.taken is not None]
    return max((each.day for each in moments), default=build.opened.day if build.opened else None)


class _Work:
    def __init__(self, figures: "Figures", called: str) -> None:
        self.figures = figures
        self.build = figures.build
        self.called = called
        # a stage that was signed for is decided, whatever doubt there was; what was opened again is not
        self.signed = {each.stage for each in self.build.sign_offs if not reopening_of(self.build, each)}
        self.to_match = False  # whether some fit waits only for the match
        self.worth_a_hole = False  # whether another may be planned, within every limit
        instruments = self.build.shop.instruments
        self.scales = [name for name, each in instruments.items() if each.weighs]
        self.machines = [name for name, each in instruments.items() if each.balances]
        self.gauges = [name for name in instruments if name not in self.machines and name not in self.scales]

    def command(self, name: str, *more: str, option: bool = False) -> str:
        """A command about this build, which some take as an argument and some as an option."""
        words = ["--build", self.called] if option else [self.called]
        rest = [*more, *words] if option else [*words, *more]
        return " ".join(["buildbook", name, *(rest if self.called else more)])

    def check(self) -> str:
        return f"buildbook check {self.build.name}"  # alone it would mean the whole book

    def stages(self) -> Iterator[Stage]:
        """All stages; before them what is wrong, and which instruments that something waits for the shop has not."""
        errors = sum(each.severity == "error" for each in self.figures.thorough_findings)
        if errors:
            what = f"put right what check finds: {errors} error{'s' if errors != 1 else ''}"
            yield Stage("errors", (Task("errors", what, self.check()),), 0)
        stages = tuple(self.of_the_build())
        if any("instruments" in each.waits_for for stage in stages for each in stage.left):
            lacking = {"a scale": self.scales, "gauges": self.gauges, "a balancing machine": self.machines}
            what = f"name in shop.yaml: {', '.join(sort for sort, named in lacking.items() if not named)}"
            yield Stage("instruments", (Task("instruments", what, self.check()),), 0)
        yield from stages

    def of_the_build(self) -> Iterator[Stage]:
        parts = self.parts()
        weighings = self.weighings(parts)
        yield from (parts, weighings)
        if not self.figures.has_layout:
            yield Stage("layout", (Task("layout", "say in engine.yaml which layout the engine has", self.check()),), 0)
            return
        pairing = self.pairing(weighings)
        bobweights = self.bobweights((*weighings.left, *pairing.left))
        spins = self.spins(bobweights.left)
        fits = self.fits(parts, bool(pairing.left))
        yield from (pairing, bobweights, spins, fits)
        unmatched = _names(pairing.left) if self.to_match else ()
        yield self.sign_offs(
            {
                "measured": (*_names(fits.left), *unmatched),
                "matched": _names((*parts.left, *weighings.left, *pairing.left)),
                "balanced": _names((*bobweights.left, *spins.left)),
            }
        )

    def parts(self) -> Stage:
        if any(part.pieces for part in self.build.parts):
            return Stage("parts", (), 1)
        return Stage("parts", (Task("parts", "list the pieces in parts.yaml", self.check()),), 0)

    def weighings(self, parts: Stage) -> Stage:
        left = []
        for what in self.figures.kinds:
            title = WEIGHING_KINDS[what].title
            summary = self.figures.weighings.get(what)
            pieces, of = not_weighed(self.build, what, summary)
            if summary is None or pieces:
                said = f"weigh: {title}" + (f", {len(pieces)} of {of} left" if summary and pieces else "")
                command = self.command("weigh", what, option=True)  # which scale, it asks
                waits = (*_lack(self.scales), *_names(parts.left))
                left.append(Task(f"weighing: {title}", said, command, waits))
        return Stage("weighings", tuple(left), len(self.figures.kinds) - len(left))

    def pairing(self, weighings: Stage) -> Stage:
        pairing = self.figures.pairing
        if pairing is not None and {"matched", "balanced", LAST_STAGE} & self.signed:
            return Stage("pairing", (), 1)
        moving = {f"weighing: {kind.title}" for kind in WEIGHING_KINDS.values() if kind.moves == "reciprocating"}
        waits = tuple(name for name in _names(weighings.left) if name in moving)
        write = self.command("match", "--write")
        if pairing is None:
            return Stage("pairing", (Task("match", "match pieces to cylinders", write, waits),), 0)
        changed = [name for name, each in pairing.cylinders.items() if each.changed]
        if pairing.spread is None:
            what = "match again: not every cylinder is filled and weighed"
        elif changed:
            what = f"match again: cylinder {_some(changed)} is no longer as it was decided"
        else:
            limit = self.build.limits.get("reciprocating_spread")
            most = limit.bounds.get("max") if limit else None
            if most is None or pairing.spread <= most.worth("g"):
                return Stage("pairing", (), 1)
            what = f"match again, or grind: spread {fixed(pairing.spread, 2)} g, limit {fixed(most.worth('g'), 2)} g"
            write = self.command("match")
        return Stage("pairing", (Task("match", what, write, waits),), 0)

    def bobweights(self, before: Sequence[Task]) -> Stage:
        figure = self.figures.bobweights
        if not figure.wanted or {"balanced", LAST_STAGE} & self.signed:
            return Stage("bobweights", (), int(figure.wanted))
        left = []
        if figure.factor is None:
            left.append(Task("factor", "choose the factor (balance, in build.yaml)", self.command("factor")))
        off = [each.throw for each in figure.set.values() if each.within_limit is False]
        throws = [throw for throw in self.figures.layout.throws if throw not in figure.set or throw in off]
        if throws:
            again = " again" if set(throws) <= set(off) else ""
            what = f"set the bobweights{again}: throw {_some(throws)}"
            if self.build.spins.bobweights is None:
                setting = ",".join(f"{throw}=G" for throw in throws)
                command = self.command("bobweight", "--set", setting, *_with(self.scales, "SCALE"))
            else:  # a record that stands is completed by hand
                what, command = f"{what}; then write them in spins.yaml", self.command("bobweight")
            waits = (*_lack(self.scales), *_names(before), *_names(left))
            left.append(Task("bobweights", what, command, tuple(dict.fromkeys(waits))))
        return Stage("bobweights", tuple(left), int(not left))

    def spins(self, before: Sequence[Task]) -> Stage:
        """Spun until it is within every limit or the verdict is to stop, or until somebody signed for it."""
        if {"balanced", LAST_STAGE} & self.signed:
            return Stage("spins", (), 1)
        waits = _names(before)
        named = _with(self.machines, "MACHINE") if len(self.machines) > 1 else ()  # the only one needs no naming
        spin = self.command("spin", "--front", "G@DEG", "--rear", "G@DEG", *named)
        to_spin = (*_lack(self.machines), *waits)
        try:
            balance = self.figures.balance
            if balance.spins and not balance.pending:
                standing = self.figures.yardsticks.standing(balance.spins[-1])
                if standing.verdict == "stop":
                    return Stage("spins", (), 1)
                if standing.verdict == "go_on" and {*PLANES} <= {*standing.shop, *standing.permissible}:
                    self.worth_a_hole = not {*PLANES} <= {*standing.shop}  # within those, nothing is planned
                    return Stage("spins", (), 1)
                worth = "it is over its limit" if standing.verdict == "over" else "it is above the floor"
                windows = Task("windows", "say in spins.yaml (windows) where metal may be taken", self.check())
                lacking = () if any(each.windows for each in self.build.spins.planes.values()) else (windows,)
                what = f"correct the crankshaft: {worth}"
                left = Task("spins", what, self.command("plan", *self.drills()), (*waits, *_names(lacking)))
                return Stage("spins", (*lacking, left), 0)
            again = " again: it was changed since" if balance.spins else ""
            left = Task("spins", f"spin the crankshaft{again}", spin, to_spin)
        except NoBalance as reason:
            planes = Task("planes", f"fill in spins.yaml: {reason.what}", self.check())
            return Stage("spins", (planes, Task("spins", "spin the crankshaft", spin, (*to_spin, "planes"))), 0)
        return Stage("spins", (left,), 0)

    def drills(self) -> tuple[str, ...]:
        """What 'plan' must be told of bits that shop.yaml does not list."""
        return () if self.build.shop.bits else ("--bit", "DIAMETER")

    def fits(self, parts: Stage, unmatched: bool) -> Stage:
        found = self.figures.fits
        asked, unclear = self.to_measure(unmatched)
        lack = _lack(self.gauges)
        left = [
            Task(
                f"measuring: {MEASUREMENT_KINDS[kind].title}",
                f"measure: {MEASUREMENT_KINDS[kind].title}" + (f", {_some(places)}" if places else ""),
                self.command("measure", kind, option=True),
                (*lack, *(() if _OF_THE_ENGINE & {*MEASUREMENT_KINDS[kind].at} else _names(parts.left))),
            )
            for kind, places in asked.items()
        ]
        for (kind, lacking), places in unclear.items():
            what = f"{FIT_KINDS[kind].title} {_some(places)}: {lacking}"
            left.append(Task(FIT_KINDS[kind].title, what, self.command("fits", "--kind", kind)))
        open_ones = () if {"measured", LAST_STAGE} & self.signed else found.fits
        gaps = [fit for fit in open_ones if fit.kind in RINGS and fit.verdict == "under"]
        for kind in RINGS:
            places = [fit.place for fit in gaps if fit.kind == kind]
            if places:
                title = FIT_KINDS[kind].title.removesuffix(" gap")
                what = f"file the gap: {title}, cylinder {_some(places)}; then measure it again"
                left.append(Task(f"filing: {title}", what, self.command("fits", "--kind", kind)))
        undecided = [fit for fit in open_ones if fit not in gaps and not _is_decided(fit)]
        for kind in dict.fromkeys(fit.kind for fit in undecided):
            title, of_kind = FIT_KINDS[kind].title, [fit for fit in undecided if fit.kind == kind]
            said = _verdicts(of_kind)
            left.append(Task(title, f"decide: {title}, {said}", self.command("fits", "--kind", kind)))
        kinds = {fit.kind for fit in found.fits}
        return Stage("fits", tuple(left), len(kinds - {fit.kind for fit in (*gaps, *undecided)}))

    def to_measure(self, unmatched: bool) -> tuple[dict[str, list[str]], dict[tuple[str, str], list[str]]]:
        """Kind of measurement → the places where it lacks, none where all of it does; and what else keeps a fit from
        being known, (fit, what lacks) → places. What only waits for the match is not repeated."""
        found = self.figures.fits
        asked: dict[str, list[str]] = {}
        unclear: dict[tuple[str, str], list[str]] = {}
        titles = {each.title: kind for kind, each in MEASUREMENT_KINDS.items()}
        for each in found.missing:
            if unmatched and "not matched yet" in each.lacking:
                self.to_match = True
                continue
            lacking = [titles[word] for word in each.lacking.split(" and ") if word in titles]
            for kind in lacking:
                asked.setdefault(kind, []).append(each.place)
            if not lacking:
                unclear.setdefault((each.kind, each.lacking), []).append(each.place)
        known = {name for fit in found.fits for name in (fit.kind, FIT_KINDS[fit.kind].limit)}
        wanted = [*ESSENTIAL, *unmeasured_limits(self.build, found)]
        partly = {each.kind for each in found.missing}
        for name in wanted:
            kind = next(kind for kind, each in FIT_KINDS.items() if name in {kind, each.limit})
            if name in known or kind in partly:
                continue
            needs = FIT_KINDS[kind].needs
            for need in [each for each in needs if not self.figures.measured.get(each)] or needs:
                asked[need] = []  # all of it
        order = list(MEASUREMENT_KINDS)
        return {
            kind: sorted(dict.fromkeys(asked[kind]), key=in_numbered_order) if self.figures.measured.get(kind) else []
            for kind in sorted(asked, key=order.index)
        }, unclear

    def sign_offs(self, left: dict[str, tuple[str, ...]]) -> Stage:
        """The stages to sign for, each with what is left of it; the balance signed for, the match is too."""
        task = []
        waits: list[str] = []
        for stage, names in left.items():
            if stage in self.signed or (stage == "matched" and "balanced" in self.signed):
                waits += names
            else:
                task.append(Task(f"sign-off: {stage}", f"sign off: {stage}", self.sign(stage), names))
        last = f"sign off: {LAST_STAGE} (seals it)"
        seal = Task(f"sign-off: {LAST_STAGE}", last, self.sign(LAST_STAGE), (*_names(task), *waits))
        if sealed_by(self.build) is not None:
            return Stage("sign-offs", (), len(self.signed))
        return Stage("sign-offs", (*task, seal), len(left) - len(task))

    def besides(self, left: dict[str, tuple[Task, ...]], sealed: bool) -> Iterator[Besides]:
        """What helps at this point of the job, and holds nothing up."""
        if sealed:
            yield Besides("a sheet for the customer", self.command("sheet", "--for", "customer"))
            return
        engine = self.build.engine
        where_pins_are = unstated_sizes(engine, self.figures.layout) if self.figures.has_layout else []
        sizes = {"bore": engine.bore, "rod_length": engine.rod_length}
        lacking = [*(name for name, size in sizes.items() if size is None), *where_pins_are]
        if lacking:
            yield Besides(f"not in engine.yaml: {', '.join(lacking)}", self.check())
        if "pairing" not in left:
            return  # no layout
        if not left["pairing"] and left["spins"] and not where_pins_are and len(self.figures.layout.cylinders) > 1:
            yield Besides("which set goes into which cylinder", self.command("place"))
        if left["pairing"] and all(self.figures.measured.get(kind) for kind in ("cylinder_bore", "piston_skirt")):
            yield Besides("by weight, and by bore as well", self.command("match", "--with-bores"))
        factor = self.figures.bobweights.factor
        if left["bobweights"] and factor is not None and self.leaves_a_force():
            yield Besides(f"what a factor of {float(factor):g} % leaves, and others", self.command("factor"))
        if self.worth_a_hole:
            yield Besides("within the limit; to try for less", self.command("plan", *self.drills()))
        choices, unsaid = self.build.balance, self.without_tolerance()
        if left["spins"] and unsaid and choices.grade is not None and "residual" not in self.build.limits:
            yield Besides(f"grade {choices.grade} needs: {', '.join(unsaid)}", self.check())
        if left["spins"] and self.build.spins.planes and self.build.spins.angles is None:
            yield Besides("no angles in spins.yaml: heavy side, with rotation is assumed", self.check())
        if self.worth_a_hole or any(f"{each.command} ".startswith("buildbook plan ") for each in left["spins"]):
            drilled = ("drill", "PLANE@DEG", "--diameter", "MM", "--depth", "MM")
            yield Besides("once it is drilled", self.command("correct", *drilled, option=True))
        for filing in (each for each in left["fits"] if each.name.startswith("filing: ")):
            kind = next(kind for kind in RINGS if f"--kind {kind}" in filing.command)
            again = f"once the {filing.name.removeprefix('filing: ')} is filed"
            yield Besides(again, self.command("measure", kind, option=True))
        if any(each.what.startswith("decide: ") for each in left["fits"]):
            yield Besides("what stays as it is, is signed for", self.sign("measured"))
        if not any(task for stage, task in left.items() if stage != "sign-offs"):
            yield Besides("at assembly: what goes where", self.command("map"))
            yield Besides("tags to tie to the pieces", self.command("labels"))

    def leaves_a_force(self) -> bool:
        """Whether some of the first order turns against the crankshaft, so that every factor is a compromise."""
        first = shaking.order(1, shaking.nominal_pistons(self.figures.layout))
        return max(abs(first.force.against_crank), abs(first.moment.against_crank)) > _NOTHING

    def without_tolerance(self) -> list[str]:
        """What a permissible residual by ISO 21940-11 takes beside its grade, and is not stated."""
        weighed = any(part.kind == "crankshaft" and part.mass is not None for part in self.build.parts)
        speed = [] if self.build.balance.max_speed is not None else ["max_speed (build.yaml)"]
        return speed if weighed else [*speed, "crankshaft mass (parts.yaml)"]

    def sign(self, stage: str) -> str:
        return " ".join(filter(None, ("buildbook sign", stage, self.called)))


def _is_decided(fit: "Fit") -> bool:
    """Whether nothing is left to say of a fit. Against a rule of thumb, what cannot be told is left at that."""
    return fit.verdict in {"within", "no limit"} or (fit.bounds.practice and fit.verdict == "cannot tell")


def _verdicts(fits: Sequence["Fit"]) -> str:
    outside = [fit.place for fit in fits if fit.verdict in {"under", "over"}]
    untold = [fit.place for fit in fits if fit.verdict == "cannot tell"]
    said = [f"{_some(outside)} outside"] if outside else []
    said += [f"{_some(untold)} cannot tell"] if untold else []
    practice = " (common practice)" if all(fit.bounds.practice for fit in fits) else ""
    return "; ".join(said) + practice


def _with(named: Sequence[str], else_: str) -> tuple[str, str]:
    """The option that names an instrument: the only one there is, or in capitals what must be filled in."""
    return "--with", named[0] if len(named) == 1 else else_


def _lack(named: Sequence[str]) -> tuple[str, ...]:
    return () if named else ("instruments",)


def _names(task: Iterable[Task]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(each.name for each in task))


def _some(names: Sequence[str]) -> str:
    """Names as a person can take them in; of many, the first and how many more."""
    rest = f" and {len(names) - 8} more" if len(names) > 9 else ""
    return ", ".join(names[:8] if rest else names) + rest
