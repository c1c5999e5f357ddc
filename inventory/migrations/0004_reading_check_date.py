"""Note the scale's check date with each reading: it tells the calibration period."""

from __future__ import annotations

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from inventory import triggers


def install(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    triggers.install(editor.connection)


class Migration(migrations.Migration):
    dependencies = [("inventory", "0003_roles")]
    operations = [
        migrations.AddField(
            model_name="reading",
            name="check_due",
            field=models.DateField(
                blank=True, null=True, verbose_name="the scale's check date at that time"
            ),
        ),
        migrations.RunPython(install, migrations.RunPython.noop),
    ]
