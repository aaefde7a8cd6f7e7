from collections.abc import Mapping
from typing import Any

from django.db import migrations, models

from inventory.migrations._append_only import laying, lifting, on_tables

TABLE = "kitting_event"
NEW: Mapping[str, "models.Field[Any, Any]"] = {
    "device": models.CharField(max_length=120, blank=True, default=""),
    "device_at": models.DateTimeField(null=True, blank=True),
    "clock_behind_s": models.BigIntegerField(null=True, blank=True),
    "is_offline": models.BooleanField(default=False),
    "zone": models.CharField(max_length=60, blank=True, default=""),
    "rule_book": models.TextField(blank=True, default=""),
}


class Migration(migrations.Migration):
    dependencies = [("kitting", "0022_loans")]

    operations = [
        migrations.RunPython(on_tables(lifting, TABLE), on_tables(laying, TABLE)),
        *(migrations.AddField(model_name="event", name=name, field=field) for name, field in NEW.items()),
        migrations.RunPython(on_tables(laying, TABLE), on_tables(lifting, TABLE)),
    ]
