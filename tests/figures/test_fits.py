"""Fits against their limits: bearings, pistons, pins, rings, play, valves and fasteners, and what is missing."""

from fractions import Fraction
from math import hypot, sqrt

import pytest
from conftest import SAMPLES, Book
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildbook.book.reading import Reader
from buildbook.figures import Figures, work_out
from buildbook.figures.fits import FIT_KINDS, Filing, limit_words
from buildbook.records.model import MEASUREMENT_KINDS
from figures.ledger import PARTS, pairings
from figures.measurements import FEELER, MIC, PAIRED, fits, missing, write

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
            2,
            "ring maker's sheet",
            False,
        ),
        Filing("2", "top_ring", Fraction("0.50"), Fraction("0.4581"), Fraction(0), 2, "ring maker's sheet", False),
    )
    # 0.41 ± 0.0115 and 0.50 ± 0.0115 mm
    assert [fit.verdict for fit in figures.fits.of("top_ring_gap")] == ["under", "within"]
    assert figures.fits.of("top_ring_gap")[0].uncertainty == pytest.approx(FEELER, abs=5e-8)


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
        ("[40, 80, 101]", "within"),  # 101/105 = 0.9619
        ("[40, 80, 100]", "under"),  # 100/105 = 0.9524
        ("[40, 80, 110]", "over"),  # 110/105 = 1.0476
        ("[40, 76, 105]", "under"),  # a step of 76/80 = 0.95 on the way
        ("[40, 84, 105]", "over"),  # 84/80 = 1.05
        ("[40, 80]", "under"),  # the last step was never done
        ("[40, 80, 105, 120]", "over"),  # and here somebody went on
    ],
)
def test_a_tightening_is_held_step_by_step_to_what_was_asked(book: Book, done: str, verdict: str) -> None:
    # within 4 per cent of each step
    write(
        book,
        f"with: wrench, what: fastener_torque, asked: [40, 80, 105], readings: {{main_1: {{left: {done}}}}}",
    )
    fit = fits(book.figures(), "fastener_torque")["main_1 left"]
    assert fit.verdict == verdict
    assert fit.bounds.source == "asked 40, 80, 105, within 4 %"
    assert (fit.bounds.least, fit.bounds.most) == (Fraction("100.8"), Fraction("109.2"))


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
    write(book, "with: wrench, what: fastener_angle, asked: 90, readings: {head_1: 90, head_2: 80}")
    found = fits(book.figures(), "fastener_angle")
    assert {place: fit.verdict for place, fit in found.items()} == {"head_1": "within", "head_2": "under"}


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
    write(book, "what: fastener_stretch, asked: 0.150, readings: {R1: [0.150, 0.120]}")
    assert fits(book.figures(), "rod_bolt_stretch")["R1 2"].verdict == "under"


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
    worst = [(fit.kind, fit.place) for fit in book.figures().fits.worst_first]
    assert worst == [*(("main_clearance", place) for place in "54321"), ("cam_clearance", "1")]


def test_without_a_layout_there_are_bearings_and_nothing_hung_on_throws(book: Book) -> None:
    write(book, JOURNALS, BORES, ROD_JOURNALS, ROD_BORES, CYLINDERS, layout="v2_90_comon_pin", paired=PAIRED)
    figures = book.figures()
    assert list(fits(figures, "main_clearance")) == ["1", "2"]
    assert fits(figures, "rod_clearance") == {}


thousandths = st.integers(-30, 120)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
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
