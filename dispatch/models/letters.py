"""Letters: what a branch writes in its own words, which it sends, and who wants fewer."""

from django.db import models

from dispatch.models.notices import NoticeKind
from jobs.models import Branch, Customer
from jobs.models.scoping import BranchScoped


class LetterText(models.Model):
    """What a branch changed about one kind of letter; kinds without a row go as they come."""

    branch = models.ForeignKey(Branch, on_delete=models.CASCADE, related_name="letter_texts")
    kind = models.CharField(max_length=20, choices=NoticeKind.choices)
    is_sent = models.BooleanField(default=True)
    # Empty: the program's own words.
    subject = models.CharField(max_length=150, blank=True)
    body = models.TextField(blank=True)

    objects = BranchScoped.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["branch", "kind"], name="one_text_a_kind_of_letter")
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.branch}"


class FewerMails(models.Model):
    """A customer who wants only the mails that change something; their days stand as before."""

    customer = models.OneToOneField(
        Customer, on_delete=models.CASCADE, related_name="fewer_mails", primary_key=True
    )
    since = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.customer} wants fewer mails"
