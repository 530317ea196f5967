"""An officer's pages show the officer's club, no digest, and write nothing that a service must."""

from datetime import timedelta
from urllib.parse import urlencode

import pytest
from django.contrib import admin
from django.contrib.auth.models import Permission
from django.db.models import ForeignKey
from django.test import Client, RequestFactory
from django.urls import reverse

from api.admin import Limited
from clubdata.models import AccessToken, Account, Club, HookBaitSpelling, Job, JobKind, MemberRole, Peg
from clubdata.services.accounts import issue_token
from tests.factories import NOW, SmallClub, make_match, make_return

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
MODELS = sorted(admin.site._registry, key=lambda model: model._meta.label)


@pytest.fixture
def superuser(db: None) -> Client:
    account = Account.objects.create_superuser("root-of-tests", password="bank-side-tea-9")
    client = Client()
    client.force_login(account)
    return client


@pytest.fixture
def officer(heron_small: SmallClub) -> Client:
    """A secretary on the staff with every permission there is."""
    account = heron_small.account("secretary")
    account.is_staff = True
    account.save()
    account.user_permissions.set(Permission.objects.all())
    client = Client()
    client.force_login(account)
    return client


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model._meta.label)
def test_every_page_opens_and_searches(model: type, superuser: Client, heron_small: SmallClub) -> None:
    make_match(heron_small.mere)
    make_return(heron_small.member, heron_small.pegs["1"], part={"hook_bait": heron_small.caster})
    Job.objects.create(club=heron_small.club, kind=JobKind.FIT, created_at=NOW)
    issue_token(account=heron_small.account(), device="phone", now=NOW, lifetime=DAY)
    name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
    assert superuser.get(reverse(f"{name}_changelist")).status_code == 200
    assert superuser.get(reverse(f"{name}_changelist"), {"q": "heron 1"}).status_code == 200
    row = model._default_manager.first()
    if row is not None:
        assert superuser.get(reverse(f"{name}_change", args=[row.pk])).status_code == 200


def test_an_officer_sees_the_rows_and_the_choices_of_the_own_club_only(
    officer: Client, heron_small: SmallClub, other_club: SmallClub
) -> None:
    make_return(other_club.member, other_club.pegs["1"])
    for model in ("club", "member", "water", "peg", "hookbait", "match", "return"):
        text = officer.get(reverse(f"admin:clubdata_{model}_changelist")).content.decode()
        assert "Grebe" not in text and "grebe" not in text, model
    form = officer.get(reverse("admin:clubdata_peg_add")).content.decode()
    assert "Heron-Small Mere" in form and "Grebe" not in form
    foreign = reverse("admin:clubdata_peg_change", args=[other_club.pegs["1"].pk])
    assert officer.get(foreign).status_code == 302


def test_an_officer_sees_no_logins_and_no_tokens(officer: Client, heron_small: SmallClub) -> None:
    assert officer.get(reverse("admin:clubdata_account_changelist")).status_code == 403
    assert officer.get(reverse("admin:clubdata_accesstoken_changelist")).status_code == 403


def test_an_officer_neither_links_nor_looks_up_a_login(
    officer: Client, heron_small: SmallClub, other_club: SmallClub
) -> None:
    stranger, member = other_club.account(), heron_small.other_member
    own = member.account
    values = {"club": member.club_id, "number": member.number, "name": "Renamed", "account": stranger.pk}
    values |= {"roles-TOTAL_FORMS": 0, "roles-INITIAL_FORMS": 0}
    for address in (
        reverse("admin:clubdata_member_change", args=[member.pk]),
        reverse("admin:clubdata_member_add"),
    ):
        faulty = officer.post(address, {**values, "number": ""}).content.decode()
        assert "errorlist" in faulty and stranger.username not in faulty
    assert officer.post(reverse("admin:clubdata_member_change", args=[member.pk]), values).status_code == 302
    member.refresh_from_db()
    assert (member.name, member.account) == ("Renamed", own)


