"""Every clearance against its limit, worst first, with the measurements that it came from; and what to file."""

from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import groupby

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from buildbook.figures import Figures
from buildbook.figures.fits import (
    FASTENERS,
    FIT_KINDS,
    RINGS,
    TIGHTENINGS,
    FastenerUse,
    Filing,
    Fit,
    FitFigures,
    Missing,
    limit_words,
    unmeasured_limits,
)
from buildbook.figures.lengths import Ruler
from buildbook.figures.measured import bores_taken_for, values_of
from buildbook.fits.decision import COVERAGE, Verdict
from buildbook.fits.sizes import mean, out_of_round
from buildbook.quantities import fixed
from buildbook.records.model import MEASUREMENT_KINDS, MeasuringSession
from buildbook.views.ruler import ends_of, gauge
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, GOOD, heading, line, row, table, words
from buildbook.views.sessions import draw_sessions

# How a verdict is written, and in which style.
SAID: dict[Verdict, tuple[str, str]] = {
    "under": ("UNDER", BAD),
    "over": ("OVER", BAD),
    "cannot tell": ("cannot tell", DOUBT),
    "within": ("within", GOOD),
    "no limit": ("", ""),
}


def draw_fits(to: Console, figures: Figures, kind: str | None, place: str | None) -> None:
    """The kinds of fit with their places, worst first; or one kind, or one place of each."""
    ruler, found = Ruler(figures.build.shop), figures.fits
    heading(to, "Fits", figures.build.name)
    kinds = [each for each in found.kinds if kind is None or each == kind]
    chosen = {each: _at_place(found, each, place) for each in kinds}
    chosen = {each: (fits, missing) for each, (fits, missing) in chosen.items() if fits or missing}
    if not chosen:
        to.print(words("nothing that makes a fit has been measured yet; 'buildbook measure' takes it down", DIM))
        return
    said = f"{ruler.unit} at 20 °C; ± U is twice the standard uncertainty (k = 2)"
    to.print(words(f"{said}; a minimum is held against the tightest place, a maximum against the mean", DIM))
    limited = [each for each, (fits, _) in chosen.items() if any(fit.verdict != "no limit" for fit in fits)]
    for each in sorted(limited, key=lambda each: min(fit.rank for fit in chosen[each][0])):
        _draw_kind(to, ruler, each, *chosen[each])
        _draw_assumed(to, figures, each, chosen[each][0])
    unlimited = [each for each, (fits, _) in chosen.items() if fits and each not in limited]
    if kind is not None and unlimited:
        _draw_kind(to, ruler, kind, *chosen[kind])
        _draw_assumed(to, figures, kind, chosen[kind][0])
    elif unlimited:
        _draw_unlimited(to, ruler, {each: chosen[each][0] for each in unlimited})
    _draw_missing(to, [each for name in chosen if name not in limited for each in chosen[name][1]])
    filing = [each for each in found.filing if _concerns(each, kind, place)]
    if filing:
        draw_filing(to, figures, filing)
    tightened = {fit.place.partition(" ")[0] for each in FASTENERS if each in chosen for fit in chosen[each][0]}
    _draw_uses(to, [use for use in found.fasteners if use.place in tightened])
    if kind is not None:
        if kind.endswith(("taper", "out_of_round")):
            _draw_sections(to, figures, ruler, kind)
        else:
            _draw_details(to, ruler, kind, chosen[kind][0])
        sessions = [session for session in figures.build.clearances if session.what in FIT_KINDS[kind].needs]
        draw_sessions(to, ((session, _session_words(session)) for session in sessions))
    _draw_count(to, found, chosen)


def draw_what_follows(to: Console, figures: Figures, measured: str) -> None:
    """The fits that a kind of measurement has part in, for whoever has just taken it down."""
    ruler, found = Ruler(figures.build.shop), figures.fits
    kinds = [kind for kind in found.kinds if measured in FIT_KINDS[kind].needs]
    for kind in kinds:
        fits, missing = _at_place(found, kind, None)
        if fits:
            _draw_kind(to, ruler, kind, fits, missing)
            _draw_assumed(to, figures, kind, fits)
        else:
            _draw_missing(to, missing)
    filing = [each for each in found.filing if each.file > 0 and each.ring.startswith(measured.removesuffix("_gap"))]
    if filing and measured in RINGS:
        draw_filing(to, figures, filing)


