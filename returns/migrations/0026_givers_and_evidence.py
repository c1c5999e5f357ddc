"""Givers of goods and evidence of origin; the owner may edit the lists of goods and causes.

Those rights are handed out anew here.
"""

from __future__ import annotations

import django.db.models.deletion
from django.apps.registry import Apps
from django.contrib.auth.management import create_permissions
from django.db import migrations, models
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
        ('auth', '0012_alter_user_first_name_max_length'),
        ('contenttypes', '0002_remove_content_type_name'),
        ('inventory', '0013_goods_and_spoiled_pairs'),
        ('returns', '0025_handover'),
    ]

    operations = [
        migrations.CreateModel(
            name='Evidence',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('declaration', 'declaration of the giver'), ('photo', 'photo of the goods'), ('receipt', 'receipt or delivery note')], max_length=12, verbose_name='kind')),
                ('file_name', models.CharField(max_length=60, unique=True)),
                ('note', models.CharField(blank=True, default='', max_length=120, verbose_name='what it shows')),
                ('added_at', models.DateTimeField(verbose_name='added')),
                ('load', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='evidence', to='inventory.load')),
            ],
            options={
                'verbose_name': 'evidence of origin',
                'verbose_name_plural': 'evidence of origin',
                'ordering': ['pk'],
            },
        ),
        migrations.CreateModel(
            name='Giver',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('link_salt', models.CharField(max_length=64)),
                ('link_hash', models.CharField(max_length=64, unique=True)),
                ('name', models.CharField(blank=True, default='', max_length=80, verbose_name='name')),
                ('contact', models.CharField(blank=True, default='', max_length=120, verbose_name='how to reach them')),
                ('load', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='giver', to='inventory.load')),
            ],
            options={
                'verbose_name': 'giver of goods',
                'verbose_name_plural': 'givers of goods',
            },
        ),
        migrations.RunPython(grant, migrations.RunPython.noop),
    ]
