"""Fits against their limits: bearings, pistons, pins, rings, play, valves and fasteners, and what is missing."""

from fractions import Fraction
from math import hypot, sqrt

import pytest
from conftest import SAMPLES, Book
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.book.reading import Reader
from buildbook.figures import Figures, work_out
from buildbook.figures.fits import FIT_KINDS, Filing, limit_words
from buildbook.figures.lengths import Ruler
from buildbook.records.model import MEASUREMENT_KINDS
from figures.ledger import PARTS, pairings
from figures.measurements import (
    BORE_GAUGE,
    CERTIFIED_MIC,
    FEELER,
    MIC,
    PAIRED,
    WRENCH,
    fits,
    found,
    missing,
    rules_found,
    write,
)

JOURNALS = "what: main_journal, readings: {1: {front: [62.180, 62.179], rear: [62.180, 62.178]}, 2: [62.180, 62.182]}"
BORES = "what: main_bore, readings: {1: {front: [62.236, 62.238], rear: [62.237, 62.240]}, 2: [62.235, 62.237]}"
TWO_MAINS = "bore: 101.8, main_bearings: 2"

MATERIALS = PARTS.replace("{kind: piston,", "{kind: piston, material: forged aluminium 2618,") + (
    "  - {kind: block, ids: [B1], material: cast iron}\n"
)


def test_every_fit_is_worked_out_of_measurements_that_there_are() -> None:
    for name, kind in FIT_KINDS.items():
        assert kind.needs, name
        assert set(kind.needs) <= set(MEASUREMENT_KINDS), name


# Main bearings


def test_oil_clearance_is_the_tightest_place_and_the_mean(book: Book) -> None:
    # 1: 62.236 − 62.180 = 0.056; means of the ends' means: 62.23775 − 62.17925 = 0.0585
    # 2: 62.235 − 62.182 = 0.053; 62.236 − 62.181 = 0.055
    write(book, JOURNALS, BORES, sizes=TWO_MAINS)
    found = fits(book.figures(), "main_clearance")
    assert {place: fit.value for place, fit in found.items()} == {"1": Fraction("0.056"), "2": Fraction("0.053")}
    means = {place: fit.mean.value for place, fit in found.items() if fit.mean}
    assert means == pytest.approx({"1": 0.0585, "2": 0.055}, abs=1e-9)
    # of the mean journal, 62.17925 mm: 0.0009006 mm for each mm
    assert found["1"].per_mm == Fraction("0.056") / Fraction("62.17925")
    assert [(each.what, each.place, each.value, each.session) for each in found["1"].came_from] == [
        ("main bore", "1", Fraction("62.236"), "M2"),
        ("main journal", "1", Fraction("62.180"), "M1"),
    ]
    assert found["1"].decimals == 3


def test_a_clearance_carries_the_uncertainty_of_both_gauges(book: Book) -> None:
    # the tightest: one reading each, √2 × 0.00104083. The mean: four each, √(0.001²/12 + 0.001²/4) = 0.00057735
    write(book, JOURNALS, BORES, sizes=TWO_MAINS)
    fit = fits(book.figures(), "main_clearance")["1"]
    assert fit.uncertainty == pytest.approx(0.00147196, abs=5e-8)
    assert fit.mean is not None
    assert fit.mean.uncertainty == pytest.approx(sqrt(2) * 0.00057735, abs=5e-8)


def test_a_clearance_carries_what_the_certificates_of_both_gauges_state(book: Book) -> None:
    # one reading each: √(0.00144338² + 0.00225462²) = √(2.08333e-6 + 5.08333e-6) = 0.00267706
    write(
        book,
        "with: certified_mic, what: main_journal, readings: {1: 62.180}",
        "with: bore_gauge, what: main_bore, readings: {1: 62.236}",
    )
    fit = fits(book.figures(), "main_clearance")["1"]
    assert fit.uncertainty == pytest.approx(0.00267706, abs=5e-8)
    assert fit.uncertainty == pytest.approx(hypot(CERTIFIED_MIC, BORE_GAUGE), abs=5e-8)
    assert fit.mean is not None
    assert fit.mean.uncertainty == pytest.approx(0.00267706, abs=5e-8)  # of one reading each, too


def test_in_the_mean_of_a_clearance_the_certificates_stay_whole(book: Book) -> None:
    # four readings each: √(1e-6/12 + 1e-6/4 + 1e-6) = 0.00115470 and √(1e-6/12 + 1e-6/4 + 4e-6) = 0.00208167,
    # together √(1.33333e-6 + 4.33333e-6) = 0.00238048
    write(book, f"with: certified_mic, {JOURNALS}", f"with: bore_gauge, {BORES}", sizes=TWO_MAINS)
    mean = fits(book.figures(), "main_clearance")["1"].mean
    assert mean is not None
    assert mean.uncertainty == pytest.approx(0.00238048, abs=5e-8)


@pytest.mark.parametrize(
    ("least", "verdict"),
    [("0.0530", "within"), ("0.0531", "cannot tell"), ("0.0589", "cannot tell"), ("0.0590", "under")],
)
def test_just_inside_and_just_outside_what_the_gauges_can_tell(book: Book, least: str, verdict: str) -> None:
    # 62.236 − 62.180 = 0.056 ± 0.00294 mm (k = 2): from 0.05306 to 0.05894
    write(
        book,
        "what: main_journal, readings: {1: 62.180}",
        "what: main_bore, readings: {1: 62.236}",
        limits=f"main_clearance: {{min: {least}}}",
    )
    assert fits(book.figures(), "main_clearance")["1"].verdict == verdict


@pytest.mark.parametrize(
    ("most", "verdict"),
    [("0.0569", "cannot tell"), ("0.0601", "cannot tell"), ("0.0602", "within"), ("0.0568", "over")],
)
def test_an_upper_limit_is_for_the_mean(book: Book, most: str, verdict: str) -> None:
    # mean 0.0585, u = √2 × 0.00057735 = 0.00081650: from 0.05687 to 0.06013. The tightest has no maximum.
    write(book, JOURNALS, BORES, limits=f"main_clearance: {{max: {most}}}")
    assert fits(book.figures(), "main_clearance")["1"].verdict == verdict


def test_a_certificate_turns_a_verdict_into_a_doubt(book: Book) -> None:
    # 62.236 − 62.180 = 0.056: ± 0.0029 without certificates, ± 0.0054 with them, against 0.052
    for gauges, verdict in ((("mic", "mic"), "within"), (("certified_mic", "bore_gauge"), "cannot tell")):
        write(
            book,
            f"with: {gauges[0]}, what: main_journal, readings: {{1: 62.180}}",
            f"with: {gauges[1]}, what: main_bore, readings: {{1: 62.236}}",
            limits="main_clearance: {min: 0.052}",
        )
        assert fits(book.figures(), "main_clearance")["1"].verdict == verdict


@pytest.mark.parametrize(
    ("limit", "by_mean", "margin"),
    [
        ("max: 0.0568", True, -2.0821),  # (0.0568 − 0.0585)/0.00081650
        ("min: 0.0590", False, -2.0381),  # (0.0560 − 0.0590)/0.00147196
        ("min: 0.0500, max: 0.0610", True, 3.0619),  # 0.0060/0.00147196 = 4.1 down and 0.0025/0.00081650 up
        ("min: 0.0550, max: 0.0700", False, 0.67937),  # 0.0010/0.00147196 down and 0.0115/0.00081650 = 14 up
        ("min: 0.0500, max: 0.0520", True, -7.9608),  # (0.0520 − 0.0585)/0.00081650
    ],
)
def test_the_mean_decides_where_the_upper_limit_is_the_nearer(
    book: Book, limit: str, by_mean: bool, margin: float
) -> None:
    # the tightest is 0.0560, u = 0.00147196; the mean 0.0585, u = 0.00081650
    write(book, JOURNALS, BORES, limits=f"main_clearance: {{{limit}}}")
    fit = fits(book.figures(), "main_clearance")["1"]
    assert fit.decided_by_mean is by_mean
    assert fit.deciding.value == pytest.approx(0.0585 if by_mean else 0.056, abs=1e-9)
    assert fit.deciding.uncertainty == pytest.approx(0.00081650 if by_mean else 0.00147196, abs=5e-8)
    assert fit.margin == pytest.approx(margin, rel=1e-4)


