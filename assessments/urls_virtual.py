"""Addresses of practising on a virtual rig."""

from django.urls import path

from assessments.views.virtual import (
    VirtualFinish,
    VirtualGiveUp,
    VirtualList,
    VirtualOverview,
    VirtualResult,
    VirtualStart,
    VirtualStep,
)
from assessments.views.virtual_measuring import VirtualMeasure

urlpatterns = [
    path("virtual/", VirtualList.as_view(), name="virtual-list"),
    path("virtual/tasks/<uuid:version>/", VirtualStart.as_view(), name="virtual-start"),
    path("virtual/<uuid:pk>/", VirtualOverview.as_view(), name="virtual-overview"),
    path("virtual/<uuid:pk>/steps/<int:position>/", VirtualStep.as_view(), name="virtual-step"),
    path("virtual/<uuid:pk>/measure/", VirtualMeasure.as_view(), name="virtual-measure"),
    path("virtual/<uuid:pk>/give-up/", VirtualGiveUp.as_view(), name="virtual-give-up"),
    path("virtual/<uuid:pk>/finish/", VirtualFinish.as_view(), name="virtual-finish"),
    path("virtual/<uuid:pk>/result/", VirtualResult.as_view(), name="virtual-result"),
]
