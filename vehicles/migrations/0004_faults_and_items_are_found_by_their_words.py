import unicodedata

from django.db import migrations, models


def _folded(text):
    """As `vehicles.folding.folded` was when this was written: a migration does not change with it."""
    parts = unicodedata.normalize("NFKD", text.casefold())
    return " ".join("".join(char for char in parts if not unicodedata.combining(char)).split())


def fill(apps, schema_editor):
    for name in ("Fault", "OutstandingItem"):
        rows = apps.get_model("vehicles", name).objects.using(schema_editor.connection.alias)
        for row in rows.filter(search_text="").iterator():
            rows.filter(pk=row.pk).update(search_text=_folded(row.title))


class Migration(migrations.Migration):
    dependencies = [
        ("vehicles", "0003_what_else_it_could_be"),
        ("workshop", "0001_initial"),
    ]

    operations = [
        migrations.AddField(
            model_name="fault",
            name="search_text",
            field=models.TextField(blank=True, editable=False),
        ),
        migrations.AddField(
            model_name="outstandingitem",
            name="search_text",
            field=models.TextField(blank=True, editable=False),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
