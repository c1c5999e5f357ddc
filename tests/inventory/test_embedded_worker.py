"""The embedded installation's worker, on the filesystem transport, with nothing else running."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests import makers
from tests.service.test_worker import all_settled, file_a_return
from tests.service.worker import running, wait_for


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_letter_goes_out_over_the_filesystem(tmp_path: Path, shop: makers.Shop) -> None:
    with running(tmp_path, "filesystem://localhost//"):
        file_a_return(shop)
        wait_for(all_settled, tmp_path / "worker.log")
    assert len(list((tmp_path / "mail").glob("*"))) == 1
