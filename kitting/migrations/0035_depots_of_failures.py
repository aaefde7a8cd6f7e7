from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor


def name_depots(apps: Apps, _: BaseDatabaseSchemaEditor) -> None:
    """Name the depot of failures that are reported already: that of the job that fitted their place last."""
    failures, entries = apps.get_model("kitting", "Failure"), apps.get_model("kitting", "BagEntry")
    for failure in failures.objects.exclude(structure="").iterator():
        fitted = entries.objects.filter(deed="installed", line__bag__structure=failure.structure).order_by("-pk")
        failure.depot = fitted.values_list("line__bag__job__depot", flat=True).first() or ""
        failure.save(update_fields=["depot"])


class Migration(migrations.Migration):
    dependencies = [("kitting", "0034_scans_taken_back")]

    operations = [
        migrations.AddField(
            model_name="failure",
            name="depot",
            field=models.CharField(blank=True, default="", max_length=100),
            preserve_default=False,
        ),
        migrations.RunPython(name_depots, migrations.RunPython.noop),
    ]
