"""Who may do what with their own club's records, route by route. A route without a line here fails the tests.

The five who ask: `member`, whom the records are about; `other_member`; and one with each further role.
"""

from dataclasses import dataclass, field

ROLES = ("member", "other_member", "organiser", "analyst", "secretary")


@dataclass(frozen=True)
class Rule:
    """Those who may; what the others are told, 403 unless it says otherwise."""

    may: frozenset[str]
    told: dict[str, int] = field(default_factory=dict)

    def refusal_of(self, role: str) -> int | None:
        """None for who may."""
        return None if role in self.may else self.told.get(role, 403)


def by(*roles: str, **told: int) -> Rule:
    return Rule(frozenset(roles), told)


EVERYBODY = by(*ROLES)
OFFICERS = by("organiser", "analyst", "secretary")
SECRETARY = by("secretary")
ORGANISERS_AND_SECRETARY = by("organiser", "secretary")
# One's own line, and the book for those whose work needs it; to others no line but their own is there.
LINE_OF_THE_BOOK = by("member", "organiser", "secretary", other_member=404, analyst=404)
ONESELF_OR_SECRETARY = by("member", "secretary", other_member=404, analyst=404)
OWN_OR_MATCHES_OR_ALL = by("member", "organiser", "secretary")

OF_A_CLUB: dict[str, Rule] = {
    "advice_read": EVERYBODY,
    "amendments_approve": ORGANISERS_AND_SECRETARY,
    "amendments_awaiting": ORGANISERS_AND_SECRETARY,
    "amendments_decline": ORGANISERS_AND_SECRETARY,
    "attendance_list": ORGANISERS_AND_SECRETARY,
    "attendance_note": ORGANISERS_AND_SECRETARY,
    "club_sign_ins_list": SECRETARY,
    "clubs_read": EVERYBODY,
    "doubts_effect": OFFICERS,
    "doubts_hold": OFFICERS,
    "doubts_list": OFFICERS,
    "doubts_take": OFFICERS,
    # Beforehand a draw's evenness is theirs; of a match whose result is out it is everybody's.
    "evenness_read": OFFICERS,
    "fits_list": EVERYBODY,
    "fits_read": OFFICERS,
    "fits_request": OFFICERS,
    "handed_in_read": OFFICERS,
    "imports_request": OFFICERS,
    "invitations_list": SECRETARY,
    "invitations_make": SECRETARY,
    "invitations_withdraw": SECRETARY,
    "jobs_list": OFFICERS,
    "jobs_read": OFFICERS,
    "matches_declare_final": by("organiser"),
    "matches_list": EVERYBODY,
    "matches_reopen": by("organiser"),
    "members_add": SECRETARY,
    "members_change": SECRETARY,
    "members_erase": ONESELF_OR_SECRETARY,
    "members_held": ONESELF_OR_SECRETARY,
    "members_list": EVERYBODY,
    "members_read": LINE_OF_THE_BOOK,
    "members_set_roles": SECRETARY,
    "outstanding_list": SECRETARY,
    "own_numbers_read": EVERYBODY,
    "own_returns_list": EVERYBODY,
    "peg_form_pair_read": EVERYBODY,
    "peg_form_read": EVERYBODY,
    "pegs_list": EVERYBODY,
    "plan_next": EVERYBODY,
    "plan_page": EVERYBODY,
    "plan_read": EVERYBODY,
    "plan_rig_drawing": EVERYBODY,
    "reminders_list": SECRETARY,
    "returns_amend": OWN_OR_MATCHES_OR_ALL,
    "returns_export": EVERYBODY,
    "returns_hand_in": EVERYBODY,
    "returns_hand_in_many": EVERYBODY,
    "returns_history": by("member", "organiser", "analyst", "secretary"),
    "returns_list": EVERYBODY,
    "returns_read": EVERYBODY,
    "returns_remove": OWN_OR_MATCHES_OR_ALL,
    "returns_removed": SECRETARY,
    "returns_restore": SECRETARY,
    "returns_start": EVERYBODY,
    "rigs_check": EVERYBODY,
    "rules_as_in_the_standard": ORGANISERS_AND_SECRETARY,
    "rules_evidence": EVERYBODY,
    "rules_leave_out": ORGANISERS_AND_SECRETARY,
    "rules_list": EVERYBODY,
    "rules_read": EVERYBODY,
    "rules_word": ORGANISERS_AND_SECRETARY,
    "trends_read": EVERYBODY,
    "trends_waters_read": EVERYBODY,
    "vocabulary_read": EVERYBODY,
    "water_trends_read": EVERYBODY,
    "waters_list": EVERYBODY,
    "waters_read": EVERYBODY,
    "weather_readings_keep": OFFICERS,
    "weather_readings_list": OFFICERS,
}
#: Of whoever holds a key, about themselves alone.
OF_ONESELF = {
    "clubs_list",
    "devices_add",
    "devices_close",
    "devices_list",
    "devices_sign_out",
    "invitations_join",
    "me",
    "sign_ins_list",
}
