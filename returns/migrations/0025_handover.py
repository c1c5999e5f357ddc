"""Shelf places, hand-over notes and photos of the bench: 0025_handover."""


import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('returns', '0024_heaps_of_frames'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='BenchPhoto',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('component', models.CharField(blank=True, choices=[('front', 'front'), ('bridge', 'bridge'), ('arm_left', 'left arm'), ('arm_right', 'right arm'), ('hinge_left', 'left hinge'), ('hinge_right', 'right hinge'), ('screw_left', 'left hinge screw'), ('screw_right', 'right hinge screw'), ('lens_left', 'left lens'), ('lens_right', 'right lens')], default='', max_length=20, verbose_name='what part')),
                ('defect', models.CharField(blank=True, choices=[('snapped', 'snapped'), ('cracked_pivot', 'cracked through the pivot'), ('cracked', 'cracked elsewhere'), ('stripped_hole', 'screw hole stripped'), ('hole_offset', 'screw hole out of place'), ('groove_worn', 'lens groove worn'), ('warped', 'warped'), ('scuffed', 'scuffed'), ('loose_screw', 'screw loose'), ('missing', 'missing'), ('foreign', 'foreign part')], default='', max_length=20, verbose_name='what is wrong')),
                ('file_name', models.CharField(max_length=60, unique=True)),
                ('width', models.PositiveIntegerField()),
                ('height', models.PositiveIntegerField()),
                ('taken_at', models.DateTimeField(verbose_name='taken')),
                ('frame', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='bench_photos', to='returns.returnedframe')),
                ('taken_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'photo of the bench',
                'verbose_name_plural': 'photos of the bench',
                'ordering': ['taken_at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='HandoverNote',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('text', models.CharField(max_length=300, verbose_name='note')),
                ('written_at', models.DateTimeField(verbose_name='written')),
                ('done_at', models.DateTimeField(blank=True, db_index=True, null=True, verbose_name='done')),
                ('done_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('frame', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='notes', to='returns.returnedframe')),
                ('written_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'hand-over note',
                'verbose_name_plural': 'hand-over notes',
                'ordering': ['written_at', 'pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('done_at', None), ('done_by', None)), models.Q(('done_at__isnull', False), ('done_by__isnull', False)), _connector='OR'), name='a_done_note_says_by_whom')],
            },
        ),
        migrations.CreateModel(
            name='ShelfPlace',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('subject', models.CharField(max_length=60, unique=True, verbose_name='tag of the frame, or code of the box')),
                ('shelf', models.CharField(db_index=True, max_length=12, verbose_name='shelf place')),
                ('set_at', models.DateTimeField(verbose_name='put there')),
                ('set_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'shelf place',
                'verbose_name_plural': 'shelf places',
                'constraints': [models.CheckConstraint(condition=models.Q(('shelf', ''), _negated=True), name='a_shelf_place_has_a_code')],
            },
        ),
    ]
