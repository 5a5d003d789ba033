"""Fits, ring gaps and compression against their limits, for paper."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import groupby

from buildbook.figures import Figures
from buildbook.figures.compression import CylinderCompression
from buildbook.figures.cylinders import kind_words
from buildbook.figures.fits import FIT_KINDS, RINGS, Fit, Missing, limit_words, unmeasured_limits
from buildbook.figures.lengths import Ruler
from buildbook.fits.decision import COVERAGE, Verdict
from buildbook.pages.html import Child, Markup, element, own, section, table
from buildbook.quantities import fixed, in_numbered_order

SAID: dict[Verdict, Child] = {
    "under": element("span", "UNDER", class_="bad"),
    "over": element("span", "OVER", class_="bad"),
    "cannot tell": element("span", "cannot tell", class_="doubt"),
    "within": "within",
    "no limit": element("span", "no limit", class_="whole"),
}

_FITS_MEAN = (
    "The room between parts that run in each other, against what their makers ask for. ± U is how far the figure may "
    "be off (k = 2); where that reaches over a limit, the gauge cannot tell."
)

# What has a part of the sheet to itself.
_ELSEWHERE = (*RINGS, "compression_ratio", "compression_spread")


def fits(figures: Figures, *, every_place: bool) -> Markup:
    """Every kind of fit with its range, its limit and its verdict; in the shop every place of it."""
    found, ruler = figures.fits, Ruler(figures.build.shop)
    kinds = [kind for kind in found.kinds if kind not in _ELSEWHERE]
    to_do = [kind_words(each) for each in unmeasured_limits(figures.build, found)]
    if not kinds and not to_do:
        return section("Fits", element("p", "Nothing has been measured yet.", class_="doubt"), means=_FITS_MEAN)
    rows = [_kind_row(ruler, kind, found.of(kind), found.missing) for kind in kinds if found.of(kind)]
    columns = ["", "least>", "most>", "± U>", "limit", "verdict"]
    return section(
        "Fits",
        element("p", _count(found.fits, found.missing), class_="lead"),
        table(columns, rows, whole=False),
        _lacking([each for each in found.missing if each.kind not in _ELSEWHERE]),
        element("p", element("b", "Not measured: "), ", ".join(to_do), ".") if to_do else None,
        _rules_of_thumb(found.fits),
        _tightened(figures),
        element("div", _places(ruler, kinds, figures), class_="two") if every_place else None,
        means=f"{_FITS_MEAN} Sizes at 20 °C.",
    )


def _text(ruler: Ruler, kind: str) -> Callable[[Fraction | float, int], str]:
    return ruler.text if FIT_KINDS[kind].unit == "mm" else fixed


def _unit(ruler: Ruler, kind: str) -> str:
    unit = FIT_KINDS[kind].unit
    return ruler.unit if unit == "mm" else "°" if unit == "deg" else unit


def _kind_row(ruler: Ruler, kind: str, fits_: Sequence[Fit], missing: Iterable[Missing]) -> list[Child]:
    """One kind in a line: the least and the most of its places, the limit, and the worst verdict of all."""
    text, unit = _text(ruler, kind), _unit(ruler, kind)
    least, most = (pick(fits_, key=lambda fit: fit.value) for pick in (min, max))
    title = f"{FIT_KINDS[kind].title}, {unit}" if unit else FIT_KINDS[kind].title
    limits = list(dict.fromkeys(said for fit in fits_ if (said := limit_words(fit, text))))
    worst = max(fits_, key=lambda fit: fit.uncertainty)
    several = len(fits_) > 1
    return [
        title,
        text(least.value, least.decimals),
        text(most.value, most.decimals) if several else "",
        text(COVERAGE * worst.uncertainty, worst.decimals + 1),
        own("; ".join(limits[:2]) + (f"; and {len(limits) - 2} more" if len(limits) > 2 else "")) if limits else "",
        _verdicts(fits_, [each for each in missing if each.kind == kind]),
    ]


def _verdicts(fits_: Sequence[Fit], missing: Sequence[Missing]) -> Child:
    """The verdicts of several places, with the places wherever it is not `within`."""
    said: list[Child] = []
    for verdict in ("under", "over", "cannot tell"):
        places = [fit.place for fit in fits_ if fit.verdict == verdict]
        if places:
            said += [SAID[verdict], " ", own(", ".join(places)) if places != ["all"] else None, " "]
    if missing:
        said += [
            element("span", "missing", class_="doubt"),
            " ",
            own(", ".join(dict.fromkeys(each.place for each in missing))),
        ]
    within = sum(fit.verdict == "within" for fit in fits_)
    if within:
        said.insert(0, "within " if not said else f"{within} within ")
    return said or SAID["no limit"]


def _count(fits_: Sequence[Fit], missing: Sequence[Missing]) -> Child:
    verdicts = [fit.verdict for fit in fits_]
    outside = verdicts.count("under") + verdicts.count("over")
    counts = [
        (verdicts.count("within"), "within their limits"),
        (outside, "outside"),
        (verdicts.count("cannot tell"), "cannot tell"),
        (len(missing), "missing"),
        (verdicts.count("no limit"), "without a limit"),
    ]
    return [element("b", ", ".join(f"{count} {what}" for count, what in counts if count) or "nothing measured"), "."]


def in_short(figures: Figures) -> Child:
    """How many fits are within their limits, for a reader who knows no more of it."""
    found = figures.fits
    if not found.fits:
        return "not yet"
    limited = [fit for fit in found.fits if fit.verdict != "no limit"]
    if limited and not found.missing and all(fit.verdict == "within" for fit in limited):
        return f"clearances, gaps and forms: all {len(limited)} that have a limit are within it"
    return ["clearances, gaps and forms: ", _count(found.fits, found.missing)]


def _lacking(missing: Sequence[Missing]) -> Markup | None:
    if not missing:
        return None
    lines = []
    for (kind, lacking), group in groupby(missing, key=lambda each: (each.kind, each.lacking)):
        places = ", ".join(each.place for each in group)
        lines.append(element("li", f"{FIT_KINDS[kind].title} ", own(places), ": ", own(lacking)))
    return element("div", element("h3", "Missing, and so not known to be good"), element("ul", lines))


def _rules_of_thumb(fits_: Iterable[Fit]) -> Markup | None:
    if not any(fit.bounds.practice for fit in fits_):
        return None
    return element("p", "Where it says 'common practice', nobody set a limit: the part maker's figure is what counts.")


def _tightened(figures: Figures) -> Markup | None:
    lines = []
    for (before, now), group in groupby(figures.fits.fasteners, key=lambda use: use[1:]):
        known = "how often before is not known" if before is None else f"{before} × before"
        lines.append(element("li", own(", ".join(use.place for use in group)), f": {now} × in this build, {known}"))
    if not lines:
        return None
    return element("div", element("h3", "How often tightened"), element("ul", lines), class_="together")


def _places(ruler: Ruler, kinds: Iterable[str], figures: Figures) -> Iterator[Markup]:
    """Every place of every kind, worst first, with what it came from."""
    for kind in kinds:
        fits_ = sorted(figures.fits.of(kind), key=lambda fit: fit.rank)
        text, unit = _text(ruler, kind), _unit(ruler, kind)
        limits = list(dict.fromkeys(limit_words(fit, text) for fit in fits_))
        sessions = list(dict.fromkeys(_sessions(fit) for fit in fits_))
        rows: list[list[Child]] = []
        for fit in fits_:
            of_mean = (fit.mean.value, COVERAGE * fit.mean.uncertainty) if fit.mean else ()
            rows.append(
                [
                    own(fit.place),
                    text(fit.value, fit.decimals),
                    text(COVERAGE * fit.uncertainty, fit.decimals + 1),
                    " ± ".join(text(each, fit.decimals + 1) for each in of_mean),
                    _from(fit, ruler),
                    own(_sessions(fit)) if len(sessions) > 1 else "",
                    own(limit_words(fit, text)) if len(limits) > 1 else "",
                    SAID[fit.verdict],
                ]
            )
        said = [", ".join(filter(None, (FIT_KINDS[kind].title, unit)))]
        said += limits if len(limits) == 1 and limits[0] else []
        caption = ": ".join(said) + (f" (from {sessions[0]})" if len(sessions) == 1 else "")
        columns = ["", "value>", "± U>", "mean ± U>", "from", "session", "limit", "verdict"]
        listing = table(columns, rows, caption=caption)
        yield element("div", listing, class_="broad") if any(fit.mean for fit in fits_) else listing


def _sessions(fit: Fit) -> str:
    return ", ".join(dict.fromkeys(each.session or "stated" for each in fit.came_from))


def _from(fit: Fit, ruler: Ruler) -> str:
    """The sizes that a fit came from: `62.237 − 62.182`."""
    if len(fit.came_from) < 2 or FIT_KINDS[fit.kind].unit != "mm" or fit.kind == "quench":
        return ""
    return " − ".join(ruler.text(each.value, each.decimals) for each in fit.came_from[:2])


def rings(figures: Figures) -> Markup:
    """The gap of every ring in its own bore, cylinder by cylinder, and what is to be filed."""
    found, ruler = figures.fits, Ruler(figures.build.shop)
    kinds = [kind for kind in RINGS if found.of(kind)]
    if not kinds:
        return Markup()
    gaps: dict[str, dict[str, list[Fit]]] = {kind: {} for kind in kinds}
    for kind in kinds:
        for fit in found.of(kind):  # a cylinder has two oil rails: `1 upper` and `1 lower`
            gaps[kind].setdefault(fit.place.partition(" ")[0], []).append(fit)
    cylinders = sorted({name for of_kind in gaps.values() for name in of_kind}, key=in_numbered_order)
    rows: list[list[Child]] = [
        [
            own(name),
            *([_gap(fit, ruler, number) for number, fit in enumerate(gaps[kind].get(name, ()))] for kind in kinds),
        ]
        for name in cylinders
    ]
    columns = ["cylinder", *(f"{FIT_KINDS[kind].title}, {ruler.unit}>" for kind in kinds)]
    limits = [
        f"{FIT_KINDS[kind].title}: {said}"
        for kind in kinds
        if (said := "; ".join(dict.fromkeys(filter(None, (limit_words(fit, ruler.text) for fit in found.of(kind))))))
    ]
    filing = [each for each in found.filing if each.file > 0]
    to_file = [
        [
            own(each.cylinder),
            kind_words(each.ring),
            ruler.text(each.gap, each.decimals),
            ruler.text(each.wanted, 3),
            ruler.text(each.file, 3),
            ruler.text(each.to_be_sure, 3),
        ]
        for each in filing
    ]
    return section(
        "Ring gaps",
        element("p", own(". ".join(limits)), ".") if limits else None,
        table(columns, rows),
        table(
            ["cylinder", "ring", "gap>", "wanted>", "file>", "to be sure>"],
            to_file,
            caption=f"To file, {ruler.unit}: a little at a time, and measured again in its own bore",
        ),
        means="The opening left between the ends of each ring in its own bore: too little, and the ends meet when hot.",
    )


def _gap(fit: Fit, ruler: Ruler, number: int) -> Child:
    which = fit.place.partition(" ")[2]
    value = ruler.text(fit.value, fit.decimals)
    return [", " if number else None, [own(which), " "] if which else None, value, _unless_within(fit)]


def _unless_within(fit: Fit) -> Child:
    return None if fit.verdict in {"within", "no limit"} else [" ", SAID[fit.verdict]]


def compression(figures: Figures, *, volumes: bool) -> Markup:
    """Every cylinder's ratio and quench; in the shop with the volumes that they are made of."""
    if not figures.has_layout or not figures.compression.cylinders:
        return Markup()
    found, ruler = figures.compression, Ruler(figures.build.shop)
    fits_, quenches = ({fit.place: fit for fit in figures.fits.of(kind)} for kind in ("compression_ratio", "quench"))
    with_dynamic = any(each.dynamic is not None for each in found.cylinders.values())
    rows: list[list[Child]] = []
    for name, each in found.cylinders.items():
        fit, quench = fits_.get(name), quenches.get(name)
        lacking = f"missing: {', '.join(each.missing)}" if each.missing else "these make no ratio"
        rows.append(
            [
                own(name),
                fixed(each.ratio.value, 2) if each.ratio else "",
                fixed(COVERAGE * each.ratio.uncertainty, 3) if each.ratio else "",
                *([fixed(each.dynamic, 2) if each.dynamic is not None else ""] if with_dynamic else []),
                [ruler.text(each.quench.value, 2), _unless_within(quench) if quench else None] if each.quench else "",
                *(_volumes(each) if volumes else []),
                SAID[fit.verdict] if fit else element("span", lacking, class_="doubt"),
            ]
        )
    limits = list(dict.fromkeys(said for fit in fits_.values() if (said := limit_words(fit))))
    spread = [
        element(
            "p",
            "Highest less lowest: ",
            element("b", fixed(fit.value, 2)),
            f" ± {fixed(COVERAGE * fit.uncertainty, 3)}, ",
            own(limit_words(fit)) if limit_words(fit) else None,
            " ",
            SAID[fit.verdict],
            ".",
        )
        for fit in figures.fits.of("compression_spread")
    ]
    columns = ["cylinder", "static>", "± U>", *(["dynamic>"] if with_dynamic else []), f"quench, {ruler.unit}>"]
    columns += [f"{title} cc>" for title in _VOLUMES] if volumes else []
    assumed = list(dict.fromkeys(said for each in found.cylinders.values() for said in each.assumed))
    return section(
        "Compression",
        element("p", "Limit: ", own("; ".join(limits)), ".") if limits else None,
        table([*columns, "verdict"], rows),
        spread,
        element("p", "Assumed: ", own("; ".join(assumed)), ".") if assumed and volumes else None,
        means="How far the mixture is pressed together, cylinder by cylinder; quench is what is left between piston "
        "and head at the top. Dynamic counts from where the intake valve closes.",
    )


_VOLUMES = ("swept", "left on top")


def _volumes(each: CylinderCompression) -> list[Child]:
    return [
        fixed(each.swept, 1) if each.swept is not None else "",
        fixed(each.clearance, 1) if each.clearance is not None else "",
    ]
