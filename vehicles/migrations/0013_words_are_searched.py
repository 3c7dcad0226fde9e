import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("vehicles", "0012_share_links"),
        ("workshop", "__first__"),
    ]

    operations = [
        migrations.CreateModel(
            name="WordsDue",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("kind", models.CharField(max_length=60)),
                ("record", models.CharField(max_length=40)),
                ("new", models.BooleanField()),
            ],
            options={
                "verbose_name_plural": "words due",
            },
        ),
        migrations.CreateModel(
            name="Words",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("subject_kind", models.CharField(max_length=60)),
                ("subject_id", models.CharField(max_length=40)),
                ("part", models.CharField(blank=True, max_length=16)),
                ("at", models.DateTimeField()),
                ("kind", models.CharField(max_length=16)),
                ("system", models.CharField(blank=True, max_length=14)),
                ("severity", models.CharField(blank=True, max_length=10)),
                ("title", models.CharField(max_length=200)),
                ("url", models.CharField(max_length=200)),
                ("text", models.TextField()),
                ("folded", models.TextField()),
                (
                    "person",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="vehicles.vehicle",
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "words",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("subject_kind", "subject_id", "part"), name="words_of_a_record_stand_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("text", ""), _negated=True), name="words_are_not_empty"
                    ),
                ],
            },
        ),
    ]
