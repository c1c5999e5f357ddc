"""Keep how easy each component of a model is to repair, for the owner to edit."""

from __future__ import annotations

import django.core.validators
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
        ("returns", "0006_emission_choice"),
    ]

    operations = [
        migrations.CreateModel(
            name="RepairScores",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("front", "front"),
                            ("arm", "arm"),
                            ("lens", "lens"),
                            ("screw", "hinge screw"),
                            ("pad", "nose pad"),
                        ],
                        max_length=10,
                        verbose_name="component",
                    ),
                ),
                ("steps", models.PositiveSmallIntegerField(verbose_name="steps to take it off")),
                (
                    "fasteners",
                    models.PositiveSmallIntegerField(
                        validators=[
                            django.core.validators.MinValueValidator(1),
                            django.core.validators.MaxValueValidator(5),
                        ],
                        verbose_name="fasteners, 1 (destroyed) to 5 (used again)",
                    ),
                ),
                (
                    "tools",
                    models.PositiveSmallIntegerField(
                        validators=[
                            django.core.validators.MinValueValidator(1),
                            django.core.validators.MaxValueValidator(5),
                        ],
                        verbose_name="tools, 1 (only ours) to 5 (none or any household's)",
                    ),
                ),
                (
                    "information",
                    models.PositiveSmallIntegerField(
                        validators=[
                            django.core.validators.MinValueValidator(1),
                            django.core.validators.MaxValueValidator(5),
                        ],
                        verbose_name="repair instructions, 1 (none) to 5 (public)",
                    ),
                ),
            ],
            options={
                "verbose_name": "repair scores",
                "verbose_name_plural": "repair scores",
                "ordering": ["model", "kind"],
            },
        ),
        migrations.AddField(
            model_name="repairscores",
            name="model",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE,
                related_name="repair_scores",
                to="returns.framemodel",
            ),
        ),
        migrations.AddConstraint(
            model_name="repairscores",
            constraint=models.UniqueConstraint(
                fields=("model", "kind"), name="repair_scores_once_per_kind"
            ),
        ),
        migrations.AddConstraint(
            model_name="repairscores",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("fasteners__range", (1, 5)),
                    ("information__range", (1, 5)),
                    ("tools__range", (1, 5)),
                ),
                name="repair_scores_are_1_to_5",
            ),
        ),
        migrations.RunPython(grant, migrations.RunPython.noop, elidable=False),
    ]
