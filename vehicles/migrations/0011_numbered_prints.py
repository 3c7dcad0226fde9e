import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0010_jobs_of_another_workshop"),
        ("vehicles", "0010_what_comes_due"),
        ("workshop", "__first__"),
    ]

    operations = [
        migrations.CreateModel(
            name="IssuedPrint",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("build", "Build sheet"),
                            ("survey", "Survey report"),
                            ("torque", "Torque record"),
                            ("history", "History report"),
                        ],
                        max_length=7,
                    ),
                ),
                ("subject", models.UUIDField(editable=False)),
                ("costs_from", models.DateField(blank=True, null=True, verbose_name="costs from")),
                (
                    "origin",
                    models.CharField(blank=True, editable=False, max_length=60, verbose_name="issued by"),
                ),
                ("year", models.PositiveSmallIntegerField(editable=False)),
                ("serial", models.PositiveIntegerField(editable=False)),
                ("revision", models.PositiveSmallIntegerField(editable=False)),
                ("token", models.CharField(editable=False, max_length=32, unique=True)),
                ("paper", models.CharField(choices=[("A4", "A4"), ("Letter", "Letter")], max_length=6)),
                ("content_hash", models.CharField(max_length=64)),
                ("data_hash", models.CharField(max_length=64)),
                ("pdf_hash", models.CharField(max_length=64)),
                ("pages", models.PositiveSmallIntegerField()),
                (
                    "changes",
                    models.CharField(blank=True, max_length=300, verbose_name="what this revision changes"),
                ),
                ("log_seq", models.BigIntegerField()),
                ("log_hash", models.CharField(max_length=64)),
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
                    "made_for",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="prints_with_costs",
                        to="vehicles.keeper",
                        verbose_name="with costs, for",
                    ),
                ),
                (
                    "run",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="issued_prints",
                        to="jobs.run",
                    ),
                ),
                (
                    "survey",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="issued_prints",
                        to="vehicles.survey",
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="issued_prints",
                        to="vehicles.vehicle",
                    ),
                ),
            ],
            options={
                "ordering": ["-made_at", "-revision"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_issuedprint_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(
                        fields=("origin", "kind", "year", "serial", "revision"),
                        name="issued_print_number_is_unique",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("made_for__isnull", False)),
                        fields=("origin", "kind", "subject", "made_for", "revision"),
                        name="issued_print_with_costs_counts_revisions",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("made_for", None)),
                        fields=("origin", "kind", "subject", "revision"),
                        name="issued_print_counts_revisions",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["build", "survey", "torque", "history"])),
                        name="issued_print_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("paper__in", ["A4", "Letter"])),
                        name="issued_print_paper_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("pages__gte", 1), ("revision__gte", 1), ("serial__gte", 1)),
                        name="issued_print_has_a_number",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("kind", "survey"),
                                ("run", None),
                                ("subject", models.F("survey")),
                                ("survey__isnull", False),
                            ),
                            models.Q(
                                ("kind", "torque"),
                                ("run__isnull", False),
                                ("subject", models.F("run")),
                                ("survey", None),
                            ),
                            models.Q(
                                ("kind__in", ["build", "history"]),
                                ("run", None),
                                ("subject", models.F("vehicle")),
                                ("survey", None),
                            ),
                            _connector="OR",
                        ),
                        name="issued_print_has_its_subject",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("costs_from", None), ("made_for", None)),
                            models.Q(
                                ("costs_from__isnull", False),
                                ("kind", "history"),
                                ("made_for__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="only_a_history_report_has_costs",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("revision", 1), models.Q(("changes", ""), _negated=True), _connector="OR"
                        ),
                        name="later_issued_revision_says_what_changed",
                        violation_error_message="Say what this revision changes.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="IssuedText",
            fields=[
                (
                    "print",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="text",
                        serialize=False,
                        to="vehicles.issuedprint",
                    ),
                ),
                ("pdf", models.BinaryField(null=True)),
                ("data", models.TextField(blank=True)),
                ("erased_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("erased_at", None),
                                ("pdf__isnull", False),
                                models.Q(("data", ""), _negated=True),
                            ),
                            models.Q(("data", ""), ("erased_at__isnull", False), ("pdf", None)),
                            _connector="OR",
                        ),
                        name="erased_print_holds_nothing",
                    )
                ],
            },
        ),
    ]
