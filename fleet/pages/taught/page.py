"""What the visits of a service company taught, for its managers: to read, and to take back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from diagnostics.findings import REGISTRY
from diagnostics.weighing.learning import FindingLine, Learned, PriorLine
from fleet import access
from fleet.analysis import learning, standing
from fleet.language import decimal
from fleet.models import EventChange, Lesson, Role, SiteVisit
from fleet.pages import record, words
from fleet.pages.forms import faults
from fleet.said import say

VISITS_A_PAGE = 30
TITLES = {finding.name: finding.title for finding in REGISTRY}


class CountForm(forms.Form):
    """Why a visit is taken out of the count; putting it back needs no reason."""

    reason = forms.CharField(max_length=300, label=gettext_lazy("Reason"))

    def __init__(self, *args: Any, leaving: bool, **kwargs: Any) -> None:
        """``leaving``: the visit counts and is to be taken out."""
        super().__init__(*args, **kwargs)
        self.fields["reason"].required = leaving


@dataclass(frozen=True)
class Finding:
    """One finding that visits have tested: how often it was right, and how much it counts now."""

    title: str
    right: int
    wrong: int
    counts: str
    way: str
    reason: str


@dataclass(frozen=True)
class Common:
    """One condition: how common it is taken to be, before and after, and what visits found."""

    suspicion: words.Suspicion
    before: str
    after: str
    suspected: int
    found: int


@dataclass(frozen=True)
class Visit:
    """One visit and whether it teaches."""

    visit: SiteVisit
    suspected: words.Suspicion
    found: str
    left_out: str


@require_GET
def taught(request: HttpRequest) -> HttpResponse:
    """The two tables, and the visits behind them."""
    organisation = access.managed_organisation_or_404(request.user)
    lesson = Lesson.objects.filter(organisation=organisation).first()
    learned = Learned.from_json(lesson.learned) if lesson else None
    visits = SiteVisit.objects.filter(event__system__site__client__organisation=organisation)
    visits = visits.select_related("event__system__site", "visitor").defer("event__verdict")
    page = Paginator(visits.order_by("-visited_on", "-pk"), VISITS_A_PAGE).get_page(
        request.GET.get("page")
    )
    left_out = learning.read(organisation).left_out
    waiting = standing.outdated().filter(system__in=access.visible_systems(request.user))
    context = {
        "lesson": lesson,
        "stale": learning.stale(),
        "waiting": waiting.count(),
        "page": page,
        "visits": [_visit(visit, left_out) for visit in page],
        "role": Role.MANAGER,
        **(_tables(learned) if learned else {}),
    }
    return render(request, "taught/page.html", context)


@require_POST
def count(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a visit out of the count, with a reason, or put it back; learn anew at once."""
    organisation = access.managed_organisation_or_404(request.user)
    visits = SiteVisit.objects.filter(event__system__site__client__organisation=organisation)
    visit = get_object_or_404(visits.select_related("event"), pk=pk)
    form = CountForm(request.POST, leaving=visit.counts)
    if not form.is_valid():
        messages.error(request, faults(form))
        return redirect("taught")
    reason = form.cleaned_data["reason"]
    visit.counts, visit.not_counted_because = not visit.counts, reason if visit.counts else ""
    visit.save(update_fields=("counts", "not_counted_because", "changed_at"))
    what = "put back into" if visit.counts else "took out of"
    why = f": {reason}" if reason else ""
    said = f"{what} the count the visit of {visit.visited_on:%Y-%m-%d}{why}"
    EventChange.objects.create(event=visit.event, who_id=request.user.pk, what=said[:400])
    record.note(request, f"{what} the count a visit to", f"{visit.event.system}{why}")
    moved = learning.renew()
    state = (
        _("The visit counts again.") if visit.counts else _("The visit does not count any more.")
    )
    after = _("Systems are judged again with it now.") if moved else _("It changes nothing.")
    messages.success(request, f"{state} {after}")
    return redirect("taught")


def _tables(learned: Learned) -> dict[str, Any]:
    tested = [line for line in learned.findings if line.right + line.wrong]
    return {
        "outcomes": learned.outcomes,
        "said": words.percent(learned.said) if learned.outcomes else "",
        "would_say": words.percent(learned.would_say) if learned.outcomes else "",
        "findings": [_finding(line) for line in tested],
        "untested": _titles(line for line in learned.findings if not line.right + line.wrong),
        "priors": [_common(line) for line in learned.priors],
    }


def _finding(line: FindingLine) -> Finding:
    way = "up" if line.factor > 1.0 else "down" if line.factor < 1.0 else "dot"
    return Finding(
        title=say(TITLES.get(line.finding, line.finding)),
        right=line.right,
        wrong=line.wrong,
        counts=decimal(f"×{words.NARROW}{line.factor:.2f}"),
        way=way,
        reason=say(line.reason),
    )


def _titles(lines: Iterable[FindingLine]) -> list[str]:
    return sorted(say(TITLES.get(line.finding, line.finding)) for line in lines)


def _common(line: PriorLine) -> Common:
    return Common(
        suspicion=words.suspicion(line.condition),
        before=decimal(f"{100 * line.table:.1f}{words.NARROW}%"),
        after=decimal(f"{100 * line.learned:.1f}{words.NARROW}%"),
        suspected=line.suspected,
        found=line.found,
    )


def _visit(visit: SiteVisit, left_out: Mapping[int, str]) -> Visit:
    found = visit.get_outcome_display()
    if visit.found_condition:
        found = f"{found}: {words.suspicion(visit.found_condition).name}"
    suspected = words.suspicion(visit.suspected or visit.event.condition)
    return Visit(visit, suspected, found, say(left_out.get(visit.pk, "")))
