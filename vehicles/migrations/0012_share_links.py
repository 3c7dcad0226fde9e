import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import vehicles.models.share


class Migration(migrations.Migration):
    dependencies = [
        ("vehicles", "0011_numbered_prints"),
        ("workshop", "__first__"),
    ]

    operations = [
        migrations.CreateModel(
            name="Share",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("token_hash", models.CharField(editable=False, max_length=64, unique=True)),
                ("label", models.CharField(max_length=80, verbose_name="who it is for")),
                (
                    "shows",
                    models.JSONField(
                        default=list,
                        validators=[vehicles.models.share.check_shows],
                        verbose_name="what it shows",
                    ),
                ),
                (
                    "since",
                    models.DateField(blank=True, null=True, verbose_name="of a keeper's time only from"),
                ),
                ("until", models.DateField(blank=True, null=True, verbose_name="nothing after")),
                ("days", models.PositiveSmallIntegerField(default=30, verbose_name="days it opens")),
                ("valid_until", models.DateField(editable=False, verbose_name="opens until the end of")),
                ("revoked_at", models.DateTimeField(blank=True, editable=False, null=True)),
                (
                    "revoked_because",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("ended", "Ended by hand"),
                            ("hands", "The car changed hands"),
                            ("erased", "The person was erased"),
                        ],
                        editable=False,
                        max_length=6,
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
                    "made_for",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="shares",
                        to="vehicles.keeper",
                    ),
                ),
                (
                    "revoked_by",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="shares",
                        to="vehicles.vehicle",
                    ),
                ),
            ],
            options={
                "verbose_name": "share link",
                "ordering": ["-made_at"],
                "abstract": False,
                "indexes": [
                    models.Index(fields=["vehicle", "revoked_at", "valid_until"], name="share_of_vehicle")
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_share_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("token_hash", ""), _negated=True), name="share_has_a_token"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("label", ""), _negated=True),
                        name="share_says_who_for",
                        violation_error_code="field:label",
                        violation_error_message="Say who it is for, such as “for the buyer”: you will know it by that.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("days__gte", 1), ("days__lte", 365)),
                        name="share_lasts_a_while",
                        violation_error_code="field:days",
                        violation_error_message="Give 1 to 365 days.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("since", None),
                            ("until", None),
                            ("until__gte", models.F("since")),
                            _connector="OR",
                        ),
                        name="share_ends_after_it_begins",
                        violation_error_code="field:until",
                        violation_error_message="Costs and papers would begin after that day: give a later one.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("revoked_because__in", ["ended", "hands", "erased", ""])),
                        name="share_end_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("revoked_at", None), ("revoked_because", ""), ("revoked_by", None)),
                            models.Q(
                                ("revoked_at__isnull", False),
                                ("revoked_by__isnull", False),
                                models.Q(("revoked_because", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="ended_share_says_who_and_why",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ShareOpening",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("hour", models.DateTimeField()),
                (
                    "what",
                    models.CharField(
                        choices=[
                            ("account", "The account"),
                            ("photo", "A photo"),
                            ("paper", "A handover sheet"),
                        ],
                        max_length=7,
                    ),
                ),
                (
                    "opened_on",
                    models.CharField(
                        choices=[
                            ("phone", "Phone"),
                            ("tablet", "Tablet"),
                            ("computer", "Computer"),
                            ("program", "A program, such as a messenger's preview"),
                            ("other", "Something else"),
                        ],
                        max_length=8,
                    ),
                ),
                ("device", models.CharField(blank=True, max_length=40)),
                ("count", models.PositiveIntegerField(default=1)),
                ("first_at", models.DateTimeField()),
                ("last_at", models.DateTimeField()),
                (
                    "share",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="openings",
                        to="vehicles.share",
                    ),
                ),
            ],
            options={
                "verbose_name": "opening of a share link",
                "ordering": ["-last_at", "-pk"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("share", "hour", "what", "device"), name="share_opening_counts_by_the_hour"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("what__in", ["account", "photo", "paper"])),
                        name="share_opening_is_of_a_kind",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("opened_on__in", ["phone", "tablet", "computer", "program", "other"])
                        ),
                        name="share_opened_on_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("count__gte", 1), ("last_at__gte", models.F("first_at"))),
                        name="share_opening_was_counted",
                    ),
                ],
            },
        ),
    ]
