from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("registry", "0018_clock_runs")]

    operations = [
        migrations.AddField("workerbeat", "backend_pid", models.IntegerField(null=True)),
    ]
