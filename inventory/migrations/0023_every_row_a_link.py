"""From now on no movement and no event is without its link."""

from __future__ import annotations

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from inventory import triggers


def install(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    """SQLite has rebuilt the tables, and their triggers are gone."""
    triggers.install(editor.connection)


class Migration(migrations.Migration):
    dependencies = [("inventory", "0022_chain_what_stands")]
    operations = [
        operation
        for model in ("movement", "event")
        for operation in (
            migrations.AlterField(
                model,
                "link",
                models.PositiveBigIntegerField(unique=True, verbose_name="link of the chain"),
            ),
            migrations.AlterField(
                model, "digest", models.CharField(max_length=64, verbose_name="digest")
            ),
        )
    ] + [migrations.RunPython(install, migrations.RunPython.noop)]
