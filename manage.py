#!/usr/bin/env python
"""Django's command line for Hingeback, which first finds and names the workshop it acts on."""

from __future__ import annotations

import os
import sys

from deploy import whichworkshop


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    try:
        words = whichworkshop.choose(sys.argv)
        whichworkshop.announce(words)
    except whichworkshop.WrongWorkshop as refused:
        sys.stderr.write(f"{refused}\n")
        sys.exit(refused.code)
    from django.core.management import execute_from_command_line

    execute_from_command_line(words)


if __name__ == "__main__":
    main()
