"""A task remembers the template's task it was made from: times of the same work are compared whatever its title is."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shop", "0007_figures")]

    operations = [
        migrations.AddField(model_name="task", name="kind_of_work", field=models.CharField(blank=True, max_length=80)),
    ]
