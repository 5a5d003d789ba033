"""The build sheet: for the customer, for the shop, and the map alone for the wall."""

from collections.abc import Iterable, Sequence
from typing import Literal

from buildbook.balance.layouts import LayoutError, plan_of
from buildbook.figures import Figures
from buildbook.figures.audit_rules import reopening_of
from buildbook.figures.cylinders import kind_words
from buildbook.figures.motion import NoMotion, motion_figures
from buildbook.pages import balancing, fitting, matching
from buildbook.pages.html import Child, Markup, element, facts, items, own, page, section, table
from buildbook.pages.shaking import shaking
from buildbook.quantities import Quantity, fixed
from buildbook.records.finding import Finding
from buildbook.records.model import (
    MEASUREMENT_KINDS,
    WEIGHING_KINDS,
    Engine,
    Entry,
    MeasuringSession,
    Part,
    WeighingSession,
)

Reader = Literal["customer", "shop", "wall"]

CAUTIONS = (
    "A rod bolt, a stretched stud or a shell that is wrong lets an engine come apart under power: tighten as the "
    "fastener's maker says, use it no more often than that, and measure again with the new parts in.",
    "Grind and drill only where the part's maker allows it, and as deep as the maker allows.",
    "The part maker's limits, local codes and licensed practice come first, and the builder decides. The figures are "
    "worked out from what was written down.",
)
AT_THE_MACHINE = (
    "Spinning bobweights kill when they let go: clamp both halves alike, check every fastener by hand, close the "
    "guard, stand out of the plane, keep to the machine maker's speed. Heavy-metal plugs go in along the crankshaft's "
    "axis, retained and not open to the rim."
)


def build_sheet(figures: Figures, reader: Reader, findings: Sequence[Finding], paper: str | None = None) -> str:
    """The whole page; `findings` are printed for the shop alone."""
    build = figures.build
    title = f"{build.name}, sheet for the {reader}"
    if reader == "wall":
        return page(title, matching.wall(figures), kind="wall", paper=paper)
    shop = reader == "shop"
    return page(
        title,
        _head(figures, shop),
        None if shop else _in_short(figures),
        _open_ends(figures),
        _parts(build.parts),
        matching.weights(figures, piece_by_piece=shop),
        matching.matching(figures, reasons=shop),
        balancing.bobweights(figures, line_by_line=shop),
        balancing.story(figures, in_full=shop),
        shaking(figures) if shop else None,
        fitting.fits(figures, every_place=shop),
        fitting.rings(figures),
        fitting.compression(figures, volumes=shop),
        element(
            "div",
            _sign_offs(figures, shop),
            section("Cautions", items((*CAUTIONS, *((AT_THE_MACHINE,) if shop else ())), class_="caution")),
            class_="together",
        ),
        _sessions(figures) if shop else None,
        _instruments(figures) if shop else None,
        _found(findings) if shop else None,
        kind=reader,
        paper=paper,
    )


def written(quantity: Quantity | None) -> str | None:
    """A number as it was written, with its unit."""
    if quantity is None:
        return None
    unit = {"deg": "°", "degC": "°C", "degF": "°F"}.get(quantity.unit, quantity.unit)
    return f"{quantity.digits} {unit}"


def _head(figures: Figures, shop: bool) -> Markup:
    build, engine = figures.build, figures.build.engine
    sizes = " × ".join(filter(None, (written(engine.bore), written(engine.stroke))))
    choices = build.balance
    named = matching.short(engine.description) if engine.description and not shop else None
    pairs: list[tuple[str, Child]] = [
        ("engine", own(engine.name)),
        ("what it is", own(engine.description) if engine.description and not named else None),
        ("owner", own(engine.owner_name) if engine.owner_name else None),
        ("owner's number", own(engine.owner_ref) if engine.owner_ref else None),
        *((f"{part}, serial", own(serial)) for part, serial in engine.serials.items()),
        ("build", own(build.name.partition("/")[2])),
        ("asked for", own(build.purpose) if build.purpose else None),
        ("use", own(build.use) if build.use else None),
        ("opened", own(build.opened.text[:10]) if build.opened else None),
        ("follows", own(build.follows) if build.follows else None),
        ("layout", _layout(engine)),
        ("bore × stroke", sizes or None),
        ("displacement", _displacement(figures)),
        ("rod length", written(engine.rod_length)),
        ("firing order", own(" ".join(engine.firing_order)) if engine.firing_order else None),
        ("highest speed", written(choices.max_speed)),
        ("balance grade", own(choices.grade) if shop and choices.grade else None),
    ]
    name = build.shop.name
    bar = element(
        "div",
        element("span", own(name) if name else ""),
        element("span", f"Build sheet{' for the shop' if shop else ''}"),
        class_="bar",
    )
    return Markup(bar + element("h1", own(named or build.name)) + facts(pairs))


def _layout(engine: Engine) -> Child:
    """The layout in plain words, where it has a name that stands for some."""
    if not isinstance(engine.layout, str):
        return "its own, spelled out" if engine.layout else None
    try:
        return plan_of(engine.layout).said
    except LayoutError:
        return own(engine.layout)


def _in_short(figures: Figures) -> Markup:
    """What a customer wants to know first: how it was matched, balanced and measured, and who answers for it."""
    build = figures.build
    who: list[Child] = []
    for each in (each for each in build.sign_offs if reopening_of(build, each) is None):
        when = each.taken.text[:10] if each.taken else "no date"
        who += ["; " if who else None, own(each.stage), f" {when} by ", _who(figures, each.by)]
    pairs: list[tuple[str, Child]] = [
        ("matched", matching.in_short(figures)),
        ("balanced", balancing.in_short(figures)),
        ("measured", fitting.in_short(figures)),
        ("signed", who or "by nobody yet"),
    ]
    return section("In short", facts(pairs), class_="together short")


