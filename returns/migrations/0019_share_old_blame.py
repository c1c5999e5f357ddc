"""Puts right what failed checks without a named step taught: their steps share the blame.

Before, every step that a failed check spoke of was taken to have failed by itself.
"""

from django.db import migrations


def link(apps, schema_editor):
    """Tie each such step to its check; one whose job passed without a new try of it has worked."""
    checks = apps.get_model("returns", "BenchCheck").objects.order_by("at", "pk")
    job_ids = {check.job_id for check in checks if not _passed(check)}
    for job in apps.get_model("returns", "RepairJob").objects.filter(pk__in=job_ids):
        steps = list(job.steps.exclude(done_at=None).order_by("pk"))
        own = list(checks.filter(job=job))
        if own and _passed(own[-1]):
            _hold_what_passed(steps)
        _share(steps, own)


def _passed(check):
    return check.closes_freely and check.screw_flush and check.lens_held and check.no_sharp_edge


def _hold_what_passed(steps):
    """The last try of each remedy on each piece stood when the job passed."""
    last = {(step.remedy_id, step.component): step for step in steps}
    for step in last.values():
        if step.worked is False:
            step.worked = True
            step.save(update_fields=["worked"])


def _share(steps, checks):
    """A step was judged at the first check after it was done."""
    failed = {}
    for step in steps:
        check = next((one for one in checks if one.at >= step.done_at), None)
        if step.worked is False and check is not None and not _passed(check):
            failed.setdefault(check.pk, []).append(step)
    for check_id, shared in failed.items():
        if len(shared) < 2:
            continue
        for step in shared:
            step.shared_check_id = check_id
            step.save(update_fields=["shared_check"])


def unlink(apps, schema_editor):
    """The verdicts of passed jobs stay as they were put right."""
    apps.get_model("returns", "JobStep").objects.update(shared_check=None)


class Migration(migrations.Migration):
    dependencies = [("returns", "0018_blame_and_withdrawals")]

    operations = [migrations.RunPython(link, unlink)]