def test_what_has_no_mean_is_not_decided_by_one(book: Book) -> None:
    write(book, JOURNALS, limits="journal_taper: {max: 0.006}")
    fit = fits(book.figures(), "main_journal_taper")["1"]
    assert not fit.decided_by_mean
    assert fit.deciding == (float(fit.value), fit.uncertainty)


def test_a_limit_may_be_in_inches(book: Book) -> None:
    # 0.0025 in = 0.0635 mm
    write(book, JOURNALS, BORES, limits='main_clearance: {min: "0.0025 in"}')
    fit = fits(book.figures(), "main_clearance")["1"]
    assert (fit.bounds.least, fit.verdict) == (Fraction("0.0635"), "under")


def test_a_limit_for_each_millimetre_of_the_journal(book: Book) -> None:
    # 0.0008 × 62.17925 = 0.0497434, 0.0010 × 62.17925 = 0.06217925
    limits = "main_clearance: {min: {per_mm: 0.0008}, max: {per_mm: 0.0010}, source: bearing maker's sheet}"
    write(book, JOURNALS, BORES, limits=limits)
    fit = fits(book.figures(), "main_clearance")["1"]
    assert (fit.bounds.least, fit.bounds.most) == (Fraction("0.0497434"), Fraction("0.06217925"))
    assert (fit.bounds.source, fit.bounds.practice) == ("bearing maker's sheet", False)
    assert fit.verdict == "within"  # 0.056 − 0.0029 and 0.0585 + 0.0016
    assert limit_words(fit) == "0.050 to 0.062, bearing maker's sheet"


@pytest.mark.parametrize(
    ("limit", "in_mm", "in_inches"),
    [
        # 0.0020 in = 0.0508 mm, 0.0028 in = 0.07112 mm: as stated in inches, and all of it in mm
        ("min: 0.0020 in, max: 0.0028 in", "0.05080 to 0.07112", "0.0020 to 0.0028"),
        ("min: 0.0005 in", "at least 0.0127", "at least 0.0005"),
        ("min: 0.04, max: 0.0625", "0.0400 to 0.0625", "0.0016 to 0.0025"),
        ("min: 0.045, max: {per_mm: 0.0010}", "0.045 to 0.062", "0.0018 to 0.0024"),
    ],
)
def test_both_ends_of_a_limit_are_written_as_finely_as_it_was_stated(
    book: Book, limit: str, in_mm: str, in_inches: str
) -> None:
    write(book, JOURNALS, BORES, limits=f"main_clearance: {{{limit}}}")
    fit = fits(book.figures(), "main_clearance")["1"]
    shop = book.figures().build.shop
    rulers = [Ruler(shop._replace(preferred_units={"length": unit})) for unit in ("mm", "in")]
    assert [limit_words(fit, ruler.text) for ruler in rulers] == [in_mm, in_inches]


def test_common_practice_stands_in_where_no_limit_was_set(book: Book) -> None:
    # 0.00075 and 0.0010 of 62.17925: 0.0466344 to 0.0621793; 0.056 lies between
    write(book, JOURNALS, BORES)
    fit = fits(book.figures(), "main_clearance")["1"]
    assert (fit.bounds.least, fit.bounds.most) == (
        Fraction("0.00075") * Fraction("62.17925"),
        Fraction("0.0010") * Fraction("62.17925"),
    )
    assert (fit.bounds.practice, fit.bounds.where, fit.verdict) == (True, None, "within")
    assert limit_words(fit) == "0.047 to 0.062, common practice, 0.00075 to 0.0010 of the journal"


def test_a_bearing_with_one_of_its_two_diameters_is_missing_not_good(book: Book) -> None:
    write(
        book,
        "what: main_journal, readings: {1: 62.180, 2: 62.181}",
        "what: main_bore, readings: {1: 62.236, 3: 62.236}",
        sizes="bore: 101.8, main_bearings: 4",
    )
    figures = book.figures()
    assert list(fits(figures, "main_clearance")) == ["1"]
    assert missing(figures, "main_clearance") == {
        "2": "main bore",
        "3": "main journal",
        "4": "main bore and main journal",
    }


def test_nothing_is_missing_of_what_nobody_began(book: Book) -> None:
    write(book, sizes=TWO_MAINS)
    figures = book.figures()
    assert (figures.fits.fits, figures.fits.missing, figures.fits.filing) == ((), (), ())


def test_the_later_reading_of_a_journal_makes_the_clearance(book: Book) -> None:
    # polished from 62.180 to 62.172: 62.236 − 62.172
    write(
        book,
        "what: main_journal, readings: {1: 62.180}",
        "what: main_bore, readings: {1: 62.236}",
        "taken: 2026-10-06T08:00+01:00, what: main_journal, readings: {1: 62.172}",
        "taken: 2026-10-07T08:00+01:00, what: main_journal, void: dropped the micrometer, readings: {1: 62.150}",
    )
    fit = fits(book.figures(), "main_clearance")["1"]
    assert fit.value == Fraction("0.064")
    assert [each.session for each in fit.came_from] == ["M2", "M3"]


# Forms


def test_taper_and_out_of_round_of_a_journal_by_hand(book: Book) -> None:
    # ends' means 62.1795 and 62.179: taper 0.0005. Sections 0.001 and 0.002 out of round: the worse counts.
    write(book, JOURNALS, limits="journal_taper: {max: 0.006}, journal_out_of_round: {max: 0.003}")
    figures = book.figures()
    taper, out = (fits(figures, f"main_journal_{form}")["1"] for form in ("taper", "out_of_round"))
    assert (taper.value, out.value) == (Fraction("0.0005"), Fraction("0.002"))
    # each end a mean of two, √(0.001²/12 + 0.001²/2) = 0.00076376; and two single readings
    assert taper.uncertainty == pytest.approx(sqrt(2) * 0.00076376, abs=5e-8)
    assert out.uncertainty == pytest.approx(sqrt(2) * MIC, abs=5e-8)
    # 0.0005 + 0.0022 is within 0.006; 0.002 + 0.0029 is over 0.003, and 0.002 − 0.0029 is not
    assert (taper.verdict, out.verdict) == ("within", "cannot tell")
    assert [each.as_read for each in out.came_from] == [Fraction("62.180"), Fraction("62.178")]


def test_a_gauges_own_error_leaves_taper_and_out_of_round(book: Book) -> None:
    # all readings are off by the same: as with a gauge without a certificate, √2 × 0.00076376 and √2 × 0.00104083
    write(book, f"with: certified_mic, {JOURNALS}")
    figures = book.figures()
    taper, out = (fits(figures, f"main_journal_{form}")["1"] for form in ("taper", "out_of_round"))
    assert taper.uncertainty == pytest.approx(sqrt(2) * 0.00076376, abs=5e-8)
    assert out.uncertainty == pytest.approx(sqrt(2) * MIC, abs=5e-8)


@pytest.mark.parametrize(
    ("kind", "title", "size"),
    [
        ("main_journal", "main_journal", "62.180"),
        ("main_bore", "main_bore", "62.236"),
        ("cylinder_bore", "bore", "101.8"),
    ],
)
def test_an_end_that_was_not_measured_again_leaves_its_taper_missing(
    book: Book, kind: str, title: str, size: str
) -> None:
    # ground or honed in between: what the other end was before says nothing of what it is now
    first, second = ("top", "bottom") if kind == "cylinder_bore" else ("front", "rear")
    both = f"{{{first}: {size}, {second}: {size}}}"
    write(
        book,
        f"what: {kind}, readings: {{1: {both}, 2: {both}}}",
        f"id: M8, taken: 2026-10-06T09:00+01:00, what: {kind}, readings: {{1: {{{first}: {size}}}}}",
        sizes=TWO_MAINS,
    )
    figures = book.figures()
    assert missing(figures, f"{title}_taper") == {"1": f"{second}: not measured again in M8"}
    assert list(fits(figures, f"{title}_taper")) == ["2"]


