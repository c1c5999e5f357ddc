"""The method page explains every module of sums, with a source and how it is known."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator

import pytest
from django.test import Client

from returns.method import ENTRIES, NO_FIGURES, Tag


def modules() -> Iterator[str]:
    """Every module below the sums of both rooms; a package counts by its own name too."""
    for room in ("inventory", "returns"):
        top = importlib.import_module(f"{room}.sums")
        for found in pkgutil.walk_packages(top.__path__, f"{room}.sums."):
            yield found.name


def test_every_module_of_sums_is_covered_and_no_other_named() -> None:
    covered = {name for entry in ENTRIES for name in entry.modules}
    assert covered | NO_FIGURES == set(modules())
    assert not covered & NO_FIGURES


def test_every_entry_has_sources_with_tags_and_all_its_words() -> None:
    for entry in ENTRIES:
        assert entry.sources, entry.key
        for source in entry.sources:
            assert str(source.text).strip()
            assert isinstance(source.tag, Tag)
        for words in (entry.title, entry.answers, entry.formula, entry.shown, entry.limits):
            assert str(words).strip(), entry.key


def test_keys_are_unique_and_fit_an_address() -> None:
    keys = [entry.key for entry in ENTRIES]
    assert len(keys) == len(set(keys))
    assert all(key.replace("-", "").isalpha() and key.islower() for key in keys)


@pytest.mark.django_db
def test_the_page_is_open_and_linked_from_the_foot() -> None:
    client = Client()
    shown = client.get("/method/")
    assert shown.status_code == 200
    page = shown.content.decode()
    for entry in ENTRIES:
        assert f'id="{entry.key}"' in page
    assert "our own choice" in page
    assert 'href="/method/"' in client.get("/").content.decode()
    assert client.post("/method/").status_code == 405
