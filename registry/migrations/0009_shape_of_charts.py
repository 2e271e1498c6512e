"""Charts of the same shape are found by a column, not by reading all of them."""

import hashlib
import json

from django.db import migrations, models


def fill(apps, schema_editor):
    for chart in apps.get_model("registry", "CurrentChart").objects.select_related("revision").iterator():
        content = json.loads(bytes(chart.revision.content))
        shape = [content["positions"], content["pins"], content["common"]]
        chart.shape_key = hashlib.sha256(json.dumps(shape).encode()).hexdigest()[:32]
        chart.save(update_fields=["shape_key"])


class Migration(migrations.Migration):

    dependencies = [
        ("registry", "0008_job_records"),
    ]

    operations = [
        migrations.AddField(
            model_name="currentchart",
            name="shape_key",
            field=models.CharField(db_index=True, default="", max_length=32),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop, elidable=True),
    ]
