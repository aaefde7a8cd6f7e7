import django.db.models.deletion
from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from inventory.migrations._append_only import laying, lifting, on_tables


def keep_answers(apps: Apps, _: BaseDatabaseSchemaEditor) -> None:
    """Keep the answers of the plans that were applied so far: their summaries hold them."""
    plans, answers = apps.get_model("kitting", "AppliedPlan"), apps.get_model("kitting", "JobReadiness")
    for plan in plans.objects.iterator():
        answers.objects.bulk_create(
            answers(
                plan=plan,
                job=one["job"],
                answer=one["answer"],
                deciding_line=one.get("deciding_line", ""),
                short=one.get("short_pieces", ""),
                staged_by=one.get("staged_by") or None,
            )
            for one in plan.summary.get("jobs", ())
        )


class Migration(migrations.Migration):
    dependencies = [
        ("kitting", "0015_stopped_errands"),
    ]

    operations = [
        migrations.CreateModel(
            name="JobReadiness",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("job", models.CharField(db_index=True, max_length=100)),
                ("answer", models.CharField(max_length=20)),
                ("deciding_line", models.CharField(blank=True, max_length=300)),
                ("short", models.TextField(blank=True)),
                ("staged_by", models.DateField(blank=True, null=True)),
                (
                    "plan",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="answers", to="kitting.appliedplan"
                    ),
                ),
            ],
            options={
                "constraints": [models.UniqueConstraint(fields=("plan", "job"), name="answer_once_a_plan_and_job")],
            },
        ),
        migrations.RunPython(on_tables(laying, "kitting_jobreadiness"), on_tables(lifting, "kitting_jobreadiness")),
        migrations.RunPython(keep_answers, migrations.RunPython.noop),
    ]
