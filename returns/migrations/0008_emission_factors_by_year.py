"""Keep the owner's emission factors a row for each year, so that a new year erases no old one."""

from __future__ import annotations

import django.core.validators
from django.apps.registry import Apps
from django.contrib.auth.management import create_permissions
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from returns.setup.rules import ownerrights


def carry(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    """Only a whole set was ever used: both factors, their year and a source."""
    row = apps.get_model("returns", "Policy").objects.filter(pk=1).first()
    if row is None or not row.factor_year or not row.factor_source.strip():
        return
    if row.factor_virgin_g_per_t is None or row.factor_process_g_per_t is None:
        return
    apps.get_model("returns", "EmissionFactors").objects.create(
        year=row.factor_year,
        virgin_g_per_t=row.factor_virgin_g_per_t,
        process_g_per_t=row.factor_process_g_per_t,
        source=row.factor_source,
    )


def carry_back(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    """The old shape holds one year: the newest."""
    newest = apps.get_model("returns", "EmissionFactors").objects.order_by("-year").first()
    if newest is None:
        return
    apps.get_model("returns", "Policy").objects.filter(pk=1).update(
        factor_year=newest.year,
        factor_virgin_g_per_t=newest.virgin_g_per_t,
        factor_process_g_per_t=newest.process_g_per_t,
        factor_source=newest.source,
    )


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
        ("returns", "0007_repair_scores"),
    ]

    operations = [
        migrations.CreateModel(
            name="EmissionFactors",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "year",
                    models.PositiveSmallIntegerField(
                        unique=True,
                        validators=[
                            django.core.validators.MinValueValidator(1990),
                            django.core.validators.MaxValueValidator(2999),
                        ],
                        verbose_name="the year they are for",
                    ),
                ),
                (
                    "virgin_g_per_t",
                    models.PositiveBigIntegerField(
                        verbose_name="virgin material, moulded: g of CO2 equivalent per tonne"
                    ),
                ),
                (
                    "process_g_per_t",
                    models.PositiveBigIntegerField(
                        verbose_name="reprocessing and moulding: g of CO2 equivalent per tonne"
                    ),
                ),
                (
                    "source",
                    models.CharField(
                        max_length=200, verbose_name="title, publisher and year of the source"
                    ),
                ),
            ],
            options={
                "verbose_name": "emission factors of a year",
                "verbose_name_plural": "emission factors",
                "ordering": ["-year"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("source", ""), _negated=True),
                        name="emission_factors_name_a_source",
                    )
                ],
            },
        ),
        migrations.RunPython(carry, carry_back),
        migrations.RemoveField(model_name="policy", name="factor_process_g_per_t"),
        migrations.RemoveField(model_name="policy", name="factor_source"),
        migrations.RemoveField(model_name="policy", name="factor_virgin_g_per_t"),
        migrations.RemoveField(model_name="policy", name="factor_year"),
        migrations.RunPython(grant, migrations.RunPython.noop),
    ]
