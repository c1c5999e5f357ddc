"""Install the append-only triggers."""

from __future__ import annotations

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from inventory import triggers


def install(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    triggers.install(editor.connection)


def remove(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    triggers.remove(editor.connection)


class Migration(migrations.Migration):
    dependencies = [("inventory", "0001_initial")]
    operations = [migrations.RunPython(install, remove)]
