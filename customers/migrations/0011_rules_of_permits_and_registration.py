from django.db import migrations


def lay_down(apps, schema_editor):
    from customers.country_rules import lay_down_profiles

    lay_down_profiles(apps)


class Migration(migrations.Migration):
    """Rules of permits, of their checks and of registration for the profiles there are."""

    dependencies = [("customers", "0010_languages")]
    operations = [migrations.RunPython(lay_down, migrations.RunPython.noop)]
