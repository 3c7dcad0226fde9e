"""What a person may type for a number."""

import contextlib
from datetime import date
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workshop.engineering.numbers import NumberError, day_words, ordinal, parse_number, plain


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("42", "42"),
        ("42,5", "42.5"),
        ("42.50", "42.50"),
        (" 42 ", "42"),
        ("-1,5", "-1.5"),
        ("\u22121.5", "-1.5"),
        ("+3", "3"),
        (",5", "0.5"),
        ("1,234", "1.234"),
        ("007", "7"),
        ("123456789012345678", "123456789012345678"),
    ],
)
def test_accepted(text, value):
    assert str(parse_number(text)) == value


@pytest.mark.parametrize(
    "text",
    [
        "1.234,5",
        "1,234.5",
        "1.234.567",
        "12 000",
        "12\u00a0000",
        "12'000",
        "1e3",
        "nan",
        "inf",
        "Infinity",
        "",
        "   ",
        "5.",
        "--5",
        "5 N·m",
        "1_000",
        "0x10",
        "9**9**9",
        "½",
        "٤٢",
        "1234567890123456789",
        "0.1234567890123456789",
        "1" * 100_000,
        ".",
        "+",
        "1\n2",
    ],
)
def test_refused_with_a_sentence_that_says_what_to_type(text):
    with pytest.raises(NumberError, match=r"(?i)type"):
        parse_number(text)


@given(
    st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**9), max_value=10**9, places=8),
    st.sampled_from(".,"),
)
def test_a_written_number_reads_as_itself(value, sign):
    assert parse_number(f"{value:f}".replace(".", sign)) == value


@given(st.text(max_size=40))
def test_any_text_is_a_finite_number_or_refused(text):
    with contextlib.suppress(NumberError):
        assert parse_number(text).is_finite()


def test_plain():
    assert [plain(D(x)) for x in ("90", "90.10", "93.6000", "1E+2", "0.00049")] == [
        "90",
        "90.1",
        "93.6",
        "100",
        "0",
    ]


@pytest.mark.parametrize("typed", ["84 210", "84\u00a0210", "84\u202f210"])
def test_a_blank_between_thousands_is_answered_with_what_to_type(typed):
    with pytest.raises(NumberError, match=r"Type it without the space: 84210\."):
        parse_number(typed)


def test_what_is_not_there_is_open_and_days_are_written_as_people_do():
    assert plain(None) == "open"
    assert day_words(date(2024, 5, 3)) == "3 May 2024"
    assert [ordinal(n) for n in (1, 2, 3, 4, 11, 12, 13, 21, 102)] == [
        "1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "102nd",
    ]  # fmt: skip
