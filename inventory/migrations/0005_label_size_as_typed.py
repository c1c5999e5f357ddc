"""Take the label size from the box that the workshop bought: none is presumed any more.

A workshop that was never set up loses the presumed size; every other one keeps what it has. On
the way back a workshop without a size gets the presumed one again.
"""

from __future__ import annotations

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

PRESUMED = {"label_width_mm": 62, "label_height_mm": 29}


def forget_what_nobody_typed(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    untouched = apps.get_model("inventory", "Workshop").objects.using(editor.connection.alias)
    untouched.filter(address="", **PRESUMED).update(label_width_mm=None, label_height_mm=None)


class Migration(migrations.Migration):
    dependencies = [("inventory", "0004_reading_check_date")]
    operations = [
        migrations.AlterField(
            model_name="workshop",
            name="label_width_mm",
            field=models.PositiveIntegerField(
                blank=True, null=True, verbose_name="label width, mm"
            ),
        ),
        migrations.AlterField(
            model_name="workshop",
            name="label_height_mm",
            field=models.PositiveIntegerField(
                blank=True, null=True, verbose_name="label height, mm"
            ),
        ),
        migrations.RunPython(forget_what_nobody_typed, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name="workshop",
            constraint=models.CheckConstraint(
                condition=models.Q(label_width_mm__isnull=True, label_height_mm__isnull=True)
                | models.Q(label_width_mm__isnull=False, label_height_mm__isnull=False),
                name="workshop_label_size_is_whole",
                violation_error_message=(
                    "A label has a width and a height: enter both, or leave both empty."
                ),
            ),
        ),
    ]
