import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


def give_a_reason(apps, schema_editor):
    devices = apps.get_model("workshop", "Device").objects.using(schema_editor.connection.alias)
    devices.filter(name="").update(name="Device without a name")
    devices.exclude(revoked_at=None).update(revoked_because="revoked before reasons were asked for")


class Migration(migrations.Migration):
    dependencies = [
        ("workshop", "0001_initial"),
    ]

    operations = [
        migrations.AlterModelOptions(
            name="competence",
            options={"ordering": ["person__name", "kind", "-valid_from"]},
        ),
        migrations.AddField(
            model_name="competence",
            name="withdrawn_because",
            field=models.CharField(blank=True, editable=False, max_length=200),
        ),
        migrations.AddField(
            model_name="competence",
            name="withdrawn_by",
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
            model_name="competence",
            name="withdrawn_on",
            field=models.DateField(blank=True, editable=False, null=True),
        ),
        migrations.AddField(
            model_name="device",
            name="revoked_because",
            field=models.CharField(blank=True, editable=False, max_length=200),
        ),
        migrations.AlterField(
            model_name="device",
            name="revoked_at",
            field=models.DateTimeField(blank=True, editable=False, null=True),
        ),
        migrations.RunPython(give_a_reason, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name="competence",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("withdrawn_because", ""), ("withdrawn_by", None), ("withdrawn_on", None)),
                    models.Q(
                        ("withdrawn_on__gte", models.F("valid_from")),
                        ("withdrawn_on__isnull", False),
                        ("withdrawn_by__isnull", False),
                        models.Q(("withdrawn_because", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="withdrawn_competence_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="device",
            constraint=models.CheckConstraint(
                condition=models.Q(("name", ""), _negated=True), name="device_has_a_name"
            ),
        ),
        migrations.AddConstraint(
            model_name="device",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("revoked_at", None), ("revoked_because", "")),
                    models.Q(("revoked_at__isnull", False), models.Q(("revoked_because", ""), _negated=True)),
                    _connector="OR",
                ),
                name="revoked_device_says_why",
            ),
        ),
        migrations.AlterConstraint(
            model_name="competence",
            name="competence_expires_after_it_begins",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("expires_on", None), ("expires_on__gte", models.F("valid_from")), _connector="OR"
                ),
                name="competence_expires_after_it_begins",
                violation_error_code="field:expires_on",
                violation_error_message="The certificate can't expire before it begins.",
            ),
        ),
    ]
