from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("api", "0001_initial")]

    operations = [
        migrations.AddField("keptanswer", "headers", models.JSONField(null=True)),
    ]
