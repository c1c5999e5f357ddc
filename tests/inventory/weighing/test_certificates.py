"""Typing off a calibration certificate: what is read, and how a wrong line is refused."""

from __future__ import annotations

import pytest

from inventory.weighing.sums.certificates import BadCertificate, lines, points


def test_lines_are_read_by_load_whatever_their_order_units_and_decimal_signs() -> None:
    text = "20 g; -0,1 mg; 0.201 mg; 2\n\n5000 mg; -0.2 mg; 0.2 mg\n 0.1 kg;0 g;0.0003 g;k=3 "
    assert points(text) == [(5_000, -200, 100), (20_000, -100, 100), (100_000, 0, 100)]


def test_what_was_read_is_written_so_that_it_is_read_again() -> None:
    found = points("20 g; -0.1 mg; 0.24 mg; 2\n50.5 g; 3 mg; 1 mg; 2")
    assert points("\n".join(lines(found))) == found


@pytest.mark.parametrize(
    "line",
    [
        "20 g; 0 mg",
        "20; 0 mg; 1 mg; 2",
        "20 g; 0 mg; 1 mg; 0",
        "20 g; 0 mg; -1 mg; 2",
        "0 g; 0 mg; 1 mg",
        "0.0005 g; 0 mg; 1 mg",
        "20 g; nan mg; 1 mg",
        "20 g; 0 mg; 1 mg; 2; 3",
        f"{10**20} kg; 0 mg; 1 mg",
        "5 g; 0 mg; 2 mg",
    ],
)
def test_a_line_that_is_none_is_named(line: str) -> None:
    with pytest.raises(BadCertificate) as refused:
        points(f"5 g; 0 mg; 1 mg; 2\n{line}")
    assert refused.value.line == 2
    assert "Line 2" in str(refused.value)
