"""Logs hold no secret of a private link, whoever wrote the line."""

from __future__ import annotations

import logging

import structlog

from deploy.logs import DiscreetFormatter

SECRET = "q3b0Vw8Zl2N4c6X8a0S2d4F6g8H0j2K4l6Z8x0C2v4B"


def line(message: str, *args: object) -> str:
    record = logging.LogRecord("django.request", 30, "x.py", 1, message, args, None)
    return DiscreetFormatter(processor=structlog.processors.JSONRenderer()).format(record)


def test_link_secret_in_arguments_is_blanked() -> None:
    assert SECRET not in line("Not Found: %s", f"/story/{SECRET}/slip.pdf")
    assert "/story/***/slip.pdf" in line("Not Found: %s", f"/story/{SECRET}/slip.pdf")


def test_other_paths_stay_readable() -> None:
    assert "/bench/frame/F-7KDM-3XQ9/" in line("GET /bench/frame/F-7KDM-3XQ9/")


def test_the_first_owners_link_is_blanked() -> None:
    secret = "diluk4-2f2430376193ee2db215ad5e38aee309"
    data = line("GET %s", f"/enter/first/MQ/{secret}/")
    assert secret not in data
    assert "/enter/first/MQ/***/" in data
