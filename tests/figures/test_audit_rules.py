"""What records alone give away: each rule finds an unsound book and leaves a sound one alone."""

from datetime import UTC, datetime

import pytest
from conftest import BUILD, Book

from buildbook.figures.audit_rules import audit_findings, reopening_of, sealed_by, sealed_objection
from buildbook.records.finding import Finding
from figures.ledger import ALL_WEIGHED, weighings

NOW = datetime(2026, 10, 20, 12, 0, tzinfo=UTC)


def signed(book: Book, *sign_offs: str, reopened: tuple[str, ...] = ()) -> None:
    """build.yaml with these sign-offs and reopenings, by ava unless they say otherwise."""

    def listed(name: str, records: tuple[str, ...]) -> str:
        lines = (f"  - {{{each}{'' if 'by:' in each else ', by: ava'}}}\n" for each in records)
        return f"{name}:\n{''.join(lines)}" if records else ""

    book.write("build.yaml", BUILD + listed("sign_offs", sign_offs) + listed("reopened", reopened))


def found(book: Book, *rules: str) -> list[Finding]:
    figures = book.figures()
    findings = audit_findings(figures.build, figures, NOW)
    return [each for each in findings if not rules or each.rule in rules]


def test_a_sound_book_is_left_alone(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    signed(book, "id: A1, stage: matched, taken: 2026-10-04", "id: A2, stage: assembled, taken: 2026-10-09")
    assert found(book) == []


LATE = "id: W9, taken: 2026-10-05T08:00+01:00, what: piston, readings: {P1: 480.1}"


@pytest.mark.parametrize("stage", ["matched", "balanced", "assembled"])
def test_a_record_dated_after_its_sign_off_is_found(book: Book, stage: str) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, LATE))
    signed(book, f"id: A1, stage: {stage}, taken: 2026-10-04T17:00+01:00")
    (finding,) = found(book)
    assert (finding.rule, finding.severity) == ("entered-after", "warning")
    assert "W9" in finding.what
    assert "A1" in finding.what


def test_a_stage_signs_for_its_own_files_alone(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, LATE))
    signed(book, "id: A1, stage: measured, taken: 2026-10-04", "id: A2, stage: cleaned, taken: 2026-10-04")
    assert found(book) == []


def test_a_stage_that_was_signed_again_signs_for_what_came_before(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, LATE))
    signed(book, "id: A1, stage: matched, taken: 2026-10-04", "id: A2, stage: matched, taken: 2026-10-06")
    assert found(book) == []


def test_the_day_of_the_sign_off_itself_is_not_after_it(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, LATE))
    signed(book, "id: A1, stage: matched, taken: 2026-10-05")
    assert found(book) == []


def test_after_a_reopening_records_are_expected_and_before_it_they_are_not(book: Book) -> None:
    early = LATE.replace("W9", "W8").replace("10-05T08", "10-04T20")
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, early, LATE))
    opened = "id: O1, sign_off: A1, because: a piston was dropped, taken: 2026-10-04T22:00+01:00"
    signed(book, "id: A1, stage: assembled, taken: 2026-10-04T17:00+01:00", reopened=(opened,))
    (finding,) = found(book)
    assert "W8" in finding.what


def test_a_record_dated_before_the_one_above_it_is_found(book: Book) -> None:
    back = LATE.replace("2026-10-05T08:00+01:00", "2026-10-02T08:00+01:00")
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, back))
    (finding,) = found(book)
    assert finding.rule == "out-of-order"
    assert finding.where.line == len((book.folder / "weighings.yaml").read_text().splitlines())
    assert "W9" in finding.what


def test_times_are_compared_as_moments_and_not_as_texts(book: Book) -> None:
    first = LATE.replace("T08:00+01:00", "T10:00+02:00")
    then = LATE.replace("W9", "W10").replace("T08:00+01:00", "T09:30+01:00")  # half an hour later
    book.write("weighings.yaml", weighings(first, then))
    assert found(book, "out-of-order") == []
    book.write("weighings.yaml", weighings(then, first))
    assert len(found(book, "out-of-order")) == 1


