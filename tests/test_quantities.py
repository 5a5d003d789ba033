"""Numbers keep the digits they were written with, convert exactly, and every slip has its remedy."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildbook.quantities import (
    DIMENSIONS,
    MOST_DIGITS,
    UNITS,
    Quantity,
    QuantityError,
    decimals_for,
    fixed,
    is_plain_number,
    read_number,
    read_quantity,
    slip,
    two_figures,
)


@st.composite
def plain_numbers(draw: st.DrawFn) -> str:
    """Numbers as a person writes them: no more digits than are ever read, closing zeros and all."""
    whole = draw(st.integers(0, 10**9 - 1).map(str) | st.just(""))
    part = draw(st.text("0123456789", max_size=9))
    if not whole and not part:
        whole = "0"
    return draw(st.sampled_from(["", "-", "+"])) + whole + (f".{part}" if part or draw(st.booleans()) else "")


units = st.sampled_from(sorted(UNITS))
values = st.fractions(min_value=-(10**7), max_value=10**7, max_denominator=10**6)


@given(plain_numbers())
def test_every_digit_written_is_kept(text: str) -> None:
    assert is_plain_number(text)
    number = read_number(text)
    assert number == Decimal(text)
    digits = "".join(filter(str.isdigit, text)).lstrip("0")
    assert "".join(map(str, number.as_tuple().digits)).lstrip("0") == digits
    assert read_quantity(text, "mass", "g").text == text


def test_closing_zeros_say_how_well_a_number_was_read() -> None:
    assert read_quantity("633.0", "mass", "g").last_digit("g") == Fraction(1, 10)
    assert read_quantity("633", "mass", "g").last_digit("g") == 1
    assert read_quantity("0.633 kg", "mass", "g").last_digit("g") == 1
    # one thousandth of an inch is 0.0254 mm
    assert read_quantity("2.001 in", "length", "mm").last_digit("mm") == Fraction("0.0254")
    # one degree Fahrenheit is a step of 5/9 degree Celsius, wherever the zero of the scale is
    assert read_quantity("68 degF", "temperature", None).last_digit("degC") == Fraction(5, 9)


@given(plain_numbers(), st.data())
def test_a_quantity_comes_back_from_another_unit_exactly(text: str, data: st.DataObject) -> None:
    unit = data.draw(units)
    other = data.draw(st.sampled_from(DIMENSIONS[UNITS[unit].dimension]))
    quantity = read_quantity(f"{text} {unit}", UNITS[unit].dimension, None)
    there = quantity.worth(other)
    scale, offset = UNITS[other].factor, UNITS[other].offset
    back = (there * scale + offset - UNITS[unit].offset) / UNITS[unit].factor
    assert back == Fraction(text)
    assert quantity.worth(unit) == Fraction(text)


@given(plain_numbers(), units, st.sampled_from(["", " ", "  "]))
def test_a_number_carries_its_own_unit_with_or_without_a_space(text: str, unit: str, space: str) -> None:
    own = read_quantity(f"{text}{space}{unit}", UNITS[unit].dimension, "g")
    assert (own.number, own.unit) == (Decimal(text), unit)


@pytest.mark.parametrize("text", ["62.180", "62.180 in", "62.180in", " 62.180  in"])
def test_a_quantity_is_written_with_its_unit_whether_or_not_its_text_has_it(text: str) -> None:
    quantity = read_quantity(text, "length", "in")
    assert (quantity.digits, quantity.written) == ("62.180", "62.180 in")


def test_a_bare_number_is_in_the_files_unit_and_needs_one() -> None:
    assert read_quantity("611.4", "mass", "oz").unit == "oz"
    with pytest.raises(QuantityError) as caught:
        read_quantity("611.4", "mass", None)
    assert caught.value.what == "'611.4' has no unit, and the file states none for mass"
    assert caught.value.remedy.startswith("state the file's unit in 'units: {mass: …}'")


@pytest.mark.parametrize(
    ("text", "what", "remedy"),
    [
        ("12,5", "has a decimal comma", "write it with a point"),
        ("-0,25", "has a decimal comma", "write it with a point"),
        ("1_000", "has an underscore in it", "write the digits alone"),
        ("1_000.5", "has an underscore in it", "write the digits alone"),
        ("12.500_0", "has an underscore in it", "write the digits alone"),
        (".5_0", "has an underscore in it", "write the digits alone"),
        ("010", "begins with a zero", "leave the zero out"),
        ("007.5", "begins with a zero", "leave the zero out"),
        ("1:30", "has a colon", "write a decimal number"),
        ("1:5", "has a colon", "write a decimal number"),
        ("190:20:30.15", "has a colon", "write a decimal number"),
        ("1e5", "number with an exponent", "write all the digits"),
        ("6.85E+5", "number with an exponent", "write all the digits"),
        (".5e-3", "number with an exponent", "write all the digits"),
        ("0x1F", "not decimal", "write decimal digits"),
        ("0o17", "not decimal", "write decimal digits"),
        ("0b11", "not decimal", "write decimal digits"),
        (".nan", "is not a measured number", "write the reading, or leave the piece out"),
        (".NaN", "is not a measured number", "write the reading, or leave the piece out"),
        ("-.inf", "is not a measured number", "write the reading, or leave the piece out"),
    ],
)
def test_every_slip_is_named_and_has_its_remedy(text: str, what: str, remedy: str) -> None:
    found = slip(text)
    assert found is not None
    assert f"'{text}'" in found.what
    assert what in found.what
    assert found.remedy.startswith(remedy)
    assert not is_plain_number(text)
    for read in (read_number, lambda text: read_quantity(text, "mass", "g")):
        with pytest.raises(QuantityError) as caught:
            read(text)
        assert (caught.value.what, caught.value.remedy) == (found.what, found.remedy)


@pytest.mark.parametrize("text", ["611.4", "-3", ".0025", "633.", "0", "0.0", "R1", "2026-10-03", "", "12 mm", "P1+N1"])
def test_numbers_names_and_dates_are_no_slips(text: str) -> None:
    assert slip(text) is None


@pytest.mark.parametrize("text", ["", "heavy", "--5", "5-", "1.2.3", "١٢", "5 %", "½"])
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(QuantityError):
        read_number(text)


def test_no_number_has_more_digits_than_any_instrument() -> None:
    assert read_number("9" * MOST_DIGITS) == 10**MOST_DIGITS - 1
    with pytest.raises(QuantityError, match=f"has {MOST_DIGITS + 1} digits"):
        read_number("9" * (MOST_DIGITS + 1))


def test_an_unknown_unit_and_one_of_another_dimension_are_told_apart() -> None:
    with pytest.raises(QuantityError, match="'stone' is not a unit known here: use one of g, kg, mg, lb, oz, gr"):
        read_quantity("2 stone", "mass", "g")
    with pytest.raises(QuantityError, match="'611 mm' is a length, where a mass belongs"):
        read_quantity("611 mm", "mass", "g")
    with pytest.raises(QuantityError, match="'5' is a mass, not a length"):
        Quantity(Decimal(5), "g", "5").worth("mm")


@given(values, st.integers(0, 6))
def test_a_rounded_value_is_within_half_a_step_and_ends_even_on_the_half(value: Fraction, decimals: int) -> None:
    text = fixed(value, decimals)
    step = Fraction(1, 10**decimals)
    off = abs(Fraction(text) - value)
    assert off <= step / 2
    if off == step / 2:
        assert (Fraction(text) / step) % 2 == 0
    assert len(text.partition(".")[2]) == decimals
    assert read_number(text) == Decimal(text)


@given(plain_numbers())
def test_a_number_written_again_with_its_own_decimals_is_the_same_text(text: str) -> None:
    number = read_number(text)
    exponent = number.as_tuple().exponent
    assert isinstance(exponent, int)
    written = fixed(Fraction(number), -exponent)
    plain = text.lstrip("+").removesuffix(".")
    plain = plain.replace("-.", "-0.") if plain.startswith("-.") else f"0{plain}" if plain.startswith(".") else plain
    assert written == (plain if number else plain.lstrip("-"))


@pytest.mark.parametrize("value", [Fraction(-1, 100), -0.04, -0.0, Fraction(0)])
def test_nothing_is_ever_minus_nothing(value: Fraction | float) -> None:
    assert fixed(value, 1) == "0.0"
    assert fixed(value, 1, sign=True) == "0.0"
    assert fixed(value, 0) == "0"


def test_halves_are_rounded_to_even() -> None:
    assert [fixed(Fraction(n, 20), 1) for n in (1, 3, 5, -1, -3)] == ["0.0", "0.2", "0.2", "0.0", "-0.2"]
    assert [fixed(Fraction(n, 2), 0) for n in (1, 3, 5)] == ["0", "2", "2"]


def test_a_sign_is_shown_only_where_it_is_asked_for_and_is_one() -> None:
    assert fixed(Fraction(3, 2), 1, sign=True) == "+1.5"
    assert fixed(Fraction(3, 2), 1) == "1.5"
    assert fixed(Fraction(-3, 2), 1, sign=True) == "-1.5"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0288675, "0.029"),
        (0.0577350, "0.058"),
        (0.5, "0.50"),
        (1.24, "1.2"),
        (9.94, "9.9"),
        (9.97, "10"),
        (0.0996, "0.10"),
        (12.4, "12"),
        (0, "0"),
    ],
)
def test_an_uncertainty_has_two_significant_digits(value: float, text: str) -> None:
    # GUM (JCGM 100:2008) 7.2.6, from memory: at most two significant digits
    assert two_figures(value) == text


@given(st.floats(min_value=1e-7, max_value=99))
def test_two_figures_are_within_half_of_their_last_digit(value: float) -> None:
    text = two_figures(value)
    assert len(text.replace(".", "").lstrip("0")) == 2
    assert abs(Fraction(text) - Fraction(value)) <= Fraction(1, 2 * 10 ** len(text.partition(".")[2]))


@given(st.integers(0, 9), st.integers(1, 9))
def test_decimals_are_as_many_as_a_step_needs_to_be_seen(decimals: int, digit: int) -> None:
    assert decimals_for(Fraction(digit, 10**decimals)) == decimals
    assert fixed(Fraction(digit, 10**decimals), decimals_for(Fraction(digit, 10**decimals))).strip("0.") == str(digit)


def test_a_step_of_more_than_one_needs_no_decimals() -> None:
    assert decimals_for(Fraction("28.349523125")) == 0
    assert decimals_for(Fraction("0.05")) == 2


@given(st.text())
def test_any_text_is_a_quantity_or_is_refused_with_a_remedy(text: str) -> None:
    for dimension in DIMENSIONS:
        try:
            quantity = read_quantity(text, dimension, None)
        except QuantityError as error:
            refused = error
            assert refused.what
            assert refused.remedy
        else:
            assert UNITS[quantity.unit].dimension == dimension
