"""Every route."""

from django.contrib import admin
from django.contrib.auth.views import LoginView, LogoutView
from django.urls import include, path
from django.views.generic import RedirectView

from api.login_backend import CountedForm
from api.views import (
    advice,
    amendments,
    attendance,
    batches,
    clubs,
    devices,
    docs,
    doubts,
    erasure,
    exports,
    fit_page,
    fits,
    health,
    jobs,
    matches,
    members,
    own_numbers,
    peg_form,
    returns,
    sign_ins,
    starts,
    trends,
    vocabulary,
    waters,
    weather,
)

handler400 = "api.errors.bad_request"
handler403 = "api.errors.forbidden"
handler404 = "api.errors.not_found"
handler500 = "api.errors.server_error"

of_a_club = [
    path("", clubs.ClubDetailView.as_view()),
    path("members/", members.MemberListView.as_view()),
    path("members/<uuid:uid>/", members.MemberDetailView.as_view()),
    path("members/<uuid:uid>/roles/", members.RolesView.as_view()),
    path("members/<uuid:uid>/held/", erasure.HeldView.as_view()),
    path("members/<uuid:uid>/erase/", erasure.EraseView.as_view()),
    path("members/<uuid:uid>/invitations/", members.InvitationListView.as_view()),
    path("invitations/<uuid:uid>/", members.InvitationView.as_view()),
    path("weather-readings/", weather.WeatherReadingListView.as_view()),
    path("my-numbers/", own_numbers.OwnNumbersView.as_view()),
    path("sign-ins/", sign_ins.ClubAttemptListView.as_view()),
    path("attendance/", attendance.AttendanceListView.as_view()),
    path("handed-in/", attendance.HandedInView.as_view()),
    path("outstanding/", attendance.OutstandingListView.as_view()),
    path("reminders/", attendance.ReminderListView.as_view()),
    path("waters/", waters.WaterListView.as_view()),
    path("waters/<uuid:uid>/", waters.WaterDetailView.as_view()),
    path("waters/<uuid:uid>/start-return/", starts.StartReturnView.as_view()),
    path("waters/<uuid:uid>/pegs/", waters.PegListView.as_view()),
    path("waters/<uuid:uid>/advice/", advice.AdviceView.as_view()),
    path("waters/<uuid:uid>/own-returns/", advice.OwnReturnListView.as_view()),
    path("waters/<uuid:uid>/peg-form/", peg_form.PegFormView.as_view()),
    path("waters/<uuid:uid>/peg-form/pair/", peg_form.PegPairView.as_view()),
    path("waters/<uuid:uid>/evenness/", peg_form.EvennessView.as_view()),
    path("waters/<uuid:uid>/trends/", trends.WaterTrendsView.as_view()),
    path("trends/", trends.ClubTrendsView.as_view()),
    path("trends/waters/", trends.WatersView.as_view()),
    path("vocabulary/", vocabulary.VocabularyView.as_view()),
    path("matches/", matches.MatchListView.as_view()),
    path("matches/<uuid:uid>/final/", matches.FinalResultView.as_view()),
    path("returns/", returns.ReturnListView.as_view()),
    path("returns/export/", exports.ExportView.as_view()),
    path("returns/batch/", batches.BatchView.as_view()),
    path("returns/removed/", amendments.RemovedListView.as_view()),
    path("returns/<uuid:uid>/", amendments.ReturnDetailView.as_view()),
    path("returns/<uuid:uid>/amendments/", amendments.HistoryView.as_view()),
    path("returns/<uuid:uid>/restore/", amendments.RestoreView.as_view()),
    path("amendments/", amendments.AwaitingListView.as_view()),
    path("amendments/<uuid:uid>/approve/", amendments.ApproveView.as_view()),
    path("amendments/<uuid:uid>/decline/", amendments.DeclineView.as_view()),
    path("doubts/", doubts.DoubtListView.as_view()),
    path("doubts/<uuid:uid>/take/", doubts.TakeView.as_view()),
    path("doubts/<uuid:uid>/hold/", doubts.HoldView.as_view()),
    path("doubts/<uuid:uid>/effect/", doubts.EffectView.as_view()),
    path("imports/", jobs.ImportView.as_view()),
    path("jobs/", jobs.JobListView.as_view()),
    path("jobs/<uuid:uid>/", jobs.JobDetailView.as_view()),
    path("fits/", fits.FitListView.as_view()),
    path("fits/<uuid:uid>/", fits.FitDetailView.as_view()),
    path("fits/<uuid:uid>/report/", fit_page.FitPageView.as_view()),
]

sign_in = LoginView.as_view(
    authentication_form=CountedForm,
    template_name="admin/login.html",
    extra_context={"site_header": admin.site.site_header, "title": "Sign in"},
)

urlpatterns = [
    path("", RedirectView.as_view(pattern_name="docs")),
    path("admin/", admin.site.urls),
    path("sign-in/", sign_in, name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("health/live", health.live),
    path("health/ready", health.ready),
    path("api/schema/", docs.SchemaView.as_view(), name="schema"),
    path("api/docs/", docs.DocsView.as_view(), name="docs"),
    path("api/v1/sign-in/", sign_ins.SignInView.as_view()),
    path("api/v1/invitations/accept/", members.AcceptView.as_view()),
    path("api/v1/me/join/", members.JoinView.as_view()),
    path("api/v1/me/", clubs.MeView.as_view()),
    path("api/v1/me/devices/", devices.DeviceListView.as_view()),
    path("api/v1/me/devices/current/", devices.CurrentDeviceView.as_view()),
    path("api/v1/me/devices/<uuid:uid>/", devices.DeviceView.as_view()),
    path("api/v1/me/sign-ins/", sign_ins.AttemptListView.as_view()),
    path("api/v1/clubs/", clubs.ClubListView.as_view()),
    path("api/v1/clubs/<slug:slug>/", include(of_a_club)),
]