def test_a_superuser_links_a_login(superuser: Client, heron_small: SmallClub) -> None:
    member, account = heron_small.member, Account.objects.create_user("new-login")
    values = {"club": member.club_id, "number": member.number, "account": account.pk}
    values |= {"roles-TOTAL_FORMS": 0, "roles-INITIAL_FORMS": 0}
    superuser.post(reverse("admin:clubdata_member_change", args=[member.pk]), values)
    member.refresh_from_db()
    assert member.account == account


@pytest.mark.parametrize("action", ["delete", "change", "history"])
def test_an_officer_opens_no_page_of_a_login(action: str, officer: Client, other_club: SmallClub) -> None:
    address = reverse(f"admin:clubdata_account_{action}", args=[other_club.account().pk])
    assert officer.get(address).status_code == 403


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model._meta.label)
def test_every_choice_of_an_officer_is_of_the_own_club(
    model: type, officer: Client, heron_small: SmallClub, other_club: SmallClub, rf: RequestFactory
) -> None:
    request = rf.get("/")
    request.user = heron_small.account("secretary")
    page = admin.site._registry[model]
    for form in (page, *page.get_inline_instances(request)):
        if not isinstance(form, Limited):
            continue
        for column in form.model._meta.concrete_fields:
            if not isinstance(column, ForeignKey):
                continue
            choices = form.formfield_for_foreignkey(column, request).queryset
            clubs = {getattr(choice, "club_id", choice.pk) for choice in choices}
            assert clubs <= {heron_small.club.pk}, column


def test_no_page_shows_a_digest_and_revoking_closes_the_key(
    superuser: Client, heron_small: SmallClub
) -> None:
    token, _ = issue_token(account=heron_small.account(), device="phone", now=NOW, lifetime=DAY)
    changelist = reverse("admin:clubdata_accesstoken_changelist")
    change = reverse("admin:clubdata_accesstoken_change", args=[token.pk])
    for page in (changelist, change):
        text = superuser.get(page).content.decode()
        assert "phone" in text and token.digest not in text
    superuser.post(changelist, {"action": "revoke", "_selected_action": [token.pk]})
    assert AccessToken.objects.get(pk=token.pk).revoked_at is not None


@pytest.mark.parametrize("model", ["return", "job"])
def test_what_a_service_must_write_is_not_written_here(model: str, superuser: Client) -> None:
    assert superuser.get(reverse(f"admin:clubdata_{model}_add")).status_code == 403


def test_a_peg_cannot_be_put_on_another_clubs_water(
    superuser: Client, heron_small: SmallClub, other_club: SmallClub
) -> None:
    forms = {
        f"{name}-{key}": "0" for name in ("hazards", "depths") for key in ("TOTAL_FORMS", "INITIAL_FORMS")
    }
    values = {"club": heron_small.club.pk, "water": other_club.mere.pk, "label": "99", "bank_order": 99}
    response = superuser.post(reverse("admin:clubdata_peg_add"), {**values, **forms})
    assert "belongs to another club" in response.content.decode()
    assert not Peg.objects.filter(label="99").exists()


def test_a_spelling_is_folded_joins_its_club_and_stands_once(
    superuser: Client, heron_small: SmallClub
) -> None:
    caster = heron_small.caster
    address = reverse("admin:clubdata_hookbait_change", args=[caster.pk])

    def add(spelling: str) -> str:
        rows = list(caster.spellings.order_by("pk"))
        values = {"club": caster.club_id, "name": caster.name}
        values |= {"spellings-TOTAL_FORMS": len(rows) + 1, "spellings-INITIAL_FORMS": len(rows)}
        for index, row in enumerate(rows):
            values |= {f"spellings-{index}-id": row.pk, f"spellings-{index}-folded": row.folded}
            values |= {f"spellings-{index}-entry": caster.pk}
        values |= {f"spellings-{len(rows)}-entry": caster.pk, f"spellings-{len(rows)}-folded": spelling}
        body = urlencode(values)
        return superuser.post(
            address, body, content_type="application/x-www-form-urlencoded"
        ).content.decode()

    add("  Dark   CASTERS ")
    assert HookBaitSpelling.objects.filter(club=caster.club, entry=caster, folded="dark casters").exists()
    assert "errorlist" in add("reds")  # the club's word for red maggot already
    assert HookBaitSpelling.objects.filter(club=caster.club, folded="reds").count() == 1


