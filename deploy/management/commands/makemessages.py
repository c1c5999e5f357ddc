"""The framework's `makemessages`, which also collects what is marked with `_t`.

Modules that mark with both the lazy and the plain form call the plain one `_t`.
"""

from __future__ import annotations

from django.core.management.commands import makemessages


class Command(makemessages.Command):
    xgettext_options: list[str] = [*makemessages.Command.xgettext_options, "--keyword=_t"]
