from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0008_readings_through_an_extension"),
    ]

    operations = [
        migrations.AddField(
            model_name="procedurestep",
            name="clamped_length",
            field=models.DecimalField(
                blank=True,
                decimal_places=2,
                help_text="From under the head to the nut, or to the first thread that holds. For an angle stage: the preload that it adds is estimated.",
                max_digits=6,
                null=True,
                verbose_name="clamped length (mm)",
            ),
        ),
        migrations.AddConstraint(
            model_name="procedurestep",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("clamped_length", None),
                    models.Q(("clamped_length__gte", 3), ("clamped_length__lte", 500)),
                    _connector="OR",
                ),
                name="clamped_length_is_sane",
                violation_error_code="field:clamped_length",
                violation_error_message="A clamped length lies between 3 and 500 mm.",
            ),
        ),
    ]
