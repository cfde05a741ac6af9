"""Who signs in to a branch, with which role. The owner decides; a branch keeps an owner."""

from datetime import datetime

from jobs import audit
from jobs.access import Actor
from jobs.models import Branch, Membership, Role, User
from jobs.refusals import Invalid, NotFound, Refusal
from jobs.services.branches import check_owner
from jobs.writing import run_write


def check_person(*, username: str, password: str, role: str) -> None:
    """Refuse a sign-in, passphrase or role that cannot be. Raises Invalid."""
    problems: dict[str, str] = {}
    try:
        check_owner(username=username, password=password)
    except Invalid as wrong:
        names = {"owner": "username"}
        problems = {names.get(key, key): text for key, text in wrong.problems.items()}
    if role not in Role.values:
        problems["role"] = "Please choose a role."
    if problems:
        raise Invalid(problems)


@run_write
def add_person(
    *,
    branch: Branch,
    username: str,
    hashed_password: str,
    full_name: str,
    role: str,
    by: Actor,
    now: datetime,
) -> Membership:
    """Somebody who can sign in from now on; `check_person` first.

    Raises Invalid if the name was taken meanwhile.
    """
    if User.objects.filter(username=username).exists():
        raise Invalid({"username": f"There is already somebody who signs in as {username}."})
    first, _, last = full_name.strip().partition(" ")
    user = User.objects.create(
        username=username, password=hashed_password, first_name=first[:150], last_name=last[:150]
    )
    member = Membership.objects.create(user=user, branch=branch, role=role)
    _record(member, by=by, now=now, action="add", before={}, after={"role": role})
    return member


@run_write
def change_role(
    *, branch: Branch, member_id: int, role: str, by: Actor, now: datetime
) -> Membership:
    """Another role for somebody. Raises Refusal where the branch would be without an owner."""
    member = _member(branch, member_id)
    if role not in Role.values:
        raise Refusal("Please choose a role.", field="role")
    before = member.role
    if before == Role.OWNER and role != Role.OWNER:
        _keep_an_owner(branch, member)
    member.role = role
    member.save(update_fields=["role"])
    _record(member, by=by, now=now, action="change", before={"role": before}, after={"role": role})
    return member


@run_write
def remove_person(*, branch: Branch, member_id: int, by: Actor, now: datetime) -> User:
    """Nothing of this branch is theirs any more; without any branch they cannot sign in.

    What they did stays under their name.
    """
    member = _member(branch, member_id)
    if member.role == Role.OWNER:
        _keep_an_owner(branch, member)
    user = member.user
    _record(member, by=by, now=now, action="remove", before={"role": member.role}, after={})
    member.delete()
    if not user.memberships.exists():
        user.is_active = False
        user.save(update_fields=["is_active"])
    return user


def _member(branch: Branch, member_id: int) -> Membership:
    """The membership, with the branch's row locked, so that two owners cannot both step down."""
    Branch.objects.select_for_update().get(pk=branch.pk)
    member = Membership.objects.filter(branch=branch, pk=member_id).select_related("user").first()
    if member is None:
        raise NotFound("There is no such person in this branch.")
    return member


def _keep_an_owner(branch: Branch, member: Membership) -> None:
    others = Membership.objects.filter(branch=branch, role=Role.OWNER, user__is_active=True)
    if not others.exclude(pk=member.pk).exists():
        raise Refusal("A branch needs an owner. Make somebody else the owner first.", field="role")


def _record(
    member: Membership,
    *,
    by: Actor,
    now: datetime,
    action: str,
    before: dict[str, str],
    after: dict[str, str],
) -> None:
    name = {"sign_in": member.user.username}
    audit.record(
        branch=member.branch,
        by=by,
        subject="member",
        subject_id=member.pk,
        action=action,
        now=now,
        before={**name, **before},
        after={**name, **after},
    )