def _at_place(found: FitFigures, kind: str, place: str | None) -> tuple[list[Fit], list[Missing]]:
    """The fits and gaps of one kind; of one place alone, where a place is named."""
    fits = [fit for fit in found.of(kind) if place is None or place in {fit.place, fit.place.partition(" ")[0]}]
    return fits, [each for each in found.missing if each.kind == kind and place in {None, each.place}]


def _concerns(filing: Filing, kind: str | None, place: str | None) -> bool:
    of_kind = kind is None or filing.ring.startswith(kind.removesuffix("_gap"))
    return filing.file > 0 and of_kind and place in {None, filing.cylinder}


def _draw_kind(to: Console, ruler: Ruler, kind: str, fits: Sequence[Fit], missing: Sequence[Missing]) -> None:
    """The places of one kind, worst first, each with its value, its picture and the sizes that it came from."""
    to.print()
    text = _text(ruler, kind)
    limits = {limit_words(fit, text) for fit in fits} - {""}
    one = next(iter(limits)) if len(limits) == 1 else ""
    unit = {"N m": ", N m", "deg": ", °"}.get(FIT_KINDS[kind].unit, "")
    to.print(line((FIT_KINDS[kind].title + unit, BOLD), ("  " + one if one else "", DIM)))
    pictures = bool(limits) and to.width >= 80
    ends = ends_of(each for fit in fits for each in (*fit.bounds.ends, *fit.reach))
    listing = table(("", "left"), ("place", "left"), ("value", "right"), ("± U", "right"))
    if pictures:
        listing.add_column("", no_wrap=True)
    listing.add_column("from", overflow="fold")
    if len(limits) > 1:
        listing.add_column("limit", overflow="fold")
    for fit in sorted(fits, key=lambda fit: fit.rank):
        row(
            listing,
            words(*SAID[fit.verdict]),
            words(fit.place, BOLD),
            text(fit.value, fit.decimals),
            text(COVERAGE * fit.uncertainty, fit.decimals + 1),
            *([gauge(float(fit.value), COVERAGE * fit.uncertainty, fit.bounds.ends, ends)] if pictures else []),
            _from(fit, ruler) if not _outside_by_mean(fit) else _by_mean(fit, ruler),
            *([limit_words(fit, text)] if len(limits) > 1 else []),
        )
    for each in missing:
        blank = ["", "", ""] if pictures else ["", ""]
        row(listing, Text("missing", style=DOUBT), words(each.place, BOLD), *blank, words(each.lacking, DOUBT))
    to.print(listing)


def _draw_assumed(to: Console, figures: Figures, kind: str, fits: Sequence[Fit]) -> None:
    """What the figures of one kind take for granted, and may be wrong by."""
    if kind in {"quench", "compression_ratio"}:
        cylinders = figures.compression.cylinders
        decks = [cylinders[fit.place].parts["deck"].assumed for fit in fits if "deck" in cylinders[fit.place].parts]
        for said in dict.fromkeys(filter(None, decks)):
            to.print(words(f"Assumed: {said}.", DOUBT))
    if kind == "piston_clearance":
        corrected = [fit.place for fit in fits if fit.came_from[0].value != fit.came_from[0].as_read]
        blocks = {taken.material for place in corrected if (taken := bores_taken_for(figures.build, place))}
        for material in sorted(blocks - {"cast iron", "steel"}):
            said = f"Bores are brought to 20 °C as the block is, {material}; a sleeve of iron in it grows about half "
            to.print(words(f"{said}as much: measure sleeves at 20 °C.", DOUBT))


def _outside_by_mean(fit: Fit) -> bool:
    return fit.decided_by_mean and fit.verdict in {"over", "cannot tell"}


def _by_mean(fit: Fit, ruler: Ruler) -> Text:
    """Where the mean decides, it is the mean that must be seen."""
    decided = fit.deciding
    of_mean = [ruler.text(each, fit.decimals + 1) for each in (decided.value, COVERAGE * decided.uncertainty)]
    return line(("mean " + " ± ".join(of_mean), DOUBT), "  ").append_text(_from(fit, ruler))


