import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("workshop", "0006_pins"),
    ]

    operations = [
        migrations.AddField(
            model_name="device",
            name="enrolled_at",
            field=models.DateTimeField(blank=True, editable=False, null=True),
        ),
        migrations.AddField(
            model_name="device",
            name="enrolled_by",
            field=models.ForeignKey(
                blank=True,
                editable=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="device",
            name="lock_minutes",
            field=models.PositiveSmallIntegerField(default=5, verbose_name="locks itself after"),
        ),
        migrations.AddConstraint(
            model_name="device",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("enrolled_at", None), ("enrolled_by", None)),
                    models.Q(("enrolled_at__isnull", False), ("enrolled_by__isnull", False)),
                    _connector="OR",
                ),
                name="enrolled_device_says_by_whom",
            ),
        ),
        migrations.AddConstraint(
            model_name="device",
            constraint=models.CheckConstraint(
                condition=models.Q(("lock_minutes__gte", 1), ("lock_minutes__lte", 60)),
                name="device_locks_after_1_to_60_minutes",
                violation_error_code="field:lock_minutes",
                violation_error_message="Give 1 to 60 minutes.",
            ),
        ),
    ]
