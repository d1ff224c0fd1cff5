from django.urls import include, path

from academy.views.cohorts import CohortCreate, MembershipCreate, MembershipEnd
from academy.views.deciding_values import DecidingValues
from academy.views.home import Home
from academy.views.jobs import JobAgain, JobDetail
from academy.views.links import (
    InvitationList,
    LinkUse,
    LinkWithdraw,
    PasswordForgotten,
    PersonInvite,
    PersonLink,
)
from academy.views.notices import DigestChoose, Today
from academy.views.own_data import OwnData, OwnDataTake
from academy.views.people import (
    PersonCreate,
    PersonDetail,
    PersonErase,
    PersonList,
    PersonPassword,
    RoleEnd,
    RoleGrant,
)
from academy.views.retention import (
    DisposalList,
    RecordHoldLift,
    RecordHoldPlace,
    RetentionDispose,
    RetentionList,
    RetentionPeriodSet,
)
from academy.views.roster import RosterImport
from academy.views.signing_in import PasswordChange, SignIn, SignOut

urlpatterns = [
    path("", Home.as_view(), name="home"),
    path("today/", Today.as_view(), name="today"),
    path("today/digest/", DigestChoose.as_view(), name="digest-choose"),
    path("jobs/<uuid:pk>/", JobDetail.as_view(), name="job-detail"),
    path("jobs/<uuid:pk>/again/", JobAgain.as_view(), name="job-again"),
    path("sign-in/", SignIn.as_view(), name="sign-in"),
    path("sign-out/", SignOut.as_view(), name="sign-out"),
    path("password/", PasswordChange.as_view(), name="password-change"),
    path("password/forgotten/", PasswordForgotten.as_view(), name="password-forgotten"),
    path("link/<str:token>/", LinkUse.as_view(), name="link-use"),
    path("your-data/", OwnData.as_view(), name="own-data"),
    path("your-data/take/", OwnDataTake.as_view(), name="own-data-take"),
    path("retention/", RetentionList.as_view(), name="retention-list"),
    path("retention/disposed/", DisposalList.as_view(), name="disposal-list"),
    path("retention/<slug:kind>/", RetentionPeriodSet.as_view(), name="retention-period"),
    path("retention/<slug:kind>/dispose/", RetentionDispose.as_view(), name="retention-dispose"),
    path("how-we-decide/", DecidingValues.as_view(), name="deciding-values"),
    path("people/", PersonList.as_view(), name="person-list"),
    path("people/new/", PersonCreate.as_view(), name="person-create"),
    path("people/invite/", PersonInvite.as_view(), name="person-invite"),
    path("people/invitations/", InvitationList.as_view(), name="invitation-list"),
    path("people/invitations/<uuid:pk>/withdraw/", LinkWithdraw.as_view(), name="link-withdraw"),
    path("people/import/", RosterImport.as_view(), name="roster-import"),
    path("people/<uuid:pk>/link/", PersonLink.as_view(), name="person-link"),
    path("people/<uuid:pk>/hold/", RecordHoldPlace.as_view(), name="record-hold-place"),
    path("people/<uuid:pk>/hold/<uuid:hold>/lift/", RecordHoldLift.as_view(), name="record-hold-lift"),
    path("people/<uuid:pk>/", PersonDetail.as_view(), name="person-detail"),
    path("people/<uuid:pk>/password/", PersonPassword.as_view(), name="person-password"),
    path("people/<uuid:pk>/erase/", PersonErase.as_view(), name="person-erase"),
    path("people/<uuid:pk>/roles/new/", RoleGrant.as_view(), name="role-grant"),
    path("people/<uuid:pk>/roles/<uuid:role>/end/", RoleEnd.as_view(), name="role-end"),
    path("people/<uuid:pk>/cohorts/new/", MembershipCreate.as_view(), name="membership-create"),
    path("people/<uuid:pk>/cohorts/<uuid:membership>/end/", MembershipEnd.as_view(), name="membership-end"),
    path("cohorts/new/", CohortCreate.as_view(), name="cohort-create"),
    path("", include("rigs.urls")),
    path("", include("assessments.urls")),
]
