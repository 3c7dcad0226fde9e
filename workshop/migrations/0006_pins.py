import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("workshop", "0005_words_being_erased"),
    ]

    operations = [
        migrations.CreateModel(
            name="PinLock",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("locked_at", models.DateTimeField()),
                ("locked_until", models.DateTimeField()),
                ("count", models.PositiveSmallIntegerField()),
                ("told_at", models.DateTimeField(blank=True, editable=False, null=True)),
            ],
            options={
                "ordering": ["-locked_at"],
            },
        ),
        migrations.AddField(
            model_name="person",
            name="pin",
            field=models.CharField(blank=True, editable=False, max_length=128, verbose_name="PIN"),
        ),
        migrations.AddField(
            model_name="signintry",
            name="what",
            field=models.CharField(
                choices=[("password", "Password"), ("pin", "PIN")], default="password", max_length=8
            ),
        ),
        migrations.AddConstraint(
            model_name="person",
            constraint=models.CheckConstraint(
                condition=models.Q(("pin", ""), ("pin__contains", "$"), _connector="OR"),
                name="person_pin_is_a_hash",
            ),
        ),
        migrations.AddConstraint(
            model_name="signintry",
            constraint=models.CheckConstraint(
                condition=models.Q(("what__in", ["password", "pin"])), name="sign_in_try_is_known"
            ),
        ),
        migrations.AddField(
            model_name="pinlock",
            name="device",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="pin_locks",
                to="workshop.device",
            ),
        ),
        migrations.AddField(
            model_name="pinlock",
            name="person",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="pin_locks",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="pinlock",
            name="told_to",
            field=models.ForeignKey(
                blank=True,
                editable=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddIndex(
            model_name="pinlock",
            index=models.Index(fields=["person", "device", "locked_until"], name="pin_lock_lookup"),
        ),
        migrations.AddIndex(
            model_name="pinlock",
            index=models.Index(
                condition=models.Q(("told_at", None)), fields=["-locked_at"], name="pin_lock_untold"
            ),
        ),
        migrations.AddConstraint(
            model_name="pinlock",
            constraint=models.CheckConstraint(condition=models.Q(("count__gte", 1)), name="pin_lock_counts"),
        ),
        migrations.AddConstraint(
            model_name="pinlock",
            constraint=models.CheckConstraint(
                condition=models.Q(("locked_until__gte", models.F("locked_at"))),
                name="pin_lock_ends_after_it_begins",
            ),
        ),
        migrations.AddConstraint(
            model_name="pinlock",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("told_at", None), ("told_to", None)),
                    models.Q(
                        ("told_at__gte", models.F("locked_at")),
                        ("told_at__isnull", False),
                        ("told_to__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="pin_lock_says_who_was_told",
            ),
        ),
    ]
