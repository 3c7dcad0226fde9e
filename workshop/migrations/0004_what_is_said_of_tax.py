from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("workshop", "0003_events_found_by_day_person_and_device"),
    ]

    operations = [
        migrations.AddField(
            model_name="shop",
            name="tax_note",
            field=models.CharField(
                blank=True,
                help_text="Printed under the prices of a sheet as it stands here, such as “Amounts contain 19 % tax.” The app computes no tax.",
                max_length=120,
                verbose_name="said of tax beside prices",
            ),
        ),
    ]
