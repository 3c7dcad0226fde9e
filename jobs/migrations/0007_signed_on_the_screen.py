import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0006_values_name_their_source"),
        ("vehicles", "0002_what_jobs_did_to_parts_faults_and_items"),
        ("workshop", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="SignatureInk",
            fields=[
                (
                    "sign_off",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="ink",
                        serialize=False,
                        to="jobs.signoff",
                    ),
                ),
                ("lines", models.TextField(blank=True)),
                ("erased_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "verbose_name_plural": "signature ink",
            },
        ),
        migrations.AddField(
            model_name="signoff",
            name="ink_hash",
            field=models.CharField(blank=True, max_length=64),
        ),
        migrations.AddConstraint(
            model_name="signoff",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("method", "glass"), models.Q(("ink_hash", ""), _negated=True)),
                    models.Q(models.Q(("method", "glass"), _negated=True), ("ink_hash", "")),
                    _connector="OR",
                ),
                name="signed_on_the_screen_has_ink",
                violation_error_message="A signature on the screen is drawn; every other one is not.",
            ),
        ),
        migrations.AddConstraint(
            model_name="signatureink",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("erased_at", None), models.Q(("lines", ""), _negated=True)),
                    models.Q(("erased_at__isnull", False), ("lines", "")),
                    _connector="OR",
                ),
                name="erased_ink_holds_nothing",
            ),
        ),
    ]
