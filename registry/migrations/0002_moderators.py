"""The one role beyond having an account."""

from django.db import migrations


def make_group(apps, schema_editor):
    apps.get_model("auth", "Group").objects.get_or_create(name="moderators")


class Migration(migrations.Migration):
    dependencies = [("registry", "0001_initial"), ("auth", "0012_alter_user_first_name_max_length")]
    operations = [migrations.RunPython(make_group, migrations.RunPython.noop)]
