import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("workshop", "0007_enrolled_tablets"),
    ]

    operations = [
        migrations.CreateModel(
            name="OneTimePass",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "way",
                    models.CharField(
                        choices=[("counter", "Shown at the counter"), ("mail", "Sent by e-mail")],
                        max_length=8,
                    ),
                ),
                ("token_hash", models.CharField(editable=False, max_length=64, unique=True)),
                ("code_hash", models.CharField(blank=True, editable=False, max_length=64)),
                ("expires_at", models.DateTimeField()),
                ("used_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("voided_at", models.DateTimeField(blank=True, editable=False, null=True)),
                (
                    "voided_because",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("newer", "A newer one took its place"),
                            ("ended", "Ended by the workshop"),
                            ("not_sent", "It could not be sent"),
                            ("erased", "The person was erased"),
                            ("closed", "The account was closed"),
                            ("no_car", "They have no car here any more"),
                        ],
                        editable=False,
                        max_length=8,
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
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="passes",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "used_on",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "one-time passes",
                "ordering": ["-made_at"],
                "abstract": False,
                "indexes": [models.Index(fields=["person", "-made_at"], name="passes_of_a_person")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="workshop_onetimepass_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("way__in", ["counter", "mail"])), name="pass_way_is_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "voided_because__in",
                                ["newer", "ended", "not_sent", "erased", "closed", "no_car", ""],
                            )
                        ),
                        name="pass_end_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("token_hash", ""), _negated=True), name="pass_has_a_token"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("expires_at__gt", models.F("received_at"))),
                        name="pass_lasts_a_while",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("voided_at", None), ("voided_because", "")),
                            models.Q(
                                ("voided_at__isnull", False), models.Q(("voided_because", ""), _negated=True)
                            ),
                            _connector="OR",
                        ),
                        name="voided_pass_says_why",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("used_at", None), ("used_on", None)),
                            models.Q(("used_at__isnull", False), ("used_at__lte", models.F("expires_at"))),
                            _connector="OR",
                        ),
                        name="pass_used_before_it_expires",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("code_hash", ""), _negated=True),
                        fields=("code_hash",),
                        name="pass_code_is_of_one",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("used_at", None), ("voided_at", None)),
                        fields=("person",),
                        name="one_open_pass_for_a_person",
                    ),
                ],
            },
        ),
        migrations.RemoveConstraint(
            model_name="signintry",
            name="sign_in_try_is_known",
        ),
        migrations.AlterField(
            model_name="signintry",
            name="what",
            field=models.CharField(
                choices=[
                    ("password", "Password"),
                    ("pin", "PIN"),
                    ("code", "One-time code"),
                    ("link", "Asking for a one-time link"),
                ],
                default="password",
                max_length=8,
            ),
        ),
        migrations.AddConstraint(
            model_name="signintry",
            constraint=models.CheckConstraint(
                condition=models.Q(("what__in", ["password", "pin", "code", "link"])),
                name="sign_in_try_is_known",
            ),
        ),
    ]