def _draw_details(to: Console, ruler: Ruler, kind: str, fits: Sequence[Fit]) -> None:
    """What else is known of the places of one kind: the mean, the share of the diameter, and the value as read."""
    varies = any(fit.mean for fit in fits)
    corrected = any(fit.value != fit.as_read for fit in fits)
    if not varies and not corrected:
        return
    text = _text(ruler, kind)
    listing = table(("place", "left"), ("tightest", "right"))
    for title, wanted in (("as read", corrected), ("mean", varies), ("± U", varies), ("per diameter", varies)):
        if wanted:
            listing.add_column(title, justify="right", no_wrap=True)
    for fit in fits:
        cells = [text(fit.as_read, fit.decimals)] if corrected else []
        if varies:
            of_mean = (fit.mean.value, COVERAGE * fit.mean.uncertainty) if fit.mean else ()
            cells += [text(each, fit.decimals + 1) for each in of_mean] or ["", ""]
            cells.append(fixed(fit.per_mm, 5) if fit.per_mm is not None else "")
        row(listing, words(fit.place, BOLD), text(fit.value, fit.decimals), *cells)
    to.print()
    to.print(listing)
    if corrected:
        to.print(words("'As read' is before the correction to 20 °C, for what the parts are made of.", DIM))


def _draw_sections(to: Console, figures: Figures, ruler: Ruler, kind: str) -> None:
    """Every level of the journals or bores of one kind, with its readings in the order in which they go round it."""
    listing = table(("place", "left"), ("", "left"), ("mean", "right"), ("out-of-round", "right"))
    listing.add_column("read, turning round it", overflow="fold")
    for place, piece in figures.measured.get(FIT_KINDS[kind].needs[0], {}).items():
        for name, section in piece.sections.items():
            decimals, values = section[0].decimals, values_of(section)
            out = out_of_round(values)
            read = "  ".join(ruler.text(size.as_read, size.decimals) for size in section)
            row(listing, words(place, BOLD), name, ruler.text(mean(values), decimals + 1),
                ruler.text(out, decimals) if out is not None else "", read)  # fmt: skip
    to.print()
    to.print(listing)


def _text(ruler: Ruler, kind: str) -> Callable[[Fraction | float, int], str]:
    """How figures of this kind are written: lengths as the shop reads them."""
    return ruler.text if FIT_KINDS[kind].unit == "mm" else fixed


def _from(fit: Fit, ruler: Ruler) -> Text:
    """What a fit came from: `62.237 − 62.182  M2, M1`."""
    sessions = ", ".join(dict.fromkeys(each.session or "?" for each in fit.came_from))
    if fit.kind in TIGHTENINGS:
        steps = ", ".join(fixed(each.value, each.decimals) for each in fit.came_from)
        return line(steps, ("  " + sessions, DIM))
    angles = [each.within for each in fit.came_from if each.within]
    if angles and fit.kind.endswith("valve_to_piston"):
        return line(f"at {angles[0]}°", ("  " + sessions, DIM))
    if len(fit.came_from) < 2 or FIT_KINDS[fit.kind].unit != "mm" or fit.kind == "quench":
        return words(sessions, DIM)
    sizes = " − ".join(ruler.text(each.value, each.decimals) for each in fit.came_from[:2])
    return line(sizes, ("  " + sessions, DIM))


def _draw_unlimited(to: Console, ruler: Ruler, kinds: dict[str, list[Fit]]) -> None:
    to.print()
    to.print(words("Without a limit in build.yaml", BOLD))
    listing = table(("", "left"), ("least", "right"), ("at", "left"), ("most", "right"), ("at", "left"))
    for kind, fits in kinds.items():
        text = _text(ruler, kind)
        least, most = (pick(fits, key=lambda fit: fit.value) for pick in (min, max))
        row(listing, FIT_KINDS[kind].title, text(least.value, least.decimals), words(least.place, BOLD),
            text(most.value, most.decimals), words(most.place, BOLD))  # fmt: skip
    to.print(listing)


def _draw_missing(to: Console, missing: Sequence[Missing]) -> None:
    """What is missing, in one line for each thing that lacks."""
    if not missing:
        return
    to.print()
    to.print(words("Missing, and so not known to be good", BOLD))
    for (kind, lacking), group in groupby(missing, key=lambda each: (each.kind, each.lacking)):
        places = ", ".join(each.place for each in group)
        to.print(Padding(line(f"{FIT_KINDS[kind].title} {places}: ", (lacking, DOUBT)), (0, 0, 0, 2)))
    if any("not matched yet" in each.lacking for each in missing):
        said = "What goes where is said by 'buildbook match --write', or by 'locked' in pairings.yaml."
        to.print(Padding(words(said, DIM), (0, 0, 0, 2)))


