"""Call the audit history's rows events and the outbox's rows messages, as the field does.

The guards of the old name go before the table is renamed, for SQLite carries them along under
their old name; the guards of the new name stand again before the migration ends.
"""

from __future__ import annotations

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from inventory import triggers


def unguard(table: str, editor: BaseDatabaseSchemaEditor) -> None:
    on = f" ON {table}" if editor.connection.vendor == "postgresql" else ""
    for act in ("update", "delete"):
        editor.execute(f"DROP TRIGGER IF EXISTS {table}_no_{act}{on}")


def unguard_old(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    unguard("inventory_deed", editor)


def unguard_new(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    unguard("inventory_event", editor)


def guard(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    triggers.install(editor.connection)


class Migration(migrations.Migration):
    dependencies = [("inventory", "0005_label_size_as_typed")]
    operations = [
        migrations.RunPython(unguard_old, guard),
        migrations.RenameModel("Deed", "Event"),
        migrations.RenameIndex("Event", new_name="inventory_e_name_21ff86_idx", old_name="inventory_d_name_7f58d7_idx"),
        migrations.AlterField("Event", "name", models.CharField(max_length=60, verbose_name="event")),
        migrations.AlterModelOptions(
            "Event", options={"verbose_name": "event", "verbose_name_plural": "events"}
        ),
        migrations.RenameModel("Duty", "OutboxMessage"),
        migrations.RenameIndex(
            "OutboxMessage", new_name="message_unsettled", old_name="duty_unsettled"
        ),
        migrations.AlterModelOptions(
            "OutboxMessage",
            options={"verbose_name": "outbox message", "verbose_name_plural": "outbox messages"},
        ),
        migrations.RunPython(guard, unguard_new),
    ]
