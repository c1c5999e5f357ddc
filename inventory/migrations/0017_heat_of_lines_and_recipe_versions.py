"""Heat of a single line, versions of a recipe, and heaps of spoiled pairs beside the first."""

import django.db.models.deletion
from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from inventory import triggers


def guard(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    triggers.install(editor.connection)


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0016_no_replacing'),
    ]

    operations = [
        migrations.CreateModel(
            name='FormerRecipe',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('version', models.PositiveSmallIntegerField(verbose_name='version')),
                ('recipe', models.JSONField(verbose_name='recipe: list of [colour, parts per million]')),
                ('tolerance_ppm', models.PositiveIntegerField(verbose_name='tolerance of a share, parts per million')),
                ('replaced_at', models.DateTimeField(verbose_name='replaced')),
            ],
            options={
                'verbose_name': 'former recipe',
                'verbose_name_plural': 'former recipes',
                'ordering': ['blend', '-version'],
            },
        ),
        migrations.RemoveConstraint(
            model_name='spoiled',
            name='spoiled_pairs_are_some',
        ),
        migrations.AddField(
            model_name='colour',
            name='recipe_version',
            field=models.PositiveSmallIntegerField(default=1, verbose_name='version of its recipe'),
        ),
        migrations.AddField(
            model_name='posting',
            name='heat',
            field=models.JSONField(blank=True, null=True, verbose_name='heat passes of this line alone'),
        ),
        migrations.AddField(
            model_name='recipecard',
            name='recipe_version',
            field=models.PositiveSmallIntegerField(default=1, verbose_name='version of the recipe'),
        ),
        migrations.AlterField(
            model_name='goodskind',
            name='active',
            field=models.BooleanField(default=True, verbose_name='offered at the bench'),
        ),
        migrations.AlterField(
            model_name='spoiled',
            name='pieces',
            field=models.PositiveIntegerField(verbose_name='pairs, counted with their first heap'),
        ),
        migrations.AddField(
            model_name='formerrecipe',
            name='blend',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='former_recipes', to='inventory.colour'),
        ),
        migrations.AddConstraint(
            model_name='formerrecipe',
            constraint=models.UniqueConstraint(fields=('blend', 'version'), name='recipe_version_once'),
        ),
        migrations.RunPython(guard, migrations.RunPython.noop),
    ]
