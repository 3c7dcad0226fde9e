from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("workshop", "0002_devices_and_competences_end_with_a_reason"),
    ]

    operations = [
        migrations.AddIndex(
            model_name="event",
            index=models.Index(fields=["received_at"], name="event_by_day"),
        ),
        migrations.AddIndex(
            model_name="event",
            index=models.Index(fields=["device", "seq"], name="event_of_device"),
        ),
        migrations.AddIndex(
            model_name="event",
            index=models.Index(fields=["person", "seq"], name="event_of_person"),
        ),
        migrations.AddIndex(
            model_name="submission",
            index=models.Index(fields=["content_hash", "received_at"], name="submission_same_content"),
        ),
    ]