def test_each_section_that_was_not_measured_again_is_named(book: Book) -> None:
    write(
        book,
        "what: main_journal, readings: {1: {front: 62.180, middle: 62.181, rear: 62.179}}",
        "taken: 2026-10-06T09:00+01:00, what: main_journal, readings: {1: 62.170}",
    )
    lacking = [each.lacking for each in book.figures().fits.missing if each.kind == "main_journal_taper"]
    assert lacking == [f"{level}: not measured again in M2" for level in ("front", "middle", "rear")]


def test_a_pin_of_its_own_that_was_not_measured_again_lacks_no_taper(book: Book) -> None:
    write(
        book,
        "what: rod_journal, readings: {1: {front: [54.001, 54.000], rear: [53.981, 53.979]}}",
        "taken: 2026-10-06T09:00+01:00, what: rod_journal, readings: {1: {front: 53.751}}",
        layout=SPLIT,
        parts=f"format: 1\nparts:\n{SIX}",
        paired=SIX_PAIRED,
    )
    assert missing(book.figures(), "rod_journal_taper") == {}


def test_a_taper_comes_from_its_two_ends(book: Book) -> None:
    # the middle is the largest of all, and takes no part
    write(book, "what: main_journal, readings: {1: {front: 62.180, middle: 62.190, rear: 62.176}}")
    taper = fits(book.figures(), "main_journal_taper")["1"]
    assert taper.value == Fraction("0.004")
    assert {each.as_read for each in taper.came_from} == {Fraction("62.180"), Fraction("62.176")}


def test_a_cylinder_bores_taper_is_the_largest_between_any_two_levels(book: Book) -> None:
    write(
        book,
        "what: cylinder_bore, readings: {1: {top: [101.806, 101.806], middle: [101.846, 101.842], bottom: 101.805}}",
        limits="bore_taper: {max: 0.013}, bore_out_of_round: {max: 0.013}",
    )
    figures = book.figures()
    # means 101.806, 101.844, 101.805; the middle is 0.004 out of round
    assert fits(figures, "bore_taper")["1"].value == Fraction("0.039")
    assert fits(figures, "bore_taper")["1"].verdict == "over"
    assert fits(figures, "bore_out_of_round")["1"].value == Fraction("0.004")


@pytest.mark.parametrize(("own", "verdict"), [("", "over"), (", main_journal_taper: {max: 0.020 mm}", "within")])
def test_a_limit_of_ones_own_goes_before_the_shared_one(book: Book, own: str, verdict: str) -> None:
    write(
        book,
        "what: main_journal, readings: {1: {front: 62.180, rear: 62.168}}",
        limits=f"journal_taper: {{max: 0.006}}{own}",
    )
    assert fits(book.figures(), "main_journal_taper")["1"].verdict == verdict


def test_a_form_read_once_is_unknown(book: Book) -> None:
    write(book, "what: main_journal, readings: {1: 62.180}")
    assert book.figures().fits.fits == ()


# Rod bearings

ROD_JOURNALS = "what: rod_journal, readings: {1: {front: [53.290, 53.291], rear: [53.288, 53.289]}}"
ROD_BORES = "what: rod_bore, readings: {R1: [53.340, 53.342], R2: [53.343, 53.344]}"


def test_two_rods_on_one_pin_run_on_the_same_journal(book: Book) -> None:
    # 53.340 − 53.291 and 53.343 − 53.291
    write(book, ROD_JOURNALS, ROD_BORES, paired=PAIRED)
    figures = book.figures()
    found = fits(figures, "rod_clearance")
    assert {place: fit.value for place, fit in found.items()} == {"R1": Fraction("0.049"), "R2": Fraction("0.052")}
    assert {each.place for fit in found.values() for each in fit.came_from} == {"R1", "R2", "1"}
    assert fits(figures, "rod_journal_taper")["1"].value == Fraction("0.002")


SPLIT = "v6_90_split_pin_30"
SIX = "".join(
    f"  - {{kind: {kind}, ids: [{', '.join(f'{letter}{number}' for number in range(1, 7))}]}}\n"
    for kind, letter in (("rod", "R"), ("piston", "P"), ("pin", "N"))
)
SIX_PAIRED = pairings(*(f"rod: R{number}, piston: P{number}, pin: N{number}" for number in range(1, 7)))


def test_on_a_split_pin_each_rod_has_its_own_journal_and_no_taper_runs_from_pin_to_pin(book: Book) -> None:
    # throw 1 carries cylinders 1 and 2 on pins of their own: 54.040 − 54.001 = 0.039 and 54.040 − 53.981 = 0.059
    write(
        book,
        "what: rod_journal, readings: {1: {front: [54.001, 54.000], rear: [53.981, 53.979]}}",
        "what: rod_bore, readings: {R1: 54.040, R2: 54.040}",
        layout=SPLIT,
        parts=f"format: 1\nparts:\n{SIX}",
        paired=SIX_PAIRED,
    )
    figures = book.figures()
    found = fits(figures, "rod_clearance")
    assert {place: fit.value for place, fit in found.items()} == {"R1": Fraction("0.039"), "R2": Fraction("0.059")}
    assert found["R1"].diameter == Fraction("54.0005")
    assert fits(figures, "rod_journal_taper") == {}
    # each pin's own roundness still counts: 0.001 and 0.002
    assert fits(figures, "rod_journal_out_of_round")["1"].value == Fraction("0.002")


def test_a_split_pin_is_front_and_rear_however_it_is_written(book: Book) -> None:
    write(
        book,
        "what: rod_journal, readings: {1: {rear: 53.981, front: 54.001}}",
        "what: rod_bore, readings: {R1: 54.040, R2: 54.040}",
        layout=SPLIT,
        parts=f"format: 1\nparts:\n{SIX}",
        paired=SIX_PAIRED,
    )
    found = fits(book.figures(), "rod_clearance")
    assert {place: fit.value for place, fit in found.items()} == {"R1": Fraction("0.039"), "R2": Fraction("0.059")}


def test_a_split_pin_read_as_a_whole_serves_both_its_rods(book: Book) -> None:
    write(
        book,
        "what: rod_journal, readings: {1: 54.001}",
        "what: rod_bore, readings: {R1: 54.040, R2: 54.042}",
        layout=SPLIT,
        parts=f"format: 1\nparts:\n{SIX}",
        paired=SIX_PAIRED,
    )
    found = fits(book.figures(), "rod_clearance")
    assert {place: fit.value for place, fit in found.items()} == {"R1": Fraction("0.039"), "R2": Fraction("0.041")}


def test_a_rod_that_is_not_matched_has_no_journal_yet(book: Book) -> None:
    write(book, ROD_JOURNALS, ROD_BORES)
    figures = book.figures()
    assert fits(figures, "rod_clearance") == {}
    lacking = missing(figures, "rod_clearance")
    assert set(lacking) == {"R1", "R2"}
    assert all("not matched yet" in words for words in lacking.values())


def test_a_lock_alone_is_enough_for_the_rod_it_holds(book: Book) -> None:
    locked = "format: 1\nlocked:\n  - {rod: R2, cylinder: 1, because: numbered to it}\n"
    write(book, ROD_JOURNALS, ROD_BORES, paired=locked)
    figures = book.figures()
    assert {place: fit.value for place, fit in fits(figures, "rod_clearance").items()} == {"R2": Fraction("0.052")}
    assert set(missing(figures, "rod_clearance")) == {"R1"}


def test_a_rod_without_its_bore_lacks_its_bore_alone(book: Book) -> None:
    write(book, ROD_JOURNALS, "what: rod_bore, readings: {R1: 53.340}", paired=PAIRED)
    assert missing(book.figures(), "rod_clearance") == {"R2": "rod bore"}


def test_what_was_measured_is_not_called_missing_before_the_rods_are_matched(book: Book) -> None:
    write(book, ROD_JOURNALS)
    lacking = missing(book.figures(), "rod_clearance")
    assert set(lacking) == {"R1", "R2"}
    assert not any("rod journal" in words for words in lacking.values())


