"""Every page of the site: what it needs, and what its address is about in `tests.factories.centres`."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver, reverse

from academy.models import Role
from academy.permissions import ROLE_PERMISSIONS, Permission
from tests.factories.centres import BusyCentre

STAFF = frozenset(
    {Role.Kind.ASSESSOR, Role.Kind.VERIFIER, Role.Kind.MANAGER},
)
"""Those who read other people's attempts and portfolios."""


class Plain(str):
    """A parameter that is no thing of a centre: a word of the address itself."""

    __slots__ = ()


OF_THE_CENTRE = frozenset(Role.Kind) - {Role.Kind.EXTERNAL_VERIFIER}
"""Everybody but a visitor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One address. ``about`` names a thing of the busy centre for each parameter, or is the value itself.

    ``only`` are the roles that find this thing, of those that may see the page: nobody else's is there.
    ``leads_on`` where it redirects, ``takes_posts`` where it answers nothing else.
    """

    name: str
    needs: Permission
    about: Mapping[str, str | int]
    only: Collection[Role.Kind] = tuple(Role.Kind)
    leads_on: bool = False
    takes_posts: bool = False

    @property
    def key(self) -> tuple[str, frozenset[str]]:
        return self.name, frozenset(self.about)

    @property
    def label(self) -> str:
        """Its name, with what tells it from another of the same name."""
        return "-".join([self.name, *(str(value) for value in self.about.values())])

    @property
    def things(self) -> tuple[str, ...]:
        """What it is about, as named in the busy centre."""
        return tuple(
            named for named in self.about.values() if isinstance(named, str) and not isinstance(named, Plain)
        )

    @property
    def shows(self) -> bool:
        return not (self.leads_on or self.takes_posts)

    def is_open_to(self, kind: Role.Kind) -> bool:
        return self.needs in {Permission.PUBLIC, Permission.SIGNED_IN} | ROLE_PERMISSIONS[kind]

    def address(self, centre: BusyCentre) -> str:
        return reverse(self.name, kwargs={key: _value(centre, named) for key, named in self.about.items()})


def _value(centre: BusyCentre, named: str | int) -> Any:
    return named if isinstance(named, int | Plain) else centre.id_of(named)


def page(name: str, needs: Permission, *, also: Mapping[str, Any] | None = None, **about: str | int) -> Page:
    return Page(name=name, needs=needs, about=about, **(also or {}))


POST = {"takes_posts": True}
BY_TECHNICIAN = {"only": (Role.Kind.TECHNICIAN,)}
BY_STAFF = {"only": STAFF}
BY_TYPISTS = {"only": (Role.Kind.CANDIDATE, Role.Kind.ASSESSOR, Role.Kind.TECHNICIAN)}

