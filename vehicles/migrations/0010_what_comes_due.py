import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0010_jobs_of_another_workshop"),
        ("vehicles", "0009_past_work_and_lists"),
        ("workshop", "__first__"),
    ]

    operations = [
        migrations.CreateModel(
            name="DueReader",
            fields=[
                (
                    "person",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="due_reader",
                        serialize=False,
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("wants_mail", models.BooleanField(default=False)),
                (
                    "also_when_nothing",
                    models.BooleanField(default=False, verbose_name="also when nothing is due"),
                ),
            ],
        ),
        migrations.CreateModel(
            name="DueMail",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("day", models.DateField()),
                (
                    "state",
                    models.CharField(
                        choices=[("sending", "Being sent"), ("sent", "Sent"), ("failed", "Not sent")],
                        max_length=8,
                    ),
                ),
                ("tries", models.PositiveSmallIntegerField(default=1)),
                ("changed_at", models.DateTimeField()),
                ("trouble", models.CharField(blank=True, max_length=300)),
                ("said", models.JSONField(default=list)),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="due_mails",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-day"],
                "constraints": [
                    models.UniqueConstraint(fields=("person", "day"), name="one_due_mail_per_person_and_day"),
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ["sending", "sent", "failed"])),
                        name="due_mail_state_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("tries__gte", 1)), name="due_mail_counts_its_tries"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="FeedAddress",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("token_hash", models.CharField(editable=False, max_length=64, unique=True)),
                ("revoked_at", models.DateTimeField(blank=True, editable=False, null=True)),
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
                    "person",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="feed_addresses",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_feedaddress_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("revoked_at", None)),
                        fields=("person",),
                        name="one_calendar_address_per_person",
                        violation_error_message="There is a calendar address already: replace it, or take it back.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("token_hash", ""), _negated=True),
                        name="calendar_address_has_a_token",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="MaintenanceInterval",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("line", models.CharField(editable=False, max_length=120)),
                ("title", models.CharField(max_length=120, verbose_name="what is to be done")),
                (
                    "every_km",
                    models.DecimalField(
                        blank=True, decimal_places=6, max_digits=13, null=True, verbose_name="every"
                    ),
                ),
                ("every_unit", models.CharField(blank=True, max_length=2)),
                (
                    "every_months",
                    models.PositiveSmallIntegerField(
                        blank=True, null=True, verbose_name="every so many months"
                    ),
                ),
                (
                    "source",
                    models.CharField(
                        choices=[
                            ("maker", "Maker's data or handbook"),
                            ("part_maker", "Part maker's data"),
                            ("marked", "Read off the part or its plate"),
                            ("measured", "Measured here"),
                            ("papers", "Registration papers or weighbridge ticket"),
                            ("owner", "Owner's statement"),
                            ("estimate", "Estimate"),
                        ],
                        max_length=10,
                        verbose_name="where it comes from",
                    ),
                ),
                ("source_words", models.CharField(max_length=160, verbose_name="document and place in it")),
                ("because", models.CharField(blank=True, max_length=200, verbose_name="why it is changed")),
                (
                    "withdrawn_because",
                    models.CharField(blank=True, max_length=200, verbose_name="does not apply, because"),
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
                    "made_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "replaces",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="replaced_by",
                        to="vehicles.maintenanceinterval",
                    ),
                ),
                (
                    "sheet",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="intervals",
                        to="vehicles.datasheet",
                    ),
                ),
            ],
            options={
                "ordering": ["title", "made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_maintenanceinterval_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("replaces", None)),
                        fields=("sheet", "line"),
                        name="interval_begins_once_of_a_sheet",
                        violation_error_code="field:title",
                        violation_error_message="The plan has an interval of this name: change that one, and say why.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("title", ""), _negated=True), models.Q(("line", ""), _negated=True)
                        ),
                        name="interval_says_what",
                        violation_error_code="field:title",
                        violation_error_message="Say what is to be done, such as “engine oil and filter”.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                models.Q(("withdrawn_because", ""), _negated=True),
                                ("every_km", None),
                                ("every_months", None),
                            ),
                            models.Q(
                                ("withdrawn_because", ""),
                                models.Q(
                                    ("every_km__isnull", False),
                                    ("every_months__isnull", False),
                                    _connector="OR",
                                ),
                            ),
                            _connector="OR",
                        ),
                        name="interval_is_by_distance_or_time",
                        violation_error_code="field:every_distance",
                        violation_error_message="Give a distance, a number of months, or both.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("every_km", None), ("every_unit", "")),
                            models.Q(
                                ("every_km__gt", 0),
                                ("every_km__isnull", False),
                                models.Q(("every_unit", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="interval_distance_has_a_unit",
                        violation_error_code="field:every_distance",
                        violation_error_message="An interval's distance needs a figure above 0 and its unit.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("every_months", None),
                            models.Q(("every_months__gte", 1), ("every_months__lte", 240)),
                            _connector="OR",
                        ),
                        name="interval_months_are_sane",
                        violation_error_code="field:every_months",
                        violation_error_message="Give 1 to 240 months.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("source_words", ""), _negated=True),
                        name="interval_names_its_document",
                        violation_error_code="field:source_words",
                        violation_error_message="Name the document and the place in it.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "source__in",
                                ["maker", "part_maker", "marked", "measured", "papers", "owner", "estimate"],
                            )
                        ),
                        name="interval_source_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("replaces", None),
                            models.Q(("because", ""), _negated=True),
                            models.Q(("withdrawn_because", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="a_changed_interval_says_why",
                        violation_error_code="field:because",
                        violation_error_message="Say why this interval is changed.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="MaintenanceDone",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "entered_in_error",
                    models.CharField(blank=True, max_length=200, verbose_name="entered in error, because"),
                ),
                ("line", models.CharField(editable=False, max_length=120)),
                ("done_on", models.DateField(verbose_name="done on")),
                (
                    "elsewhere",
                    models.CharField(blank=True, max_length=120, verbose_name="done elsewhere, by whom"),
                ),
                (
                    "source_words",
                    models.CharField(blank=True, max_length=160, verbose_name="how it is known"),
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
                    "made_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "reading",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.odometerreading",
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="maintenance_done",
                        to="vehicles.vehicle",
                    ),
                ),
                (
                    "work_line",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="maintenance_done",
                        to="jobs.workline",
                    ),
                ),
                (
                    "interval",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="done",
                        to="vehicles.maintenanceinterval",
                    ),
                ),
            ],
            options={
                "ordering": ["-done_on", "-made_at"],
                "abstract": False,
                "indexes": [
                    models.Index(fields=["vehicle", "line", "done_on"], name="maintenance_done_of_car")
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_maintenancedone_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("elsewhere", ""), ("work_line__isnull", False)),
                            models.Q(
                                ("work_line", None),
                                models.Q(("elsewhere", ""), _negated=True),
                                models.Q(("source_words", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="maintenance_done_by_a_line_or_elsewhere",
                        violation_error_code="field:elsewhere",
                        violation_error_message="Choose the work line, or say who did it elsewhere and how that is known: one of the two.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="RoadworthinessTest",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "entered_in_error",
                    models.CharField(blank=True, max_length=200, verbose_name="entered in error, because"),
                ),
                ("done_on", models.DateField(verbose_name="tested on")),
                (
                    "valid_until",
                    models.DateField(
                        blank=True,
                        help_text="The day on the certificate. After a test that was not passed: by when it is to be tested again, where that was said.",
                        null=True,
                        verbose_name="valid until, or to be tested again by",
                    ),
                ),
                (
                    "result",
                    models.CharField(
                        choices=[
                            ("passed", "Passed, no deficiencies"),
                            ("minor", "Passed, with minor deficiencies"),
                            ("major", "Failed, with major deficiencies"),
                            ("dangerous", "Failed, with dangerous deficiencies"),
                        ],
                        max_length=10,
                    ),
                ),
                ("by_whom", models.CharField(max_length=120, verbose_name="tested by")),
                (
                    "certificate",
                    models.CharField(blank=True, max_length=60, verbose_name="certificate number"),
                ),
                (
                    "deficiencies",
                    models.TextField(blank=True, verbose_name="deficiencies, as the certificate says them"),
                ),
                (
                    "source_words",
                    models.CharField(
                        help_text="Such as “certificate seen” or “the owner's word”.",
                        max_length=160,
                        verbose_name="how it is known",
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
                    "made_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "reading",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.odometerreading",
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="roadworthiness_tests",
                        to="vehicles.vehicle",
                    ),
                ),
            ],
            options={
                "ordering": ["-done_on", "-made_at"],
                "abstract": False,
                "indexes": [models.Index(fields=["vehicle", "done_on"], name="roadworthiness_of_car")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_roadworthinesstest_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("result__in", ["passed", "minor", "major", "dangerous"])),
                        name="roadworthiness_result_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("valid_until", None), ("valid_until__gt", models.F("done_on")), _connector="OR"
                        ),
                        name="roadworthiness_ends_after_the_test",
                        violation_error_code="field:valid_until",
                        violation_error_message="This day must lie after the day of the test.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("result__in", ["passed", "minor"]), _negated=True),
                            ("valid_until__isnull", False),
                            _connector="OR",
                        ),
                        name="passed_test_says_until_when",
                        violation_error_code="field:valid_until",
                        violation_error_message="A test that was passed says until when: give the day on the certificate.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("by_whom", ""), _negated=True),
                            models.Q(("source_words", ""), _negated=True),
                        ),
                        name="roadworthiness_says_by_whom_and_how_known",
                        violation_error_code="field:by_whom",
                        violation_error_message="Say who tested it, and how that is known.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("deficiencies", ""), ("result", "passed")),
                            models.Q(("result", "passed"), _negated=True),
                            _connector="OR",
                        ),
                        name="passed_without_deficiencies_names_none",
                        violation_error_code="field:deficiencies",
                        violation_error_message="It was passed without deficiencies: choose another result, or empty this.",
                    ),
                ],
            },
        ),
    ]
