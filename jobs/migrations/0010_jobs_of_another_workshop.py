from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0009_steps_say_what_they_clamp"),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name="job",
            name="job_number_is_unique",
        ),
        migrations.AddField(
            model_name="job",
            name="origin",
            field=models.CharField(blank=True, editable=False, max_length=60, verbose_name="job of"),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.UniqueConstraint(
                fields=("origin", "year", "serial"), name="job_number_is_unique"
            ),
        ),
    ]
