"""Room for the links of the chain: a position and a digest on each movement and event."""

from __future__ import annotations

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor


def without_line_guard(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    """Drop a guard on one table that names another: SQLite could not rebuild the other one."""
    on = " ON inventory_posting" if editor.connection.vendor == "postgresql" else ""
    editor.execute(f"DROP TRIGGER IF EXISTS inventory_posting_month_open{on}")
    if editor.connection.vendor == "postgresql":
        editor.execute("DROP FUNCTION IF EXISTS hingeback_line_month_open()")


class Migration(migrations.Migration):
    dependencies = [("inventory", "0020_scale_model_and_budget")]
    operations = [
        migrations.RunPython(without_line_guard, migrations.RunPython.noop),
        migrations.AddField("counter", "digest", models.CharField(blank=True, default="", max_length=64)),
        migrations.AddField("movement", "link", models.PositiveBigIntegerField(null=True)),
        migrations.AddField("movement", "digest", models.CharField(default="", max_length=64)),
        migrations.AddField("event", "link", models.PositiveBigIntegerField(null=True)),
        migrations.AddField("event", "digest", models.CharField(default="", max_length=64)),
        migrations.AddField(
            "event",
            "witness",
            models.JSONField(blank=True, default=dict, verbose_name="digests of the rows it left"),
        ),
    ]
