"""Whose rows somebody may see: decided here, once, for every table that has a branch."""

from typing import Any, Self

from django.db import models

from jobs.models.branches import Membership


class BranchScoped(models.QuerySet[Any]):
    """Rows that belong to a branch; `branch_path` says along which foreign keys."""

    branch_path = "branch"

    def visible_to(self, user: Any) -> Self:
        """Only the rows of branches in which `user` is a member; nothing for strangers."""
        branches = Membership.objects.of(user).values("branch")
        return self.filter(**{f"{self.branch_path}__in": branches})

    def of_branch(self, branch: Any) -> Self:
        """Only the rows of one branch."""
        return self.filter(**{self.branch_path: branch})
