"""Help beside a number, names of people, and what judging wrote in the reader's language."""

from __future__ import annotations

from typing import Any

from django import template
from django.template.context import Context

from fleet.pages import glossary
from fleet.pages.handling import called
from fleet.said import say

register = template.Library()
register.filter(called)
register.filter(say)


@register.inclusion_tag("_help.html", takes_context=True)
def help(context: Context, key: str) -> dict[str, Any]:  # noqa: A001
    """The button and, once on a page, the text. Raises KeyError for a term nobody explained."""
    request = context.get("request")
    given: set[str] = getattr(request, "terms_given", set())
    first = key not in given
    if request is not None:
        request.terms_given = given | {key}
    return {"term": glossary.terms()[key], "first": first}
