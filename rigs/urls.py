from django.urls import path

from rigs.views.baselines import BaselineHandOver, BaselineRun, BaselineStart
from rigs.views.calibrations import CalibrationRecord, CertificateAttach, CertificateFileShow
from rigs.views.checks import CheckRecord
from rigs.views.due import CalendarFeed, CalendarGive, CalendarRevoke, DueList
from rigs.views.holds import HoldRelease, InstrumentHoldPlace, RigHoldPlace
from rigs.views.instruments import (
    InstrumentCreate,
    InstrumentDetail,
    InstrumentList,
    InstrumentModelCreate,
    InstrumentRetire,
)
from rigs.views.levels import DesignLevels, LevelsAdopt, LevelsSet
from rigs.views.rigs import RigChange, RigCreate, RigDetail, RigRetire, ThresholdChange
from rigs.views.transfer import (
    CertificatesExport,
    CertificatesImport,
    ChecksImport,
    InstrumentsExport,
    InstrumentsImport,
    RigsExport,
    RigsImport,
)

urlpatterns = [
    path("rigs/new/", RigCreate.as_view(), name="rig-create"),
    path("rigs/thresholds/", ThresholdChange.as_view(), name="threshold-change"),
    path("rigs/<uuid:pk>/", RigDetail.as_view(), name="rig-detail"),
    path("rigs/<uuid:rig>/change/", RigChange.as_view(), name="rig-change"),
    path("rigs/<uuid:rig>/retire/", RigRetire.as_view(), name="rig-retire"),
    path("rigs/<uuid:rig>/baselines/new/", BaselineStart.as_view(), name="baseline-start"),
    path("rigs/<uuid:rig>/checks/new/", CheckRecord.as_view(), name="check-record"),
    path("rigs/<uuid:rig>/hold/", RigHoldPlace.as_view(), name="hold-place"),
    path("baselines/<uuid:pk>/run/", BaselineRun.as_view(), name="baseline-run"),
    path("baselines/<uuid:pk>/hand-over/", BaselineHandOver.as_view(), name="baseline-hand-over"),
    path("designs/<uuid:pk>/levels/", DesignLevels.as_view(), name="design-levels"),
    path("measurands/<int:pk>/levels/new/", LevelsSet.as_view(), name="levels-set"),
    path("measurands/<int:pk>/levels/adopt/", LevelsAdopt.as_view(), name="levels-adopt"),
    path("holds/<uuid:pk>/release/", HoldRelease.as_view(), name="hold-release"),
    path("due/", DueList.as_view(), name="due-list"),
    path("due/calendar/", CalendarGive.as_view(), name="calendar-give"),
    path("due/calendar/revoke/", CalendarRevoke.as_view(), name="calendar-revoke"),
    path("calendars/<str:token>.ics", CalendarFeed.as_view(), name="calendar-feed"),
    path("rigs/import/", RigsImport.as_view(), name="rigs-import"),
    path("rigs/export/", RigsExport.as_view(), name="rigs-export"),
    path("checks/import/", ChecksImport.as_view(), name="checks-import"),
    path("instruments/import/", InstrumentsImport.as_view(), name="instruments-import"),
    path("instruments/export/", InstrumentsExport.as_view(), name="instruments-export"),
    path("certificates/import/", CertificatesImport.as_view(), name="certificates-import"),
    path("certificates/export/", CertificatesExport.as_view(), name="certificates-export"),
    path("instruments/", InstrumentList.as_view(), name="instrument-list"),
    path("instruments/new/", InstrumentCreate.as_view(), name="instrument-create"),
    path("instruments/<uuid:pk>/", InstrumentDetail.as_view(), name="instrument-detail"),
    path("instruments/<uuid:instrument>/retire/", InstrumentRetire.as_view(), name="instrument-retire"),
    path("instruments/<uuid:instrument>/hold/", InstrumentHoldPlace.as_view(), name="hold-place"),
    path(
        "instruments/<uuid:instrument>/calibrations/new/",
        CalibrationRecord.as_view(),
        name="calibration-record",
    ),
    path("calibrations/<uuid:pk>/file/", CertificateAttach.as_view(), name="certificate-attach"),
    path("certificate-files/<uuid:pk>/", CertificateFileShow.as_view(), name="certificate-file"),
    path("instrument-models/new/", InstrumentModelCreate.as_view(), name="instrument-model-create"),
]
