"""Addresses of customers pages."""

from customers.views import agreements, members, organisation, people, premises

app_name = "customers"

urlpatterns = [
    *premises.urlpatterns,
    *people.urlpatterns,
    *agreements.urlpatterns,
    *organisation.urlpatterns,
    *members.urlpatterns,
]
