import django.db.models.deletion
from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.models import OuterRef, Subquery


def at_the_depot_of_the_job(apps: Apps, _: BaseDatabaseSchemaEditor) -> None:
    """Until now every bag was staged at the depot of its job."""
    promises, jobs = apps.get_model("kitting", "Promise"), apps.get_model("jobs", "Job")
    promises.objects.update(depot=Subquery(jobs.objects.filter(pk=OuterRef("job")).values("depot")[:1]))


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0010_price_breaks"),
        ("jobs", "0003_feeder_and_owner"),
        ("kitting", "0025_pictures"),
    ]

    operations = [
        migrations.CreateModel(
            name="BagDepot",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "depot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bag_depots", to="inventory.depot"
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bag_depots", to="jobs.job"
                    ),
                ),
                (
                    "structure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bag_depots", to="jobs.structure"
                    ),
                ),
            ],
            options={
                "constraints": [models.UniqueConstraint(fields=("job", "structure"), name="bag_depot_once_a_location")],
            },
        ),
        migrations.AddField(
            model_name="promise",
            name="depot",
            field=models.CharField(default="", max_length=100),
            preserve_default=False,
        ),
        migrations.RunPython(at_the_depot_of_the_job, migrations.RunPython.noop),
    ]