def _displacement(figures: Figures) -> str | None:
    try:
        worked_out = motion_figures(figures, None, 90.0)
    except NoMotion:
        return None
    return f"{fixed(worked_out.displacement, 0)} cc" if worked_out.displacement else None


def _open_ends(figures: Figures) -> Markup:
    """What is not done, said before anything else; nothing where all is."""
    from buildbook.views.show import stages

    left = [
        f"{name}: {said}"
        for name, done, said in stages(figures)
        if done is False or (done is None and name not in {"spins", "sign-offs"})
    ]
    if not left:
        return Markup()
    return section(
        "Not finished",
        items(own(each) for each in left),
        class_="together",
        means="This sheet was printed before the build was done.",
    )


def _parts(parts: Iterable[Part]) -> Markup:
    rows: list[list[Child]] = []
    for part in parts:
        pieces = " ".join(stamped.id for stamped in part.ids) if part.ids else f"{part.count or 0} pieces"
        made = " ".join(filter(None, (part.maker, part.number)))
        state = ", ".join(
            filter(None, (part.state, f"{written(part.undersize)} undersize" if part.undersize else None))
        )
        rows.append([kind_words(part.kind), own(pieces), own(made), own(state), own(part.material or "")])
    if not rows:
        return section("Parts", element("p", "None are listed.", class_="doubt"))
    return section(
        "Parts",
        table(["part", "pieces", "maker and number", "state", "material"], rows, whole=False),
        means="What is in the engine, with the marks stamped on the pieces.",
    )


def _who(figures: Figures, by: str | None) -> Child:
    person = figures.build.shop.people.get(by or "")
    return own((person.name if person else None) or by or "nobody named")


def _when(entry: Entry) -> Child:
    return element("span", entry.taken.text.replace("T", " ")[:16] if entry.taken else "no date", class_="whole")


def _sign_offs(figures: Figures, shop: bool) -> Markup:
    build = figures.build
    reopened: dict[str | None, list[list[Child]]] = {}  # a sign-off → how it came that it no longer holds
    for again in build.reopened:
        said: list[Child] = [own(again.because)]
        row: list[Child] = [own(again.id or ""), "opened again", _when(again), _who(figures, again.by), said]
        reopened.setdefault(again.sign_off, []).append(row)
    rows: list[list[Child]] = []
    for each in build.sign_offs:
        said = [f"{len(each.figures)} figures kept. ", own(each.note or "")] if shop else []
        rows.append([own(each.id or ""), own(each.stage), _when(each), _who(figures, each.by), said])
        rows += reopened.pop(each.id, [])
    rows += [row for rest in reopened.values() for row in rest]
    listing = table(["", "stage", "when", "by", ""], rows) or element(
        "p", "Nothing has been signed off.", class_="doubt"
    )
    digests = [
        element("p", own(each.id or ""), " is sealed, digest ", own(each.digest))
        for each in build.sign_offs
        if each.digest and shop
    ]
    return section(
        "Sign-offs",
        listing,
        digests,
        class_="together",
        means="Who answers for which stage; the figures of that day are kept with it.",
    )


def _sessions(figures: Figures) -> Markup:
    """Every session with a scale or a gauge; what is void stands struck out, with its reason."""
    rows: list[list[Child]] = []
    sessions: list[WeighingSession | MeasuringSession] = [*figures.build.weighings, *figures.build.clearances]
    for session in sessions:
        if isinstance(session, WeighingSession):
            kind = WEIGHING_KINDS.get(session.what)
            said = f"{kind.title if kind else session.what}, {len(session.readings) or 'a lot'}"
        else:
            said = f"{MEASUREMENT_KINDS[session.what].title}, {len({spot.place for spot in session.spots})}"
            said += f" at {written(session.temperature)}" if session.temperature else ""
        void = session.void is not None
        what: list[Child] = [element("span", said, class_="void" if void else None)]
        what += [element("b", " VOID: ", own(session.void))] if void else []
        what += [" ", own(session.note)] if session.note else []
        rows.append([own(session.id or "?"), _when(session), own(session.by or ""), own(session.with_ or ""), what])
    if not rows:
        return Markup()
    return section("Sessions", table(["", "taken", "by", "with", "what"], rows))


def _instruments(figures: Figures) -> Markup:
    """The instruments that this build's records name, with what each states of itself."""
    build = figures.build
    entries: list[Entry] = [*build.weighings, *build.clearances, *build.spins.steps]
    entries += [build.spins.bobweights] if build.spins.bobweights else []
    used = dict.fromkeys(each.with_ for each in entries if each.with_)
    rows: list[list[Child]] = []
    for name in used:
        instrument = build.shop.instruments.get(name)
        if instrument is None:
            rows.append([own(name), "not in shop.yaml", "", "", "", ""])
            continue
        done = [f"{a.text if a else '?'} to {b.text if b else '?'}" for a, b in instrument.calibrations]
        said = ", ".join(filter(None, (kind_words(instrument.kind), instrument.description)))
        stated = (instrument.resolution, instrument.repeatability, instrument.uncertainty)
        rows.append([own(name), own(said), *(own(written(each) or "–") for each in stated), own("; ".join(done))])
    if not rows:
        return Markup()
    columns = ["instrument", "what", "resolution>", "repeatability>", "U (k = 2)>", "in calibration"]
    return section("Instruments", table(columns, rows))


def _found(findings: Sequence[Finding]) -> Markup:
    listed = [
        [element("b", each.severity), f" {each.rule}: ", own(each.what), " → ", own(each.remedy)]
        for each in findings
        if each.severity != "note"
    ]
    return section("Found in the records", items(listed)) if listed else Markup()