PAGES = (
    page("home", Permission.SIGNED_IN, also={"leads_on": True}),
    page("today", Permission.SIGNED_IN),
    page("digest-choose", Permission.SIGNED_IN),
    page("sign-in", Permission.PUBLIC),
    page("sign-out", Permission.PUBLIC, also=POST),
    page("password-change", Permission.SIGNED_IN),
    page("password-forgotten", Permission.PUBLIC),
    page("link-use", Permission.PUBLIC, token="link-token"),
    page("own-data", Permission.SIGNED_IN),
    page("own-data-take", Permission.SIGNED_IN, also=POST),
    page("retention-list", Permission.CENTRE_MANAGE),
    page("retention-period", Permission.CENTRE_MANAGE, kind=Plain("photos")),
    page("retention-dispose", Permission.CENTRE_MANAGE, kind=Plain("photos")),
    page("disposal-list", Permission.LEDGER_READ),
    page("deciding-values", Permission.CENTRE_MANAGE),
    page("person-list", Permission.PEOPLE_MANAGE),
    page("person-create", Permission.PEOPLE_MANAGE),
    page("person-invite", Permission.PEOPLE_MANAGE),
    page("person-link", Permission.PEOPLE_MANAGE, pk="person", also=POST),
    page("invitation-list", Permission.PEOPLE_MANAGE),
    page("link-withdraw", Permission.PEOPLE_MANAGE, pk="link", also=POST),
    page("roster-import", Permission.PEOPLE_MANAGE),
    page("record-hold-place", Permission.PEOPLE_MANAGE, pk="person"),
    page("record-hold-lift", Permission.PEOPLE_MANAGE, pk="held", hold="record-hold"),
    page("person-detail", Permission.PEOPLE_MANAGE, pk="person"),
    page("person-password", Permission.PEOPLE_MANAGE, pk="person"),
    page("person-erase", Permission.PEOPLE_MANAGE, pk="person"),
    page("role-grant", Permission.PEOPLE_MANAGE, pk="person"),
    page("role-end", Permission.PEOPLE_MANAGE, pk="person", role="role"),
    page("membership-create", Permission.COHORT_MANAGE, pk="person"),
    page("membership-end", Permission.COHORT_MANAGE, pk="person", membership="membership"),
    page("cohort-create", Permission.COHORT_MANAGE),
    page("rig-list", Permission.RIG_READ),
    page("rig-create", Permission.RIG_MANAGE),
    page("rig-detail", Permission.RIG_READ, pk="rig"),
    page("rig-change", Permission.RIG_MANAGE, rig="rig"),
    page("rig-retire", Permission.RIG_MANAGE, rig="rig"),
    page("rig-values", Permission.RIG_READ, pk="rig"),
    page("rig-charts", Permission.RIG_READ, pk="rig"),
    page("threshold-change", Permission.CENTRE_MANAGE),
    page("baseline-start", Permission.BASELINE_RECORD, rig="rig", also=POST),
    page("baseline-run", Permission.BASELINE_RECORD, pk="baseline-begun", also=BY_TECHNICIAN),
    page("baseline-hand-over", Permission.BASELINE_RECORD, pk="baseline-begun", also=POST),
    page("baseline-detail", Permission.RIG_READ, pk="baseline"),
    page("baseline-decide", Permission.BASELINE_APPROVE, pk="baseline-waiting"),
    page("outlier-decide", Permission.BASELINE_APPROVE, pk="outlier"),
    page("check-record", Permission.RIG_CHECK, rig="rig"),
    page("check-detail", Permission.RIG_READ, pk="check"),
    page("design-levels", Permission.RIG_READ, pk="design"),
    page("levels-set", Permission.RIG_MANAGE, pk="level"),
    page("levels-adopt", Permission.RIG_MANAGE, pk="level", also=POST),
    page("hold-place", Permission.HOLD_PLACE, rig="rig"),
    page("hold-place", Permission.HOLD_PLACE, instrument="instrument"),
    page("hold-release", Permission.HOLD_PLACE, pk="hold"),
    page("fault-set", Permission.FAULT_SET, rig="rig-begun"),
    page("fault-remove", Permission.FAULT_SET, pk="fault"),
    page("fault-detail", Permission.FAULT_SET, pk="fault"),
    page("fault-list", Permission.FAULT_SET, rig="rig-waiting"),
    page("scan", Permission.SIGNED_IN, pk="rig", also={"leads_on": True, "only": OF_THE_CENTRE}),
    page("rig-attempts", Permission.ATTEMPT_READ, pk="rig"),
    page("instrument-use", Permission.ATTEMPT_WORK, pk="instrument"),
    page("label-sheet", Permission.RIG_MANAGE),
    page("label-print", Permission.RIG_MANAGE, rig="rig"),
    page("label-print", Permission.INSTRUMENT_MANAGE, instrument="instrument"),
    page("hold-notice", Permission.HOLD_PLACE, pk="hold"),
    page("due-list", Permission.INSTRUMENT_READ),
    page("calendar-give", Permission.INSTRUMENT_READ, also=POST),
    page("calendar-revoke", Permission.INSTRUMENT_READ, also=POST),
    page("calendar-feed", Permission.PUBLIC, token="calendar"),
    page("instrument-list", Permission.INSTRUMENT_READ),
    page("instrument-create", Permission.INSTRUMENT_MANAGE),
    page("instrument-detail", Permission.INSTRUMENT_READ, pk="instrument"),
    page("instrument-retire", Permission.INSTRUMENT_MANAGE, instrument="instrument"),
    page("instrument-model-create", Permission.INSTRUMENT_MANAGE),
    page("calibration-record", Permission.INSTRUMENT_MANAGE, instrument="instrument"),
    page("rigs-import", Permission.RIG_MANAGE),
    page("rigs-export", Permission.RIG_READ),
    page("checks-import", Permission.RIG_CHECK),
    page("checks-export", Permission.RIG_READ, rig="rig"),
    page("instruments-import", Permission.INSTRUMENT_MANAGE),
    page("instruments-export", Permission.INSTRUMENT_READ),
    page("certificates-import", Permission.INSTRUMENT_MANAGE),
    page("certificates-export", Permission.INSTRUMENT_READ),
    page("certificate-attach", Permission.INSTRUMENT_MANAGE, pk="calibration"),
    page("certificate-file", Permission.INSTRUMENT_READ, pk="certificate-file"),
    page("bench-home", Permission.ATTEMPT_WORK),
    page("bench-offline", Permission.PUBLIC),
    page("bench-sync", Permission.ATTEMPT_WORK),
    page("service-worker", Permission.PUBLIC),
    page("ticket-issue", Permission.ATTEMPT_WORK, rig="rig", version="version", also=POST),
    page("ticket-end", Permission.SIGNED_IN, pk="ticket", also=POST),
    page("attempt-pack", Permission.ATTEMPT_WORK, pk="unfinished"),
    page("bench-rig", Permission.ATTEMPT_WORK, pk="rig"),
    page("attempt-start", Permission.ATTEMPT_WORK, rig="rig", version="version"),
    page("attempt-overview", Permission.ATTEMPT_WORK, pk="unfinished"),
    page("attempt-step", Permission.ATTEMPT_WORK, pk="unfinished", position=13),
    page("step-take-back", Permission.ATTEMPT_WORK, pk="unfinished", position=4, also=POST),
    page("attempt-measure", Permission.ATTEMPT_WORK, pk="finding", position=3),
    page("reading-correct", Permission.ATTEMPT_WORK, pk="finding", reading="finding-reading"),
    page("reading-take-back", Permission.ATTEMPT_WORK, pk="finding", reading="finding-reading", also=POST),
    page("attempt-hand-in", Permission.ATTEMPT_WORK, pk="unfinished", also=POST),
    page("sheet-print", Permission.SIGNED_IN, pk="unfinished", also=BY_TYPISTS),
    page("sheet-transcribe", Permission.SIGNED_IN, pk="unfinished", also=BY_TYPISTS),
    page("sheet-blank", Permission.SIGNED_IN, rig="rig", version="version", also={"only": OF_THE_CENTRE}),
    page("sheet-list", Permission.ATTEMPT_TRANSCRIBE),
    page("attempt-result", Permission.ATTEMPT_WORK, pk="decided"),
    page("virtual-list", Permission.ATTEMPT_WORK),
    page("virtual-start", Permission.ATTEMPT_WORK, version="version"),
    page("virtual-overview", Permission.ATTEMPT_WORK, pk="practising"),
    page("virtual-step", Permission.ATTEMPT_WORK, pk="practising", position=15),
    page("virtual-measure", Permission.ATTEMPT_WORK, pk="searching"),
    page("virtual-give-up", Permission.ATTEMPT_WORK, pk="searching", also=POST),
    page("virtual-finish", Permission.ATTEMPT_WORK, pk="practising", also=POST),
    page("virtual-result", Permission.ATTEMPT_WORK, pk="practised"),
    page("photo-file", Permission.SIGNED_IN, pk="photo", also={"only": STAFF | {Role.Kind.CANDIDATE}}),
    page("session-board", Permission.SESSION_READ),
    page("session-stop", Permission.SESSION_STOP),
    page("session-stopped", Permission.SESSION_READ, pk="stop"),
    page("session-resume", Permission.ATTEMPT_DECIDE, pk="stop"),
    page("help-answer", Permission.ATTEMPT_DECIDE, pk="call", also=POST),
    page("help-ask", Permission.ATTEMPT_WORK, pk="unfinished", also=POST),
    page("help-take-back", Permission.ATTEMPT_WORK, pk="unfinished", also=POST),
    page("observe", Permission.ATTEMPT_DECIDE, pk="unfinished"),
    page("observe-step", Permission.ATTEMPT_DECIDE, pk="unfinished", position=5),
    page("oral-ask", Permission.ATTEMPT_DECIDE, pk="unfinished", key="question"),
    page("rotation-list", Permission.SESSION_READ),
    page("rotation-create", Permission.SESSION_PLAN, cohort="cohort"),
    page("rotation-detail", Permission.SESSION_READ, pk="rotation"),
    page("rotation-replan", Permission.SESSION_PLAN, pk="rotation"),
    page("rotation-swap", Permission.SESSION_PLAN, pk="rotation"),
    page("rotation-print", Permission.SESSION_READ, pk="rotation"),
    page("review-list", Permission.ATTEMPT_READ),
    page("review-detail", Permission.ATTEMPT_READ, pk="waiting"),
    page("phrase-list", Permission.ATTEMPT_DECIDE),
    page("phrase-change", Permission.ATTEMPT_DECIDE, pk="phrase"),
    page("phrase-remove", Permission.ATTEMPT_DECIDE, pk="phrase", also=POST),
    page("countersign-list", Permission.ATTEMPT_DECIDE),
    page("countersign", Permission.ATTEMPT_DECIDE, pk="provisional"),
    page("attempt-return", Permission.ATTEMPT_DECIDE, pk="waiting"),
    page("attempt-void", Permission.ATTEMPT_DECIDE, pk="unfinished"),
    page("prompt-give", Permission.ATTEMPT_DECIDE, pk="unfinished"),
    page("appeal-list", Permission.APPEAL_READ),
    page("appeal-detail", Permission.APPEAL_READ, pk="appeal"),
    page("appeal-further", Permission.APPEAL_READ, pk="appeal", also=POST),
    page("appeal-open", Permission.APPEAL_READ, pk="provisional"),
    page("appeal-own", Permission.ATTEMPT_WORK, pk="decided"),
    page("appeal-own-further", Permission.ATTEMPT_WORK, pk="decided", also=POST),
    page("appeal-own-withdraw", Permission.ATTEMPT_WORK, pk="decided", also=POST),
    page("scope-list", Permission.COHORT_READ),
    page("scope-record", Permission.SCOPE_MANAGE),
    page("scope-end", Permission.SCOPE_MANAGE, pk="scope"),
    page("conflict-list", Permission.CONFLICT_DECLARE),
    page("conflict-declare", Permission.CONFLICT_DECLARE),
    page("conflict-end", Permission.CONFLICT_DECLARE, pk="conflict", also={"only": (Role.Kind.MANAGER,)}),
    page("adjustment-list", Permission.ADJUSTMENT_AGREE),
    page("adjustment-agree", Permission.ADJUSTMENT_AGREE),
    page("adjustment-end", Permission.ADJUSTMENT_AGREE, pk="adjustment"),
    page("resit-list", Permission.COHORT_READ),
    page("resit-rule", Permission.TASK_MANAGE, pk="task"),
    page("resit-leave", Permission.RESIT_ALLOW),
    page("exercise-list", Permission.EXERCISE_READ),
    page("exercise-create", Permission.VERIFICATION_DO),
    page("exercise-detail", Permission.EXERCISE_READ, pk="exercise"),
    page("exercise-close", Permission.VERIFICATION_DO, pk="exercise"),
    page("exercise-read", Permission.ATTEMPT_DECIDE, pk="exercise-closed", also=POST),
    page("exercise-item", Permission.ATTEMPT_DECIDE, pk="exercise-item"),
    page("exercise-rule", Permission.VERIFICATION_DO, pk="exercise-closed-item"),
    page("decision-rates", Permission.RATES_READ),
    page("sampling-list", Permission.VERIFICATION_READ),
    page("sampling-draw", Permission.VERIFICATION_DO),
    page("sampling-detail", Permission.VERIFICATION_READ, pk="plan"),
    page("sampled-detail", Permission.VERIFICATION_READ, pk="sampled"),
    page("action-raise", Permission.VERIFICATION_DO, pk="verified"),
    page("action-close", Permission.VERIFICATION_DO, pk="action"),
    page("impact-list", Permission.IMPACT_READ),
    page("impact-open", Permission.IMPACT_OPEN, calibration="calibration-out"),
    page("impact-open", Permission.IMPACT_OPEN, hold="hold"),
    page("impact-open", Permission.IMPACT_OPEN, instrument="instrument"),
    page("impact-open", Permission.IMPACT_OPEN, rig="rig"),
    page("impact-detail", Permission.IMPACT_READ, pk="impact"),
    page("impact-work", Permission.IMPACT_READ, pk="impact", also=POST),
    page("impact-close", Permission.IMPACT_CLOSE, pk="impact"),
    page("impact-print", Permission.IMPACT_READ, pk="impact"),
    page("impact-item", Permission.IMPACT_READ, pk="impact-item"),
    page("impact-letter", Permission.IMPACT_READ, pk="impact-item"),
    page("job-detail", Permission.SIGNED_IN, pk="job", also={"only": (Role.Kind.MANAGER,)}),
    page("job-again", Permission.SIGNED_IN, pk="job", also=POST),
    page("trail-find", Permission.ATTEMPT_READ),
    page("trail-detail", Permission.ATTEMPT_READ, candidate="person", task="task"),
    page("visit-list", Permission.VISIT_READ),
    page("visit-arrange", Permission.VISIT_MANAGE),
    page("visit-detail", Permission.VISIT_READ, visit="visit"),
    page("visit-extend", Permission.VISIT_MANAGE, visit="visit"),
    page("visit-end", Permission.VISIT_MANAGE, visit="visit", also=POST),
    page("visit-trail", Permission.VISIT_READ, visit="visit", sample="visit-sample"),
    page("visit-attempt", Permission.VISIT_READ, visit="visit", pk="decided"),
    page("visit-photo", Permission.VISIT_READ, visit="visit", pk="visit-photo"),
    page("visit-certificate", Permission.VISIT_READ, visit="visit", pk="visit-certificate"),
    page("visit-portfolio", Permission.VISIT_READ, visit="visit", pk="staff-copy"),
    page("pack-make", Permission.VISIT_MANAGE, visit="visit", also=POST),
    page("pack-download", Permission.VISIT_READ, pk="pack"),
    page("task-list", Permission.TASK_READ),
    page("task-version", Permission.TASK_READ, pk="version"),
    page("task-export", Permission.TASK_READ, pk="version"),
    page("task-withdraw", Permission.TASK_MANAGE, pk="version"),
    page("draft-begin", Permission.TASK_MANAGE, pk="version", also=POST),
    page("draft-create", Permission.TASK_MANAGE),
    page("draft-import", Permission.TASK_MANAGE),
    page("draft-detail", Permission.TASK_MANAGE, pk="draft"),
    page("draft-particulars", Permission.TASK_MANAGE, pk="draft"),
    page("draft-publish", Permission.TASK_MANAGE, pk="draft"),
    page("draft-set-aside", Permission.TASK_MANAGE, pk="draft"),
    page("draft-preview", Permission.TASK_MANAGE, pk="draft", position=1),
    page("draft-step", Permission.TASK_MANAGE, pk="draft", place=1),
    page("draft-step-insert", Permission.TASK_MANAGE, pk="draft", place=1),
    page("draft-step-remove", Permission.TASK_MANAGE, pk="draft", place=1),
    page("draft-arrange", Permission.TASK_MANAGE, pk="draft", place=1, also=POST),
    page("draft-group", Permission.TASK_MANAGE, pk="draft", place=2),
    page("limit-list", Permission.TASK_READ),
    page("limit-confirm", Permission.TASK_MANAGE, digest="limit"),
    page("cohort-matrix", Permission.COHORT_READ),
    page("cohort-export", Permission.COHORT_READ),
    page("cohort-weeks", Permission.COHORT_READ),
    page("cohort-detail", Permission.COHORT_READ, pk="cohort"),
    page("cohort-plan", Permission.COHORT_MANAGE, pk="cohort"),
    page("prior-record", Permission.PRIOR_RECORD, pk="person"),
    page("portfolio-own", Permission.PORTFOLIO_READ),
    page("portfolio-detail", Permission.PORTFOLIO_READ, pk="other", also=BY_STAFF),
    page("portfolio-issue", Permission.PORTFOLIO_READ, pk="other", also=POST),
    page("portfolio-download", Permission.PORTFOLIO_READ, pk="staff-copy", also=BY_STAFF),
    page("document-check", Permission.PUBLIC, pk="staff-copy"),
)

