"""What must be known of an order before its day is confirmed: one row for each question."""

from django.db import models

from jobs.models.branches import User
from jobs.models.orders import Job
from jobs.models.scoping import BranchScoped
from jobs.rules.must_know import Standing, Topic


class QuestionQuerySet(BranchScoped):
    branch_path = "job__branch"


class Question(models.Model):
    """What was said about one topic of an order, by whom and when; no row is not asked yet."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="questions")
    topic = models.CharField(max_length=16, choices=[(each.value, each.value) for each in Topic])
    standing = models.CharField(
        max_length=12, choices=[(each.value, each.value) for each in Standing]
    )
    # What was said; of a topic that a person waived, why.
    answer = models.CharField(max_length=300, blank=True)
    by_name = models.CharField(max_length=120)
    user = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = QuestionQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["job", "topic"], name="one_answer_a_topic")]

    def __str__(self) -> str:
        return f"{self.topic} of {self.job}: {self.standing}"
