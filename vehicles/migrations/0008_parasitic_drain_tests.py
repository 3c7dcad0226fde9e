import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("vehicles", "0007_kept_calculations"),
    ]

    operations = [
        migrations.CreateModel(
            name="DrainTest",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                (
                    "capacity_ah",
                    models.DecimalField(
                        blank=True,
                        decimal_places=1,
                        max_digits=6,
                        null=True,
                        verbose_name="battery capacity in Ah",
                    ),
                ),
                (
                    "limit",
                    models.DecimalField(
                        decimal_places=4, max_digits=14, verbose_name="greatest quiescent current"
                    ),
                ),
                ("limit_unit", models.CharField(max_length=8)),
                (
                    "limit_base",
                    models.DecimalField(
                        decimal_places=6, editable=False, max_digits=18, verbose_name="the same in A"
                    ),
                ),
                (
                    "limit_source",
                    models.CharField(
                        choices=[
                            ("sheet", "the car's data sheet"),
                            ("maker", "maker's data, looked up now"),
                            ("practice", "common practice, no data at hand"),
                        ],
                        max_length=10,
                        verbose_name="where it comes from",
                    ),
                ),
                (
                    "limit_words",
                    models.CharField(blank=True, max_length=160, verbose_name="document and place in it"),
                ),
                (
                    "baseline",
                    models.DecimalField(
                        blank=True, decimal_places=4, max_digits=14, null=True, verbose_name="current asleep"
                    ),
                ),
                ("baseline_unit", models.CharField(blank=True, max_length=8)),
                (
                    "baseline_base",
                    models.DecimalField(
                        blank=True,
                        decimal_places=6,
                        editable=False,
                        max_digits=18,
                        null=True,
                        verbose_name="the same in A",
                    ),
                ),
                (
                    "asleep_after",
                    models.PositiveSmallIntegerField(
                        blank=True, null=True, verbose_name="minutes after it was locked"
                    ),
                ),
                ("read_at", models.DateTimeField(blank=True, editable=False, null=True)),
                (
                    "all_tried",
                    models.BooleanField(default=False, verbose_name="no further fuse was left to pull"),
                ),
                ("conclusion", models.CharField(blank=True, max_length=400, verbose_name="what it is")),
                ("ended_at", models.DateTimeField(blank=True, editable=False, null=True)),
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
                    "ended_by",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "fault",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="drain_tests",
                        to="vehicles.fault",
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="drain_tests",
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
                (
                    "step",
                    models.OneToOneField(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="drain_test",
                        to="vehicles.diagnosisstep",
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="drain_tests",
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
                        name="vehicles_draintest_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("ended_at", None)),
                        fields=("vehicle",),
                        name="one_drain_test_at_a_time",
                        violation_error_message="A drain test of this car is open: go on with that one, or end it first.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("capacity_ah", None), ("capacity_ah__gt", 0), _connector="OR"),
                        name="drain_test_battery_holds_something",
                        violation_error_code="field:capacity",
                        violation_error_message="Give the capacity that is printed on the battery, 1 to 400 Ah.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("limit__gt", 0),
                            ("limit_base__gt", 0),
                            models.Q(("limit_unit", ""), _negated=True),
                            ("limit_source__in", ["sheet", "maker", "practice"]),
                        ),
                        name="drain_test_limit_has_unit_and_source",
                        violation_error_code="field:limit",
                        violation_error_message="Give the greatest quiescent current, with its unit and where it comes from.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("asleep_after", None),
                                ("baseline", None),
                                ("baseline_base", None),
                                ("baseline_unit", ""),
                                ("read_at", None),
                            ),
                            models.Q(
                                ("asleep_after__isnull", False),
                                ("baseline__gt", 0),
                                ("baseline__isnull", False),
                                ("baseline_base__gt", 0),
                                ("baseline_base__isnull", False),
                                ("read_at__isnull", False),
                                models.Q(("baseline_unit", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="drain_test_baseline_is_whole",
                        violation_error_code="field:reading",
                        violation_error_message="Give the current with its unit, and how long the car had slept.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("all_tried", False),
                                ("conclusion", ""),
                                ("ended_at", None),
                                ("ended_by", None),
                                ("step", None),
                            ),
                            models.Q(
                                ("ended_at__isnull", False),
                                ("ended_by__isnull", False),
                                models.Q(("conclusion", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="drain_test_ends_with_a_conclusion",
                        violation_error_code="field:conclusion",
                        violation_error_message="Say what it is, or why the test was broken off.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("step", None), ("fault__isnull", False), _connector="OR"),
                        name="drain_test_step_is_of_its_fault",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="DrainStep",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("order", models.PositiveSmallIntegerField(editable=False)),
                ("circuit", models.CharField(max_length=80, verbose_name="fuse or circuit")),
                (
                    "reading",
                    models.DecimalField(decimal_places=4, max_digits=14, verbose_name="current without it"),
                ),
                ("unit", models.CharField(max_length=8)),
                (
                    "base_value",
                    models.DecimalField(
                        decimal_places=6, editable=False, max_digits=18, verbose_name="the same in A"
                    ),
                ),
                (
                    "came",
                    models.CharField(
                        choices=[
                            ("back", "Back in, and the reading came back"),
                            ("stayed_low", "Back in, but the reading stays low"),
                            ("left_out", "It stays out for now"),
                        ],
                        max_length=12,
                        verbose_name="then",
                    ),
                ),
                (
                    "after",
                    models.DecimalField(
                        blank=True,
                        decimal_places=4,
                        max_digits=14,
                        null=True,
                        verbose_name="new reading with the fuse back",
                    ),
                ),
                ("after_unit", models.CharField(blank=True, max_length=8)),
                (
                    "after_base",
                    models.DecimalField(
                        blank=True,
                        decimal_places=6,
                        editable=False,
                        max_digits=18,
                        null=True,
                        verbose_name="the same in A",
                    ),
                ),
                ("remark", models.CharField(blank=True, max_length=200, verbose_name="remark")),
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
                    "instead_of",
                    models.OneToOneField(
                        blank=True,
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="put_right_by",
                        to="vehicles.drainstep",
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
                    "test",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="steps",
                        to="vehicles.draintest",
                    ),
                ),
            ],
            options={
                "ordering": ["order"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_drainstep_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(fields=("test", "order"), name="drain_steps_are_numbered"),
                    models.CheckConstraint(
                        condition=models.Q(("circuit", ""), _negated=True),
                        name="drain_step_names_its_fuse",
                        violation_error_code="field:circuit",
                        violation_error_message="Say which fuse: its number in the box, or what it feeds.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("base_value__gte", 0), ("reading__gte", 0), models.Q(("unit", ""), _negated=True)
                        ),
                        name="drain_step_reading_has_a_unit",
                        violation_error_code="field:reading",
                        violation_error_message="Give the current with its unit, 0 or more. Minus: swap the meter's leads.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("came__in", ["back", "stayed_low", "left_out"])),
                        name="drain_step_then_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("after", None), ("after_base", None), ("after_unit", "")),
                            models.Q(
                                ("after__gte", 0),
                                ("after__isnull", False),
                                ("after_base__isnull", False),
                                ("came", "stayed_low"),
                                models.Q(("after_unit", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="drain_step_after_is_of_one_that_stayed_low",
                        violation_error_code="field:after",
                        violation_error_message="A new reading belongs to “stays low”: choose that, or leave this empty.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("instead_of", None),
                            models.Q(("instead_of", models.F("id")), _negated=True),
                            _connector="OR",
                        ),
                        name="drain_step_is_not_instead_of_itself",
                    ),
                ],
            },
        ),
    ]
