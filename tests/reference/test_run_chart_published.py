"""The run chart against the individuals chart of a handbook.

NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 "Individuals Control Charts", example
"flow rate" of ten batches: data, centre line and limits. From memory; the moving ranges worked out
from the data sum to the handbook's mean moving range, 1.8778.
"""

from __future__ import annotations

import pytest

from returns.figures.circularity.sums.run_chart import run_chart

FLOW_RATE = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


def test_flow_rate_of_ten_batches() -> None:
    made = run_chart(FLOW_RATE)
    assert made.mean == pytest.approx(50.81, abs=5e-3)
    assert made.high == pytest.approx(55.8041, abs=5e-5)
    assert made.low == pytest.approx(45.8159, abs=5e-5)
    assert not any(made.is_outside(value) for value in FLOW_RATE)