def test_a_rod_on_a_throw_that_nobody_measured_lacks_its_journal(book: Book) -> None:
    write(book, ROD_BORES, paired=PAIRED)
    assert missing(book.figures(), "rod_clearance") == {"R1": "rod journal", "R2": "rod journal"}


# Cam bearings


def test_cam_bearings_have_no_rule_of_thumb(book: Book) -> None:
    write(
        book, "what: cam_journal, readings: {1: 47.450, 2: 47.440}", "what: cam_bore, readings: {1: 47.510, 3: 47.500}"
    )
    figures = book.figures()
    fit = fits(figures, "cam_clearance")["1"]
    assert (fit.value, fit.verdict, limit_words(fit)) == (Fraction("0.060"), "no limit", "")
    assert missing(figures, "cam_clearance") == {"2": "cam bore", "3": "cam journal"}


# Pistons and pins

CYLINDERS = "what: cylinder_bore, readings: {1: {top: [101.808, 101.806], bottom: [101.806, 101.804]}, 2: 101.805}"
SKIRTS = "what: piston_skirt, readings: {P1: 101.720, P2: 101.730}"


def test_each_piston_runs_in_the_cylinder_it_was_matched_to(book: Book) -> None:
    # P2 is in cylinder 1: 101.804 − 101.730 = 0.074, mean 101.806 − 101.730; P1 in 2: 101.805 − 101.720
    write(book, CYLINDERS, SKIRTS, paired=PAIRED)
    found = fits(book.figures(), "piston_clearance")
    assert {place: fit.value for place, fit in found.items()} == {"1": Fraction("0.074"), "2": Fraction("0.085")}
    assert found["1"].mean is not None
    assert found["1"].mean.value == pytest.approx(0.076, abs=1e-9)
    # for each unit of the bore, not of the piston
    assert found["2"].per_mm == Fraction("0.085") / Fraction("101.805")
    assert found["1"].verdict == "no limit"
    assert [(each.what, each.place) for each in found["1"].came_from] == [
        ("cylinder bore", "1"),
        ("piston skirt", "P2"),
    ]


def test_before_the_pairing_is_decided_no_piston_has_a_bore(book: Book) -> None:
    write(book, CYLINDERS, SKIRTS)
    figures = book.figures()
    assert fits(figures, "piston_clearance") == {}
    lacking = missing(figures, "piston_clearance")
    assert set(lacking) == {"1", "2"}
    assert all("not matched yet" in words for words in lacking.values())


def test_a_piston_locked_to_its_bore_has_a_clearance_and_the_other_bore_waits_for_its_own(book: Book) -> None:
    locked = "format: 1\nlocked:\n  - {piston: P1, cylinder: 2, because: honed to this piston}\n"
    write(book, CYLINDERS, SKIRTS, paired=locked)
    figures = book.figures()
    assert {place: fit.value for place, fit in fits(figures, "piston_clearance").items()} == {"2": Fraction("0.085")}
    assert list(missing(figures, "piston_clearance")) == ["1"]
    assert "its piston" in missing(figures, "piston_clearance")["1"]


def test_an_unmeasured_piston_or_bore_is_missing(book: Book) -> None:
    write(
        book,
        "what: cylinder_bore, readings: {1: 101.806}",
        "what: piston_skirt, readings: {P1: 101.720}",
        paired=PAIRED,
    )
    assert missing(book.figures(), "piston_clearance") == {"1": "piston skirt", "2": "cylinder bore"}


def test_one_bore_of_eight_without_a_reading_is_missing(book: Book) -> None:
    read = ", ".join(f"{number}: 101.80{number}" for number in (1, 2, 3, 4, 5, 6, 8))
    skirts = ", ".join(f"P{number}: 101.720" for number in range(1, 9))
    eight = "".join(
        f"  - {{kind: {kind}, ids: [{', '.join(f'{letter}{number}' for number in range(1, 9))}]}}\n"
        for kind, letter in (("rod", "R"), ("piston", "P"), ("pin", "N"))
    )
    write(
        book,
        f"what: cylinder_bore, readings: {{{read}}}",
        f"what: piston_skirt, readings: {{{skirts}}}",
        layout="v8_90_cross_plane",
        parts=f"format: 1\nparts:\n{eight}",
        paired=pairings(*(f"rod: R{number}, piston: P{number}, pin: N{number}" for number in range(1, 9))),
    )
    figures = book.figures()
    assert list(fits(figures, "piston_clearance")) == ["1", "2", "3", "4", "5", "6", "8"]
    assert missing(figures, "piston_clearance") == {"7": "cylinder bore"}


def test_an_aluminium_piston_and_an_iron_bore_measured_warm(book: Book) -> None:
    # At 30 °C, steel gauges: the bore at 20 °C is 101.806 × 1.000115/1.000108 = 101.8067125, the piston
    # 101.730 × 1.000115/1.000223 = 101.7190158: 0.087697 mm, where 0.076 was read
    write(
        book,
        "temperature: 30, what: cylinder_bore, readings: {1: 101.806}",
        "temperature: 30, what: piston_skirt, readings: {P2: 101.730}",
        parts=MATERIALS,
        paired=PAIRED,
        limits="piston_clearance: {min: 0.070, max: 0.080}",
    )
    fit = fits(book.figures(), "piston_clearance")["1"]
    assert float(fit.value) == pytest.approx(0.087697, abs=5e-7)
    assert fit.as_read == Fraction("0.076")
    # each side √(0.00104083² + (L × 10 × 0.816497e-6)²): 0.00133199 and 0.00133163
    assert fit.uncertainty == pytest.approx(hypot(0.00133199, 0.00133163), abs=1e-7)
    # judged as it is at 20 °C: 0.0877 − 0.0038 is over 0.080; as read, 0.076, it would have passed for a doubt
    assert fit.verdict == "over"


def test_a_piston_and_a_bore_at_the_same_20_degrees_are_judged_as_read(book: Book) -> None:
    write(
        book,
        "temperature: 20.0, what: cylinder_bore, readings: {1: 101.806}",
        "temperature: 68 degF, what: piston_skirt, readings: {P2: 101.730}",
        parts=MATERIALS,
        paired=PAIRED,
        limits="piston_clearance: {min: 0.070, max: 0.080}",
    )
    fit = fits(book.figures(), "piston_clearance")["1"]
    assert (fit.value, fit.as_read, fit.verdict) == (Fraction("0.076"), Fraction("0.076"), "within")


def test_a_pin_fits_the_piston_and_the_rod_of_its_own_cylinder(book: Book) -> None:
    # N1 goes with P2 and R1, N2 with P1 and R2
    write(
        book,
        "what: pin_diameter, readings: {N1: 23.997, N2: 23.995}",
        "what: piston_pin_bore, readings: {P1: 24.010, P2: 24.009}",
        "what: rod_pin_bore, readings: {R1: 24.016, R2: 23.970}",
        paired=PAIRED,
        limits="pin_in_piston: {min: 0.008, max: 0.020}, pin_in_rod: {min: -0.040, max: -0.010}",
    )
    figures = book.figures()
    in_piston, in_rod = fits(figures, "pin_in_piston"), fits(figures, "pin_in_rod")
    assert {place: fit.value for place, fit in in_piston.items()} == {"P1": Fraction("0.015"), "P2": Fraction("0.012")}
    assert [fit.verdict for fit in in_piston.values()] == ["within", "within"]
    # R2 grips its pin by 0.025 mm, as it should; R1 does not
    assert {place: fit.value for place, fit in in_rod.items()} == {"R1": Fraction("0.019"), "R2": Fraction("-0.025")}
    assert [in_rod[rod].verdict for rod in ("R1", "R2")] == ["over", "within"]


