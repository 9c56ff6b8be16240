from django.db import migrations


def lay_down(apps, schema_editor):
    from customers.country_rules import lay_down_profiles

    lay_down_profiles(apps)


class Migration(migrations.Migration):
    """Rules of VAT, of cancelling and of renewal notices for the profiles there are."""

    dependencies = [("customers", "0006_plans_prices_and_agreements_in_words")]
    operations = [migrations.RunPython(lay_down, migrations.RunPython.noop)]
