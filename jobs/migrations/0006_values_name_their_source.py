from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0005_corrected_readings"),
        ("vehicles", "0002_what_jobs_did_to_parts_faults_and_items"),
        ("workshop", "0001_initial"),
    ]

    operations = [
        migrations.AddField(
            model_name="stagetarget",
            name="shops_own",
            field=models.BooleanField(default=False, verbose_name="the shop's own value"),
        ),
        migrations.AddField(
            model_name="stagetarget",
            name="source",
            field=models.CharField(blank=True, max_length=120, verbose_name="where this value stands"),
        ),
        migrations.AddConstraint(
            model_name="procedureversion",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("released_at", None),
                    ("number", 1),
                    models.Q(("change_note", ""), _negated=True),
                    _connector="OR",
                ),
                name="released_version_says_what_changed",
                violation_error_code="field:change_note",
                violation_error_message="Say what changed against the version before.",
            ),
        ),
    ]
