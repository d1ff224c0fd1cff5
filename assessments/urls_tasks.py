"""Addresses of the pages on which tasks are read and written."""

from django.urls import path

from assessments.views.authoring import (
    DraftBegin,
    DraftCreate,
    DraftDetail,
    DraftImport,
    DraftParticulars,
    DraftPublish,
    DraftSetAside,
)
from assessments.views.draft_preview import DraftPreview
from assessments.views.draft_steps import (
    DraftArrange,
    DraftGroup,
    DraftStep,
    DraftStepInsert,
    DraftStepRemove,
)
from assessments.views.limits import LimitConfirm, LimitList
from assessments.views.tasks import TaskExport, TaskList, TaskVersionDetail, TaskWithdraw

urlpatterns = [
    path("tasks/", TaskList.as_view(), name="task-list"),
    path("tasks/limits/", LimitList.as_view(), name="limit-list"),
    path("tasks/limits/<slug:digest>/", LimitConfirm.as_view(), name="limit-confirm"),
    path("tasks/versions/<uuid:pk>/", TaskVersionDetail.as_view(), name="task-version"),
    path("tasks/versions/<uuid:pk>/file/", TaskExport.as_view(), name="task-export"),
    path("tasks/versions/<uuid:pk>/withdraw/", TaskWithdraw.as_view(), name="task-withdraw"),
    path("tasks/versions/<uuid:pk>/draft/", DraftBegin.as_view(), name="draft-begin"),
    path("tasks/drafts/new/", DraftCreate.as_view(), name="draft-create"),
    path("tasks/drafts/import/", DraftImport.as_view(), name="draft-import"),
    path("tasks/drafts/<uuid:pk>/", DraftDetail.as_view(), name="draft-detail"),
    path("tasks/drafts/<uuid:pk>/particulars/", DraftParticulars.as_view(), name="draft-particulars"),
    path("tasks/drafts/<uuid:pk>/publish/", DraftPublish.as_view(), name="draft-publish"),
    path("tasks/drafts/<uuid:pk>/set-aside/", DraftSetAside.as_view(), name="draft-set-aside"),
    path("tasks/drafts/<uuid:pk>/preview/<int:position>/", DraftPreview.as_view(), name="draft-preview"),
    path("tasks/drafts/<uuid:pk>/steps/<slug:place>/", DraftStep.as_view(), name="draft-step"),
    path(
        "tasks/drafts/<uuid:pk>/steps/<slug:place>/new/", DraftStepInsert.as_view(), name="draft-step-insert"
    ),
    path("tasks/drafts/<uuid:pk>/steps/<slug:place>/arrange/", DraftArrange.as_view(), name="draft-arrange"),
    path(
        "tasks/drafts/<uuid:pk>/steps/<slug:place>/remove/",
        DraftStepRemove.as_view(),
        name="draft-step-remove",
    ),
    path("tasks/drafts/<uuid:pk>/groups/<slug:place>/", DraftGroup.as_view(), name="draft-group"),
]
