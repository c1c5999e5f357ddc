"""Keys that a killed process had left as still running: each is free now."""

from __future__ import annotations

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor


def free(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    del editor
    apps.get_model("inventory", "RequestKey").objects.filter(status=None).delete()


class Migration(migrations.Migration):
    dependencies = [("inventory", "0007_boundary_words")]

    operations = [migrations.RunPython(free, migrations.RunPython.noop)]
