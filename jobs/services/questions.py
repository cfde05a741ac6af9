"""What must be known of an order: what was said, by whom and when."""

from collections.abc import Mapping
from datetime import datetime

from jobs import audit
from jobs.access import Actor
from jobs.models import Branch, Job, Question
from jobs.refusals import Invalid, NotFound
from jobs.rules.must_know import Standing, Topic, not_known
from jobs.writing import run_write

ANSWER_LETTERS = 300


class NotKnown(Invalid):
    """The day cannot be confirmed yet: something that must be known is not."""

    code = "not_known"
    status = 409


@run_write
def answer(
    *,
    branch: Branch,
    job_id: int,
    answers: Mapping[Topic, tuple[Standing, str]],
    by: Actor,
    now: datetime,
) -> None:
    """Keep what was said about some topics; the newest counts. Raises NotFound, Invalid."""
    job = Job.objects.of_branch(branch).filter(pk=job_id).first()
    if job is None:
        raise NotFound("There is no such job in this branch.")
    if any(each is Standing.KNOWN and not words.strip() for each, words in answers.values()):
        raise Invalid({"answer": "Please write down what was said."})
    write(job, answers, by=by, now=now)


def write(
    job: Job, answers: Mapping[Topic, tuple[Standing, str]], *, by: Actor, now: datetime
) -> None:
    """The rows and the record. Call inside a transaction."""
    for topic, (standing, words) in answers.items():
        Question.objects.update_or_create(
            job=job,
            topic=topic.value,
            defaults={
                "standing": standing.value,
                "answer": words.strip()[:ANSWER_LETTERS],
                "by_name": by.name[:120],
                "user": by.user,
                "at": now,
            },
        )
        audit.record(
            branch=job.branch,
            by=by,
            subject="question",
            subject_id=job.pk,
            action=topic.value,
            now=now,
            after={"standing": standing.value, "answer": words.strip()[:ANSWER_LETTERS]},
        )


def refuse_missing(job: Job, *, now: datetime) -> None:
    """Refuse to confirm, naming what is missing. Raises NotKnown."""
    found = job.missing(today=job.branch.today(now))
    if found:
        raise NotKnown({found[0].value: f"Not confirmed: {not_known(found)}"})
