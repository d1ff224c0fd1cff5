"""A draft's steps one at a time: written, put in, moved, repeated and taken out."""

from collections.abc import Callable, Mapping
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.functional import cached_property

from academy.refusals import Refused
from assessments import drafts
from assessments.draft_changes import STEP_FIELDS
from assessments.draft_forms.particulars import RemovalForm, RepeatForm
from assessments.draft_forms.steps import REFRESH, DraftStepForm
from assessments.draft_steps import (
    Node,
    Nodes,
    NoSuchPlaceError,
    Place,
    at,
    copied,
    dissolved,
    find,
    for_each_pair,
    inner,
    inserted,
    is_group,
    moved,
    number_of,
    place_from,
    plain_steps,
    removed,
    renamed,
    repeated,
    replaced,
    text_of,
)
from assessments.models import TaskDraft
from assessments.models.tasks import StepKind
from assessments.views.authoring import AboutDraft, DraftForm

Edit = Callable[[Mapping[str, Any]], Mapping[str, Any]]


class AboutPlace(AboutDraft):
    """A view about what stands at one place of a draft."""

    @cached_property
    def place(self) -> Place:
        try:
            return place_from(self.kwargs["place"])
        except NoSuchPlaceError:
            raise Http404 from None

    @cached_property
    def node(self) -> Node:
        try:
            return at(self.steps, self.place)
        except NoSuchPlaceError:
            raise Http404 from None

    @property
    def steps(self) -> Nodes:
        steps: Nodes = self.draft.data["steps"]
        return steps

    @property
    def back(self) -> str:
        return f"{reverse('draft-detail', args=[self.draft.pk])}#step-{text_of(self.place)}"


def _with_steps(change: Callable[[Nodes], Nodes]) -> Edit:
    return lambda data: {**data, "steps": list(change(data["steps"]))}


class DraftStep(AboutPlace, DraftForm):
    """One step of a draft on its own page."""

    form_class = DraftStepForm
    template_name = "assessments/draft-step.html"
    words = STEP_FIELDS

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if is_group(self.node):
            return redirect("draft-group", self.draft.pk, text_of(self.place))
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if REFRESH in request.POST:
            return self.render_to_response(self.get_context_data(form=self._with_fields_of_choice()))
        return super().post(request, *args, **kwargs)

    def _with_fields_of_choice(self) -> forms.Form:
        """The form again with what was typed, and the fields that go with what was chosen."""
        options = self.get_form_kwargs()
        sent = self.get_form_class()(**options)
        typed = {name: sent[name].data for name in sent.fields if sent[name].data is not None}
        unbound = {name: value for name, value in options.items() if name not in {"data", "files"}}
        return self.get_form_class()(**unbound | {"initial": unbound["initial"] | typed})

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {
            "node": self.written,
            "task": self.draft.data,
            "place": self.place,
            "known": self.known,
        }

    @property
    def written(self) -> Node:
        """The step as it stands; by its name, if another stands at its place by now."""
        was = self.request.POST.get("was", "")
        if not was or self.node.get("slug") == was:
            return self.node
        try:
            return at(self.steps, find(self.steps, was, near=self.place))
        except NoSuchPlaceError:
            return {}

    @property
    def heading(self) -> str:
        return self.node.get("title") or "Step"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            number=number_of(self.place), found=self._found(), readings=self._readings(), **context
        )

    def _found(self) -> list[str]:
        return [each.text for each in self.problems if each.place == self.place]

    def _readings(self) -> list[tuple[str, str]]:
        """The steps that a calculator's input may name, where there is one."""
        return [
            (str(node.get("slug", "")), str(node.get("title", "")))
            for place, node in plain_steps(self.steps)
            if place < self.place and node.get("kind") == StepKind.READING
        ]

    def carry_out(self, form: forms.Form) -> TaskDraft:
        assert isinstance(form, DraftStepForm)
        mine, was = form.node_given(), form.cleaned_data["was"]

        def change(steps: Nodes) -> Nodes:
            if at(steps, self.place) == mine:
                return steps
            place = find(steps, was, near=self.place)
            return replaced(renamed(steps, place, mine["slug"]), place, mine)

        def theirs(data: Mapping[str, Any]) -> Node:
            return at(data["steps"], find(data["steps"], was, near=self.place))

        return self.save(
            _with_steps(change), revision=form.cleaned_data["revision"], mine=mine, theirs=theirs
        )

    def get_success_url(self) -> str:
        if "next" in self.request.POST:
            later = [place for place, _ in plain_steps(self.done.data["steps"]) if place > self.place]
            if later:
                return reverse("draft-step", args=[self.draft.pk, text_of(later[0])])
        return self.back


