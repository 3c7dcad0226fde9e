import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0002_damage_done_in_the_shop"),
        ("vehicles", "0002_what_jobs_did_to_parts_faults_and_items"),
        ("workshop", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="AngleNotPossible",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "occasion",
                    models.CharField(
                        choices=[("check_in", "At check-in"), ("before_handover", "Before handover")],
                        max_length=15,
                    ),
                ),
                (
                    "angle",
                    models.CharField(
                        choices=[
                            ("front", "Front"),
                            ("front_left", "Front left corner"),
                            ("left", "Left side"),
                            ("rear_left", "Rear left corner"),
                            ("rear", "Rear"),
                            ("rear_right", "Rear right corner"),
                            ("right", "Right side"),
                            ("front_right", "Front right corner"),
                            ("roof", "Roof, as far as it can be seen"),
                            ("wheels", "Wheels, one by one"),
                            ("dashboard", "Dashboard, with the odometer lit"),
                            ("cabin", "Seats and trim"),
                            ("load_space", "Boot or load space"),
                            ("engine_bay", "Engine bay"),
                        ],
                        max_length=11,
                    ),
                ),
                ("because", models.CharField(max_length=200, verbose_name="not possible, because")),
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
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="angles_not_possible",
                        to="jobs.job",
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
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_anglenotpossible_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("occasion__in", ["check_in", "before_handover"]),
                            (
                                "angle__in",
                                [
                                    "front",
                                    "front_left",
                                    "left",
                                    "rear_left",
                                    "rear",
                                    "rear_right",
                                    "right",
                                    "front_right",
                                    "roof",
                                    "wheels",
                                    "dashboard",
                                    "cabin",
                                    "load_space",
                                    "engine_bay",
                                ],
                            ),
                            models.Q(("because", ""), _negated=True),
                        ),
                        name="angle_not_possible_says_why",
                    ),
                ],
            },
        ),
    ]
