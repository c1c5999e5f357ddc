"""Hand out the right to read partners, their slips and walk-ins in the admin."""

from __future__ import annotations

from django.apps.registry import Apps
from django.contrib.auth.management import create_permissions
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from returns.setup.rules import ownerrights


def grant(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    for label in ownerrights.APPS:
        config = apps.get_app_config(label)
        config.models_module = True
        create_permissions(config, apps=apps, verbosity=0, using=editor.connection.alias)
        config.models_module = None
    groups, permissions = apps.get_model("auth", "Group"), apps.get_model("auth", "Permission")
    tables = frozenset(str(model._meta.model_name) for model in apps.get_models())
    ownerrights.grant(groups, permissions, tables=tables)


class Migration(migrations.Migration):
    dependencies = [
        ("returns", "0031_ceiling_of_what"),
        ("auth", "0012_alter_user_first_name_max_length"),
        ("contenttypes", "0002_remove_content_type_name"),
    ]
    operations = [migrations.RunPython(grant, migrations.RunPython.noop)]