STATES = (
    *(page("rig-detail", Permission.RIG_READ, pk=rig) for rig in ("rig-waiting", "rig-begun", "rig-held")),
    page("rig-values", Permission.RIG_READ, pk="rig-begun"),
    page("rig-charts", Permission.RIG_READ, pk="rig-begun"),
    page("baseline-detail", Permission.RIG_READ, pk="baseline-waiting"),
    page("baseline-detail", Permission.RIG_READ, pk="baseline-begun"),
    page("baseline-decide", Permission.BASELINE_APPROVE, pk="baseline-begun"),
    page("hold-release", Permission.HOLD_PLACE, pk="instrument-hold"),
    page("instrument-detail", Permission.INSTRUMENT_READ, pk="instrument-held"),
    page("instrument-detail", Permission.INSTRUMENT_READ, pk="instrument-uncertified"),
    page("instrument-detail", Permission.INSTRUMENT_READ, pk="indicator"),
    page("instrument-use", Permission.ATTEMPT_WORK, pk="instrument-held"),
    page("observe", Permission.ATTEMPT_DECIDE, pk="waiting"),
    page("observe", Permission.ATTEMPT_DECIDE, pk="finding"),
    *(
        page("observe-step", Permission.ATTEMPT_DECIDE, pk="unfinished", position=position)
        # A reading, a step seen as not met with help, one seen as met, a photo, and one to come.
        for position in (1, 4, 6, 8, 14)
    ),
    page("oral-ask", Permission.ATTEMPT_DECIDE, pk="unfinished", key="question-unasked"),
    page("rig-attempts", Permission.ATTEMPT_READ, pk="rig-held"),
    page("bench-rig", Permission.ATTEMPT_WORK, pk="rig-held"),
    page("attempt-start", Permission.ATTEMPT_WORK, rig="rig-waiting", version="version"),
    *(
        page("attempt-step", Permission.ATTEMPT_WORK, pk="unfinished", position=position)
        # A corrected reading, a tone, an action, a choice and a photo that stand; and the same to come.
        for position in (1, 2, 4, 6, 8, 10, 14, 30, 31, 32)
    ),
    page("attempt-overview", Permission.ATTEMPT_WORK, pk="waiting"),
    page("attempt-overview", Permission.ATTEMPT_WORK, pk="returned"),
    page("attempt-overview", Permission.ATTEMPT_WORK, pk="finding"),
    page("attempt-step", Permission.ATTEMPT_WORK, pk="finding", position=4),
    page("review-detail", Permission.ATTEMPT_READ, pk="found"),
    page("fault-list", Permission.FAULT_SET, rig="rig"),
    page("attempt-overview", Permission.ATTEMPT_WORK, pk="decided"),
    *(
        page(name, Permission.TASK_MANAGE, pk="draft", **{at: number})
        # A tone, a zero, an action, a choice, a contact, a pressure, a fall and the conclusion.
        for name, at in (("draft-step", "place"), ("draft-preview", "position"))
        for number in (3, 4, 6, 8, 11, 15, 22, 32)
    ),
    page("draft-step-insert", Permission.TASK_MANAGE, pk="draft", place=33),
    page("draft-detail", Permission.TASK_MANAGE, pk="draft-new"),
    page("draft-publish", Permission.TASK_MANAGE, pk="draft-new"),
    page("draft-preview", Permission.TASK_MANAGE, pk="draft-new", position=1),
    page("review-detail", Permission.ATTEMPT_READ, pk="decided"),
    page("review-detail", Permission.ATTEMPT_READ, pk="refused"),
    page("review-detail", Permission.ATTEMPT_READ, pk="others-waiting"),
    page("sampled-detail", Permission.VERIFICATION_READ, pk="verified"),
    page("exercise-detail", Permission.EXERCISE_READ, pk="exercise-closed"),
    page("exercise-item", Permission.ATTEMPT_DECIDE, pk="exercise-item-done"),
    page("exercise-item", Permission.ATTEMPT_DECIDE, pk="exercise-closed-item"),
    page("impact-detail", Permission.IMPACT_READ, pk="impact-new"),
    page("visit-attempt", Permission.VISIT_READ, visit="visit", pk="waiting"),
    page("portfolio-detail", Permission.PORTFOLIO_READ, pk="person"),
    page("person-detail", Permission.PEOPLE_MANAGE, pk="other"),
    page("virtual-start", Permission.ATTEMPT_WORK, version="search"),
    page("virtual-overview", Permission.ATTEMPT_WORK, pk="searching"),
    *(
        page("virtual-step", Permission.ATTEMPT_WORK, pk="practising", position=position)
        # A reading with its verdict, a tone, an action, the indicator, a photo, a lamp and a conclusion.
        for position in (1, 2, 4, 6, 8, 31, 32)
    ),
    *(page("virtual-step", Permission.ATTEMPT_WORK, pk="searching", position=place) for place in (3, 4)),
)
"""The same pages in the other states that they have a face for."""

ASKED = (
    (page("review-list", Permission.ATTEMPT_READ), {"show": "decided"}),
    (page("person-list", Permission.PEOPLE_MANAGE), {"q": "nobody at all"}),
    (page("cohort-matrix", Permission.COHORT_READ), {"cohort": "all", "show": "stuck"}),
    (page("cohort-matrix", Permission.COHORT_READ), {"show": "near-end"}),
    (page("decision-rates", Permission.RATES_READ), {"starts_on": "2031-01-01", "ends_on": "2030-01-01"}),
    (page("decision-rates", Permission.RATES_READ), {"starts_on": "yesterday"}),
)
"""Pages that have another face when they are asked something."""


def patterns(found: Collection[Any], *, before: str = "") -> Iterator[URLPattern]:
    for each in found:
        if isinstance(each, URLResolver):
            yield from patterns(each.url_patterns, before=before)
        else:
            yield each


def every_address() -> set[tuple[str, frozenset[str]]]:
    """The name and the parameters of each address that the site answers."""
    return {
        (each.name or str(each.pattern), frozenset(each.pattern.converters))
        for each in patterns(get_resolver().url_patterns)
    }
