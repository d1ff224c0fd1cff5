"""Addresses of the pages that have a rig's answers or its faults on them."""

from django.urls import path

from assessments.views.check_export import ChecksExport
from assessments.views.faults import FaultDetail, FaultList, FaultRemove, FaultSet
from assessments.views.rig_board import RigCharts, RigList
from assessments.views.rig_values import (
    BaselineDecide,
    BaselineDetail,
    CheckDetail,
    OutlierDecide,
    RigValues,
)

urlpatterns = [
    path("rigs/", RigList.as_view(), name="rig-list"),
    path("rigs/<uuid:pk>/charts/", RigCharts.as_view(), name="rig-charts"),
    path("rigs/<uuid:rig>/checks/export/", ChecksExport.as_view(), name="checks-export"),
    path("rigs/<uuid:pk>/values/", RigValues.as_view(), name="rig-values"),
    path("baselines/<uuid:pk>/", BaselineDetail.as_view(), name="baseline-detail"),
    path("baselines/<uuid:pk>/decide/", BaselineDecide.as_view(), name="baseline-decide"),
    path("baseline-readings/<int:pk>/decide/", OutlierDecide.as_view(), name="outlier-decide"),
    path("checks/<uuid:pk>/", CheckDetail.as_view(), name="check-detail"),
    path("rigs/<uuid:rig>/fault/", FaultSet.as_view(), name="fault-set"),
    path("rigs/<uuid:rig>/faults/", FaultList.as_view(), name="fault-list"),
    path("faults/<uuid:pk>/", FaultDetail.as_view(), name="fault-detail"),
    path("faults/<uuid:pk>/remove/", FaultRemove.as_view(), name="fault-remove"),
]
