"""Refuse to replace a guarded row."""

from __future__ import annotations

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from inventory import triggers


def install(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    triggers.install(editor.connection)


class Migration(migrations.Migration):
    dependencies = [("inventory", "0015_join_part_kind")]
    operations = [migrations.RunPython(install, migrations.RunPython.noop)]
