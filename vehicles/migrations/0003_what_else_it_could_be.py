import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("vehicles", "0002_what_jobs_did_to_parts_faults_and_items"),
        ("workshop", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Possibility",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("what", models.CharField(max_length=200, verbose_name="what else it could be")),
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
                    "fault",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="possibilities",
                        to="vehicles.fault",
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
                "verbose_name_plural": "possibilities",
                "ordering": ["made_at", "received_at"],
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="PossibilityFinding",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("order", models.PositiveSmallIntegerField(editable=False)),
                (
                    "finding",
                    models.CharField(
                        choices=[
                            ("ruled_out", "Ruled out"),
                            ("confirmed", "Confirmed as the cause"),
                            ("open_again", "Possible again"),
                        ],
                        max_length=10,
                    ),
                ),
                ("because", models.CharField(max_length=300)),
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
                    "made_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "possibility",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="findings",
                        to="vehicles.possibility",
                    ),
                ),
                (
                    "root_cause",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.rootcause",
                    ),
                ),
            ],
            options={
                "ordering": ["possibility", "order"],
                "abstract": False,
            },
        ),
        migrations.AddConstraint(
            model_name="possibility",
            constraint=models.CheckConstraint(
                condition=models.Q(("made_at__lte", models.F("received_at"))),
                name="vehicles_possibility_made_before_arrival",
                violation_error_message="The time this was done lies in the future. Check the clock of this device.",
            ),
        ),
        migrations.AddConstraint(
            model_name="possibility",
            constraint=models.CheckConstraint(
                condition=models.Q(("what", ""), _negated=True),
                name="possibility_says_what",
                violation_error_code="field:what",
                violation_error_message="Say what it could be.",
            ),
        ),
        migrations.AddConstraint(
            model_name="possibilityfinding",
            constraint=models.CheckConstraint(
                condition=models.Q(("made_at__lte", models.F("received_at"))),
                name="vehicles_possibilityfinding_made_before_arrival",
                violation_error_message="The time this was done lies in the future. Check the clock of this device.",
            ),
        ),
        migrations.AddConstraint(
            model_name="possibilityfinding",
            constraint=models.UniqueConstraint(
                fields=("possibility", "order"), name="findings_of_a_possibility_are_in_order"
            ),
        ),
        migrations.AddConstraint(
            model_name="possibilityfinding",
            constraint=models.CheckConstraint(
                condition=models.Q(("finding__in", ["ruled_out", "confirmed", "open_again"])),
                name="possibility_finding_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="possibilityfinding",
            constraint=models.CheckConstraint(
                condition=models.Q(("because", ""), _negated=True),
                name="possibility_finding_says_why",
                violation_error_code="field:because",
                violation_error_message="Say on what grounds.",
            ),
        ),
        migrations.AddConstraint(
            model_name="possibilityfinding",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("finding", "confirmed"), ("root_cause__isnull", False)),
                    models.Q(models.Q(("finding", "confirmed"), _negated=True), ("root_cause", None)),
                    _connector="OR",
                ),
                name="confirmed_possibility_is_a_cause",
            ),
        ),
    ]