def draw_filing(to: Console, figures: Figures, filing: Sequence[Filing]) -> None:
    """How much to file from each ring."""
    ruler, use = Ruler(figures.build.shop), figures.build.use
    practice = any(each.practice for each in filing)
    said = "the rule of thumb does not know the use" if practice else f"for this bore and use: {use}" if use else ""
    to.print()
    to.print(line(("Rings to file", BOLD), (f"  {said}" if said else "", DIM)))
    listing = table(("cylinder", "left"), ("ring", "left"), ("gap", "right"), ("wanted", "right"), ("file", "right"))
    listing.add_column("to be sure", justify="right", no_wrap=True)
    listing.add_column("", no_wrap=True)
    for each in filing:
        row(
            listing,
            words(each.cylinder, BOLD),
            each.ring.replace("_", " "),
            ruler.text(each.gap, each.decimals),
            ruler.text(each.wanted, 3),
            words(ruler.text(each.file, 3), BOLD),
            ruler.text(each.to_be_sure, 3),
            words("common practice" if each.practice else each.source or "", DIM),
        )
    to.print(listing)
    to.print(words("File square, a little at a time, and measure again in its own bore: metal does not go back.", DIM))
    to.print(words("'To be sure' is so much that the same gauge can then tell.", DIM))


def _draw_uses(to: Console, uses: Sequence[FastenerUse]) -> None:
    """How often fasteners were tightened, those alike together."""
    if not uses:
        return
    to.print()
    to.print(words("How often tightened", BOLD))
    for (before, now), group in groupby(uses, key=lambda use: use[1:]):
        known = "how often before is not said in parts.yaml (uses)" if before is None else f"{before} × before"
        said = f"{', '.join(use.place for use in group)}: {now} × in this build, {known}"
        to.print(Padding(words(said), (0, 0, 0, 2)))


def _session_words(session: MeasuringSession) -> str:
    at = f" at {fixed(session.temperature.worth('degC'), 1)} °C" if session.temperature else ""
    return f"{MEASUREMENT_KINDS[session.what].title} ({len({spot.place for spot in session.spots})}){at}"


def _draw_count(to: Console, found: FitFigures, chosen: dict[str, tuple[list[Fit], list[Missing]]]) -> None:
    to.print()
    verdicts: list[str] = [fit.verdict for fits, _ in chosen.values() for fit in fits]
    counts = {verdict: verdicts.count(verdict) for verdict in SAID}
    outside = counts["under"] + counts["over"]
    missing = sum(len(each) for _, each in chosen.values())
    parts: list[tuple[object, str] | str] = [(f"{counts['within']} within", GOOD)]
    parts += [", ", (f"{outside} outside", BAD if outside else DIM)]
    parts += [", ", (f"{counts['cannot tell']} cannot tell", DOUBT if counts["cannot tell"] else DIM)]
    parts += [", ", (f"{missing} missing", DOUBT if missing else DIM)]
    parts += [(f", {counts['no limit']} without a limit" if counts["no limit"] else "", DIM)]
    to.print(line(*parts))
    if any(fit.bounds.practice for fits, _ in chosen.values() for fit in fits):
        said = "Where it says 'common practice', nobody set a limit: the part maker's figure is what counts."
        to.print(words(said, DOUBT))
    if any(kind in chosen for kind in RINGS) or counts["cannot tell"]:
        to.print(words("Limits are those of build.yaml; the part maker's come first.", DIM))


# Without these an engine has not been measured, whatever else has.
ESSENTIAL = ("main_clearance", "rod_clearance", "piston_clearance", "top_ring_gap")


def fits_in_words(figures: Figures) -> tuple[bool | None, str]:
    """All fits in one line, for `show`: whether all is well and nothing is left to measure, and how many are what."""
    found = figures.fits
    verdicts = [fit.verdict for fit in found.fits]
    outside = verdicts.count("under") + verdicts.count("over")
    within, unlimited = verdicts.count("within"), verdicts.count("no limit")
    wrong = [f"{outside} outside"] if outside else []
    wrong += [f"{verdicts.count('cannot tell')} cannot tell"] if "cannot tell" in verdicts else []
    wrong += [f"{len(found.missing)} missing"] if found.missing else []
    to_do = [name for name in ESSENTIAL if not found.of(name)]
    to_do += [name for name in unmeasured_limits(figures.build, found) if name not in to_do]
    if to_do:
        rest = f" and {len(to_do) - 2} more" if len(to_do) > 2 else ""
        wrong.append(f"not yet: {', '.join(name.replace('_', ' ') for name in to_do[:2])}{rest}")
    said = [f"{within} fit{'s' if within != 1 else ''} within", *wrong]
    said += [f"{unlimited} without a limit"] if unlimited else []
    return None if wrong else True, ", ".join(said)
