from django.urls import path

from rigs.views.baselines import BaselineHandOver, BaselineRun, BaselineStart
from rigs.views.calibrations import CalibrationRecord
from rigs.views.checks import CheckRecord
from rigs.views.holds import HoldRelease, InstrumentHoldPlace, RigHoldPlace
from rigs.views.instruments import InstrumentCreate, InstrumentDetail, InstrumentList, InstrumentModelCreate
from rigs.views.levels import DesignLevels, LevelsAdopt, LevelsSet
from rigs.views.rigs import RigCreate, RigDetail, RigList

urlpatterns = [
    path("rigs/", RigList.as_view(), name="rig-list"),
    path("rigs/new/", RigCreate.as_view(), name="rig-create"),
    path("rigs/<uuid:pk>/", RigDetail.as_view(), name="rig-detail"),
    path("rigs/<uuid:rig>/baselines/new/", BaselineStart.as_view(), name="baseline-start"),
    path("rigs/<uuid:rig>/checks/new/", CheckRecord.as_view(), name="check-record"),
    path("rigs/<uuid:rig>/hold/", RigHoldPlace.as_view(), name="hold-place"),
    path("baselines/<uuid:pk>/run/", BaselineRun.as_view(), name="baseline-run"),
    path("baselines/<uuid:pk>/hand-over/", BaselineHandOver.as_view(), name="baseline-hand-over"),
    path("designs/<uuid:pk>/levels/", DesignLevels.as_view(), name="design-levels"),
    path("measurands/<int:pk>/levels/new/", LevelsSet.as_view(), name="levels-set"),
    path("measurands/<int:pk>/levels/adopt/", LevelsAdopt.as_view(), name="levels-adopt"),
    path("holds/<uuid:pk>/release/", HoldRelease.as_view(), name="hold-release"),
    path("instruments/", InstrumentList.as_view(), name="instrument-list"),
    path("instruments/new/", InstrumentCreate.as_view(), name="instrument-create"),
    path("instruments/<uuid:pk>/", InstrumentDetail.as_view(), name="instrument-detail"),
    path("instruments/<uuid:instrument>/hold/", InstrumentHoldPlace.as_view(), name="hold-place"),
    path(
        "instruments/<uuid:instrument>/calibrations/new/",
        CalibrationRecord.as_view(),
        name="calibration-record",
    ),
    path("instrument-models/new/", InstrumentModelCreate.as_view(), name="instrument-model-create"),
]
