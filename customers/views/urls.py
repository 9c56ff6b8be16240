"""Addresses of customers pages."""

from customers.views import agreements, members, organisation, people, plans, premises

app_name = "customers"

urlpatterns = [
    *premises.urlpatterns,
    *people.urlpatterns,
    *agreements.urlpatterns,
    *plans.urlpatterns,
    *organisation.urlpatterns,
    *members.urlpatterns,
]
