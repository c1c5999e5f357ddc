"""Let the owner say which emission factors and replacement shares to reckon with."""

from __future__ import annotations

import django.core.validators
import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("returns", "0005_promised_parts"),
    ]

    operations = [
        migrations.AddField(
            model_name="policy",
            name="factor_process_g_per_t",
            field=models.PositiveBigIntegerField(
                blank=True,
                null=True,
                verbose_name="own factor for reprocessing and moulding, g of CO2 equivalent per tonne",
            ),
        ),
        migrations.AddField(
            model_name="policy",
            name="factor_source",
            field=models.CharField(
                blank=True,
                default="",
                max_length=200,
                verbose_name="own factors: title, publisher, year of the source",
            ),
        ),
        migrations.AddField(
            model_name="policy",
            name="factor_virgin_g_per_t",
            field=models.PositiveBigIntegerField(
                blank=True,
                null=True,
                verbose_name="own factor for virgin material, g of CO2 equivalent per tonne",
            ),
        ),
        migrations.AddField(
            model_name="policy",
            name="factor_year",
            field=models.PositiveSmallIntegerField(
                blank=True, null=True, verbose_name="own emission factors: the year they are for"
            ),
        ),
        migrations.AddField(
            model_name="policy",
            name="substitution_high_ppm",
            field=models.PositiveIntegerField(
                default=1000000,
                verbose_name="virgin material that a mass of flake replaces: at most, parts per million",
            ),
        ),
        migrations.AddField(
            model_name="policy",
            name="substitution_low_ppm",
            field=models.PositiveIntegerField(
                default=0,
                verbose_name="virgin material that a mass of flake replaces: at least, parts per million",
            ),
        ),
        migrations.AddField(
            model_name="policy",
            name="substitution_ppm",
            field=models.PositiveIntegerField(
                default=500000,
                verbose_name="virgin material that a mass of flake replaces: likely, parts per million",
            ),
        ),
        migrations.AddField(
            model_name="policy",
            name="substitution_reason",
            field=models.CharField(
                default="Own assumption, not measured",
                max_length=200,
                verbose_name="where these three shares come from",
            ),
        ),
        migrations.AddConstraint(
            model_name="policy",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("substitution_high_ppm__lte", 1000000),
                    ("substitution_low_ppm__lte", models.F("substitution_ppm")),
                    ("substitution_ppm__lte", models.F("substitution_high_ppm")),
                ),
                name="policy_substitution_lies_in_its_range",
                violation_error_message="The shares of virgin material replaced must rise from the lowest over the likely one to the highest, and stay within 1 000 000.",
            ),
        ),
    ]
