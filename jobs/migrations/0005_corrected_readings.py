import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0004_labour_clock"),
        ("vehicles", "0002_what_jobs_did_to_parts_faults_and_items"),
        ("workshop", "0001_initial"),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name="torquereading",
            name="reading_kind_is_known",
        ),
        migrations.RemoveConstraint(
            model_name="torquereading",
            name="reading_has_value_and_unit",
        ),
        migrations.AddField(
            model_name="torquereading",
            name="corrects",
            field=models.OneToOneField(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="correction",
                to="jobs.torquereading",
            ),
        ),
        migrations.AlterField(
            model_name="torquereading",
            name="kind",
            field=models.CharField(
                choices=[
                    ("clicked", "Clicked at the set value"),
                    ("did_not_move", "Clicked at once, did not move"),
                    ("read", "Read on a dial or display"),
                    ("angle", "Turned through an angle"),
                    ("loosened", "Loosened"),
                    ("result", "Measured result"),
                    ("not_done", "Taken back: it was not done"),
                ],
                max_length=12,
            ),
        ),
        migrations.AlterField(
            model_name="torquereading",
            name="redo_reason",
            field=models.CharField(
                blank=True, max_length=200, verbose_name="why it was done again, or put right"
            ),
        ),
        migrations.AddConstraint(
            model_name="torquereading",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "kind__in",
                        ["clicked", "did_not_move", "read", "angle", "loosened", "result", "not_done"],
                    )
                ),
                name="reading_kind_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="torquereading",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("kind__in", ["loosened", "not_done"]), ("typed", None), ("unit", ""), ("value", None)
                    ),
                    models.Q(
                        models.Q(("kind__in", ["loosened", "not_done"]), _negated=True),
                        ("typed__gt", 0),
                        ("typed__isnull", False),
                        ("value__gt", 0),
                        ("value__isnull", False),
                        models.Q(("unit", ""), _negated=True),
                    ),
                    models.Q(
                        ("kind", "result"),
                        ("typed__gte", 0),
                        ("typed__isnull", False),
                        ("value__gte", 0),
                        ("value__isnull", False),
                        models.Q(("unit", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="reading_has_value_and_unit",
                violation_error_code="field:reading",
                violation_error_message="A reading is above 0 and has a unit.",
            ),
        ),
        migrations.AddConstraint(
            model_name="torquereading",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("corrects", None), models.Q(("redo_reason", ""), _negated=True), _connector="OR"
                ),
                name="correction_says_why",
                violation_error_code="field:redo_reason",
                violation_error_message="Say what was written down wrong.",
            ),
        ),
        migrations.AddConstraint(
            model_name="torquereading",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind", "not_done"), _negated=True),
                    ("corrects__isnull", False),
                    _connector="OR",
                ),
                name="only_a_correction_takes_back",
                violation_error_code="field:kind",
                violation_error_message="Only a reading that stands on record can be taken back.",
            ),
        ),
    ]
