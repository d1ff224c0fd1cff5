from django.urls import include, path

from assessments.views.bench import AttemptStart, BenchHome, BenchRig
from assessments.views.cohorts import (
    CohortDetail,
    CohortExport,
    CohortMatrix,
    CohortPlan,
    CohortWeeks,
    PriorRecord,
)
from assessments.views.log_sheets import SheetBlank, SheetList, SheetPrint, SheetTranscribe
from assessments.views.measuring import MeasurementCorrect, MeasurementStep, MeasurementTakeBack
from assessments.views.results import AttemptResult
from assessments.views.steps import AttemptHandIn, AttemptOverview, AttemptStep, PhotoFile, StepTakeBack

urlpatterns = [
    path("bench/", BenchHome.as_view(), name="bench-home"),
    path("bench/rigs/<uuid:pk>/", BenchRig.as_view(), name="bench-rig"),
    path("bench/rigs/<uuid:rig>/tasks/<uuid:version>/", AttemptStart.as_view(), name="attempt-start"),
    path("attempts/<uuid:pk>/", AttemptOverview.as_view(), name="attempt-overview"),
    path("attempts/<uuid:pk>/steps/<int:position>/", AttemptStep.as_view(), name="attempt-step"),
    path("attempts/<uuid:pk>/steps/<int:position>/back/", StepTakeBack.as_view(), name="step-take-back"),
    path(
        "attempts/<uuid:pk>/steps/<int:position>/readings/", MeasurementStep.as_view(), name="attempt-measure"
    ),
    path("attempts/<uuid:pk>/readings/<uuid:reading>/", MeasurementCorrect.as_view(), name="reading-correct"),
    path(
        "attempts/<uuid:pk>/readings/<uuid:reading>/back/",
        MeasurementTakeBack.as_view(),
        name="reading-take-back",
    ),
    path("attempts/<uuid:pk>/sheet.pdf", SheetPrint.as_view(), name="sheet-print"),
    path("attempts/<uuid:pk>/sheet/", SheetTranscribe.as_view(), name="sheet-transcribe"),
    path("bench/rigs/<uuid:rig>/tasks/<uuid:version>/sheet.pdf", SheetBlank.as_view(), name="sheet-blank"),
    path("sheets/", SheetList.as_view(), name="sheet-list"),
    path("attempts/<uuid:pk>/hand-in/", AttemptHandIn.as_view(), name="attempt-hand-in"),
    path("attempts/<uuid:pk>/result/", AttemptResult.as_view(), name="attempt-result"),
    path("photos/<uuid:pk>/", PhotoFile.as_view(), name="photo-file"),
    path("cohorts/", CohortMatrix.as_view(), name="cohort-matrix"),
    path("cohorts/export/", CohortExport.as_view(), name="cohort-export"),
    path("cohorts/weeks/", CohortWeeks.as_view(), name="cohort-weeks"),
    path("cohorts/<uuid:pk>/", CohortDetail.as_view(), name="cohort-detail"),
    path("cohorts/<uuid:pk>/plan/", CohortPlan.as_view(), name="cohort-plan"),
    path("candidates/<uuid:pk>/prior/", PriorRecord.as_view(), name="prior-record"),
    path("", include("assessments.urls_exercises")),
    path("", include("assessments.urls_bench")),
    path("", include("assessments.urls_labels")),
    path("", include("assessments.urls_impact")),
    path("", include("assessments.urls_portfolio")),
    path("", include("assessments.urls_review")),
    path("", include("assessments.urls_rigs")),
    path("", include("assessments.urls_sessions")),
    path("", include("assessments.urls_tasks")),
    path("", include("assessments.urls_verification")),
    path("", include("assessments.urls_appeals")),
    path("", include("assessments.urls_rights")),
    path("", include("assessments.urls_virtual")),
    path("", include("assessments.urls_visits")),
]
