"""Name the four places at the edge of the books for what they are: with wearers, from sellers, at
the press, unexplained. Their codes stay, for closed months are told by codes.
"""

from __future__ import annotations

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

NAMES = {
    "customers": "wearers",
    "suppliers": "sellers",
    "production": "press",
    "difference": "unexplained",
}


def rename(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    places = apps.get_model("inventory", "Place").objects.using(editor.connection.alias)
    for old, new in NAMES.items():
        places.filter(kind=old).update(kind=new)


def back(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    places = apps.get_model("inventory", "Place").objects.using(editor.connection.alias)
    for old, new in NAMES.items():
        places.filter(kind=new).update(kind=old)


class Migration(migrations.Migration):
    dependencies = [("inventory", "0006_events_and_messages")]
    operations = [
        migrations.AlterField(
            model_name="place",
            name="kind",
            field=models.CharField(choices=[('wearers', 'with wearers'), ('sellers', 'from sellers'), ('press', 'at the press'), ('unexplained', 'unexplained'), ('arrivals', 'arrivals shelf'), ('hold', 'hold shelf'), ('bench', 'repair bench'), ('salvage', 'salvage bin'), ('box', 'regrind box'), ('lot', 'flake lot'), ('bin', 'spare-part bin'), ('lens', 'lens waste'), ('metal', 'metal waste'), ('foreign', 'foreign waste'), ('dust', 'dust'), ('purge', 'purge'), ('moisture', 'moisture')], max_length=12, verbose_name="kind"),
        ),
        migrations.RunPython(rename, back),
    ]
