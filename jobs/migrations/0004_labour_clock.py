import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0003_angles_that_could_not_be_taken"),
        ("vehicles", "0002_what_jobs_did_to_parts_faults_and_items"),
        ("workshop", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="LabourClock",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("stopped_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("minutes", models.PositiveIntegerField(blank=True, editable=False, null=True)),
                (
                    "not_counted_because",
                    models.CharField(
                        blank=True, editable=False, max_length=200, verbose_name="not counted, because"
                    ),
                ),
                (
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="clocks", to="jobs.workline"
                    ),
                ),
                (
                    "made_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="clocks",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_labourclock_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("stopped_at", None)),
                        fields=("person",),
                        name="one_clock_runs_per_person",
                        violation_error_message="A clock of this person is running already. Stop it first.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("stopped_at", None), ("stopped_at__gte", models.F("made_at")), _connector="OR"
                        ),
                        name="clock_stops_after_its_start",
                        violation_error_code="field:made_at",
                        violation_error_message="Work can't end before it began.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("minutes", None), ("not_counted_because", ""), ("stopped_at", None)),
                            models.Q(
                                ("minutes__isnull", False),
                                ("stopped_at__isnull", False),
                                models.Q(("not_counted_because", ""), ("minutes", 0), _connector="OR"),
                            ),
                            _connector="OR",
                        ),
                        name="stopped_clock_says_what_it_counted",
                    ),
                ],
            },
        ),
    ]
