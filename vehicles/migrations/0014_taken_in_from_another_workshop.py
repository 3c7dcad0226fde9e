import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("vehicles", "0013_words_are_searched"),
        ("workshop", "__first__"),
    ]

    operations = [
        migrations.CreateModel(
            name="ArchiveImport",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("origin", models.CharField(max_length=60, verbose_name="came from")),
                (
                    "flavour",
                    models.CharField(
                        choices=[
                            ("workshop", "The next workshop: whole"),
                            ("owner", "The car's owner: without other people and their money"),
                        ],
                        max_length=8,
                        verbose_name="made for",
                    ),
                ),
                ("sha256", models.CharField(max_length=64, unique=True, verbose_name="SHA-256 of the file")),
                ("records", models.PositiveIntegerField()),
                ("events", models.PositiveIntegerField()),
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
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="archives_taken_in",
                        to="vehicles.vehicle",
                    ),
                ),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_archiveimport_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("flavour__in", ["workshop", "owner"])),
                        name="archive_flavour_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("origin", ""), _negated=True), name="archive_came_from_somewhere"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ForeignEvent",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("seq", models.BigIntegerField()),
                ("act", models.CharField(blank=True, max_length=80)),
                ("subject_kind", models.CharField(blank=True, max_length=60)),
                ("subject_id", models.CharField(blank=True, max_length=40)),
                ("body", models.TextField(blank=True)),
                ("previous_hash", models.CharField(max_length=64)),
                ("hash", models.CharField(max_length=64)),
                (
                    "archive",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="foreign_events",
                        to="vehicles.archiveimport",
                    ),
                ),
            ],
            options={
                "ordering": ["archive", "seq"],
                "indexes": [models.Index(fields=["act"], name="foreign_event_by_act")],
                "constraints": [
                    models.UniqueConstraint(fields=("archive", "seq"), name="foreign_event_stands_once")
                ],
            },
        ),
    ]
