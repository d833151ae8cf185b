"""Identifiers that carry a check digit."""


def isbn_is_valid(isbn: str) -> bool:
    """Whether an ISBN's check digit fits (ISO 2108: modulo 11 for ten signs, modulo 10 for thirteen).

    >>> isbn_is_valid("978-0-306-40615-7"), isbn_is_valid("0-306-40615-2"), isbn_is_valid("978-0-306-40615-1")
    (True, True, False)
    """
    signs = isbn.replace("-", "").replace(" ", "").upper()
    if not signs.isascii():
        return False
    if len(signs) == 10 and signs[:9].isdecimal() and (signs[9].isdecimal() or signs[9] == "X"):
        digits = [10 if sign == "X" else int(sign) for sign in signs]
        return sum((10 - place) * digit for place, digit in enumerate(digits)) % 11 == 0
    if len(signs) == 13 and signs.isdecimal():
        return sum(int(sign) * (3 if place % 2 else 1) for place, sign in enumerate(signs)) % 10 == 0
    return False
