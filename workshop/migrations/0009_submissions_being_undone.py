from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("workshop", "0008_one_time_passes"),
    ]

    operations = [
        migrations.CreateModel(
            name="Undoing",
            fields=[
                ("key", models.UUIDField(primary_key=True, serialize=False)),
            ],
            options={
                "verbose_name_plural": "submissions being undone",
            },
        ),
    ]
