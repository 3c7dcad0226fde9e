import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0001_initial"),
        ("vehicles", "0002_what_jobs_did_to_parts_faults_and_items"),
        ("workshop", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Damage",
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
                    "order",
                    models.PositiveIntegerField(editable=False, verbose_name="number of the car's damages"),
                ),
                ("where", models.CharField(max_length=120, verbose_name="where on the car")),
                ("what", models.TextField(verbose_name="what happened, and what is to be seen")),
                ("happened_at", models.DateTimeField(blank=True, null=True, verbose_name="when it happened")),
                (
                    "settled",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("repaired", "Repaired at the shop's cost"),
                            ("compensated", "Compensated"),
                            ("accepted", "The owner leaves it as it is"),
                            ("there_before", "It was there when the car came in"),
                        ],
                        editable=False,
                        max_length=12,
                    ),
                ),
                ("settled_words", models.TextField(blank=True, editable=False, verbose_name="how, in words")),
                ("settled_at", models.DateTimeField(editable=False, null=True)),
                (
                    "at_the_car",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                        verbose_name="who was working there",
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
                    "found_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                        verbose_name="who saw it first",
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="damages", to="jobs.job"
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
                    "settled_by",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "settled_line",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="damages",
                        to="jobs.workline",
                    ),
                ),
                (
                    "settled_with",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.keeper",
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="damages",
                        to="vehicles.vehicle",
                    ),
                ),
            ],
            options={
                "ordering": ["vehicle", "order"],
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="DamageTelling",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
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
                        verbose_name="how",
                    ),
                ),
                ("told", models.TextField(verbose_name="in what words")),
                ("answered", models.CharField(blank=True, max_length=300, verbose_name="what they said")),
                (
                    "damage",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="tellings", to="jobs.damage"
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
                    "told_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                        verbose_name="who told them",
                    ),
                ),
                (
                    "told_to",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="vehicles.keeper"
                    ),
                ),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
            },
        ),
        migrations.AddConstraint(
            model_name="damage",
            constraint=models.CheckConstraint(
                condition=models.Q(("made_at__lte", models.F("received_at"))),
                name="jobs_damage_made_before_arrival",
                violation_error_message="The time this was done lies in the future. Check the clock of this device.",
            ),
        ),
        migrations.AddConstraint(
            model_name="damage",
            constraint=models.UniqueConstraint(
                fields=("vehicle", "order"), name="damages_are_numbered_per_car"
            ),
        ),
        migrations.AddConstraint(
            model_name="damage",
            constraint=models.CheckConstraint(
                condition=models.Q(("what", ""), _negated=True),
                name="damage_says_what",
                violation_error_code="field:what",
                violation_error_message="Say what happened and what is to be seen.",
            ),
        ),
        migrations.AddConstraint(
            model_name="damage",
            constraint=models.CheckConstraint(
                condition=models.Q(("where", ""), _negated=True),
                name="damage_says_where",
                violation_error_code="field:where",
                violation_error_message="Say where on the car.",
            ),
        ),
        migrations.AddConstraint(
            model_name="damage",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("settled__in", ["repaired", "compensated", "accepted", "there_before", ""])
                ),
                name="damage_settled_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="damage",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("settled", ""),
                        ("settled_at", None),
                        ("settled_by", None),
                        ("settled_words", ""),
                        ("settled_line", None),
                        ("settled_with", None),
                    ),
                    models.Q(
                        ("settled_at__isnull", False),
                        ("settled_by__isnull", False),
                        models.Q(("settled", ""), _negated=True),
                        models.Q(("settled_words", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="settled_damage_says_how",
                violation_error_code="field:words",
                violation_error_message="Say how it was settled.",
            ),
        ),
        migrations.AddConstraint(
            model_name="damage",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("settled", "repaired"), _negated=True),
                    ("settled_line__isnull", False),
                    _connector="OR",
                ),
                name="repaired_damage_names_the_line",
                violation_error_code="field:line",
                violation_error_message="Choose the work line on which it was repaired.",
            ),
        ),
        migrations.AddConstraint(
            model_name="damage",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("settled__in", ["compensated", "accepted"]), _negated=True),
                    ("settled_with__isnull", False),
                    _connector="OR",
                ),
                name="agreed_damage_names_with_whom",
                violation_error_code="field:agreed_with",
                violation_error_message="Say with whom it was agreed.",
            ),
        ),
        migrations.AddConstraint(
            model_name="damagetelling",
            constraint=models.CheckConstraint(
                condition=models.Q(("made_at__lte", models.F("received_at"))),
                name="jobs_damagetelling_made_before_arrival",
                violation_error_message="The time this was done lies in the future. Check the clock of this device.",
            ),
        ),
        migrations.AddConstraint(
            model_name="damagetelling",
            constraint=models.CheckConstraint(
                condition=models.Q(("channel__in", ["in_person", "phone", "message", "letter", "account"])),
                name="damage_telling_channel_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="damagetelling",
            constraint=models.CheckConstraint(
                condition=models.Q(("told", ""), _negated=True), name="damage_telling_says_what"
            ),
        ),
    ]