def test_a_pin_bore_waits_for_its_pin(book: Book) -> None:
    bore = "what: piston_pin_bore, readings: {P1: 24.010, P2: 24.009}"
    write(book, bore, "what: pin_diameter, readings: {N1: 23.997}")
    lacking = missing(book.figures(), "pin_in_piston")
    assert set(lacking) == {"P1", "P2"}
    assert all("not matched yet" in words for words in lacking.values())
    write(book, bore, "what: pin_diameter, readings: {N1: 23.997}", paired=PAIRED)
    assert missing(book.figures(), "pin_in_piston") == {"P1": "pin"}
    write(book, bore, paired=PAIRED)
    assert missing(book.figures(), "pin_in_piston") == {"P1": "pin", "P2": "pin"}


SPARES = PARTS + (
    "  - {kind: rod, ids: [R9], state: spare}\n"
    "  - {kind: piston, ids: [P9], state: spare}\n"
    "  - {kind: pin, ids: [N9], state: spare}\n"
)


def test_a_spare_is_measured_and_kept_and_counts_for_nothing(book: Book) -> None:
    write(
        book,
        ROD_JOURNALS,
        "what: rod_bore, readings: {R1: 53.340, R2: 53.343, R9: 53.350}",
        CYLINDERS,
        "what: piston_skirt, readings: {P1: 101.720, P2: 101.730, P9: 101.725}",
        "what: pin_diameter, readings: {N1: 23.997, N2: 23.995, N9: 23.996}",
        "what: piston_pin_bore, readings: {P1: 24.010, P2: 24.009, P9: 24.010}",
        parts=SPARES,
        paired=PAIRED,
    )
    figures = book.figures()
    assert [each for each in figures.fits.missing if each.place in {"R9", "P9"}] == []


@pytest.mark.parametrize(
    ("what", "spare"), [("top_ring_side", "piston"), ("rod_side", "rod")], ids=["cylinder 1", "throw 1"]
)
def test_a_spare_that_is_only_counted_takes_no_reading_of_a_place_with_its_number(
    book: Book, what: str, spare: str
) -> None:
    parts = PARTS + f"  - {{kind: {spare}, count: 1, state: spare}}\n"
    write(book, f"with: feeler, what: {what}, readings: {{1: 0.04}}", parts=parts)
    assert list(fits(book.figures(), what)) == ["1"]


# Rings


def test_ring_gaps_say_how_much_to_file_for_their_own_bore(book: Book) -> None:
    # wanted: 0.0045 × 101.806 = 0.458127 in cylinder 1; in 2 the bore is not measured: 0.0045 × 101.8 = 0.4581
    write(
        book,
        "what: cylinder_bore, readings: {1: {top: 101.808, bottom: 101.804}}",
        "with: feeler, what: top_ring_gap, readings: {1: 0.41, 2: 0.50}",
        limits="top_ring_gap: {min: {per_mm: 0.0045}, source: ring maker's sheet}",
    )
    figures = book.figures()
    assert figures.fits.filing == (
        Filing(
            "1",
            "top_ring",
            Fraction("0.41"),
            Fraction("0.458127"),
            Fraction("0.048127"),
            figures.fits.filing[0].to_be_sure,
            2,
            "ring maker's sheet",
            False,
        ),
        Filing(
            "2",
            "top_ring",
            Fraction("0.50"),
            Fraction("0.4581"),
            Fraction(0),
            Fraction(0),
            2,
            "ring maker's sheet",
            False,
        ),
    )
    # 0.048127 + 2 × 0.00577350: then even the least that the feeler gauge may have meant is enough
    assert float(figures.fits.filing[0].to_be_sure) == pytest.approx(0.059674, abs=5e-8)
    # 0.41 ± 0.0115 and 0.50 ± 0.0115 mm
    assert [fit.verdict for fit in figures.fits.of("top_ring_gap")] == ["under", "within"]
    assert figures.fits.of("top_ring_gap")[0].uncertainty == pytest.approx(FEELER, abs=5e-8)


@pytest.mark.parametrize(
    ("gap", "file", "to_be_sure"),
    [
        ("0.45", "0.01", 0.0215470),  # 0.01 + 2 × 0.00577350
        ("0.46", "0", 0),  # nothing is to file where the gauge cannot tell it from enough
        ("0.47", "0", 0),
        ("[0.44, 0.46]", "0.01", 0.0191287),  # 0.01 + 2 × √(0.01²/12 + 0.005²/2) = 0.01 + 2 × 0.00456435
    ],
)
def test_filing_to_be_sure_is_so_much_more_as_the_gauge_cannot_tell(
    book: Book, gap: str, file: str, to_be_sure: float
) -> None:
    write(book, f"with: feeler, what: top_ring_gap, readings: {{1: {gap}}}", limits="top_ring_gap: {min: 0.46}")
    (filing,) = book.figures().fits.filing
    assert filing.file == Fraction(file)
    assert float(filing.to_be_sure) == pytest.approx(to_be_sure, abs=5e-8)


@pytest.mark.parametrize("gap", ["0.30", "0.40", "0.44", "0.45"])
def test_a_ring_filed_to_be_sure_is_then_told_to_be_within(book: Book, gap: str) -> None:
    write(book, f"with: feeler, what: top_ring_gap, readings: {{1: {gap}}}", limits="top_ring_gap: {min: 0.46}")
    (filing,) = book.figures().fits.filing
    filed = Fraction(gap) + filing.to_be_sure
    shown = f"{float(-(-filed // Fraction('0.01')) * Fraction('0.01')):.2f}"  # on to the next step of the gauge
    write(book, f"with: feeler, what: top_ring_gap, readings: {{1: {shown}}}", limits="top_ring_gap: {min: 0.46}")
    assert fits(book.figures(), "top_ring_gap")["1"].verdict == "within"


def test_a_rail_that_most_cylinders_have_and_one_lacks_is_missing(book: Book) -> None:
    rails = {str(number): "{upper: 0.50, lower: 0.52}" for number in range(1, 7)} | {"3": "{upper: 0.51}"}
    readings = ", ".join(f"{cylinder}: {read}" for cylinder, read in rails.items())
    write(book, f"with: feeler, what: oil_rail_gap, readings: {{{readings}}}", layout=SPLIT)
    figures = book.figures()
    assert missing(figures, "oil_rail_gap") == {"3": "no lower"}
    assert rules_found(figures) == ["not-measured"]


def test_a_rail_that_half_of_the_cylinders_have_is_asked_of_none(book: Book) -> None:
    # two of two rails or one of one: nobody can say which this engine has
    write(book, "with: feeler, what: oil_rail_gap, readings: {1: {upper: 0.50, lower: 0.52}, 2: {upper: 0.51}}")
    assert missing(book.figures(), "oil_rail_gap") == {}


def test_a_ring_read_twice_is_its_mean(book: Book) -> None:
    # two readings: √(0.01²/12 + 0.005²/2) = √(2.08333e-5) = 0.00456435
    write(book, "with: feeler, what: top_ring_gap, readings: {1: [0.45, 0.46], 2: 0.47}")
    fit = fits(book.figures(), "top_ring_gap")["1"]
    assert fit.value == Fraction("0.455")
    assert fit.uncertainty == pytest.approx(0.00456435, abs=5e-8)


def test_each_oil_rail_is_filed_by_itself_by_common_practice(book: Book) -> None:
    # 0.015 in = 0.381 mm
    write(book, "with: feeler, what: oil_rail_gap, readings: {1: {upper: 0.30, lower: 0.57}, 2: {upper: 0.38}}")
    filing = book.figures().fits.filing
    assert {(each.cylinder, each.ring): each.file for each in filing} == {
        ("1", "oil_rail_upper"): Fraction("0.081"),
        ("1", "oil_rail_lower"): Fraction(0),
        ("2", "oil_rail_upper"): Fraction("0.001"),
    }
    assert all(each.practice and each.source == "0.015 in" for each in filing)


def test_a_ring_with_an_upper_limit_alone_is_not_filed(book: Book) -> None:
    write(book, "with: feeler, what: top_ring_gap, readings: {1: 0.41}", limits="top_ring_gap: {max: 0.60}")
    assert book.figures().fits.filing == ()


