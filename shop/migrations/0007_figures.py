"""The trail says as a value what a job became, which so far stood in its words alone; what is a comeback is judged."""

import re

from django.db import migrations, models

STAGES = {
    "Booked": "booked", "Taken in": "here", "Tracing the fault": "tracing", "Mending": "mending", "Proving": "proving",
    "Done": "done", "Handed over": "gone",
}  # fmt: skip
HOLDS = {"the bench": "bench", "a part": "part", "the customer": "customer", "a bay": "bay", "nothing": "nothing"}
MOVED = re.compile(r": (?P<old>[^→]+) → (?P<new>[^.]+)\.")
HELD = re.compile(r" waits for (?P<hold>[^.]+)\.")
BATCH = 500


def fill(apps, schema_editor):
    """Rows from before: their words were written in English, the one language there was."""
    entries = apps.get_model("shop", "TrailEntry").objects
    told = entries.filter(kind__in=["job.opened", "job.moved", "job.overridden", "job.held"], job__isnull=False)
    opened, changed = {}, []
    for entry in told.order_by("job", "at", "pk").iterator(BATCH):
        if entry.kind == "job.opened":
            opened[entry.job_id] = entry
        elif entry.kind == "job.held":
            held = HELD.search(entry.words)
            entry.became = HOLDS.get(held["hold"], "") if held else ""
        else:
            moved = MOVED.search(entry.words)
            entry.became = STAGES.get(moved["new"], "") if moved else ""
            first = opened.pop(entry.job_id, None)
            if first is not None and moved:
                first.became = STAGES.get(moved["old"], "")
                changed.append(first)
        if entry.kind != "job.opened":
            changed.append(entry)
    # A job that never moved stands where it was opened.
    stages = dict(apps.get_model("shop", "Job").objects.filter(pk__in=list(opened)).values_list("pk", "stage"))
    for pk, entry in opened.items():
        entry.became = stages[pk]
        changed.append(entry)
    entries.bulk_update(changed, ["became"], batch_size=BATCH)


class Migration(migrations.Migration):
    dependencies = [
        ("shop", "0006_floor"),
    ]

    operations = [
        migrations.AddField(
            model_name="trailentry",
            name="became",
            field=models.CharField(blank=True, max_length=10),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop, elidable=True),
        migrations.AddField(
            model_name="job",
            name="comeback_judged_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.CheckConstraint(
                condition=models.Q(("comeback_of__isnull", True))
                | models.Q(("comeback_of", models.F("id")), _negated=True),
                name="job_comeback_not_of_itself",
            ),
        ),
    ]
