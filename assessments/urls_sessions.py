"""Addresses of a session: its board, its rotation, what is seen and asked at the bench, and its stop."""

from django.urls import path

from assessments.views.help_calls import HelpAsk, HelpTakeBack
from assessments.views.observing import Observe, ObserveStep, OralAsk
from assessments.views.rotations import (
    RotationCreate,
    RotationDetail,
    RotationList,
    RotationPrint,
    RotationReplan,
    RotationSwap,
)
from assessments.views.sessions import (
    HelpAnswer,
    SessionBoard,
    SessionResume,
    SessionStopNow,
    SessionStopped,
)

urlpatterns = [
    path("session/", SessionBoard.as_view(), name="session-board"),
    path("session/stop/", SessionStopNow.as_view(), name="session-stop"),
    path("session/stops/<uuid:pk>/", SessionStopped.as_view(), name="session-stopped"),
    path("session/stops/<uuid:pk>/go-on/", SessionResume.as_view(), name="session-resume"),
    path("session/calls/<uuid:pk>/answer/", HelpAnswer.as_view(), name="help-answer"),
    path("attempts/<uuid:pk>/help/", HelpAsk.as_view(), name="help-ask"),
    path("attempts/<uuid:pk>/help/back/", HelpTakeBack.as_view(), name="help-take-back"),
    path("attempts/<uuid:pk>/observe/", Observe.as_view(), name="observe"),
    path("attempts/<uuid:pk>/observe/<int:position>/", ObserveStep.as_view(), name="observe-step"),
    path("attempts/<uuid:pk>/observe/questions/<slug:key>/", OralAsk.as_view(), name="oral-ask"),
    path("rotations/", RotationList.as_view(), name="rotation-list"),
    path("rotations/new/<uuid:cohort>/", RotationCreate.as_view(), name="rotation-create"),
    path("rotations/<uuid:pk>/", RotationDetail.as_view(), name="rotation-detail"),
    path("rotations/<uuid:pk>/again/", RotationReplan.as_view(), name="rotation-replan"),
    path("rotations/<uuid:pk>/swap/", RotationSwap.as_view(), name="rotation-swap"),
    path("rotations/<uuid:pk>/sheet.pdf", RotationPrint.as_view(), name="rotation-print"),
]
