"""The shop says what an inspection costs that an outside buyer commissions, and on what terms."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shop", "0008_task_kind_of_work")]

    operations = [
        migrations.AddField(
            model_name="shopprofile",
            name="inspection_fee",
            field=models.DecimalField(blank=True, decimal_places=2, max_digits=8, null=True),
        ),
        migrations.AddField(model_name="shopprofile", name="inspection_terms", field=models.TextField(blank=True)),
        migrations.AddConstraint(
            model_name="shopprofile",
            constraint=models.CheckConstraint(
                condition=models.Q(inspection_fee__isnull=True)
                | (models.Q(inspection_fee__gte=0) & ~models.Q(inspection_terms="")),
                name="shopprofile_fee_with_terms",
            ),
        ),
    ]
