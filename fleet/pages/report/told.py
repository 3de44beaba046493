"""The report over the months asked for, page by page: on the pages, on paper and by a link."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import ngettext

from fleet import asked
from fleet.models import System
from fleet.pages.report import contents, pdf
from fleet.pages.report.contents import MONTHS, Parts, Period
from fleet.pages.units import Preference

USUAL_MONTHS = 3


def _months(request: HttpRequest) -> int:
    """The number of months asked for, or the usual one."""
    months = asked.whole(request.GET.get("months", ""))
    return months if months is not None and months in MONTHS else USUAL_MONTHS


def told(request: HttpRequest, systems: QuerySet[System], prefer: Preference) -> dict[str, Any]:
    """The report over the months asked for, page by page; ``all=1`` asks for the whole of it."""
    now, months = timezone.now(), _months(request)
    found = contents.parts(systems)
    whole = request.GET.get("all") == "1" or len(found.pages) < 2
    page = Paginator(found.pages, 1).get_page(request.GET.get("page"))
    shown = systems if whole else systems.filter(site__in=page.object_list[0])
    return {
        "report": contents.gather(shown, Period.before(now, months), prefer),
        "page": None if whole else page,
        "sites": sum(len(sites) for sites in found.pages),
        "all_of_it": "" if whole else _all_of_it(found),
        "months": months,
        "choices": MONTHS,
        "now": now,
        "pdf": not pdf.missing(),
    }


def _all_of_it(of: Parts) -> str:
    """The whole in one line, where a page shows a part."""
    said = ngettext("%(n)s system in all", "%(n)s systems in all", of.systems) % {"n": of.systems}
    still = ngettext("%(n)s suspicion open today", "%(n)s suspicions open today", of.lasting)
    return f"{said}, {still % {'n': of.lasting}}."
