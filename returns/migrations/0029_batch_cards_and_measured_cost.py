"""Settings and materials of a batch, masses of components that differ, the measured cost."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0017_heat_of_lines_and_recipe_versions'),
        ('returns', '0028_later_parts'),
    ]

    operations = [
        migrations.CreateModel(
            name='BatchMaterial',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('heat', models.JSONField(verbose_name='heat passes: list of [passes, parts per million]')),
            ],
            options={
                'verbose_name': 'material of a batch',
                'verbose_name_plural': 'materials of a batch',
                'ordering': ['batch', 'pk'],
            },
        ),
        migrations.AddField(
            model_name='differingcomponent',
            name='nominal_mg',
            field=models.PositiveIntegerField(blank=True, null=True, verbose_name='nominal mass, mg'),
        ),
        migrations.AddField(
            model_name='differingcomponent',
            name='spread_mg',
            field=models.PositiveIntegerField(blank=True, null=True, verbose_name='mass spread, mg'),
        ),
        migrations.AddField(
            model_name='policy',
            name='new_frame_batches',
            field=models.PositiveSmallIntegerField(default=5, verbose_name='batches needed to work out the cost of a new frame; 0: always as typed'),
        ),
        migrations.AddField(
            model_name='policy',
            name='new_frame_overhead_minor',
            field=models.PositiveIntegerField(default=0, verbose_name='energy, press and rent of one new frame, cents'),
        ),
        migrations.AddField(
            model_name='productionbatch',
            name='force_n',
            field=models.PositiveIntegerField(blank=True, null=True, verbose_name='force of the press, N'),
        ),
        migrations.AddField(
            model_name='productionbatch',
            name='melt_temperature_c',
            field=models.PositiveSmallIntegerField(blank=True, null=True, verbose_name='temperature of the melt, °C'),
        ),
        migrations.AddField(
            model_name='productionbatch',
            name='mould_temperature_c',
            field=models.PositiveSmallIntegerField(blank=True, null=True, verbose_name='temperature of the mould, °C'),
        ),
        migrations.AddField(
            model_name='productionbatch',
            name='press_time_s',
            field=models.PositiveIntegerField(blank=True, null=True, verbose_name='time under pressure, seconds'),
        ),
        migrations.AddField(
            model_name='productionbatch',
            name='settings_note',
            field=models.CharField(blank=True, default='', max_length=200, verbose_name='note'),
        ),
        migrations.AddField(
            model_name='productionbatch',
            name='work_minutes',
            field=models.PositiveIntegerField(blank=True, null=True, verbose_name='minutes of work on the whole batch, to the finished pair'),
        ),
        migrations.AddConstraint(
            model_name='differingcomponent',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('nominal_mg__isnull', True), ('spread_mg__isnull', True)), models.Q(('nominal_mg__gte', 1), ('spread_mg__isnull', False)), _connector='OR'), name='differing_component_has_mass_and_spread', violation_error_message='Write mass and spread together, or neither.'),
        ),
        migrations.AddField(
            model_name='batchmaterial',
            name='batch',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='materials', to='returns.productionbatch'),
        ),
        migrations.AddField(
            model_name='batchmaterial',
            name='colour',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.colour'),
        ),
        migrations.AddField(
            model_name='batchmaterial',
            name='polymer',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.polymer'),
        ),
        migrations.AddConstraint(
            model_name='batchmaterial',
            constraint=models.UniqueConstraint(fields=('batch', 'polymer', 'colour'), name='material_once_in_a_batch'),
        ),
    ]
