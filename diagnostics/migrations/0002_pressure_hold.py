from django.db import migrations, models

KINDS = [
    ("pin", "Pin reading"),
    ("pin-by-hand", "Pin reading, by hand"),
    ("click", "Click"),
    ("wiggle", "Wiggle"),
    ("continuity", "Continuity"),
    ("motion", "Motion trial"),
    ("look", "Look"),
    ("pressure-hold", "Pressure hold"),
    ("battery", "Battery"),
]


class Migration(migrations.Migration):
    dependencies = [("diagnostics", "0001_initial")]

    operations = [
        migrations.RemoveConstraint(model_name="check", name="check_kind_known"),
        migrations.AlterField(model_name="check", name="kind", field=models.CharField(choices=KINDS, max_length=16)),
        migrations.AddConstraint(
            model_name="check",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", [kind for kind, _label in KINDS])), name="check_kind_known"
            ),
        ),
        migrations.AddIndex(
            model_name="check",
            index=models.Index(condition=models.Q(("kind", "motion")), fields=["-at"], name="check_motions_newest"),
        ),
    ]
