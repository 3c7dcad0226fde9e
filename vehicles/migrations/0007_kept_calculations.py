import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("vehicles", "0006_figures_of_types_cars_and_parts"),
    ]

    operations = [
        migrations.CreateModel(
            name="Calculation",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("calculator", models.CharField(max_length=60)),
                ("formula_version", models.PositiveSmallIntegerField()),
                ("record", models.TextField(editable=False)),
                ("digest", models.CharField(editable=False, max_length=64)),
                (
                    "said",
                    models.CharField(
                        blank=True, max_length=300, verbose_name="what it was asked for, or what follows"
                    ),
                ),
                (
                    "entered_in_error",
                    models.CharField(blank=True, max_length=200, verbose_name="kept in error, because"),
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
                    "fault",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="calculations",
                        to="vehicles.fault",
                    ),
                ),
                (
                    "line",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="calculations",
                        to="jobs.workline",
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
                    "part",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="calculations",
                        to="vehicles.fittedpart",
                    ),
                ),
                (
                    "survey",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="calculations",
                        to="vehicles.survey",
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="calculations",
                        to="vehicles.vehicle",
                    ),
                ),
            ],
            options={
                "ordering": ["-made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_calculation_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("fault", None), ("line__isnull", False), ("part", None), ("survey", None)
                            ),
                            models.Q(
                                ("fault__isnull", False), ("line", None), ("part", None), ("survey", None)
                            ),
                            models.Q(
                                ("fault", None), ("line", None), ("part__isnull", False), ("survey", None)
                            ),
                            models.Q(
                                ("fault", None), ("line", None), ("part", None), ("survey__isnull", False)
                            ),
                            models.Q(("fault", None), ("line", None), ("part", None), ("survey", None)),
                            _connector="OR",
                        ),
                        name="calculation_is_kept_with_one_thing",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("record", ""), _negated=True),
                            models.Q(("calculator", ""), _negated=True),
                            ("formula_version__gte", 1),
                        ),
                        name="calculation_has_its_record",
                    ),
                ],
            },
        ),
    ]
