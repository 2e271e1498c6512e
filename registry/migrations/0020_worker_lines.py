from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("registry", "0019_second_voices")]

    operations = [
        migrations.AddField("workerbeat", "backend_pid", models.IntegerField(null=True)),
    ]
