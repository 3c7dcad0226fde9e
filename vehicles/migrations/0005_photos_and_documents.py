import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0002_damage_done_in_the_shop"),
        ("vehicles", "0004_faults_and_items_are_found_by_their_words"),
        ("workshop", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Attachment",
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
                            ("photo", "Photo"),
                            ("document", "Document"),
                            ("signed_paper", "Signed paper"),
                        ],
                        default="photo",
                        max_length=12,
                    ),
                ),
                ("caption", models.CharField(blank=True, max_length=200, verbose_name="what it shows")),
                (
                    "moment",
                    models.CharField(
                        blank=True,
                        choices=[("before", "Before the work"), ("after", "After the work")],
                        max_length=6,
                        verbose_name="before or after",
                    ),
                ),
                (
                    "occasion",
                    models.CharField(
                        blank=True,
                        choices=[("check_in", "At check-in"), ("before_handover", "Before handover")],
                        max_length=15,
                    ),
                ),
                (
                    "angle",
                    models.CharField(
                        blank=True,
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
                ("media_type", models.CharField(editable=False, max_length=20)),
                ("file", models.CharField(db_index=True, editable=False, max_length=64)),
                ("thumb", models.CharField(blank=True, editable=False, max_length=64)),
                ("size", models.PositiveIntegerField(editable=False, verbose_name="bytes")),
                ("width", models.PositiveIntegerField(editable=False, null=True)),
                ("height", models.PositiveIntegerField(editable=False, null=True)),
                (
                    "order_sent",
                    models.PositiveSmallIntegerField(
                        editable=False, verbose_name="place among the files sent together"
                    ),
                ),
                (
                    "taken_at",
                    models.DateTimeField(
                        editable=False, null=True, verbose_name="taken, by the camera's clock"
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
                ("set_aside_because", models.CharField(blank=True, editable=False, max_length=200)),
                ("set_aside_at", models.DateTimeField(editable=False, null=True)),
                ("erased_because", models.CharField(blank=True, editable=False, max_length=200)),
                ("erased_at", models.DateTimeField(editable=False, null=True)),
                (
                    "damage",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attachments",
                        to="jobs.damage",
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
                    "erased_by",
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
                        related_name="attachments",
                        to="vehicles.fault",
                    ),
                ),
                (
                    "item",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attachments",
                        to="vehicles.outstandingitem",
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attachments",
                        to="jobs.job",
                    ),
                ),
                (
                    "line",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attachments",
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
                        related_name="attachments",
                        to="vehicles.fittedpart",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attachments",
                        to="vehicles.place",
                    ),
                ),
                (
                    "run",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attachments",
                        to="jobs.run",
                    ),
                ),
                (
                    "set_aside_by",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "sheet",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attachments",
                        to="jobs.sheetrevision",
                    ),
                ),
                (
                    "survey",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attachments",
                        to="vehicles.survey",
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attachments",
                        to="vehicles.vehicle",
                    ),
                ),
            ],
            options={
                "ordering": ["made_at", "received_at", "order_sent", "pk"],
                "abstract": False,
                "indexes": [models.Index(fields=["vehicle", "made_at"], name="attachment_of_vehicle")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_attachment_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(fields=("key", "order_sent"), name="attachment_is_sent_once"),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["photo", "document", "signed_paper"])),
                        name="attachment_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("moment__in", ["before", "after", ""])),
                        name="attachment_moment_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("angle", ""), ("occasion", "")),
                            models.Q(
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
                                ("job__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="attachment_angle_has_job_and_occasion",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
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
                                    "",
                                ],
                            )
                        ),
                        name="attachment_position_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("height__gt", 0),
                                ("height__isnull", False),
                                ("media_type", "image/jpeg"),
                                ("width__gt", 0),
                                ("width__isnull", False),
                                models.Q(("thumb", ""), _negated=True),
                            ),
                            models.Q(
                                ("height", None),
                                ("media_type", "application/pdf"),
                                ("thumb", ""),
                                ("width", None),
                                models.Q(("kind", "photo"), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="attachment_is_picture_or_pdf",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(models.Q(("file", ""), _negated=True), ("size__gt", 0)),
                        name="attachment_has_a_file",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "document"), _negated=True),
                            models.Q(("caption", ""), _negated=True),
                            ("erased_at__isnull", False),
                            _connector="OR",
                        ),
                        name="document_says_what_it_is",
                        violation_error_code="field:caption",
                        violation_error_message="Say what the document is: “weighbridge ticket”, “build record”.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("sheet", None), models.Q(("kind", "signed_paper"), _negated=True)),
                            models.Q(("kind", "signed_paper"), ("sheet__isnull", False)),
                            _connector="OR",
                        ),
                        name="signed_paper_is_of_a_sheet",
                        violation_error_message="A signed paper belongs to the sheet that was printed on it.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("taken_at", None), ("taken_at__lte", models.F("received_at")), _connector="OR"
                        ),
                        name="attachment_taken_before_it_arrived",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("set_aside_at", None), ("set_aside_because", ""), ("set_aside_by", None)
                            ),
                            models.Q(
                                ("set_aside_at__isnull", False),
                                ("set_aside_by__isnull", False),
                                models.Q(("set_aside_because", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="attachment_set_aside_says_why",
                        violation_error_code="field:because",
                        violation_error_message="Say why it is set aside.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("erased_at", None), ("erased_because", ""), ("erased_by", None)),
                            models.Q(
                                ("caption", ""),
                                ("erased_at__isnull", False),
                                ("erased_by__isnull", False),
                                models.Q(("erased_because", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="attachment_erased_says_why",
                        violation_error_code="field:because",
                        violation_error_message="Say why it is erased.",
                    ),
                ],
            },
        ),
    ]
