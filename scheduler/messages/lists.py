"""The list of messages, narrowed by what the office asks for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import django_filters
from django import forms
from django.db.models import Q

from scheduler.messages.recipients import POST
from scheduler.models import Message

if TYPE_CHECKING:
    from django.db.models import QuerySet

LETTERS = "letters"
STATES = [*Message.State.choices, (LETTERS, "Letters to print")]


class MessageFilter(django_filters.FilterSet):
    """By whom it was for, and by state."""

    q = django_filters.CharFilter(method="search", label="Name, address or subject")
    state = django_filters.ChoiceFilter(
        method="in_state", choices=STATES, label="State", empty_label="Every state"
    )

    class Meta:
        model = Message
        fields = ("q", "state")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Give the fields the look of the site's forms."""
        super().__init__(*args, **kwargs)
        for field in self.form.fields.values():
            style = "form-select" if isinstance(field, forms.ChoiceField) else "form-control"
            field.widget.attrs["class"] = style

    def search(self, messages: QuerySet[Message], name: str, value: str) -> QuerySet[Message]:
        """Every word must be found in the name, the address or the subject."""
        for word in value.split()[:6]:
            messages = messages.filter(
                Q(to_name__icontains=word)
                | Q(to_address__icontains=word)
                | Q(subject__icontains=word)
            )
        return messages

    def in_state(self, messages: QuerySet[Message], name: str, value: str) -> QuerySet[Message]:
        """One state, or the letters that wait for somebody to print them."""
        if value == LETTERS:
            return messages.filter(channel=POST, state=Message.State.WAITING)
        return messages.filter(state=value)