def test_a_ring_gap_that_nobody_measured_is_missing(book: Book) -> None:
    write(book, "with: feeler, what: second_ring_gap, readings: {2: 0.55}")
    assert missing(book.figures(), "second_ring_gap") == {"1": "second ring gap"}


# What a gauge shows as it stands


@pytest.mark.parametrize(
    ("session", "limit", "kind", "place", "value"),
    [
        ("what: rod_side, readings: {1: [0.31, 0.32]}", "rod_side", "rod_side", "1", "0.315"),
        ("what: rod_side, readings: {R1: 0.31}", "rod_side", "rod_side", "R1", "0.31"),
        (
            "what: crankshaft_end_play, readings: {2: [0.12, 0.14]}",
            "crankshaft_end_play",
            "crankshaft_end_play",
            "2",
            "0.13",
        ),
        ("what: camshaft_end_play, readings: {1: 0.15}", "camshaft_end_play", "camshaft_end_play", "1", "0.15"),
        ("what: top_ring_side, readings: {P1: 0.04}", "top_ring_side", "top_ring_side", "P1", "0.04"),
        ("what: oil_ring_side, readings: {2: 0.06}", "oil_ring_side", "oil_ring_side", "2", "0.06"),
        (
            "what: deck_height, readings: {left: {front: -0.08, rear: 0.09}}",
            "deck_height",
            "deck_height",
            "left front",
            "-0.08",
        ),
    ],
)
def test_play_and_gaps_are_held_to_their_limits_as_read(
    book: Book, session: str, limit: str, kind: str, place: str, value: str
) -> None:
    write(book, f"with: feeler, {session}", limits=f"{limit}: {{max: {float(value) - 0.02:.3f}}}")
    fit = fits(book.figures(), kind)[place]
    assert (fit.value, fit.verdict) == (Fraction(value), "over")
    write(book, f"with: feeler, {session}", limits=f"{limit}: {{max: {float(value) + 0.02:.3f}}}")
    assert fits(book.figures(), kind)[place].verdict == "within"


def test_play_is_measured_at_one_bearing_and_missing_at_no_other(book: Book) -> None:
    write(book, "with: feeler, what: crankshaft_end_play, readings: {2: 0.13}", sizes="bore: 101.8, main_bearings: 5")
    assert missing(book.figures(), "crankshaft_end_play") == {}


@pytest.mark.parametrize("pistons", ["ids: [P1, P2]", "count: 2"], ids=["with ids", "counted"])
def test_one_ring_groove_of_two_without_a_reading_is_missing(book: Book, pistons: str) -> None:
    parts = PARTS.replace("ids: [P1, P2]", pistons)
    by_cylinder = "with: feeler, what: top_ring_side, readings: {1: 0.04}"
    write(book, by_cylinder, parts=parts)
    assert missing(book.figures(), "top_ring_side") == {"2": "top ring side clearance"}


def test_one_piston_of_two_without_a_groove_reading_is_missing(book: Book) -> None:
    write(book, "with: feeler, what: top_ring_side, readings: {P1: 0.04}")
    assert missing(book.figures(), "top_ring_side") == {"P2": "top ring side clearance"}


def test_play_along_the_crankshaft_is_no_share_of_a_cylinders_bore(book: Book) -> None:
    # throw 1 and cylinder 1 have nothing but the number in common
    write(
        book,
        "with: feeler, what: rod_side, readings: {1: 0.31}",
        "with: feeler, what: crankshaft_end_play, readings: {1: 0.13}",
    )
    figures = book.figures()
    assert fits(figures, "rod_side")["1"].per_mm is None
    assert fits(figures, "crankshaft_end_play")["1"].per_mm is None


def test_a_valve_is_judged_at_its_tightest_crank_angle(book: Book) -> None:
    write(
        book,
        "with: feeler, what: valve_to_piston, "
        'readings: {1: {intake: {"-10": 2.51, "0": 2.31, "10": 2.40}, exhaust: 2.90}}',
        limits="intake_valve_to_piston: {min: 2.4}, exhaust_valve_to_piston: {min: 2.5}",
    )
    figures = book.figures()
    intake, exhaust = (fits(figures, f"{valve}_valve_to_piston")["1"] for valve in ("intake", "exhaust"))
    assert (intake.value, intake.verdict) == (Fraction("2.31"), "under")
    assert (exhaust.value, exhaust.verdict) == (Fraction("2.90"), "within")
    assert intake.uncertainty == pytest.approx(FEELER, abs=5e-8)


def test_each_of_two_intake_valves_is_judged(book: Book) -> None:
    write(book, "with: feeler, what: valve_to_piston, readings: {1: {intake_1: 2.31, intake_2: 2.20, exhaust: 2.90}}")
    figures = book.figures()
    found = fits(figures, "intake_valve_to_piston")
    assert {place: fit.value for place, fit in found.items()} == {
        "1 intake_1": Fraction("2.31"),
        "1 intake_2": Fraction("2.20"),
    }


def test_a_valve_or_a_cylinder_that_nobody_measured_is_missing(book: Book) -> None:
    write(book, "with: feeler, what: valve_to_piston, readings: {1: {intake: 2.31}}")
    figures = book.figures()
    assert missing(figures, "intake_valve_to_piston") == {"2": "intake valve to piston"}
    assert missing(figures, "exhaust_valve_to_piston") == dict.fromkeys(("1", "2"), "exhaust valve to piston")


# Fasteners


@pytest.mark.parametrize(
    ("done", "verdict"),
    [
        ("[40, 80, 105]", "within"),
        ("[40, 80, 103]", "within"),  # 103 − 2.08 = 100.92
        ("[40, 80, 107]", "within"),  # 107 + 2.08 = 109.08
        ("[40, 80, 102]", "cannot tell"),  # 102 − 2.08 = 99.92
        ("[40, 80, 99]", "cannot tell"),  # 99 + 2.08 = 101.08
        ("[40, 80, 108]", "cannot tell"),  # 108 + 2.08 = 110.08
        ("[40, 80, 111]", "cannot tell"),  # 111 − 2.08 = 108.92
        ("[40, 80, 98]", "under"),  # 98 + 2.08 = 100.08
        ("[40, 80, 112]", "over"),  # 112 − 2.08 = 109.92
        ("[40, 77, 105]", "within"),  # a step on the way is compared as read: 77/80 = 0.9625
        ("[40, 83, 105]", "within"),  # 83/80 = 1.0375
        ("[40, 76, 105]", "under"),  # 76/80 = 0.95
        ("[40, 84, 105]", "over"),  # 84/80 = 1.05
        ("[38, 80, 105]", "under"),  # 38/40 = 0.95
        ("[40, 76, 102]", "under"),  # a step that was certainly too low outweighs a doubt about the last
    ],
)
def test_a_tightening_is_held_step_by_step_to_what_was_asked(book: Book, done: str, verdict: str) -> None:
    # within 4 per cent: the last step, ± 2 × 1.04083 = ± 2.08 N m, from 100.8 to 109.2
    write(
        book,
        f"with: wrench, what: fastener_torque, asked: [40, 80, 105], readings: {{main_1: {{left: {done}}}}}",
    )
    fit = fits(book.figures(), "fastener_torque")["main_1 left"]
    assert fit.verdict == verdict
    assert fit.uncertainty == pytest.approx(WRENCH, abs=5e-6)
    assert fit.bounds.source == "asked 40, 80, 105, within 4 %"
    assert (fit.bounds.least, fit.bounds.most) == (Fraction("100.8"), Fraction("109.2"))


