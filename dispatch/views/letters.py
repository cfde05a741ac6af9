"""Letters to customers as a branch writes them: which go, in which words, with a preview."""

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from dispatch.models import LetterText, NoticeKind
from dispatch.reads.letter_preview import sample_facts
from dispatch.rules.letter_texts import BODY_LETTERS, LETTER, OWN_BODY, WORDS, worded
from dispatch.rules.letters import SUBJECT_LETTERS, Letter
from dispatch.services import letter_rules
from dispatch.services.sending import LETTERS
from dispatch.typed_fields import Typed
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import Branch, Role
from jobs.refusals import Invalid


class LetterForm(forms.Form):
    """Subject, text, and whether the letter goes at all."""

    use_required_attribute = False
    subject = Typed(
        label="Subject",
        max_length=SUBJECT_LETTERS,
        help_text="Left empty, it is the program's own.",
    )
    body = forms.CharField(
        label="Text",
        required=False,
        max_length=BODY_LETTERS,
        widget=forms.Textarea({"rows": 10}),
        help_text="{letter} stands for days, times and promises, and must have its own line.",
    )
    is_sent = forms.BooleanField(label="This letter is sent", required=False)


@require_safe
@office(Role.OWNER, Role.OFFICE)
def letters(request: OfficeRequest) -> HttpResponse:
    """Every kind of letter, whether it goes and in whose words."""
    kept = {row.kind: row for row in LetterText.objects.of_branch(request.branch)}
    rows = [
        {
            "kind": kind,
            "label": kind.label,
            "may_stop": kind in letter_rules.REMINDERS,
            "is_sent": kept[kind].is_sent if kind in kept else True,
            "own_words": kind in kept and bool(kept[kind].subject or kept[kind].body),
        }
        for kind in LETTERS
    ]
    context = {"rows": rows, "most": letter_rules.MOST_REMINDERS}
    return render(request, "dispatch/letters.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@office(Role.OWNER, Role.OFFICE)
def letter(request: OfficeRequest, kind: str) -> HttpResponse:
    """One kind: the form, and how it would look; pressing Preview keeps nothing."""
    if kind not in LETTERS:
        raise Http404("There is no such letter.")
    which = NoticeKind(kind)
    form = LetterForm(request.POST or None, initial=_kept(request.branch, which))
    if request.method == "POST" and form.is_valid():
        if "preview" not in request.POST:
            if _keep(request, which, form):
                messages.success(request, f"“{which.label}” is kept.")
                return redirect("letters")
        else:
            for field, said in letter_rules.problems_of(*_texts(form)).items():
                form.add_error(field, said)
    subject, body = _texts(form) if form.is_bound else _initial(form)
    faulty = letter_rules.problems_of(subject, body)
    context = {
        "form": form,
        "label": which.label,
        "may_stop": which in letter_rules.REMINDERS,
        "words": [(f"{{{LETTER}}}", "days, times, promises, what to do"),
                  *((f"{{{word}}}", means) for word, means in WORDS.items())],
        "preview": None if faulty else _preview(request.branch, which, subject, body),
        "most": letter_rules.MOST_REMINDERS,
    }  # fmt: skip
    return render(request, "dispatch/letter.html", context, status=422 if form.errors else 200)


def _kept(branch: Branch, kind: NoticeKind) -> dict[str, object]:
    row = LetterText.objects.of_branch(branch).filter(kind=kind).first()
    if row is None:
        return {"subject": "", "body": OWN_BODY, "is_sent": True}
    return {"subject": row.subject, "body": row.body or OWN_BODY, "is_sent": row.is_sent}


def _texts(form: LetterForm) -> tuple[str, str]:
    return str(form.data.get("subject", "")), str(form.data.get("body", ""))


def _initial(form: LetterForm) -> tuple[str, str]:
    return str(form.initial["subject"]), str(form.initial["body"])


def _keep(request: OfficeRequest, kind: NoticeKind, form: LetterForm) -> bool:
    subject, body = _texts(form)
    try:
        letter_rules.change_text(
            branch=request.branch,
            kind=kind,
            subject=subject,
            body="" if body.split() == OWN_BODY.split() else body,
            is_sent=form.cleaned_data["is_sent"] or kind not in letter_rules.REMINDERS,
            by=access.person(request.user),
            now=timezone.now(),
        )
    except Invalid as refusal:
        for field, sentence in refusal.problems.items():
            form.add_error(field, sentence)
        return False
    return True


def _preview(branch: Branch, kind: NoticeKind, subject: str, body: str) -> Letter:
    facts = sample_facts(branch, kind, now=timezone.now())
    return worded(LETTERS[kind](facts), facts, subject=subject, body=body)
