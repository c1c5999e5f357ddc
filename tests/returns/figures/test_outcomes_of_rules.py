"""What the real rules book is counted once, as what it was."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User

from returns.figures.circularity.queries.outcomes import MENDED, by_outcome, outcomes
from returns.figures.span.queries import Scope
from returns.leaving import rules as posting_out
from tests.makers import NOON, Shop, key
from tests.returns import workroom_makers as made

pytestmark = pytest.mark.django_db


def test_weigh_out_difference_is_no_frame_that_left(shop: Shop, bea: User) -> None:
    """The scale and the books rarely agree to the milligram: that posting leaves the house not."""
    frame = made.mended(shop, bea)
    posting_out.post_frame(key=key(), frame=frame, scanned=frame.tag, at=NOON, by=bea)
    assert by_outcome(outcomes(Scope(), last="2026-12")) == {MENDED: 1}