@pytest.mark.parametrize(
    ("done", "verdict", "steps"),
    [
        ("[40, 80]", "under", "2 of 3 steps taken down"),  # the last step was never done
        ("105", "under", "1 of 3 steps taken down"),  # nor the first two, though the last is good
        ("[80, 105]", "under", "2 of 3 steps taken down"),
        ("[80, 102]", "under", "2 of 3 steps taken down"),  # what the wrench cannot tell is no excuse
        ("[40, 80, 105, 120]", "over", "4 of 3 steps taken down"),  # and here somebody went on
        ("[40, 80, 105, 105]", "over", "4 of 3 steps taken down"),
        ("[40, 80, 105, 90]", "under", "4 of 3 steps taken down"),  # 90 + 2.08 is under for certain
    ],
)
def test_steps_left_out_or_added_are_no_tightening_as_asked(book: Book, done: str, verdict: str, steps: str) -> None:
    write(
        book,
        f"with: wrench, what: fastener_torque, asked: [40, 80, 105], readings: {{main_1: {{left: {done}}}}}",
    )
    fit = fits(book.figures(), "fastener_torque")["main_1 left"]
    assert fit.verdict == verdict
    assert fit.bounds.source == f"asked 40, 80, 105, within 4 %; {steps}"


def test_a_doubtful_tightening_is_a_finding_with_its_uncertainty(book: Book) -> None:
    write(book, "with: wrench, what: fastener_torque, asked: [40, 80, 105], readings: {head_1: [40, 80, 102]}")
    (finding,) = book.figures().fit_findings
    assert (finding.rule, finding.severity) == ("cannot-tell", "warning")
    assert finding.what == (
        "fastener torque head_1: 102 ± 2.1 N m crosses its limit (100.80 to 109.20, asked 40, 80, 105, within 4 %)"
    )


def test_torque_in_foot_pounds_is_held_to_newton_metres(book: Book) -> None:
    # 1 lbf ft = 1.3558179483314004 N m: 59 lbf ft = 79.99 N m
    write(book, 'with: wrench, what: fastener_torque, asked: 80, readings: {main_1: "59 lbf ft"}')
    fit = fits(book.figures(), "fastener_torque")["main_1"]
    assert float(fit.value) == pytest.approx(79.9933, abs=1e-4)
    assert fit.verdict == "within"


def test_a_tightening_that_nobody_asked_for_has_no_verdict(book: Book) -> None:
    write(book, "with: wrench, what: fastener_torque, readings: {main_1: 105}")
    assert fits(book.figures(), "fastener_torque")["main_1"].verdict == "no limit"


def test_a_limit_of_build_yaml_goes_before_what_a_session_asked(book: Book) -> None:
    # 105 ± 2 × √(1/12 + 1) = 105 ± 2.08 N m
    write(
        book,
        "with: wrench, what: fastener_torque, asked: 80, readings: {main_1: 105}",
        limits="fastener_torque: {min: 100 N m, max: 110 N m, source: manual}",
    )
    fit = fits(book.figures(), "fastener_torque")["main_1"]
    assert (fit.verdict, fit.bounds.source) == ("within", "manual")


def test_tightening_by_angle_is_held_to_what_was_asked(book: Book) -> None:
    # within 4 per cent, from 86.4° to 93.6°, each ± 2 × √(1/12 + 1) = ± 2.08°
    angles = "head_1: 90, head_2: 80, head_3: 89, head_4: 88, head_5: 92, head_6: 84, head_7: 96"
    write(book, f"with: angle_plate, what: fastener_angle, asked: 90, readings: {{{angles}}}")
    found = fits(book.figures(), "fastener_angle")
    assert {place: fit.verdict for place, fit in found.items()} == {
        "head_1": "within",
        "head_2": "under",
        "head_3": "within",  # 89 − 2.08 = 86.92
        "head_4": "cannot tell",  # 88 − 2.08 = 85.92
        "head_5": "cannot tell",  # 92 + 2.08 = 94.08
        "head_6": "under",  # 84 + 2.08 = 86.08
        "head_7": "over",  # 96 − 2.08 = 93.92
    }
    assert found["head_1"].bounds.source == "asked 90, within 4 %, common practice"


def test_a_gauge_too_coarse_for_what_was_asked_can_never_tell(book: Book) -> None:
    # 8 N m within 6 per cent is 7.52 to 8.48, and a wrench that shows whole N m knows 8 to ± 2.08 only
    write(book, "with: wrench, what: fastener_torque, asked: 8, readings: {cover_1: 8}")
    fit = fits(book.figures(), "fastener_torque")["cover_1"]
    assert (fit.verdict, fit.bounds.source) == ("cannot tell", "asked 8, within 6 %")


def test_asked_for_nothing_stops_nobody(book: Book) -> None:
    write(book, "with: wrench, what: fastener_torque, asked: 0, readings: {main_1: 0}")
    assert fits(book.figures(), "fastener_torque")["main_1"].value == 0


def test_each_bolt_of_a_rod_is_held_to_the_stretch_wanted(book: Book) -> None:
    # ± 2 × 0.00104083: 0.145 and 0.137 against 0.140 to 0.155
    write(
        book,
        "what: fastener_stretch, readings: {R1: [0.145, 0.137], R2: [0.1411, 0.158], main_1: 0.120}",
        limits="rod_bolt_stretch: {min: 0.140, max: 0.155, source: bolt maker's sheet}",
    )
    figures = book.figures()
    assert {place: fit.verdict for place, fit in fits(figures, "rod_bolt_stretch").items()} == {
        "R1 1": "within",
        "R1 2": "under",
        "R2 1": "cannot tell",
        "R2 2": "over",
    }
    assert fits(figures, "fastener_stretch")["main_1"].verdict == "no limit"


def test_a_stretch_is_held_to_what_was_asked(book: Book) -> None:
    # within 4 per cent, from 0.144 to 0.156, each ± 2 × 0.00104083
    write(
        book,
        "what: fastener_stretch, asked: 0.150, readings: {R1: [0.150, 0.120], R2: [0.147, 0.146], R3: [0.141, 0.159]}",
        parts=PARTS.replace("ids: [R1, R2]", "ids: [R1, R2, R3]"),
    )
    found = fits(book.figures(), "rod_bolt_stretch")
    assert {place: fit.verdict for place, fit in found.items()} == {
        "R1 1": "within",
        "R1 2": "under",
        "R2 1": "within",  # 0.147 − 0.0021 = 0.1449
        "R2 2": "cannot tell",  # 0.146 − 0.0021 = 0.1439
        "R3 1": "under",  # 0.141 + 0.0021 = 0.1431
        "R3 2": "over",  # 0.159 − 0.0021 = 0.1569
    }
    assert found["R1 1"].bounds.source == "asked 0.150, within 4 %, common practice"


def test_the_bolts_of_a_rod_that_nobody_stretched_are_missing_where_another_rods_were(book: Book) -> None:
    write(book, "what: fastener_stretch, readings: {R1: [0.145, 0.147]}")
    figures = book.figures()
    assert missing(figures, "rod_bolt_stretch") == {"R2": "not tightened, or not taken down"}
    assert rules_found(figures) == ["not-measured"]
    write(book, "what: fastener_stretch, readings: {R1: [0.145, 0.147], R2: [0.146, 0.144]}")
    figures = book.figures()
    assert (figures.fits.missing, rules_found(figures)) == ((), [])


def test_rod_bolts_brought_up_by_torque_are_asked_of_every_rod_too(book: Book) -> None:
    write(book, "with: wrench, what: fastener_torque, asked: 60, readings: {R2: 60}")
    assert missing(book.figures(), "fastener_torque") == {"R1": "not tightened, or not taken down"}


def test_a_spare_rods_bolts_are_not_missing(book: Book) -> None:
    write(book, "what: fastener_stretch, readings: {R1: [0.145, 0.147], R2: [0.146, 0.144]}", parts=SPARES)
    assert book.figures().fits.missing == ()


@pytest.mark.parametrize(
    ("kind", "gauge", "done"), [("fastener_torque", "wrench", "105"), ("fastener_angle", "angle_plate", "90")]
)
def test_main_caps_that_nobody_tightened_are_missing_where_one_was(
    book: Book, kind: str, gauge: str, done: str
) -> None:
    session = f"with: {gauge}, what: {kind}, readings: {{main_2: {done}, head_1: {done}}}"
    write(book, session, sizes="bore: 101.8, main_bearings: 3")
    figures = book.figures()
    assert missing(figures, kind) == dict.fromkeys(("main_1", "main_3"), "not tightened, or not taken down")
    assert rules_found(figures) == ["not-measured"] * 2


