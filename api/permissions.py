"""Who may: current members of the club in the path, and for some methods only those with a role."""

from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.views import APIView

from clubdata.models import Role
from clubdata.services.members import Membership, membership

# The roles of which one is needed, and what for: it ends the sentence 'Only … may …'.
Need = tuple[frozenset[Role], str]


class IsCurrentMember(BasePermission):
    """Finds the actor's membership of the club in the path and leaves it with the request.

    Nobody else learns that the club exists: no such club and not your club are one answer. A view's
    `roles` name, by method, the roles that it takes and what for; another member of the club is told both.
    """

    def has_permission(self, request: Request, view: APIView) -> bool:
        if not request.user.is_authenticated:
            return False
        who = membership(actor=request.user, slug=view.kwargs["slug"])
        # HEAD tells whatever GET tells, but for its body.
        method = "GET" if request.method == "HEAD" else request.method
        need: Need | None = getattr(view, "roles", {}).get(method)
        if need is not None:
            who.require(*need)
        setattr(request, MEMBERSHIP, who)
        return True


MEMBERSHIP = "membership"


def member_of(request: Request) -> Membership:
    """The membership that `IsCurrentMember` found."""
    who: Membership = getattr(request, MEMBERSHIP)
    return who
