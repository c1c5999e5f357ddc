"""Recipe cards, and what a colour change leaves as a kind of movement."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from inventory import triggers


def guard(apps, editor):
    """SQLite drops the triggers of a table that it builds anew."""
    triggers.install(editor.connection)


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0013_goods_and_spoiled_pairs'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AlterField(
            model_name='movement',
            name='kind',
            field=models.CharField(choices=[('weigh_in', 'weigh_in'), ('carry', 'carry'), ('fit_part', 'fit_part'), ('post_frame', 'post_frame'), ('strip_down', 'strip_down'), ('receive_parts', 'receive_parts'), ('post_kit', 'post_kit'), ('count_parts', 'count_parts'), ('receive_feedstock', 'receive_feedstock'), ('return_scrap', 'return_scrap'), ('press_purge', 'press_purge'), ('grind', 'grind'), ('issue', 'issue'), ('count_mass', 'count_mass'), ('opening', 'opening'), ('dispose', 'dispose')], max_length=24, verbose_name='kind'),
        ),
        migrations.CreateModel(
            name='RecipeCard',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=20, unique=True, verbose_name='code')),
                ('state', models.CharField(choices=[('open', 'to be weighed'), ('weighed', 'weighed'), ('dropped', 'dropped')], default='open', max_length=8, verbose_name='state')),
                ('total_mg', models.PositiveBigIntegerField(verbose_name='mass wanted, mg')),
                ('recipe', models.JSONField(verbose_name='recipe: list of [colour, parts per million]')),
                ('tolerance_ppm', models.PositiveIntegerField(verbose_name='tolerance of a share, parts per million')),
                ('batch_code', models.CharField(db_index=True, max_length=20, verbose_name='production batch')),
                ('wanted_for', models.CharField(max_length=120, verbose_name='wanted for')),
                ('made_at', models.DateTimeField(verbose_name='made')),
                ('reason', models.CharField(blank=True, default='', max_length=200, verbose_name='why a share was missed')),
                ('blend', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='cards', to='inventory.colour')),
                ('like', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='repeated', to='inventory.recipecard')),
                ('made_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('movement', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='card', to='inventory.movement')),
                ('polymer', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.polymer')),
            ],
            options={
                'verbose_name': 'recipe card',
                'verbose_name_plural': 'recipe cards',
                'ordering': ['-made_at', '-pk'],
            },
        ),
        migrations.CreateModel(
            name='CardLine',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('wanted_mg', models.PositiveBigIntegerField(verbose_name='to take, mg')),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='card_lines', to='inventory.lot')),
                ('card', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='lines', to='inventory.recipecard')),
            ],
            options={
                'verbose_name': 'line of a recipe card',
                'verbose_name_plural': 'lines of recipe cards',
                'ordering': ['card', 'pk'],
            },
        ),
        migrations.AddConstraint(
            model_name='recipecard',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('movement__isnull', False), ('state', 'weighed')), models.Q(models.Q(('state', 'weighed'), _negated=True), ('movement__isnull', True)), _connector='OR'), name='weighed_cards_have_their_issue'),
        ),
        migrations.AddConstraint(
            model_name='recipecard',
            constraint=models.CheckConstraint(condition=models.Q(('total_mg__gte', 1)), name='card_wants_mass'),
        ),
        migrations.AddConstraint(
            model_name='cardline',
            constraint=models.UniqueConstraint(fields=('card', 'lot'), name='lot_once_on_a_card'),
        ),
        migrations.AddConstraint(
            model_name='cardline',
            constraint=models.CheckConstraint(condition=models.Q(('wanted_mg__gte', 1)), name='card_line_wants_mass'),
        ),
        migrations.RunPython(guard, migrations.RunPython.noop),
    ]
