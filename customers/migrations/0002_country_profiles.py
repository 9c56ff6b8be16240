from django.db import migrations


def lay_down(apps, schema_editor):
    from customers.country_rules import lay_down_profiles

    lay_down_profiles(apps)


class Migration(migrations.Migration):
    dependencies = [("customers", "0001_initial")]
    operations = [migrations.RunPython(lay_down, migrations.RunPython.noop)]
