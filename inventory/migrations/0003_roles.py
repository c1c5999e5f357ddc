"""The three roles of the house, as groups."""

from __future__ import annotations

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

ROLES = ("bench", "accountant", "owner")


def make(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    group = apps.get_model("auth", "Group")
    for name in ROLES:
        group.objects.get_or_create(name=name)


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0002_guards"),
        ("auth", "0012_alter_user_first_name_max_length"),
    ]
    operations = [migrations.RunPython(make, migrations.RunPython.noop)]