def test_a_role_is_given_in_the_members_club(superuser: Client, heron_small: SmallClub) -> None:
    member = heron_small.member
    values = {"club": member.club_id, "number": member.number, "name": member.name}
    values |= {"roles-TOTAL_FORMS": 1, "roles-INITIAL_FORMS": 0, "roles-0-role": "analyst"}
    superuser.post(reverse("admin:clubdata_member_change", args=[member.pk]), values)
    assert MemberRole.objects.get(member=member).club == heron_small.club


def inline(*names: str) -> dict[str, str]:
    return {f"{name}-{key}": "0" for name in names for key in ("TOTAL_FORMS", "INITIAL_FORMS")}


def places_revision(small: SmallClub) -> int:
    return Club.objects.get(pk=small.club.pk).places_revision


def test_a_hazard_noted_a_word_renamed_and_a_peg_deleted_raise_the_places_revision(
    superuser: Client, heron_small: SmallClub, other_club: SmallClub
) -> None:
    peg, club = heron_small.pegs["7"], heron_small.club
    values = {
        "club": club.pk,
        "water": peg.water_id,
        "label": "7",
        "bank_order": peg.bank_order,
        "in_use": "on",
    }
    values |= inline("hazards", "depths")
    values |= {
        "hazards-TOTAL_FORMS": "1",
        "hazards-0-kind": "broken platform",
        "hazards-0-noted_on": "2024-03-01",
        "hazards-0-peg": peg.pk,
    }
    superuser.post(reverse("admin:clubdata_peg_change", args=[peg.pk]), values)
    assert peg.hazards.count() == 1
    assert places_revision(heron_small) == 1

    word = heron_small.caster
    change = reverse("admin:clubdata_hookbait_change", args=[word.pk])
    superuser.post(change, {"club": club.pk, "name": "caster, brown", **inline("spellings")})
    word.refresh_from_db()
    assert (word.name, places_revision(heron_small)) == ("caster, brown", 2)

    superuser.post(reverse("admin:clubdata_peg_delete", args=[peg.pk]), {"post": "yes"})
    assert not Peg.objects.filter(pk=peg.pk).exists()
    assert places_revision(heron_small) == 3

    chosen = [heron_small.pegs["1"].pk, heron_small.pegs["2"].pk]
    action = {"action": "delete_selected", "_selected_action": chosen, "post": "yes"}
    superuser.post(reverse("admin:clubdata_peg_changelist"), action)
    assert not Peg.objects.filter(pk__in=chosen).exists()
    assert (places_revision(heron_small), places_revision(other_club)) == (4, 0)


def test_a_club_renamed_keeps_the_revisions_that_were_raised_meanwhile(
    superuser: Client, heron_small: SmallClub, monkeypatch: pytest.MonkeyPatch
) -> None:
    club, form = heron_small.club, admin.site._registry[Club]
    page = superuser.get(reverse("admin:clubdata_club_change", args=[club.pk])).context["adminform"].form
    values = {**page.initial, "conventions": "{}", "name": "Renamed"}
    loaded = form.get_object

    def raised_after_loading(*args: object) -> object:
        found = loaded(*args)
        club.raise_revision()
        return found

    monkeypatch.setattr(form, "get_object", raised_after_loading)
    superuser.post(reverse("admin:clubdata_club_change", args=[club.pk]), values)
    club.refresh_from_db()
    assert (club.name, club.revision, club.places_revision) == ("Renamed", 1, 1)
