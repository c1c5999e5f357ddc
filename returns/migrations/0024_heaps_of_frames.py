"""Writes down as a heap what each stripped frame put into its one box.

Colourways need no such step: a colourway that names no component that differs is of one material
throughout, as it was. Postings, months and their digests are not touched.
"""

from django.db import migrations


def write(apps, schema_editor):
    heaps = apps.get_model("returns", "FrameHeap").objects
    frames = apps.get_model("returns", "ReturnedFrame").objects.exclude(box=None)
    heaps.bulk_create(
        [
            heaps.model(frame_id=frame, box_id=box, mass_mg=mass_mg, lot_id=lot)
            for frame, box, mass_mg, lot in frames.filter(boxed_mg__gte=1)
            .order_by("pk")
            .values_list("pk", "box", "boxed_mg", "lot")
        ],
        batch_size=500,
    )


class Migration(migrations.Migration):
    # Nothing to take back: the frames keep their box, mass and lot, and the table goes.
    dependencies = [("returns", "0023_counter_and_partners")]

    operations = [migrations.RunPython(write, migrations.RunPython.noop)]