def test_how_many_main_caps_there_are_is_not_guessed(book: Book) -> None:
    write(book, "with: wrench, what: fastener_torque, readings: {main_2: 105}")
    assert missing(book.figures(), "fastener_torque") == {}


def test_main_caps_are_not_missing_where_only_heads_were_tightened(book: Book) -> None:
    write(book, "with: wrench, what: fastener_torque, readings: {head_1: 105}", sizes="bore: 101.8, main_bearings: 3")
    assert missing(book.figures(), "fastener_torque") == {}


def test_a_bolt_that_most_caps_have_and_one_lacks_is_missing(book: Book) -> None:
    both = "{left: 105, right: 105}"
    caps = f"main_1: {both}, main_2: {{left: 105}}, main_3: {both}"
    write(
        book,
        f"with: wrench, what: fastener_torque, asked: 105, readings: {{{caps}}}",
        sizes="bore: 101.8, main_bearings: 3",
    )
    figures = book.figures()
    assert missing(figures, "fastener_torque") == {"main_2": "no right"}
    assert rules_found(figures) == ["not-measured"]


def test_one_bolt_of_a_rod_that_was_not_stretched_is_missing(book: Book) -> None:
    write(
        book,
        "what: fastener_stretch, readings: {R1: [0.145, 0.147], R2: 0.146, R3: [0.146, 0.144]}",
        parts=PARTS.replace("ids: [R1, R2]", "ids: [R1, R2, R3]"),
    )
    figures = book.figures()
    assert missing(figures, "rod_bolt_stretch") == {"R2": "only 1 of 2 bolts"}
    assert rules_found(figures) == ["not-measured"]


def test_what_one_session_tightened_is_not_missing_when_another_took_down_the_rest(book: Book) -> None:
    write(
        book,
        "what: fastener_stretch, readings: {R1: [0.145, 0.147]}",
        "taken: 2026-10-06T09:00+01:00, what: fastener_stretch, readings: {R2: [0.146, 0.144]}",
    )
    assert missing(book.figures(), "rod_bolt_stretch") == {}


# The whole


def test_fits_are_in_the_order_of_the_job_and_of_their_places(book: Book) -> None:
    numbers = ", ".join(f"{number}: 62.180" for number in (10, 2, 1))
    write(
        book,
        "with: feeler, what: top_ring_gap, readings: {2: 0.46, 1: 0.46}",
        f"what: main_journal, readings: {{{numbers}}}",
        f"what: main_bore, readings: {{{numbers.replace('62.180', '62.236')}}}",
    )
    assert [(fit.kind, fit.place) for fit in book.figures().fits.fits] == [
        *(("main_clearance", place) for place in ("1", "2", "10")),
        *(("top_ring_gap", place) for place in ("1", "2")),
    ]


def test_the_worst_comes_first(book: Book) -> None:
    # against 0.045 to 0.075, ± 0.0029: 0.030 is 0.015 out, 0.080 is 0.005 out, 0.046 cannot be told, 0.050 and 0.060
    # hold, the nearer to its limit first, and the cam bearing has no limit
    bores = (62.240, 62.230, 62.226, 62.260, 62.210)
    write(
        book,
        "what: main_journal, readings: {1: 62.180, 2: 62.180, 3: 62.180, 4: 62.180, 5: 62.180}",
        f"what: main_bore, readings: {{{', '.join(f'{n}: {bore:.3f}' for n, bore in enumerate(bores, start=1))}}}",
        "what: cam_journal, readings: {1: 47.450}",
        "what: cam_bore, readings: {1: 47.510}",
        limits="main_clearance: {min: 0.045, max: 0.075}",
    )
    worst = [(fit.kind, fit.place) for fit in sorted(book.figures().fits.fits, key=lambda fit: fit.rank)]
    assert worst == [*(("main_clearance", place) for place in "54321"), ("cam_clearance", "1")]


def test_without_a_layout_there_are_bearings_and_nothing_hung_on_throws(book: Book) -> None:
    write(book, JOURNALS, BORES, ROD_JOURNALS, ROD_BORES, CYLINDERS, layout="v2_90_comon_pin", paired=PAIRED)
    figures = book.figures()
    assert list(fits(figures, "main_clearance")) == ["1", "2"]
    assert fits(figures, "rod_clearance") == {}


thousandths = st.integers(-30, 120)


@settings(max_examples=30)
@given(clearances=st.lists(thousandths, min_size=2, max_size=5))
def test_of_several_bearings_the_wider_one_never_stands_worse_against_a_lower_limit(
    book: Book, clearances: list[int]
) -> None:
    places = {str(number): clearance for number, clearance in enumerate(clearances, start=1)}
    write(
        book,
        f"what: main_journal, readings: {{{', '.join(f'{place}: 62.180' for place in places)}}}",
        f"what: main_bore, readings: {{{', '.join(f'{p}: {62.180 + c / 1000:.3f}' for p, c in places.items())}}}",
        limits="main_clearance: {min: 0.045}",
    )
    found = fits(book.figures(), "main_clearance")
    by_clearance = sorted(places, key=lambda place: places[place])
    ranks = [("under", "cannot tell", "within").index(found[place].verdict) for place in by_clearance]
    assert ranks == sorted(ranks)


def sample(name: str) -> Figures:
    build = Reader(SAMPLES).load(name).build
    assert build is not None
    return work_out(build)


def test_the_sample_builds_hold_what_was_asked_of_them() -> None:
    for name, clearances in {
        "heron-07/2025-06-first": (5, 8, 8),
        "plover-03/2026-03-first": (4, 6, 6),
        "magpie-02/2026-07-first": (2, 2, 2),
        "dunlin-21/2026-05-first": (5, 4, 4),
    }.items():
        figures = sample(name)
        counts = tuple(len(figures.fits.of(f"{kind}_clearance")) for kind in ("main", "rod", "piston"))
        assert counts == clearances, name
        assert [fit for fit in figures.fits.fits if fit.verdict in {"under", "over"} and not fit.bounds.practice] == []


def test_rods_and_caps_are_no_fellows_of_one_another(book: Book) -> None:
    # bolts of a rod have no left and right, caps have, and neither lacks what only the other has
    write(
        book,
        "with: wrench, what: fastener_torque, readings: {R1: 60, R2: 60, main_1: {left: 90, right: 90}}",
        sizes="bore: 101.8, main_bearings: 2",
    )
    assert missing(book.figures(), "fastener_torque") == {"main_2": "not tightened, or not taken down"}


@pytest.mark.parametrize("readings", ["R1: [0.150, 0.151], R2: 0.150", "R2: 0.150, R1: [0.150, 0.151]"])
def test_one_bolt_of_two_is_missing_in_whichever_order_they_were_taken_down(book: Book, readings: str) -> None:
    write(book, f"what: fastener_stretch, readings: {{{readings}}}")
    assert missing(book.figures(), "rod_bolt_stretch") == {"R2": "only 1 of 2 bolts"}


def test_an_end_left_out_twice_is_still_left_out(book: Book) -> None:
    both = "what: main_journal, readings: {1: {front: 62.180, rear: 62.175}}"
    front = "taken: 2026-10-0%sT09:00+01:00, what: main_journal, readings: {1: {front: 62.180}}"
    write(book, both, front % 6, front % 7)
    assert missing(book.figures(), "main_journal_taper") == {"1": "rear: not measured again in M3"}


def test_what_is_too_tight_is_under_and_not_its_mean(book: Book) -> None:
    # 62.220 − 62.180 = 0.040, under 0.045; the mean, 0.060, is over 0.047 as well
    write(
        book,
        "what: main_journal, readings: {1: 62.180}",
        "what: main_bore, readings: {1: [62.220, 62.260]}",
        limits="main_clearance: {min: 0.045, max: 0.047}",
    )
    fit = fits(book.figures(), "main_clearance")["1"]
    assert (fit.verdict, fit.decided_by_mean) == ("under", False)
    assert found(book.figures(), "fit").what.startswith("main bearing clearance 1: 0.040 ")
