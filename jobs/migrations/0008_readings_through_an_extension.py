from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0007_signed_on_the_screen"),
    ]

    operations = [
        migrations.AddField(
            model_name="torquereading",
            name="extension_angle",
            field=models.DecimalField(
                blank=True,
                decimal_places=2,
                max_digits=5,
                null=True,
                verbose_name="angle between extension and wrench, degrees",
            ),
        ),
        migrations.AddField(
            model_name="torquereading",
            name="extension_length",
            field=models.DecimalField(
                blank=True,
                decimal_places=2,
                max_digits=7,
                null=True,
                verbose_name="from the square drive to the fastener, mm",
            ),
        ),
        migrations.AddField(
            model_name="torquereading",
            name="lever_length",
            field=models.DecimalField(
                blank=True,
                decimal_places=2,
                max_digits=7,
                null=True,
                verbose_name="from the grip to the square drive, mm",
            ),
        ),
        migrations.AddField(
            model_name="torquereading",
            name="setting",
            field=models.DecimalField(blank=True, decimal_places=6, max_digits=14, null=True),
        ),
        migrations.AddConstraint(
            model_name="torquereading",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("extension_angle", None),
                        ("extension_length", None),
                        ("lever_length", None),
                        ("setting", None),
                    ),
                    models.Q(
                        ("extension_angle__gte", 0),
                        ("extension_angle__isnull", False),
                        ("extension_angle__lte", 180),
                        ("extension_length__gt", 0),
                        ("extension_length__isnull", False),
                        ("kind__in", ["clicked", "read", "did_not_move"]),
                        ("lever_length__gt", 0),
                        ("lever_length__isnull", False),
                        ("setting__gt", 0),
                        ("setting__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="reading_through_an_extension_is_whole",
                violation_error_code="field:extension_length",
                violation_error_message="Through an extension: give the wrench, the extension and the angle between them, 0 to 180°, or none of the three.",
            ),
        ),
    ]
