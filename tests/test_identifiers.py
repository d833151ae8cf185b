"""Check digits, against published worked examples."""

import pytest

from trayconcord.kb.identifiers import isbn_is_valid


@pytest.mark.parametrize(
    "isbn, valid",
    [
        ("978-0-306-40615-7", True),  # the worked example of the ISBN Users' Manual, as encyclopedias print it
        ("0-306-40615-2", True),  # the same book in the older form
        ("0-8044-2957-X", True),  # a check sign of ten
        ("978-0-306-40615-1", False),
        ("0-306-40615-X", False),
        ("978-0-306-40615", False),
        ("X-306-40615-2", False),
        ("٩٧٨٠٣٠٦٤٠٦١٥٧", False),  # an ISBN is written in ASCII digits
        ("", False),
        ("not a number", False),
    ],
)
def test_a_check_digit_fits_or_not(isbn: str, valid: bool) -> None:
    assert isbn_is_valid(isbn) is valid
