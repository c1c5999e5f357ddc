"""Loads of used goods and spoiled pairs, with the places and movements that they need."""

from __future__ import annotations

import django.db.models.deletion
from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from inventory import triggers


def guard(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    triggers.install(editor.connection)


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0012_holidays_and_closing_days'),
    ]

    operations = [
        migrations.CreateModel(
            name='GoodsKind',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.SlugField(max_length=20, unique=True, verbose_name='code')),
                ('name', models.CharField(max_length=60, verbose_name='name')),
                ('active', models.BooleanField(default=True, verbose_name='offered at the scale')),
            ],
            options={
                'verbose_name': 'kind of goods',
                'verbose_name_plural': 'kinds of goods',
                'ordering': ['name'],
            },
        ),
        migrations.CreateModel(
            name='SpoilCause',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.SlugField(max_length=20, unique=True, verbose_name='code')),
                ('name', models.CharField(max_length=60, verbose_name='name')),
                ('active', models.BooleanField(default=True, verbose_name='offered at the bench')),
            ],
            options={
                'verbose_name': 'cause of spoiled pairs',
                'verbose_name_plural': 'causes of spoiled pairs',
                'ordering': ['name'],
            },
        ),
        migrations.AlterField(
            model_name='movement',
            name='kind',
            field=models.CharField(choices=[('weigh_in', 'weigh_in'), ('carry', 'carry'), ('fit_part', 'fit_part'), ('post_frame', 'post_frame'), ('strip_down', 'strip_down'), ('receive_parts', 'receive_parts'), ('post_kit', 'post_kit'), ('count_parts', 'count_parts'), ('receive_feedstock', 'receive_feedstock'), ('receive_goods', 'receive_goods'), ('sort_goods', 'sort_goods'), ('pick_out', 'pick_out'), ('pass_on', 'pass_on'), ('return_scrap', 'return_scrap'), ('grind', 'grind'), ('issue', 'issue'), ('count_mass', 'count_mass'), ('opening', 'opening'), ('dispose', 'dispose')], max_length=24, verbose_name='kind'),
        ),
        migrations.AlterField(
            model_name='place',
            name='kind',
            field=models.CharField(choices=[('wearers', 'with wearers'), ('sellers', 'from sellers'), ('press', 'at the press'), ('unexplained', 'unexplained'), ('arrivals', 'arrivals shelf'), ('hold', 'hold shelf'), ('bench', 'repair bench'), ('salvage', 'salvage bin'), ('box', 'regrind box'), ('lot', 'flake lot'), ('bin', 'spare-part bin'), ('lens', 'lens waste'), ('metal', 'metal waste'), ('foreign', 'foreign waste'), ('dust', 'dust'), ('purge', 'purge'), ('moisture', 'moisture'), ('givers', 'from givers of goods'), ('buyers', 'sold to others'), ('takers', 'given on'), ('sorting', 'sorting table'), ('kept', 'kept for somebody'), ('film', 'film waste'), ('paper', 'paper waste'), ('dirt', 'dirt'), ('washed', 'washed and dried off')], max_length=12, verbose_name='kind'),
        ),
        migrations.CreateModel(
            name='Load',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=20, unique=True, verbose_name='code')),
                ('kind', models.CharField(max_length=20, verbose_name='kind of goods')),
                ('giver_class', models.CharField(choices=[('nursery', 'nursery or garden centre'), ('household', 'household'), ('trade', 'shop or workshop'), ('public', 'school, club or town'), ('unnamed', 'nobody named')], default='unnamed', max_length=10, verbose_name='from')),
                ('way', models.CharField(choices=[('given', 'given'), ('sold', 'sold to us'), ('left', 'dropped off'), ('fetched', 'fetched by us')], max_length=10, verbose_name='how it came')),
                ('cost_minor', models.PositiveIntegerField(default=0, verbose_name='paid for it, cents')),
                ('state', models.CharField(choices=[('sorting', 'being sorted'), ('finished', 'sorted'), ('void', 'taken back')], default='sorting', max_length=10)),
                ('received_at', models.DateTimeField(verbose_name='received')),
                ('finished_at', models.DateTimeField(blank=True, null=True, verbose_name='sorted')),
            ],
            options={
                'verbose_name': 'load of goods',
                'verbose_name_plural': 'loads of goods',
                'ordering': ['-received_at', '-pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(('way', 'sold'), ('cost_minor', 0), _connector='OR'), name='only_sold_goods_cost_money'), models.CheckConstraint(condition=models.Q(models.Q(('finished_at__isnull', False), ('state', 'finished')), models.Q(models.Q(('state', 'finished'), _negated=True), ('finished_at__isnull', True)), _connector='OR'), name='a_sorted_load_has_its_moment')],
            },
        ),
        migrations.CreateModel(
            name='LoadEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('act', models.CharField(choices=[('received', 'weighed as it came'), ('taken_out', 'taken out'), ('boxed', 'into its box'), ('lost', 'washed and dried off'), ('found', 'more than was booked'), ('picked_out', 'wrong polymer picked out later'), ('passed_on', 'passed on')], max_length=12, verbose_name='what')),
                ('stream', models.CharField(blank=True, choices=[('polymer', 'another polymer'), ('film', 'film and labels'), ('paper', 'paper and card'), ('metal', 'metal'), ('dirt', 'soil and dirt'), ('other', 'anything else')], max_length=10, verbose_name='stream')),
                ('went', models.CharField(blank=True, choices=[('sold', 'sold'), ('given', 'given on'), ('kept', 'kept for somebody'), ('waste', 'waste')], max_length=10, verbose_name='where it went')),
                ('note', models.CharField(blank=True, default='', max_length=120, verbose_name='note')),
                ('kept_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='passings', to='inventory.loadentry')),
                ('load', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='entries', to='inventory.load')),
                ('posting', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='goods', to='inventory.posting')),
            ],
            options={
                'verbose_name': 'entry of a load',
                'verbose_name_plural': 'entries of loads',
                'ordering': ['pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('act__in', ['taken_out', 'picked_out', 'passed_on']), models.Q(('stream', ''), _negated=True), models.Q(('went', ''), _negated=True)), models.Q(models.Q(('act__in', ['taken_out', 'picked_out', 'passed_on']), _negated=True), ('stream', ''), ('went', '')), _connector='OR'), name='a_stream_says_where_it_went'), models.CheckConstraint(condition=models.Q(models.Q(('act', 'passed_on'), ('kept_by__isnull', False)), models.Q(models.Q(('act', 'passed_on'), _negated=True), ('kept_by__isnull', True)), _connector='OR'), name='what_is_passed_on_was_kept')],
            },
        ),
        migrations.CreateModel(
            name='Spoiled',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('batch_code', models.CharField(db_index=True, max_length=20, verbose_name='production batch')),
                ('step', models.CharField(choices=[('moulding', 'moulding'), ('drilling', 'drilling'), ('groove', 'groove'), ('finishing', 'finishing'), ('inspection', 'inspection')], max_length=10, verbose_name='step')),
                ('cause', models.CharField(max_length=20, verbose_name='cause')),
                ('pieces', models.PositiveIntegerField(verbose_name='pairs')),
                ('posting', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='spoiled', to='inventory.posting')),
            ],
            options={
                'verbose_name': 'spoiled pairs',
                'verbose_name_plural': 'spoiled pairs',
                'ordering': ['pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(('pieces__gte', 1)), name='spoiled_pairs_are_some')],
            },
        ),
        migrations.RunPython(guard, migrations.RunPython.noop),
    ]
