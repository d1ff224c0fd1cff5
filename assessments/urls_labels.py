"""Addresses of labels, of what they lead to, and of what hangs on a thing on hold."""

from django.urls import path

from assessments.views.labels import HoldNotice, InstrumentLabel, LabelSheet, RigLabel
from assessments.views.scanning import InstrumentUse, RigAttempts, Scan

urlpatterns = [
    path("scan/<uuid:pk>/", Scan.as_view(), name="scan"),
    path("labels/", LabelSheet.as_view(), name="label-sheet"),
    path("rigs/<uuid:rig>/label.pdf", RigLabel.as_view(), name="label-print"),
    path("rigs/<uuid:pk>/attempts/", RigAttempts.as_view(), name="rig-attempts"),
    path("instruments/<uuid:instrument>/label.pdf", InstrumentLabel.as_view(), name="label-print"),
    path("instruments/<uuid:pk>/use/", InstrumentUse.as_view(), name="instrument-use"),
    path("holds/<uuid:pk>/notice.pdf", HoldNotice.as_view(), name="hold-notice"),
]
