import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0001_initial"),
        ("vehicles", "0008_parasitic_drain_tests"),
        ("workshop", "__first__"),
    ]

    operations = [
        migrations.CreateModel(
            name="PastWork",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("done_on", models.DateField(verbose_name="when it was done")),
                (
                    "day_known",
                    models.CharField(
                        choices=[("day", "The day"), ("month", "The month only"), ("year", "The year only")],
                        default="day",
                        max_length=5,
                        verbose_name="what is known of the day",
                    ),
                ),
                (
                    "who_did",
                    models.CharField(blank=True, max_length=120, verbose_name="which workshop did it"),
                ),
                ("title", models.CharField(max_length=200, verbose_name="what was done")),
                ("text", models.TextField(blank=True, verbose_name="more about it")),
                (
                    "amount",
                    models.DecimalField(
                        blank=True, decimal_places=2, max_digits=10, null=True, verbose_name="what it cost"
                    ),
                ),
                ("source", models.CharField(max_length=200, verbose_name="where this is written")),
                (
                    "entered_in_error",
                    models.CharField(blank=True, max_length=200, verbose_name="entered in error, because"),
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
                    "odometer",
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
                        related_name="past_work",
                        to="vehicles.vehicle",
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "past work",
                "ordering": ["-done_on", "-made_at"],
                "abstract": False,
                "indexes": [models.Index(fields=["vehicle", "done_on"], name="past_work_of_vehicle")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_pastwork_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("title", ""), _negated=True),
                        name="past_work_says_what",
                        violation_error_code="field:title",
                        violation_error_message="Say what was done.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("source", ""), _negated=True),
                        name="past_work_has_a_source",
                        violation_error_code="field:source",
                        violation_error_message="Say where this is written, for instance “service book”.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("day_known__in", ["day", "month", "year"])),
                        name="past_work_day_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("amount", None), ("amount__gte", 0), _connector="OR"),
                        name="past_work_cost_is_not_negative",
                        violation_error_code="field:amount",
                        violation_error_message="Give 0 or more.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SpreadsheetList",
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
                    "kind",
                    models.CharField(
                        choices=[
                            ("cars", "Cars, with their owners"),
                            ("keepers", "Keepers"),
                            ("past", "Past work"),
                        ],
                        max_length=7,
                        verbose_name="what it holds",
                    ),
                ),
                ("file_name", models.CharField(max_length=200)),
                ("file_hash", models.CharField(max_length=64)),
                ("content", models.TextField(blank=True)),
                ("choices", models.JSONField(blank=True, default=dict)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("draft", "Not taken in yet"),
                            ("taken", "Taken in"),
                            ("undone", "Undone"),
                            ("dropped", "Thrown away"),
                        ],
                        default="draft",
                        max_length=7,
                    ),
                ),
                ("rows", models.PositiveIntegerField()),
                ("made", models.JSONField(blank=True, default=dict, verbose_name="records made, by kind")),
                ("left_out", models.PositiveIntegerField(default=0, verbose_name="rows left out")),
                ("taken_key", models.UUIDField(blank=True, null=True, unique=True)),
                ("taken_at", models.DateTimeField(blank=True, null=True)),
                ("undone_at", models.DateTimeField(blank=True, null=True)),
                (
                    "undone_because",
                    models.CharField(blank=True, max_length=200, verbose_name="undone, because"),
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
                    "taken_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "undone_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "verbose_name": "list from a spreadsheet",
                "verbose_name_plural": "lists from spreadsheets",
                "ordering": ["-made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_spreadsheetlist_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["cars", "keepers", "past"])),
                        name="list_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ["draft", "taken", "undone", "dropped"])),
                        name="list_state_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("state__in", ["draft", "dropped"]), ("taken_at", None), ("taken_key", None)
                            ),
                            models.Q(
                                ("state__in", ["taken", "undone"]),
                                ("taken_at__isnull", False),
                                ("taken_key__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="taken_list_has_its_key",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("state", "undone"),
                                ("undone_at__isnull", False),
                                models.Q(("undone_because", ""), _negated=True),
                            ),
                            models.Q(
                                models.Q(("state", "undone"), _negated=True),
                                ("undone_at", None),
                                ("undone_because", ""),
                            ),
                            _connector="OR",
                        ),
                        name="undone_list_says_why",
                        violation_error_code="field:reason",
                        violation_error_message="Say why it is undone.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("state__in", ["draft", "taken"]), ("content", ""), _connector="OR"
                        ),
                        name="ended_list_holds_nothing",
                    ),
                ],
            },
        ),
    ]
