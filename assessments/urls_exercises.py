"""Addresses of agreement between assessors: standardisation exercises, and shares side by side."""

from django.urls import path

from assessments.views.exercises import (
    ExerciseClose,
    ExerciseCreate,
    ExerciseDetail,
    ExerciseItemDecide,
    ExerciseList,
    ExerciseRead,
    ExerciseRule,
)
from assessments.views.rates import DecisionRates

urlpatterns = [
    path("exercises/", ExerciseList.as_view(), name="exercise-list"),
    path("exercises/new/", ExerciseCreate.as_view(), name="exercise-create"),
    path("exercises/<uuid:pk>/", ExerciseDetail.as_view(), name="exercise-detail"),
    path("exercises/<uuid:pk>/close/", ExerciseClose.as_view(), name="exercise-close"),
    path("exercises/<uuid:pk>/read/", ExerciseRead.as_view(), name="exercise-read"),
    path("exercises/attempts/<uuid:pk>/", ExerciseItemDecide.as_view(), name="exercise-item"),
    path("exercises/attempts/<uuid:pk>/ruling/", ExerciseRule.as_view(), name="exercise-rule"),
    path("rates/", DecisionRates.as_view(), name="decision-rates"),
]