def test_a_sign_off_dated_before_the_one_above_it_is_found(book: Book) -> None:
    signed(book, "id: A1, stage: matched, taken: 2026-10-06", "id: A2, stage: balanced, taken: 2026-10-05")
    assert [each.rule for each in found(book)] == ["out-of-order"]


@pytest.mark.parametrize("taken", ["2026-10-21", "2026-10-20T12:11Z", "2026-10-20T15:00+02:00"])
def test_a_date_that_is_still_to_come_is_found(book: Book, taken: str) -> None:
    book.write("weighings.yaml", weighings(LATE.replace("2026-10-05T08:00+01:00", taken)))
    assert [each.rule for each in found(book)] == ["future"]


@pytest.mark.parametrize("taken", ["2026-10-20", "2026-10-20T12:05Z", "2026-10-20T14:00+02:00"])
def test_now_is_not_still_to_come(book: Book, taken: str) -> None:
    book.write("weighings.yaml", weighings(LATE.replace("2026-10-05T08:00+01:00", taken)))
    assert found(book) == []


def test_people_and_instruments_that_nobody_knows_are_found(book: Book) -> None:
    book.write("weighings.yaml", weighings(f"{LATE}, with: sacle"))
    opened = "id: O1, sign_off: A1, because: x, taken: 2026-10-07, by: nobody"
    signed(book, "id: A1, stage: measured, taken: 2026-10-06, by: eva", reopened=(opened,))
    assert sorted(each.rule for each in found(book)) == ["unknown-by", "unknown-by", "unknown-with"]


def test_an_instrument_out_of_calibration_is_found(book: Book) -> None:
    late = LATE.replace("2026-10-05T08:00+01:00", "2027-02-01")
    book.write("weighings.yaml", weighings(late))
    assert [each.rule for each in found(book, "calibration")] == ["calibration"]


def test_a_build_is_closed_by_its_last_stage_until_it_is_reopened(book: Book) -> None:
    signed(book, "id: A1, stage: balanced, taken: 2026-10-04")
    assert sealed_objection(book.figures().build) is None
    signed(book, "id: A1, stage: balanced, taken: 2026-10-04", "id: A2, stage: assembled, taken: 2026-10-05")
    objection = sealed_objection(book.figures().build)
    assert objection is not None
    assert "reopen twin/first --because" in objection.remedy
    assert objection.where.line == len((book.folder / "build.yaml").read_text().splitlines())


def test_a_shops_own_last_stage_closes_a_build_by_its_digest(book: Book) -> None:
    signed(book, "id: A1, stage: delivered, taken: 2026-10-04, digest: 'sha256:00'")
    closed = sealed_by(book.figures().build)
    assert closed is not None
    assert closed.id == "A1"


def test_a_reopening_opens_what_it_names_and_all_before_and_nothing_signed_later(book: Book) -> None:
    stages = [f"id: A{at}, stage: {stage}, taken: 2026-10-0{at}" for at, stage in
              enumerate(("balanced", "assembled", "assembled"), start=1)]  # fmt: skip
    signed(book, *stages, reopened=("id: O1, sign_off: A2, because: x, taken: 2026-10-02T12:00Z",))
    build = book.figures().build
    assert [bool(reopening_of(build, each)) for each in build.sign_offs] == [True, True, False]
    assert sealed_objection(build) is not None


def test_a_later_sign_off_that_was_taken_out_is_not_taken_for_reopened(book: Book) -> None:
    both = [f"id: A{at}, stage: assembled, taken: 2026-10-0{at}" for at in (1, 3)]
    signed(book, *both)
    gone = book.figures().build.sign_offs[1]
    signed(book, both[0], reopened=("id: O1, sign_off: A1, because: x, taken: 2026-10-02",))
    assert reopening_of(book.figures().build, gone) is None


def test_a_reopening_that_names_nothing_goes_by_its_date(book: Book) -> None:
    stages = [f"id: A{at}, stage: assembled, taken: 2026-10-0{at}" for at in (1, 3)]
    signed(book, *stages, reopened=("id: O1, because: x, taken: 2026-10-02",))
    build = book.figures().build
    assert [bool(reopening_of(build, each)) for each in build.sign_offs] == [True, False]
