from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("workshop", "0004_what_is_said_of_tax"),
    ]

    operations = [
        migrations.CreateModel(
            name="Erasing",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("needle", models.TextField()),
                ("instead", models.CharField(max_length=8)),
            ],
            options={
                "verbose_name_plural": "words being erased",
            },
        ),
    ]
