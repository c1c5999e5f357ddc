"""Let the owner's role edit the masters and read the books without being a superuser."""

from __future__ import annotations

from django.apps.registry import Apps
from django.contrib.auth.management import create_permissions
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from returns.setup.rules import ownerrights


def grant(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    # Permissions are otherwise made after all migrations, too late to hand them out here.
    for label in ownerrights.APPS:
        config = apps.get_app_config(label)
        config.models_module = True
        create_permissions(config, apps=apps, verbosity=0, using=editor.connection.alias)
        config.models_module = None
    # A table that a later migration makes is granted there.
    tables = frozenset(str(model._meta.model_name) for model in apps.get_models())
    groups, permissions = apps.get_model("auth", "Group"), apps.get_model("auth", "Permission")
    ownerrights.grant(groups, permissions, tables=tables)


def withdraw(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    for group in apps.get_model("auth", "Group").objects.filter(name="owner"):
        group.permissions.clear()


class Migration(migrations.Migration):
    dependencies = [
        ("returns", "0003_discarded_frame"),
        ("inventory", "0003_roles"),
        ("auth", "0012_alter_user_first_name_max_length"),
        ("contenttypes", "0002_remove_content_type_name"),
    ]
    operations = [migrations.RunPython(grant, withdraw)]
