import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("vehicles", "0001_initial"),
        ("workshop", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Job",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("year", models.PositiveSmallIntegerField(editable=False)),
                ("serial", models.PositiveIntegerField(editable=False)),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs",
                        to="vehicles.vehicle",
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("booked", "Booked"),
                            ("checked_in", "Checked in"),
                            ("in_work", "In work"),
                            ("final_checks", "Final checks"),
                            ("ready", "Ready for collection"),
                            ("handed_over", "Handed over"),
                            ("collected_unfinished", "Collected unfinished"),
                            ("cancelled", "Cancelled"),
                        ],
                        default="booked",
                        editable=False,
                        max_length=22,
                    ),
                ),
                ("title", models.CharField(max_length=120, verbose_name="in short")),
                (
                    "complaint",
                    models.TextField(blank=True, verbose_name="what the owner asks for, in their own words"),
                ),
                ("booked_for", models.DateTimeField(blank=True, null=True, verbose_name="booked for")),
                ("promised_at", models.DateTimeField(blank=True, null=True, verbose_name="promised for")),
                (
                    "payer",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs_paid",
                        to="vehicles.keeper",
                    ),
                ),
                (
                    "authoriser",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs_authorised",
                        to="vehicles.keeper",
                        verbose_name="who may authorise",
                    ),
                ),
                (
                    "limit",
                    models.DecimalField(
                        decimal_places=2,
                        default=0,
                        help_text="Covers diagnosis and strip-down.",
                        max_digits=10,
                        verbose_name="up to this much without asking",
                    ),
                ),
                (
                    "limit_given_by",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.keeper",
                    ),
                ),
                (
                    "limit_channel",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("in_person", "In person"),
                            ("phone", "By telephone"),
                            ("message", "By written message"),
                            ("letter", "By letter"),
                            ("account", "In their own account here"),
                        ],
                        editable=False,
                        max_length=10,
                    ),
                ),
                ("limit_answered_at", models.DateTimeField(blank=True, editable=False, null=True)),
                (
                    "lead",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs_led",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "technician",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs_in_hand",
                        to=settings.AUTH_USER_MODEL,
                        verbose_name="who has it",
                    ),
                ),
                (
                    "waiting_for",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("parts", "Parts"),
                            ("owner", "The owner's answer"),
                            ("payer", "The payer"),
                            ("elsewhere", "Work elsewhere"),
                            ("lift", "A free lift"),
                        ],
                        max_length=10,
                    ),
                ),
                ("waiting_note", models.CharField(blank=True, max_length=200)),
                (
                    "standing_at",
                    models.CharField(blank=True, max_length=120, verbose_name="where the car stands"),
                ),
                (
                    "comeback_judged_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "comeback_judgement",
                    models.TextField(blank=True, verbose_name="what the comeback turned out to be"),
                ),
                ("cancelled_because", models.CharField(blank=True, max_length=200)),
            ],
            options={
                "ordering": ["-year", "-serial"],
                "abstract": False,
                "indexes": [models.Index(fields=["state", "promised_at"], name="job_on_the_floor")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_job_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(fields=("year", "serial"), name="job_number_is_unique"),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "state__in",
                                [
                                    "booked",
                                    "checked_in",
                                    "in_work",
                                    "final_checks",
                                    "ready",
                                    "handed_over",
                                    "collected_unfinished",
                                    "cancelled",
                                ],
                            )
                        ),
                        name="job_state_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("waiting_for__in", ["parts", "owner", "payer", "elsewhere", "lift", ""])
                        ),
                        name="job_waits_for_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("limit__gte", 0)),
                        name="job_limit_is_not_negative",
                        violation_error_code="field:limit",
                        violation_error_message="The amount can't be negative.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("limit_channel__in", ["in_person", "phone", "message", "letter", "account", ""])
                        ),
                        name="limit_channel_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("limit_answered_at", None), ("limit_channel", ""), ("limit_given_by", None)
                            ),
                            models.Q(
                                ("limit_answered_at__isnull", False),
                                ("limit_given_by__isnull", False),
                                models.Q(("limit_channel", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="raised_limit_says_who_how_when",
                        violation_error_code="field:given_by",
                        violation_error_message="Say who agreed to the higher limit, how and when.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("title", ""), _negated=True), name="job_says_what"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("state", "cancelled"), models.Q(("cancelled_because", ""), _negated=True)
                            ),
                            models.Q(
                                models.Q(("state", "cancelled"), _negated=True), ("cancelled_because", "")
                            ),
                            _connector="OR",
                        ),
                        name="cancelled_job_says_why",
                        violation_error_code="field:reason",
                        violation_error_message="Say why the job is cancelled.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SheetRevision",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="sheets", to="jobs.job"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("handover", "Handover sheet"),
                            ("unfinished", "Sheet for a car collected unfinished"),
                        ],
                        max_length=10,
                    ),
                ),
                ("revision", models.PositiveSmallIntegerField()),
                ("token", models.CharField(max_length=32, unique=True)),
                ("paper", models.CharField(choices=[("A4", "A4"), ("Letter", "Letter")], max_length=6)),
                ("technical", models.TextField()),
                ("technical_hash", models.CharField(max_length=64)),
                ("personal_hash", models.CharField(max_length=64)),
                ("pdf_hash", models.CharField(max_length=64)),
                ("pages", models.PositiveSmallIntegerField()),
                (
                    "change_note",
                    models.CharField(blank=True, max_length=300, verbose_name="what this revision changes"),
                ),
                ("log_seq", models.BigIntegerField()),
                ("log_hash", models.CharField(max_length=64)),
            ],
            options={
                "ordering": ["job", "revision"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_sheetrevision_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(fields=("job", "revision"), name="sheet_revisions_are_numbered"),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["handover", "unfinished"])),
                        name="sheet_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("paper__in", ["A4", "Letter"])), name="sheet_paper_is_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("pages__gte", 1), ("revision__gte", 1)),
                        name="sheet_has_a_revision",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("revision", 1), models.Q(("change_note", ""), _negated=True), _connector="OR"
                        ),
                        name="later_revision_says_what_changed",
                        violation_error_message="Say what this revision changes.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SheetText",
            fields=[
                (
                    "revision",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="text",
                        serialize=False,
                        to="jobs.sheetrevision",
                    ),
                ),
                ("pdf", models.BinaryField(null=True)),
                ("personal", models.TextField(blank=True)),
                ("erased_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("erased_at", None), ("pdf__isnull", False)),
                            models.Q(("erased_at__isnull", False), ("pdf", None), ("personal", "")),
                            _connector="OR",
                        ),
                        name="erased_sheet_holds_nothing",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Handover",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "job",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="handover", to="jobs.job"
                    ),
                ),
                (
                    "collected_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="collections",
                        to="vehicles.keeper",
                    ),
                ),
                ("identified_by", models.CharField(max_length=120, verbose_name="how they were known")),
                (
                    "left_how",
                    models.CharField(
                        choices=[
                            ("driven", "Driven away"),
                            ("trailer", "On a trailer or towed"),
                            ("stays", "Stays here, handed over on the spot"),
                        ],
                        max_length=8,
                        verbose_name="how the car left",
                    ),
                ),
                (
                    "collects_because",
                    models.CharField(blank=True, max_length=200, verbose_name="why this person collects it"),
                ),
                ("keys_returned", models.PositiveSmallIntegerField()),
                (
                    "keys_note",
                    models.CharField(blank=True, max_length=200, verbose_name="where the other keys are"),
                ),
                (
                    "odometer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.odometerreading",
                    ),
                ),
                ("told", models.TextField(blank=True, verbose_name="what was said at handover")),
                (
                    "unfinished_because",
                    models.CharField(
                        blank=True, max_length=300, verbose_name="collected unfinished, because"
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_handover_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("left_how__in", ["driven", "trailer", "stays"])),
                        name="left_how_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("identified_by", ""), _negated=True),
                        name="collector_was_known",
                        violation_error_code="field:identified_by",
                        violation_error_message="Say how this person was known: by sight, by papers shown.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SignOff",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "revision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="signatures",
                        to="jobs.sheetrevision",
                    ),
                ),
                (
                    "signer_part",
                    models.CharField(
                        choices=[("lead", "Lead technician"), ("collector", "Person collecting the car")],
                        max_length=10,
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "keeper",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.keeper",
                    ),
                ),
                (
                    "method",
                    models.CharField(
                        choices=[
                            ("paper", "Signed on paper"),
                            ("glass", "Signed on the screen"),
                            ("account", "Signed in and confirmed"),
                            ("declined", "Declined to sign"),
                        ],
                        max_length=8,
                    ),
                ),
                ("data_hash", models.CharField(max_length=64)),
                (
                    "witness",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "channel",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("in_person", "In person"),
                            ("phone", "By telephone"),
                            ("message", "By written message"),
                            ("letter", "By letter"),
                            ("account", "In their own account here"),
                        ],
                        max_length=10,
                    ),
                ),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_signoff_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("method__in", ["paper", "glass", "account", "declined"]),
                            ("signer_part__in", ["lead", "collector"]),
                        ),
                        name="signature_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("keeper", None), ("person__isnull", False), ("signer_part", "lead")),
                            models.Q(
                                ("keeper__isnull", False), ("person", None), ("signer_part", "collector")
                            ),
                            _connector="OR",
                        ),
                        name="signature_has_its_signer",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("method", "declined"), _negated=True),
                            ("witness__isnull", False),
                            _connector="OR",
                        ),
                        name="unsigned_has_a_witness",
                        violation_error_message="Where somebody declines to sign, name the witness.",
                    ),
                    models.UniqueConstraint(
                        fields=("revision", "signer_part"), name="signed_once_per_revision"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Isolation",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="isolations", to="jobs.job"
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="isolations",
                        to="vehicles.vehicle",
                    ),
                ),
                (
                    "isolated_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "competence",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.competence",
                    ),
                ),
                ("method", models.CharField(max_length=200, verbose_name="how it was isolated")),
                (
                    "proved_dead",
                    models.CharField(max_length=200, verbose_name="how and with what it was proved dead"),
                ),
                (
                    "locked_with",
                    models.CharField(max_length=200, verbose_name="what locks it, and who has the key"),
                ),
                ("re_energised_at", models.DateTimeField(blank=True, null=True)),
                (
                    "re_energised_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "re_energised_note",
                    models.CharField(blank=True, max_length=200, verbose_name="what was checked before"),
                ),
            ],
            options={
                "ordering": ["-made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_isolation_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("method", ""), _negated=True),
                            models.Q(("proved_dead", ""), _negated=True),
                            models.Q(("locked_with", ""), _negated=True),
                        ),
                        name="isolation_is_proved_and_locked",
                        violation_error_message="Say how it was isolated, how it was proved dead and what locks it.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("re_energised_at", None),
                                ("re_energised_by", None),
                                ("re_energised_note", ""),
                            ),
                            models.Q(
                                ("re_energised_at__isnull", False),
                                ("re_energised_by__isnull", False),
                                models.Q(("re_energised_note", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="re_energised_by_a_named_person",
                        violation_error_message="Say who re-energises and what was checked before.",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("re_energised_at", None)),
                        fields=("vehicle",),
                        name="one_open_isolation_per_car",
                        violation_error_message="The high-voltage system of this car is isolated already.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="CheckIn",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                (
                    "job",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="check_in", to="jobs.job"
                    ),
                ),
                (
                    "odometer",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="check_in_of",
                        to="vehicles.odometerreading",
                    ),
                ),
                (
                    "fuel",
                    models.CharField(
                        choices=[
                            ("0", "Reserve"),
                            ("1", "A quarter"),
                            ("2", "Half"),
                            ("3", "Three quarters"),
                            ("4", "Full"),
                        ],
                        max_length=1,
                        verbose_name="fuel or charge",
                    ),
                ),
                (
                    "charge_percent",
                    models.PositiveSmallIntegerField(
                        blank=True, null=True, verbose_name="state of charge (%)"
                    ),
                ),
                ("keys", models.PositiveSmallIntegerField(verbose_name="keys handed in")),
                (
                    "keys_where",
                    models.CharField(blank=True, max_length=80, verbose_name="where the keys are"),
                ),
                ("belongings", models.TextField(blank=True, verbose_name="belongings left in the car")),
                ("damage", models.TextField(verbose_name="existing damage")),
                ("road_test_consent", models.BooleanField(verbose_name="consent to road-test the car")),
                (
                    "plates_legal",
                    models.BooleanField(
                        default=False, verbose_name="plates and insurance allow it on the road"
                    ),
                ),
                (
                    "old_parts_back",
                    models.BooleanField(default=False, verbose_name="old parts back to the owner"),
                ),
                (
                    "brought_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.keeper",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_checkin_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("fuel__in", ["0", "1", "2", "3", "4"])),
                        name="check_in_fuel_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("damage", ""), _negated=True),
                        name="check_in_says_damage",
                        violation_error_code="field:damage",
                        violation_error_message="Describe the damage that is there, or write that none was seen.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("charge_percent", None), ("charge_percent__lte", 100), _connector="OR"
                        ),
                        name="check_in_charge_is_a_share",
                        violation_error_code="field:charge_percent",
                        violation_error_message="The state of charge lies between 0 and 100 percent.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="JobMove",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="moves", to="jobs.job"
                    ),
                ),
                (
                    "from_state",
                    models.CharField(
                        choices=[
                            ("booked", "Booked"),
                            ("checked_in", "Checked in"),
                            ("in_work", "In work"),
                            ("final_checks", "Final checks"),
                            ("ready", "Ready for collection"),
                            ("handed_over", "Handed over"),
                            ("collected_unfinished", "Collected unfinished"),
                            ("cancelled", "Cancelled"),
                        ],
                        max_length=22,
                    ),
                ),
                (
                    "to_state",
                    models.CharField(
                        choices=[
                            ("booked", "Booked"),
                            ("checked_in", "Checked in"),
                            ("in_work", "In work"),
                            ("final_checks", "Final checks"),
                            ("ready", "Ready for collection"),
                            ("handed_over", "Handed over"),
                            ("collected_unfinished", "Collected unfinished"),
                            ("cancelled", "Cancelled"),
                        ],
                        max_length=22,
                    ),
                ),
                ("reason", models.CharField(blank=True, max_length=300)),
            ],
            options={
                "ordering": ["made_at", "received_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_jobmove_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "from_state__in",
                                [
                                    "booked",
                                    "checked_in",
                                    "in_work",
                                    "final_checks",
                                    "ready",
                                    "handed_over",
                                    "collected_unfinished",
                                    "cancelled",
                                ],
                            ),
                            (
                                "to_state__in",
                                [
                                    "booked",
                                    "checked_in",
                                    "in_work",
                                    "final_checks",
                                    "ready",
                                    "handed_over",
                                    "collected_unfinished",
                                    "cancelled",
                                ],
                            ),
                        ),
                        name="move_states_are_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("from_state", "booked"), ("to_state", "checked_in")),
                            models.Q(("from_state", "checked_in"), ("to_state", "in_work")),
                            models.Q(("from_state", "in_work"), ("to_state", "final_checks")),
                            models.Q(("from_state", "final_checks"), ("to_state", "ready")),
                            models.Q(("from_state", "ready"), ("to_state", "handed_over")),
                            models.Q(("from_state", "final_checks"), ("to_state", "in_work")),
                            models.Q(("from_state", "ready"), ("to_state", "in_work")),
                            models.Q(("from_state", "booked"), ("to_state", "cancelled")),
                            models.Q(("from_state", "checked_in"), ("to_state", "collected_unfinished")),
                            models.Q(("from_state", "in_work"), ("to_state", "collected_unfinished")),
                            models.Q(("from_state", "final_checks"), ("to_state", "collected_unfinished")),
                            models.Q(("from_state", "ready"), ("to_state", "collected_unfinished")),
                            _connector="OR",
                        ),
                        name="move_is_an_allowed_one",
                        violation_error_message="A job does not go from the one state to the other.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("from_state", "booked"), ("to_state", "checked_in")),
                            models.Q(("from_state", "checked_in"), ("to_state", "in_work")),
                            models.Q(("from_state", "in_work"), ("to_state", "final_checks")),
                            models.Q(("from_state", "final_checks"), ("to_state", "ready")),
                            models.Q(("from_state", "ready"), ("to_state", "handed_over")),
                            models.Q(("reason", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="move_back_says_why",
                        violation_error_code="field:reason",
                        violation_error_message="Say why.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Pass",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="passes", to="jobs.job"
                    ),
                ),
                (
                    "from_person",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "to_person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("loose", models.TextField(verbose_name="what is loose or open")),
                ("fasteners", models.TextField(verbose_name="where the bolts and parts are")),
            ],
            options={
                "verbose_name_plural": "passes",
                "ordering": ["-made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_pass_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("loose", ""), _negated=True), models.Q(("fasteners", ""), _negated=True)
                        ),
                        name="pass_says_what_is_loose",
                        violation_error_message="Say what is loose and where the bolts are; write “nothing” where it is so.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("from_person", None),
                            models.Q(("from_person", models.F("to_person")), _negated=True),
                            _connector="OR",
                        ),
                        name="pass_goes_to_another",
                        violation_error_code="field:to_person",
                        violation_error_message="Choose somebody else: this person has the job.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="WorkLine",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="jobs.job"
                    ),
                ),
                ("order", models.PositiveSmallIntegerField(editable=False)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("repair", "Repair"),
                            ("diagnosis", "Diagnosis or strip-down (covered by the limit)"),
                            ("service", "Service"),
                            (
                                "make_safe",
                                "Making safe: immobilise, secure, prevent harm (unbilled unless authorised)",
                            ),
                        ],
                        default="repair",
                        max_length=10,
                    ),
                ),
                ("complaint", models.CharField(max_length=300)),
                ("cause", models.TextField(blank=True)),
                ("correction", models.TextField(blank=True)),
                (
                    "technician",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="lines",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "competence",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("high_voltage", "High voltage"),
                            ("airbags", "Airbags and pretensioners"),
                            ("refrigerant", "Refrigerant"),
                            ("gas_fuel", "Gas fuel"),
                            ("lifting", "Lifting equipment"),
                            ("brake_tester", "Brake tester"),
                        ],
                        max_length=20,
                        verbose_name="competence needed",
                    ),
                ),
                (
                    "qualified",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="lines",
                        to="workshop.competence",
                    ),
                ),
                ("estimate", models.DecimalField(blank=True, decimal_places=2, max_digits=10, null=True)),
                (
                    "cost",
                    models.DecimalField(
                        blank=True, decimal_places=2, max_digits=10, null=True, verbose_name="cost now"
                    ),
                ),
                (
                    "answer",
                    models.CharField(
                        blank=True,
                        choices=[("yes", "Authorised"), ("no", "Declined"), ("later", "Deferred")],
                        editable=False,
                        max_length=5,
                    ),
                ),
                (
                    "authorised_amount",
                    models.DecimalField(
                        blank=True, decimal_places=2, editable=False, max_digits=10, null=True
                    ),
                ),
                ("done_at", models.DateTimeField(blank=True, editable=False, null=True)),
                (
                    "dropped_because",
                    models.CharField(blank=True, max_length=300, verbose_name="not done, because"),
                ),
                ("told_owner_at", models.DateTimeField(blank=True, editable=False, null=True)),
                (
                    "told_owner",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.keeper",
                    ),
                ),
                (
                    "told_owner_channel",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("in_person", "In person"),
                            ("phone", "By telephone"),
                            ("message", "By written message"),
                            ("letter", "By letter"),
                            ("account", "In their own account here"),
                        ],
                        editable=False,
                        max_length=10,
                    ),
                ),
                (
                    "told_owner_words",
                    models.CharField(
                        blank=True, editable=False, max_length=300, verbose_name="what was told"
                    ),
                ),
                (
                    "told_late_because",
                    models.CharField(
                        blank=True,
                        editable=False,
                        max_length=300,
                        verbose_name="not told the same day, because",
                    ),
                ),
                ("faults", models.ManyToManyField(blank=True, related_name="lines", to="vehicles.fault")),
                (
                    "items",
                    models.ManyToManyField(blank=True, related_name="lines", to="vehicles.outstandingitem"),
                ),
            ],
            options={
                "ordering": ["job", "order"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_workline_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(fields=("job", "order"), name="lines_are_numbered_per_job"),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["repair", "diagnosis", "service", "make_safe"])),
                        name="line_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("answer__in", ["yes", "no", "later", ""])),
                        name="line_answer_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "competence__in",
                                [
                                    "high_voltage",
                                    "airbags",
                                    "refrigerant",
                                    "gas_fuel",
                                    "lifting",
                                    "brake_tester",
                                    "",
                                ],
                            )
                        ),
                        name="line_competence_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("complaint", ""), _negated=True),
                        name="line_says_what",
                        violation_error_code="field:complaint",
                        violation_error_message="Say what is asked for.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("estimate", None), ("estimate__gte", 0), _connector="OR"),
                            models.Q(("cost", None), ("cost__gte", 0), _connector="OR"),
                        ),
                        name="line_amounts_are_not_negative",
                        violation_error_message="The amount can't be negative.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(models.Q(("answer", "yes"), _negated=True), ("authorised_amount", None)),
                            models.Q(("answer", "yes"), ("authorised_amount__isnull", False)),
                            _connector="OR",
                        ),
                        name="authorised_line_has_an_amount",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("done_at", None), models.Q(("correction", ""), _negated=True), _connector="OR"
                        ),
                        name="done_line_says_what_was_done",
                        violation_error_code="field:correction",
                        violation_error_message="Write down the correction before the line is done.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("done_at", None), ("dropped_because", ""), _connector="OR"),
                        name="line_is_done_or_dropped",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("done_at", None),
                            ("answer", "yes"),
                            ("kind__in", ["diagnosis", "make_safe"]),
                            _connector="OR",
                        ),
                        name="repair_was_authorised",
                        violation_error_message="This line was not authorised. Record the owner's answer first.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("qualified", None), models.Q(("competence", ""), _negated=True), _connector="OR"
                        ),
                        name="qualified_for_a_named_competence",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "told_owner_channel__in",
                                ["in_person", "phone", "message", "letter", "account", ""],
                            )
                        ),
                        name="told_owner_channel_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("told_late_because", ""),
                                ("told_owner", None),
                                ("told_owner_at", None),
                                ("told_owner_channel", ""),
                                ("told_owner_words", ""),
                            ),
                            models.Q(
                                ("kind", "make_safe"),
                                ("told_owner__isnull", False),
                                ("told_owner_at__isnull", False),
                                models.Q(("told_owner_channel", ""), _negated=True),
                                models.Q(("told_owner_words", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="told_owner_says_who_when_how",
                        violation_error_message="Say who was told, when, how and what.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Procedure",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("title", models.CharField(max_length=120, unique=True)),
                (
                    "area",
                    models.CharField(
                        choices=[
                            ("wheels", "Wheels"),
                            ("brakes", "Brakes"),
                            ("steering", "Steering"),
                            ("suspension", "Suspension"),
                            ("fuel", "Fuel"),
                            ("engine", "Engine"),
                            ("transmission", "Transmission"),
                            ("restraints", "Seats and restraints"),
                            ("towing", "Towing"),
                            ("body", "Body"),
                            ("electrical", "Electrical"),
                        ],
                        max_length=14,
                    ),
                ),
                ("applies_to", models.CharField(blank=True, max_length=200, verbose_name="which cars")),
                ("withdrawn_because", models.CharField(blank=True, max_length=200)),
            ],
            options={
                "ordering": ["title"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_procedure_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "area__in",
                                [
                                    "wheels",
                                    "brakes",
                                    "steering",
                                    "suspension",
                                    "fuel",
                                    "engine",
                                    "transmission",
                                    "restraints",
                                    "towing",
                                    "body",
                                    "electrical",
                                ],
                            )
                        ),
                        name="procedure_area_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("title", ""), _negated=True), name="procedure_has_a_title"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ProcedureVersion",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="versions",
                        to="jobs.procedure",
                    ),
                ),
                ("number", models.PositiveSmallIntegerField(editable=False)),
                (
                    "source",
                    models.CharField(
                        help_text="The maker's document, standard or the shop's own test.",
                        max_length=200,
                        verbose_name="source of its values",
                    ),
                ),
                ("change_note", models.CharField(blank=True, max_length=300, verbose_name="what changed")),
                (
                    "cautions",
                    models.TextField(
                        blank=True,
                        help_text="One a line: lifting, springs, hot parts, fuel…",
                        verbose_name="cautions",
                    ),
                ),
                (
                    "competence",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("high_voltage", "High voltage"),
                            ("airbags", "Airbags and pretensioners"),
                            ("refrigerant", "Refrigerant"),
                            ("gas_fuel", "Gas fuel"),
                            ("lifting", "Lifting equipment"),
                            ("brake_tester", "Brake tester"),
                        ],
                        max_length=20,
                        verbose_name="competence needed",
                    ),
                ),
                (
                    "recheck_km",
                    models.DecimalField(
                        blank=True,
                        decimal_places=1,
                        max_digits=8,
                        null=True,
                        verbose_name="check again after (km)",
                    ),
                ),
                (
                    "recheck_note",
                    models.CharField(blank=True, max_length=200, verbose_name="what is checked again"),
                ),
                ("released_at", models.DateTimeField(blank=True, editable=False, null=True)),
                (
                    "released_by",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["procedure", "-number"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_procedureversion_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(fields=("procedure", "number"), name="versions_are_numbered"),
                    models.UniqueConstraint(
                        condition=models.Q(("released_at", None)),
                        fields=("procedure",),
                        name="one_draft_per_procedure",
                        violation_error_message="There is a draft of this procedure: go on with that one.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("source", ""), _negated=True),
                        name="version_names_its_source",
                        violation_error_code="field:source",
                        violation_error_message="Name the source of the values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("released_at", None), ("released_by", None)),
                            models.Q(("released_at__isnull", False), ("released_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="release_has_a_person",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "competence__in",
                                [
                                    "high_voltage",
                                    "airbags",
                                    "refrigerant",
                                    "gas_fuel",
                                    "lifting",
                                    "brake_tester",
                                    "",
                                ],
                            )
                        ),
                        name="version_competence_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("recheck_km", None), ("recheck_km__gt", 0), _connector="OR"),
                        name="recheck_is_ahead",
                        violation_error_code="field:recheck_km",
                        violation_error_message="Give a distance above 0, or leave it empty.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Run",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="runs", to="jobs.job"
                    ),
                ),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="runs", to="jobs.workline"
                    ),
                ),
                (
                    "version_used",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="runs",
                        to="jobs.procedureversion",
                    ),
                ),
                (
                    "where",
                    models.CharField(blank=True, max_length=80, verbose_name="on which part of the car"),
                ),
                (
                    "qualified",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.competence",
                    ),
                ),
                ("completed_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("abandoned_at", models.DateTimeField(blank=True, editable=False, null=True)),
                (
                    "abandoned_because",
                    models.CharField(blank=True, max_length=300, verbose_name="stopped, because"),
                ),
                (
                    "applies_confirmed",
                    models.CharField(
                        blank=True,
                        editable=False,
                        max_length=200,
                        verbose_name="which cars the procedure says it is for, where the values were confirmed for another",
                    ),
                ),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_run_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("abandoned_at", None), ("abandoned_because", "")),
                            models.Q(
                                ("abandoned_at__isnull", False),
                                models.Q(("abandoned_because", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="abandoned_run_says_why",
                        violation_error_code="field:abandoned_because",
                        violation_error_message="Say why the run is stopped and how the joint was left.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("abandoned_at", None), ("completed_at", None), _connector="OR"),
                        name="run_ends_in_one_way",
                        violation_error_message="A run is complete or stopped, not both.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Tag",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tags",
                        to="vehicles.vehicle",
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tags",
                        to="jobs.job",
                    ),
                ),
                (
                    "run",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tags",
                        to="jobs.run",
                    ),
                ),
                (
                    "isolation",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tags",
                        to="jobs.isolation",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("no_start", "Do not start"),
                            ("no_move", "Do not move"),
                            ("no_road", "Not on the road"),
                        ],
                        max_length=8,
                    ),
                ),
                ("because", models.CharField(max_length=200)),
                ("lifted_at", models.DateTimeField(blank=True, null=True)),
                (
                    "lifted_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("lifted_because", models.CharField(blank=True, max_length=200)),
            ],
            options={
                "ordering": ["-made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_tag_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["no_start", "no_move", "no_road"])),
                        name="tag_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("because", ""), _negated=True),
                        name="tag_says_why",
                        violation_error_code="field:because",
                        violation_error_message="Say why the tag is set.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("lifted_at", None), ("lifted_because", ""), ("lifted_by", None)),
                            models.Q(
                                ("lifted_at__isnull", False),
                                ("lifted_by__isnull", False),
                                models.Q(("lifted_because", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="lifted_tag_says_by_whom_and_why",
                        violation_error_code="field:lifted_because",
                        violation_error_message="Say why the tag may be lifted.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ThingOut",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="things_out", to="jobs.job"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("special_tool", "Special tool on or in the car"),
                            ("car_part", "Part of the car taken off"),
                            ("lock_key", "Lock or locking key"),
                        ],
                        max_length=14,
                    ),
                ),
                ("what", models.CharField(max_length=160)),
                ("where", models.CharField(max_length=160, verbose_name="where it is")),
                ("back_at", models.DateTimeField(blank=True, null=True)),
                (
                    "back_by",
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
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_thingout_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["special_tool", "car_part", "lock_key"])),
                        name="thing_out_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("what", ""), _negated=True), models.Q(("where", ""), _negated=True)
                        ),
                        name="thing_out_says_what_and_where",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("back_at", None), ("back_by", None)),
                            models.Q(("back_at__isnull", False), ("back_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="thing_back_says_by_whom",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Waiver",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="waivers", to="jobs.job"
                    ),
                ),
                (
                    "blocker",
                    models.CharField(
                        help_text="Code and subject of the blocker, as the gate gives it.", max_length=120
                    ),
                ),
                ("text", models.CharField(max_length=300, verbose_name="what was waived")),
                ("reason", models.TextField()),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_waiver_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(fields=("job", "blocker"), name="blocker_waived_once"),
                    models.CheckConstraint(
                        condition=models.Q(("reason", ""), _negated=True),
                        name="waiver_says_why",
                        violation_error_code="field:reason",
                        violation_error_message="Say why this may be waived.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="LineAnswer",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="answers",
                        to="jobs.workline",
                    ),
                ),
                (
                    "answer",
                    models.CharField(
                        choices=[("yes", "Authorised"), ("no", "Declined"), ("later", "Deferred")],
                        max_length=5,
                    ),
                ),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="answers",
                        to="vehicles.keeper",
                    ),
                ),
                ("right", models.CharField(max_length=200, verbose_name="by what right")),
                (
                    "channel",
                    models.CharField(
                        choices=[
                            ("in_person", "In person"),
                            ("phone", "By telephone"),
                            ("message", "By written message"),
                            ("letter", "By letter"),
                            ("account", "In their own account here"),
                        ],
                        max_length=10,
                    ),
                ),
                ("answered_at", models.DateTimeField()),
                (
                    "amount",
                    models.DecimalField(
                        blank=True, decimal_places=2, max_digits=10, null=True, verbose_name="up to"
                    ),
                ),
                ("words", models.CharField(blank=True, max_length=300, verbose_name="in their words")),
            ],
            options={
                "ordering": ["answered_at", "made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_lineanswer_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("answer__in", ["yes", "no", "later"])), name="answer_is_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("channel__in", ["in_person", "phone", "message", "letter", "account"])
                        ),
                        name="answer_channel_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("amount__gte", 0), ("amount__isnull", False), ("answer", "yes")),
                            models.Q(models.Q(("answer", "yes"), _negated=True), ("amount", None)),
                            _connector="OR",
                        ),
                        name="yes_is_up_to_an_amount",
                        violation_error_code="field:amount",
                        violation_error_message="A yes is up to an amount, and nothing else has one.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("answered_at__lte", models.F("received_at"))),
                        name="answered_before_it_arrived",
                        violation_error_code="field:answered_at",
                        violation_error_message="The answer can't lie in the future.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="LabourEntry",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="labour", to="jobs.workline"
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="labour",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("day", models.DateField()),
                ("minutes", models.PositiveIntegerField()),
                ("note", models.CharField(blank=True, max_length=200)),
                (
                    "entered_in_error",
                    models.CharField(blank=True, max_length=200, verbose_name="entered in error, because"),
                ),
            ],
            options={
                "verbose_name_plural": "labour entries",
                "ordering": ["day", "made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_labourentry_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("minutes__gte", 1), ("minutes__lte", 1440)),
                        name="labour_fits_in_a_day",
                        violation_error_code="field:minutes",
                        violation_error_message="Give between 1 minute and 24 hours.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="PartUsed",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="parts_used",
                        to="jobs.workline",
                    ),
                ),
                ("description", models.CharField(max_length=200)),
                ("part_number", models.CharField(blank=True, max_length=60)),
                ("quantity", models.DecimalField(decimal_places=2, default=1, max_digits=8)),
                ("unit", models.CharField(default="pc", max_length=12)),
                (
                    "price",
                    models.DecimalField(
                        blank=True, decimal_places=2, max_digits=10, null=True, verbose_name="price each"
                    ),
                ),
                (
                    "own_part",
                    models.BooleanField(
                        default=False,
                        help_text="The shop gives no warranty on an owner's own part.",
                        verbose_name="the owner's own part",
                    ),
                ),
                (
                    "entered_in_error",
                    models.CharField(blank=True, max_length=200, verbose_name="entered in error, because"),
                ),
            ],
            options={
                "verbose_name_plural": "parts used",
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_partused_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("quantity__gt", 0)),
                        name="part_used_has_a_quantity",
                        violation_error_code="field:quantity",
                        violation_error_message="The quantity is above 0.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("price", None), ("price__gte", 0), _connector="OR"),
                        name="part_price_is_not_negative",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("description", ""), _negated=True),
                            models.Q(("unit", ""), _negated=True),
                        ),
                        name="part_used_says_what",
                        violation_error_code="field:description",
                        violation_error_message="Say what was used, with its unit.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("own_part", False), ("price", None), _connector="OR"),
                        name="own_part_is_not_charged",
                        violation_error_code="field:price",
                        violation_error_message="The owner's own part is not charged: leave the price empty.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Measurement",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="measurements",
                        to="jobs.workline",
                    ),
                ),
                ("what", models.CharField(max_length=120, verbose_name="what was measured")),
                (
                    "place",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.place",
                    ),
                ),
                (
                    "position",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("front_left", "front left"),
                            ("front_right", "front right"),
                            ("rear_left", "rear left"),
                            ("rear_right", "rear right"),
                            ("front", "front"),
                            ("rear", "rear"),
                            ("left", "left"),
                            ("right", "right"),
                            ("inner_left", "inner left"),
                            ("inner_right", "inner right"),
                        ],
                        max_length=12,
                    ),
                ),
                ("phase", models.CharField(choices=[("before", "Before"), ("after", "After")], max_length=6)),
                ("value", models.DecimalField(decimal_places=4, max_digits=14)),
                ("unit", models.CharField(max_length=8)),
                ("base_value", models.DecimalField(decimal_places=6, editable=False, max_digits=18)),
                (
                    "low",
                    models.DecimalField(
                        blank=True, decimal_places=4, max_digits=14, null=True, verbose_name="lowest allowed"
                    ),
                ),
                (
                    "high",
                    models.DecimalField(
                        blank=True, decimal_places=4, max_digits=14, null=True, verbose_name="highest allowed"
                    ),
                ),
                (
                    "limit_source",
                    models.CharField(blank=True, max_length=160, verbose_name="where the limit comes from"),
                ),
                ("instrument", models.CharField(blank=True, max_length=120, verbose_name="measured with")),
                (
                    "verdict",
                    models.CharField(
                        choices=[
                            ("within", "Within"),
                            ("below", "Below the limit"),
                            ("above", "Above the limit"),
                            ("no_limit", "No limit given"),
                        ],
                        editable=False,
                        max_length=8,
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=200)),
                (
                    "entered_in_error",
                    models.CharField(blank=True, max_length=200, verbose_name="entered in error, because"),
                ),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_measurement_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("phase__in", ["before", "after"])),
                        name="measurement_phase_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("verdict__in", ["within", "below", "above", "no_limit"])),
                        name="measurement_verdict_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("what", ""), _negated=True), models.Q(("unit", ""), _negated=True)
                        ),
                        name="measurement_has_a_unit",
                        violation_error_code="field:what",
                        violation_error_message="Say what was measured.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("position", ""),
                            models.Q(
                                ("place__isnull", False),
                                (
                                    "position__in",
                                    [
                                        "front_left",
                                        "front_right",
                                        "rear_left",
                                        "rear_right",
                                        "front",
                                        "rear",
                                        "left",
                                        "right",
                                        "inner_left",
                                        "inner_right",
                                    ],
                                ),
                            ),
                            _connector="OR",
                        ),
                        name="measurement_position_is_of_a_place",
                        violation_error_code="field:place",
                        violation_error_message="Choose the place that this position belongs to.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("high", None), ("low", None), ("verdict", "no_limit")),
                            models.Q(
                                models.Q(("verdict", "no_limit"), _negated=True),
                                models.Q(("low__isnull", False), ("high__isnull", False), _connector="OR"),
                            ),
                            _connector="OR",
                        ),
                        name="measurement_verdict_has_its_limit",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("verdict", "no_limit"),
                            models.Q(
                                ("low__isnull", False), ("value__lt", models.F("low")), ("verdict", "below")
                            ),
                            models.Q(
                                ("high__isnull", False), ("value__gt", models.F("high")), ("verdict", "above")
                            ),
                            models.Q(
                                ("verdict", "within"),
                                models.Q(("low", None), ("value__gte", models.F("low")), _connector="OR"),
                                models.Q(("high", None), ("value__lte", models.F("high")), _connector="OR"),
                            ),
                            _connector="OR",
                        ),
                        name="measurement_verdict_is_the_computed_one",
                        violation_error_message="The verdict is computed from the value and its limits.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("high", None), ("low", None)),
                            models.Q(("limit_source", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="measurement_limit_has_a_source",
                        violation_error_code="field:limit_source",
                        violation_error_message="Say where the limit comes from.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("low", None), ("high", None), ("high__gte", models.F("low")), _connector="OR"
                        ),
                        name="measurement_limits_in_order",
                        violation_error_code="field:high",
                        violation_error_message="The highest allowed value can't be below the lowest.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="PartChange",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="part_changes",
                        to="jobs.workline",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("fitted", "Fitted in an empty place"),
                            ("replaced", "Replaced"),
                            ("refitted", "Removed and refitted"),
                            ("removed", "Removed, nothing fitted"),
                            ("swapped", "Swapped between places"),
                            ("on_trial", "Known-good part on trial"),
                        ],
                        max_length=10,
                    ),
                ),
                (
                    "part_on",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="changes_on",
                        to="vehicles.fittedpart",
                    ),
                ),
                (
                    "part_off",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="changes_off",
                        to="vehicles.fittedpart",
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=200)),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_partchange_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("kind__in", ["fitted", "replaced", "refitted", "removed", "swapped", "on_trial"])
                        ),
                        name="part_change_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "fitted"), ("part_off", None), ("part_on__isnull", False)),
                            models.Q(
                                ("kind__in", ["replaced", "swapped"]),
                                ("part_off__isnull", False),
                                ("part_on__isnull", False),
                            ),
                            models.Q(("kind", "on_trial"), ("part_on__isnull", False)),
                            models.Q(("kind", "refitted"), ("part_off", None), ("part_on__isnull", False)),
                            models.Q(("kind", "removed"), ("part_off__isnull", False), ("part_on", None)),
                            _connector="OR",
                        ),
                        name="part_change_has_its_parts",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ProcedureStep",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "version",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="steps",
                        to="jobs.procedureversion",
                    ),
                ),
                ("order", models.PositiveSmallIntegerField()),
                ("title", models.CharField(max_length=120)),
                ("fasteners", models.PositiveSmallIntegerField(verbose_name="number of fasteners")),
                (
                    "pattern",
                    models.CharField(
                        choices=[
                            ("circle", "Circle"),
                            ("line", "Line"),
                            ("grid", "Grid"),
                            ("free", "Free positions"),
                        ],
                        default="circle",
                        max_length=6,
                    ),
                ),
                ("rows", models.PositiveSmallIntegerField(default=1)),
                ("columns", models.PositiveSmallIntegerField(default=1)),
                ("points", models.JSONField(blank=True, default=list)),
                ("sequence", models.JSONField(default=list)),
                ("groups", models.JSONField(blank=True, default=dict)),
                (
                    "order_of_work",
                    models.CharField(
                        choices=[
                            ("stage_by_stage", "Whole pattern, stage by stage, in the drawn sequence"),
                            ("fastener_by_fastener", "One fastener at a time, through all stages"),
                            ("by_groups", "Group by group, each through all stages"),
                            ("until_still", "Repeat the round until nothing moves"),
                        ],
                        default="stage_by_stage",
                        max_length=20,
                    ),
                ),
                (
                    "critical",
                    models.BooleanField(
                        default=False, verbose_name="critical: needs a second check by another person"
                    ),
                ),
                (
                    "hold_point",
                    models.BooleanField(
                        default=False, verbose_name="hold point: the next step waits for the check"
                    ),
                ),
                ("thread", models.CharField(blank=True, max_length=16)),
                ("property_class", models.CharField(blank=True, max_length=6)),
                ("friction", models.CharField(blank=True, max_length=40, verbose_name="friction condition")),
                (
                    "nut_factor",
                    models.DecimalField(
                        blank=True, decimal_places=3, max_digits=4, null=True, verbose_name="nut factor K"
                    ),
                ),
                (
                    "reuse",
                    models.CharField(
                        choices=[
                            ("reusable", "May be used again"),
                            ("new", "New each time"),
                            ("measured", "Again only after measuring, by the maker's limit"),
                        ],
                        default="reusable",
                        max_length=10,
                        verbose_name="may fasteners be used again?",
                    ),
                ),
                (
                    "to_yield",
                    models.BooleanField(
                        default=False,
                        help_text="The proof load is then exceeded on purpose, and a bolt that went above its limit is replaced.",
                        verbose_name="tightened to yield, as the maker declares",
                    ),
                ),
                ("threadlocker", models.CharField(blank=True, max_length=80)),
                (
                    "questioned",
                    models.TextField(blank=True, editable=False, verbose_name="questioned when written"),
                ),
                (
                    "kept_because",
                    models.CharField(blank=True, max_length=300, verbose_name="kept all the same, because"),
                ),
                ("note", models.TextField(blank=True)),
            ],
            options={
                "ordering": ["version", "order"],
                "constraints": [
                    models.UniqueConstraint(fields=("version", "order"), name="steps_are_in_order"),
                    models.CheckConstraint(
                        condition=models.Q(("pattern__in", ["circle", "line", "grid", "free"])),
                        name="step_pattern_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "order_of_work__in",
                                ["stage_by_stage", "fastener_by_fastener", "by_groups", "until_still"],
                            )
                        ),
                        name="step_order_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("reuse__in", ["reusable", "new", "measured"])),
                        name="step_reuse_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("fasteners__gte", 1), ("fasteners__lte", 60)),
                        name="step_has_fasteners",
                        violation_error_code="field:fasteners",
                        violation_error_message="A step has between 1 and 60 fasteners.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("nut_factor", None),
                            models.Q(("nut_factor__gt", 0), ("nut_factor__lt", 1)),
                            _connector="OR",
                        ),
                        name="nut_factor_is_sane",
                        violation_error_code="field:nut_factor",
                        violation_error_message="A nut factor lies between 0 and 1, mostly between 0.10 and 0.30.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("questioned", ""), models.Q(("kept_because", ""), _negated=True), _connector="OR"
                        ),
                        name="questioned_step_says_why_kept",
                        violation_error_code="field:kept_because",
                        violation_error_message="This specification was questioned. Say why it is kept, or change it.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("hold_point", False), ("critical", True), _connector="OR"),
                        name="hold_point_is_critical",
                        violation_error_code="field:hold_point",
                        violation_error_message="A hold point needs a second check: mark the step as critical.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ProcedureStage",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "step",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="stages",
                        to="jobs.procedurestep",
                    ),
                ),
                ("order", models.PositiveSmallIntegerField()),
                ("name", models.CharField(max_length=80)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("torque", "Torque"),
                            ("angle", "Angle"),
                            ("loosen", "Loosen"),
                            ("result", "Measured result (end float, rolling drag)"),
                        ],
                        default="torque",
                        max_length=8,
                    ),
                ),
                (
                    "add_running_torque",
                    models.BooleanField(default=False, verbose_name="running torque is added"),
                ),
                (
                    "note",
                    models.CharField(
                        blank=True,
                        help_text="Such as: final at ride height; again when cold; on to the next hole.",
                        max_length=160,
                    ),
                ),
            ],
            options={
                "ordering": ["step", "order"],
                "constraints": [
                    models.UniqueConstraint(fields=("step", "order"), name="stages_are_in_order"),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["torque", "angle", "loosen", "result"])),
                        name="stage_kind_is_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="StageTarget",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "stage",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="targets",
                        to="jobs.procedurestage",
                    ),
                ),
                ("group", models.CharField(blank=True, max_length=40)),
                (
                    "limit",
                    models.CharField(
                        choices=[
                            ("tolerance", "Target with tolerance"),
                            ("range", "From … to"),
                            ("minimum", "At least"),
                            ("maximum", "At most"),
                            ("none", "No limit"),
                        ],
                        max_length=10,
                    ),
                ),
                (
                    "value",
                    models.DecimalField(
                        blank=True, decimal_places=3, max_digits=10, null=True, verbose_name="target"
                    ),
                ),
                (
                    "low",
                    models.DecimalField(
                        blank=True, decimal_places=3, max_digits=10, null=True, verbose_name="from"
                    ),
                ),
                (
                    "high",
                    models.DecimalField(
                        blank=True, decimal_places=3, max_digits=10, null=True, verbose_name="to"
                    ),
                ),
                ("unit", models.CharField(max_length=6)),
                (
                    "base_value",
                    models.DecimalField(
                        blank=True, decimal_places=6, editable=False, max_digits=14, null=True
                    ),
                ),
                (
                    "base_low",
                    models.DecimalField(
                        blank=True, decimal_places=6, editable=False, max_digits=14, null=True
                    ),
                ),
                (
                    "base_high",
                    models.DecimalField(
                        blank=True, decimal_places=6, editable=False, max_digits=14, null=True
                    ),
                ),
                ("tolerance_is_shops", models.BooleanField(default=False)),
            ],
            options={
                "ordering": ["stage", "group"],
                "constraints": [
                    models.UniqueConstraint(fields=("stage", "group"), name="one_target_per_group"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("limit__in", ["tolerance", "range", "minimum", "maximum", "none"])
                        ),
                        name="target_limit_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("base_high__isnull", False),
                                ("base_low__isnull", False),
                                ("base_value__isnull", False),
                                ("limit", "tolerance"),
                            ),
                            models.Q(
                                ("base_high__isnull", False), ("base_low__isnull", False), ("limit", "range")
                            ),
                            models.Q(("base_high", None), ("base_low__isnull", False), ("limit", "minimum")),
                            models.Q(("base_high__isnull", False), ("base_low", None), ("limit", "maximum")),
                            models.Q(("base_high", None), ("base_low", None), ("limit", "none")),
                            _connector="OR",
                        ),
                        name="target_has_its_limits",
                        violation_error_message="Give the values that this kind of limit needs.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("base_low", None),
                            ("base_high", None),
                            ("base_high__gte", models.F("base_low")),
                            _connector="OR",
                        ),
                        name="target_limits_in_order",
                        violation_error_message="The upper value can't be below the lower one.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="RoadTest",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="road_tests", to="jobs.job"
                    ),
                ),
                (
                    "driver",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("driven", models.CharField(blank=True, max_length=300, verbose_name="what was driven")),
                ("found", models.TextField(blank=True, verbose_name="what was found")),
                ("distance_km", models.DecimalField(blank=True, decimal_places=1, max_digits=6, null=True)),
                (
                    "distance_unit",
                    models.CharField(
                        blank=True,
                        choices=[("km", "km"), ("mi", "mi")],
                        max_length=2,
                        verbose_name="unit in which it was typed",
                    ),
                ),
                (
                    "licence_and_insurance",
                    models.BooleanField(
                        default=False, verbose_name="the driver is licensed and insured for this car"
                    ),
                ),
                (
                    "not_done_because",
                    models.CharField(blank=True, max_length=300, verbose_name="not done, because"),
                ),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_roadtest_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("driver__isnull", False),
                                ("licence_and_insurance", True),
                                ("not_done_because", ""),
                                models.Q(("driven", ""), _negated=True),
                                models.Q(("found", ""), _negated=True),
                            ),
                            models.Q(
                                models.Q(("not_done_because", ""), _negated=True),
                                ("distance_km", None),
                                ("driven", ""),
                                ("driver", None),
                                ("found", ""),
                            ),
                            _connector="OR",
                        ),
                        name="road_test_driven_or_says_why_not",
                        violation_error_message="Say who drove, what was driven and what was found, or why there was none.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("distance_unit__in", ["km", "mi", ""]),
                            models.Q(
                                models.Q(("distance_km", None), ("distance_unit", "")),
                                models.Q(
                                    ("distance_km__gt", 0),
                                    ("distance_km__isnull", False),
                                    models.Q(("distance_unit", ""), _negated=True),
                                ),
                                _connector="OR",
                            ),
                        ),
                        name="road_test_distance_has_a_unit",
                        violation_error_code="field:distance",
                        violation_error_message="A distance driven is above 0 and has a unit.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="FinalCheck",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="final_checks",
                        to="jobs.job",
                    ),
                ),
                ("new_damage", models.TextField(verbose_name="damage that was not there at check-in")),
                ("tools_complete", models.BooleanField(verbose_name="all tools are accounted for")),
                (
                    "parts_complete",
                    models.BooleanField(verbose_name="all parts of the car are back or accounted for"),
                ),
                ("note", models.TextField(blank=True)),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_finalcheck_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("new_damage", ""), _negated=True),
                        name="final_check_says_damage",
                        violation_error_code="field:new_damage",
                        violation_error_message="Describe the new damage, or write that there is none.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("parts_complete", True), ("tools_complete", True)),
                            models.Q(("note", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="final_check_says_what_is_missing",
                        violation_error_code="field:note",
                        violation_error_message="Say what is missing and where it may be.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="TorqueReading",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "run",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="readings", to="jobs.run"
                    ),
                ),
                (
                    "step",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="readings",
                        to="jobs.procedurestep",
                    ),
                ),
                (
                    "stage",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="readings",
                        to="jobs.procedurestage",
                    ),
                ),
                ("fastener", models.PositiveSmallIntegerField()),
                ("order", models.PositiveIntegerField()),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("clicked", "Clicked at the set value"),
                            ("did_not_move", "Clicked at once, did not move"),
                            ("read", "Read on a dial or display"),
                            ("angle", "Turned through an angle"),
                            ("loosened", "Loosened"),
                            ("result", "Measured result"),
                        ],
                        max_length=12,
                    ),
                ),
                ("typed", models.DecimalField(blank=True, decimal_places=3, max_digits=10, null=True)),
                ("unit", models.CharField(blank=True, max_length=6)),
                ("value", models.DecimalField(blank=True, decimal_places=6, max_digits=14, null=True)),
                (
                    "running_torque",
                    models.DecimalField(blank=True, decimal_places=6, max_digits=14, null=True),
                ),
                (
                    "tool",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="readings",
                        to="workshop.torquetool",
                    ),
                ),
                (
                    "calibration",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="readings",
                        to="workshop.calibration",
                    ),
                ),
                (
                    "angle_by",
                    models.CharField(
                        blank=True,
                        choices=[("gauge", "Angle gauge"), ("paint_mark", "Paint mark")],
                        max_length=10,
                    ),
                ),
                ("limit_low", models.DecimalField(blank=True, decimal_places=6, max_digits=14, null=True)),
                ("limit_high", models.DecimalField(blank=True, decimal_places=6, max_digits=14, null=True)),
                ("deviation_percent", models.DecimalField(decimal_places=2, default=0, max_digits=4)),
                (
                    "rule",
                    models.CharField(
                        choices=[
                            ("guarded", "With the tool's permissible deviation taken off (ISO 14253-1)"),
                            ("plain", "Plain acceptance: the reading alone"),
                        ],
                        max_length=8,
                    ),
                ),
                (
                    "verdict",
                    models.CharField(
                        choices=[
                            ("within", "Within"),
                            ("below", "Below"),
                            ("above", "Above"),
                            ("not_proven", "Not proven by this tool"),
                            ("no_limit", "Recorded"),
                        ],
                        max_length=10,
                    ),
                ),
                ("counts_not_because", models.CharField(blank=True, max_length=300)),
                ("out_of_sequence", models.BooleanField(default=False)),
                (
                    "entered_together",
                    models.BooleanField(default=False, verbose_name="entered together with others"),
                ),
                (
                    "redo_reason",
                    models.CharField(blank=True, max_length=200, verbose_name="why it was done again"),
                ),
                (
                    "qualified",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.competence",
                    ),
                ),
            ],
            options={
                "ordering": ["run", "order"],
                "abstract": False,
                "indexes": [
                    models.Index(fields=["run", "step", "stage", "fastener"], name="reading_of_a_fastener")
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_torquereading_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(fields=("run", "order"), name="readings_are_in_order"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("kind__in", ["clicked", "did_not_move", "read", "angle", "loosened", "result"])
                        ),
                        name="reading_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("verdict__in", ["within", "below", "above", "not_proven", "no_limit"])
                        ),
                        name="reading_verdict_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("rule__in", ["guarded", "plain"])), name="reading_rule_is_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("fastener__gte", 1)), name="reading_names_a_fastener"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "loosened"), ("typed", None), ("unit", ""), ("value", None)),
                            models.Q(
                                models.Q(("kind", "loosened"), _negated=True),
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
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind__in", ["clicked", "read", "did_not_move"]), _negated=True),
                            ("tool__isnull", False),
                            _connector="OR",
                        ),
                        name="torque_reading_names_its_tool",
                        violation_error_code="field:tool",
                        violation_error_message="Choose the torque tool.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "angle"), _negated=True),
                            models.Q(("angle_by", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="angle_reading_says_how",
                        violation_error_code="field:angle_by",
                        violation_error_message="Say whether the angle was read on a gauge or by a paint mark.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="NewFasteners",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "run",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="new_fasteners",
                        to="jobs.run",
                    ),
                ),
                (
                    "step",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="jobs.procedurestep"
                    ),
                ),
                ("what", models.CharField(max_length=200, verbose_name="which fasteners, from where")),
            ],
            options={
                "verbose_name_plural": "new fasteners",
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_newfasteners_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("what", ""), _negated=True), name="new_fasteners_say_which"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SecondCheck",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "run",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="second_checks",
                        to="jobs.run",
                    ),
                ),
                (
                    "step",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="second_checks",
                        to="jobs.procedurestep",
                    ),
                ),
                (
                    "method",
                    models.CharField(
                        choices=[
                            ("witnessed", "Witnessed the tightening"),
                            ("applied_again", "Torque applied again"),
                            ("mark_sighted", "Witness mark sighted"),
                            ("measured", "Measured"),
                        ],
                        max_length=14,
                    ),
                ),
                (
                    "result",
                    models.CharField(
                        choices=[("in_order", "In order"), ("not_in_order", "Not in order")],
                        default="in_order",
                        max_length=12,
                    ),
                ),
                ("found", models.CharField(blank=True, max_length=300, verbose_name="what was found")),
                (
                    "tool",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.torquetool",
                    ),
                ),
                (
                    "after_reading",
                    models.PositiveIntegerField(verbose_name="readings of the run when it was made"),
                ),
                (
                    "alone_because",
                    models.CharField(
                        blank=True, max_length=200, verbose_name="nobody else was there, because"
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=200)),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_secondcheck_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("method__in", ["witnessed", "applied_again", "mark_sighted", "measured"])
                        ),
                        name="check_method_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("result__in", ["in_order", "not_in_order"])),
                        name="check_result_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("found", ""), ("result", "in_order")),
                            models.Q(("result", "not_in_order"), models.Q(("found", ""), _negated=True)),
                            _connector="OR",
                        ),
                        name="failed_check_says_what_was_found",
                        violation_error_code="field:found",
                        violation_error_message="Say what was found that is not in order.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("method__in", ["applied_again", "measured"]), _negated=True),
                            ("tool__isnull", False),
                            _connector="OR",
                        ),
                        name="check_by_hand_names_its_tool",
                        violation_error_code="field:tool",
                        violation_error_message="Choose the tool that it was checked with.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("alone_because", ""),
                            models.Q(("method", "witnessed"), _negated=True),
                            _connector="OR",
                        ),
                        name="nobody_witnesses_alone",
                        violation_error_code="field:method",
                        violation_error_message="Who is alone can't witness the tightening: choose another method.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Disposition",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
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
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "reading",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="dispositions",
                        to="jobs.torquereading",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("redone", "Loosened and redone from the first stage"),
                            ("replaced", "Fastener replaced and redone from the first stage"),
                            ("accepted", "Accepted by the lead with the maker's source"),
                            ("accepted_unproven", "Accepted as not proven, with a reason"),
                        ],
                        max_length=18,
                    ),
                ),
                ("source", models.CharField(blank=True, max_length=200, verbose_name="maker's source")),
                ("reason", models.CharField(max_length=300)),
                (
                    "after_reading",
                    models.PositiveIntegerField(
                        editable=False, verbose_name="readings of the run when it was made"
                    ),
                ),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="jobs_disposition_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("kind__in", ["redone", "replaced", "accepted", "accepted_unproven"])
                        ),
                        name="disposition_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("reason", ""), _negated=True),
                        name="disposition_says_why",
                        violation_error_code="field:reason",
                        violation_error_message="Give the reason.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "accepted"), _negated=True),
                            models.Q(("source", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="accepted_above_names_its_source",
                        violation_error_code="field:source",
                        violation_error_message="Name the maker's source that allows it.",
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="job",
            name="comeback_of",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="comebacks",
                to="jobs.workline",
            ),
        ),
        migrations.AddField(
            model_name="job",
            name="comeback_run",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="comebacks",
                to="jobs.run",
            ),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.CheckConstraint(
                condition=models.Q(("comeback_run", None), ("comeback_of__isnull", False), _connector="OR"),
                name="comeback_run_has_its_line",
            ),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("comeback_judged_by", None), ("comeback_judgement", "")),
                    models.Q(
                        ("comeback_judged_by__isnull", False),
                        ("comeback_of__isnull", False),
                        models.Q(("comeback_judgement", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="comeback_is_judged_in_words",
                violation_error_code="field:judgement",
                violation_error_message="Say what the comeback turned out to be.",
            ),
        ),
    ]