class DraftStepInsert(DraftStep):
    """A new step, which is put in at that place."""

    heading = "A new step"

    @cached_property
    def node(self) -> Node:
        try:
            inserted(self.steps, self.place, {})
        except NoSuchPlaceError:
            raise Http404 from None
        return {}

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        return DraftForm.get(self, request, *args, **kwargs)

    def _found(self) -> list[str]:
        return []

    def carry_out(self, form: forms.Form) -> TaskDraft:
        assert isinstance(form, DraftStepForm)
        mine = form.node_given()

        def change(steps: Nodes) -> Nodes:
            known = dict(plain_steps(steps)).get(self.place)
            return steps if known == mine else inserted(steps, self.place, mine)

        return self.save(_with_steps(change), revision=form.cleaned_data["revision"])


class DraftGroup(AboutPlace, DraftForm):
    """A group that is done several times over: how often."""

    form_class = RepeatForm
    template_name = "assessments/draft-form.html"

    @cached_property
    def node(self) -> Node:
        node = super().node
        if not is_group(node):
            raise Http404
        return node

    @property
    def heading(self) -> str:
        return "Several times over" if "repeat" in self.node else "Once for each pair of conductors"

    def get_form_class(self) -> type[forms.Form]:
        if "repeat" not in self.node:
            raise Http404
        return self.form_class

    def get_initial(self) -> dict[str, Any]:
        return super().get_initial() | {"repeat": self.node.get("repeat")}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        found = [each.text for each in self.problems if each.place == self.place]
        return super().get_context_data(found=found, **context)

    def carry_out(self, form: forms.Form) -> TaskDraft:
        times, slugs = form.cleaned_data["repeat"], _slugs(self.node)

        def change(steps: Nodes) -> Nodes:
            group = at(steps, self.place)
            if "repeat" not in group or _slugs(group) != slugs:
                raise NoSuchPlaceError(text_of(self.place))
            return replaced(steps, self.place, {**group, "repeat": times})

        return self.save(_with_steps(change), revision=form.cleaned_data["revision"])

    def get_success_url(self) -> str:
        return self.back


def _slugs(group: Node) -> list[Any]:
    return [each.get("slug") for each in inner(group)]


class DraftArrange(AboutPlace):
    """Moves, copies, groups or dissolves what stands at a place."""

    http_method_names = ("post",)

    def post(self, request: HttpRequest, *_args: Any, **_kwargs: Any) -> HttpResponse:
        act, revision = request.POST.get("act", ""), request.POST.get("revision", "")
        change = self._change(act)
        if change is None or not revision.isdigit():
            raise Http404
        try:
            drafts.change(
                draft=self.draft,
                revision=int(revision),
                edit=_with_steps(change),
                by=self.person,
                at=self.now,
            )
        except NoSuchPlaceError:
            messages.error(request, "The draft was changed meanwhile: nothing stands there any more.")
        except Refused as refusal:
            messages.error(request, refusal.message)
        return redirect(f"{reverse('draft-detail', args=[self.draft.pk])}#step-{self._lands(act)}")

    def _change(self, act: str) -> Callable[[Nodes], Nodes] | None:
        place = self.place
        may_group = len(place) == 1 and not is_group(self.node)
        match act:
            case "up" | "down":
                return lambda steps: moved(steps, place, by=-1 if act == "up" else 1)
            case "copy":
                return lambda steps: copied(steps, place)
            case "repeat" if may_group:
                return lambda steps: replaced(steps, place, repeated(at(steps, place), times=2))
            case "pair" if may_group:
                return lambda steps: replaced(steps, place, for_each_pair(at(steps, place)))
            case "dissolve" if is_group(self.node):
                return lambda steps: dissolved(steps, place)
        return None

    def _lands(self, act: str) -> str:
        """Where to look afterwards: what was moved is a place further."""
        by = {"up": -1, "down": 1, "copy": 1}.get(act, 0)
        return text_of((*self.place[:-1], max(self.place[-1] + by, 1)))


class DraftStepRemove(AboutPlace, DraftForm):
    form_class = RemovalForm
    template_name = "assessments/draft-form.html"

    @property
    def heading(self) -> str:
        return "Take out a group and its steps" if is_group(self.node) else "Take out a step"

    @property
    def intro(self) -> str:
        steps = inner(self.node) if is_group(self.node) else [self.node]
        titles = ", ".join(f"“{each.get('title')}”" for each in steps)
        return f"{number_of(self.place)}: {titles}. What is written in it goes with it."

    def carry_out(self, form: forms.Form) -> TaskDraft:
        standing = self.node

        def change(steps: Nodes) -> Nodes:
            if at(steps, self.place) != standing:
                raise NoSuchPlaceError(text_of(self.place))
            return removed(steps, self.place)

        return self.save(_with_steps(change), revision=form.cleaned_data["revision"])

    def get_success_url(self) -> str:
        messages.success(self.request, "It is taken out.")
        return reverse("draft-detail", args=[self.draft.pk])
