"""Addresses of internal verification."""

from django.urls import path

from assessments.views.verification import (
    ActionClose,
    ActionRaise,
    SampledDetail,
    SamplingDetail,
    SamplingDraw,
    SamplingList,
)

urlpatterns = [
    path("verification/", SamplingList.as_view(), name="sampling-list"),
    path("verification/new/", SamplingDraw.as_view(), name="sampling-draw"),
    path("verification/<uuid:pk>/", SamplingDetail.as_view(), name="sampling-detail"),
    path("verification/decisions/<uuid:pk>/", SampledDetail.as_view(), name="sampled-detail"),
    path("verification/decisions/<uuid:pk>/actions/new/", ActionRaise.as_view(), name="action-raise"),
    path("verification/actions/<uuid:pk>/close/", ActionClose.as_view(), name="action-close"),
]
