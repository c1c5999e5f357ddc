"""One-time codes against RFC 6238, "TOTP: Time-Based One-Time Password Algorithm" (2011), App. B.

The table's SHA-1 column has eight digits; a code app shows the last six.
"""

from __future__ import annotations

import pytest
from django_otp.oath import TOTP

SECRET = b"12345678901234567890"


@pytest.mark.parametrize(
    ("moment", "code"),
    [
        (59, 94287082),
        (1111111109, 7081804),
        (1111111111, 14050471),
        (1234567890, 89005924),
        (2000000000, 69279037),
        (20000000000, 65353130),
    ],
)
def test_codes_are_those_of_the_published_table(moment: int, code: int) -> None:
    totp = TOTP(SECRET, step=30, digits=8)
    totp.time = moment
    assert totp.token() == code
    six = TOTP(SECRET, step=30, digits=6)
    six.time = moment
    assert six.token() == code % 1_000_000
