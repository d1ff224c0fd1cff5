"""Addresses of scopes, conflicts of interest, adjustments and resits."""

from django.urls import path

from assessments.views.rights import (
    AdjustmentAgree,
    AdjustmentEnd,
    AdjustmentList,
    ConflictDeclare,
    ConflictEnd,
    ConflictList,
    ResitLeaveGive,
    ResitList,
    ResitRuleSet,
    ScopeEnd,
    ScopeList,
    ScopeRecord,
)

urlpatterns = [
    path("scopes/", ScopeList.as_view(), name="scope-list"),
    path("scopes/new/", ScopeRecord.as_view(), name="scope-record"),
    path("scopes/<uuid:pk>/end/", ScopeEnd.as_view(), name="scope-end"),
    path("conflicts/", ConflictList.as_view(), name="conflict-list"),
    path("conflicts/new/", ConflictDeclare.as_view(), name="conflict-declare"),
    path("conflicts/<uuid:pk>/end/", ConflictEnd.as_view(), name="conflict-end"),
    path("adjustments/", AdjustmentList.as_view(), name="adjustment-list"),
    path("adjustments/new/", AdjustmentAgree.as_view(), name="adjustment-agree"),
    path("adjustments/<uuid:pk>/end/", AdjustmentEnd.as_view(), name="adjustment-end"),
    path("resits/", ResitList.as_view(), name="resit-list"),
    path("resits/leave/", ResitLeaveGive.as_view(), name="resit-leave"),
    path("resits/<uuid:pk>/", ResitRuleSet.as_view(), name="resit-rule"),
]
