"""Sixty-six attacks, each with the test that tries it; a test that goes away is missed here.

The attacks are those that OWASP's Application Security Verification Standard 5.0 and Top Ten ask
about, put as what somebody would try at this program.
"""

import importlib

import pytest
from django import forms
from django.conf import settings

import dispatch.forms
import dispatch.staff_forms
import dispatch.system_forms
from tests.attacks.test_roles import routes

API = "tests.dispatch.test_api"
ROLES = "tests.attacks.test_roles"
SESSIONS = "tests.attacks.test_sessions"
SECRETS = "tests.attacks.test_secret_addresses"
TOKENS = "tests.dispatch.test_tokens"
PEOPLE = "tests.dispatch.test_people_pages"
FILES = "tests.dispatch.test_files"
BACKLOG = "tests.jobs.test_backlog"
CALENDAR = "tests.references.test_calendar_rules"
SETTINGS = "tests.deploy.test_settings"
LOGS = "tests.deploy.test_logs"
HTTP = "tests.weather.test_http"
FOREIGN = "test_what_belongs_to_another_branch_answers_like_what_is_nowhere"

ATTACKS: dict[int, tuple[str, str, str]] = {
    1: ("another branch's booking by its number", ROLES, FOREIGN),
    2: ("a list of another branch, unknown filters", API, "test_queries_are_checked_like_bodies"),
    3: (
        "move or call off another branch's booking",
        API,
        "test_another_branchs_rows_are_not_there",
    ),
    4: ("book another branch's crew", API, "test_a_crew_of_another_branch_is_never_booked"),
    5: ("swap with another branch's booking", ROLES, FOREIGN),
    6: ("send fields that are not asked for", API, "test_unknown_keys_are_refused_by_name"),
    7: (
        "write as somebody who only reads",
        ROLES,
        "test_a_role_that_may_not_is_refused_and_changes_nothing",
    ),
    8: (
        "the office changes roles and tokens",
        ROLES,
        "test_a_role_that_may_not_is_refused_and_changes_nothing",
    ),
    9: ("make oneself owner", PEOPLE, "test_the_owner_lets_somebody_sign_in_with_a_role"),
    10: (
        "write after one's role is gone",
        SESSIONS,
        "test_a_role_that_is_gone_counts_on_the_very_next_write",
    ),
    11: (
        "an open session of somebody who left",
        PEOPLE,
        "test_whoever_left_every_branch_is_out_at_once",
    ),
    12: (
        "every address as a stranger",
        ROLES,
        "test_strangers_are_led_to_the_door_and_change_nothing",
    ),
    13: (
        "several at once, one of them foreign",
        BACKLOG,
        "test_one_bad_row_among_a_hundred_keeps_all_of_them_out",
    ),
    14: (
        "search for what another branch has",
        SESSIONS,
        "test_a_search_finds_nothing_of_another_branch",
    ),
    15: ("learn names from a lost race", API, "test_a_crew_of_another_branch_is_never_booked"),
    16: ("mails and notices by number", ROLES, FOREIGN),
    17: ("filters that are code", API, "test_queries_are_checked_like_bodies"),
    18: ("SQL in a search", SESSIONS, "test_what_is_searched_for_is_a_text"),
    19: (
        "a form of another site",
        SESSIONS,
        "test_writes_need_the_token_of_the_form_and_our_own_origin",
    ),
    20: ("act by looking", SESSIONS, "test_looking_at_an_address_that_acts_does_nothing"),
    21: (
        "a mail filter that opens links",
        SECRETS,
        "test_a_mail_filter_that_opens_a_link_twenty_times_changes_nothing",
    ),
    22: (
        "answer twice",
        SECRETS,
        "test_saying_twice_that_a_day_no_longer_works_is_one_record_and_one_task",
    ),
    23: ("guess a link", SECRETS, "test_a_link_that_was_changed_gets_the_neutral_page"),
    24: (
        "use a link that ended",
        SECRETS,
        "test_a_link_that_ended_or_was_stopped_opens_nothing_and_takes_nothing",
    ),
    25: ("a key at another door", SECRETS, "test_a_key_opens_only_what_it_is_for"),
    26: ("name another booking", SECRETS, "test_a_customer_can_name_no_other_booking"),
    27: ("let a browser keep a secret page", SECRETS, "test_the_headers_of_a_secret_page"),
    28: (
        "old and wrong feeds",
        SECRETS,
        "test_wrong_replaced_and_stopped_feeds_say_nothing_of_whose_they_were",
    ),
    29: (
        "guess many feeds",
        "tests.dispatch.test_feeds",
        "test_who_tries_many_addresses_is_refused_in_a_few_bytes_and_right_ones_are_served",
    ),
    30: ("read keys in logs", SECRETS, "test_no_whole_key_stands_in_a_log"),
    31: ("be led out after signing in", SESSIONS, "test_signing_in_leads_nowhere_else"),
    32: ("markup in names", SESSIONS, "test_a_text_of_people_is_shown_as_text"),
    33: (
        "a second recipient in a name",
        "tests.dispatch.test_sending",
        "test_a_mail_arrives_over_smtp_with_its_letters_whole",
    ),
    35: ("turn the direction of writing", "tests.jobs.test_text", "test_nothing_unsafe_is_left"),
    34: (
        "lines of a calendar in a name",
        CALENDAR,
        "test_no_control_or_direction_character_reaches_a_calendar",
    ),
    36: ("formulas in a file", FILES, "test_a_text_that_looks_like_a_formula_is_text"),
    37: ("one bad row of many", BACKLOG, "test_every_problem_is_told_with_its_line_and_column"),
    38: ("files that are something else", BACKLOG, "test_a_file_that_is_something_else_is_named"),
    39: ("import for another branch", BACKLOG, "test_the_systems_of_another_branch_are_not_named"),
    40: ("JSON that is none", API, "test_bad_json_is_refused_and_never_a_fault"),
    41: ("days that do not exist", API, "test_days_lie_between_2000_and_2100"),
    42: ("spans that cannot be", FILES, "test_days_that_cannot_be_are_refused_in_a_sentence"),
    43: ("other kinds and methods", API, "test_other_addresses_methods_and_kinds_are_problems_too"),
    44: ("bodies too large", API, "test_a_large_body_is_refused_as_such"),
    45: ("another host's name", SESSIONS, "test_another_host_is_refused"),
    46: (
        "pretend to come by https",
        SESSIONS,
        "test_a_forged_proto_is_not_believed_without_a_proxy",
    ),
    47: (
        "change one's address at each try",
        SESSIONS,
        "test_other_addresses_do_not_give_more_tries",
    ),
    48: (
        "guess a passphrase",
        "tests.dispatch.test_sign_in",
        "test_after_five_wrong_tries_even_the_right_one_waits",
    ),
    49: ("learn who has a sign-in", SESSIONS, "test_known_and_unknown_names_hear_the_same"),
    50: (
        "reset a passphrase by mail",
        "tests.attacks.test_table",
        "test_there_is_no_reset_by_mail",
    ),
    51: ("an old cookie", SESSIONS, "test_an_old_cookie_opens_nothing_after_signing_out"),
    52: ("a session that was planted", SESSIONS, "test_a_session_is_another_one_after_signing_in"),
    53: ("cookies over plain http", SETTINGS, "test_production_is_strict"),
    54: (
        "plain http",
        "tests.deploy.test_server",
        "test_plain_http_is_sent_to_https_and_figures_are_for_machines_inside",
    ),
    55: ("inline script", SETTINGS, "test_scripts_of_no_other_host_and_no_inline_script"),
    56: ("back doors", SESSIONS, "test_back_doors_are_not_there"),
    57: ("upload a program", "tests.attacks.test_table", "test_no_page_takes_a_file_but_a_list"),
    58: (
        "open an upload of another branch",
        "tests.attacks.test_table",
        "test_no_page_takes_a_file_but_a_list",
    ),
    59: (
        "a key with another body",
        API,
        "test_a_repeat_gets_the_same_floor_and_another_order_by_that_key_is_refused",
    ),
    60: ("somebody else's key", API, "test_one_persons_key_says_nothing_to_another"),
    61: ("an old version", API, "test_an_old_version_is_refused_with_the_new_one"),
    62: ("fetch from inside", HTTP, "test_a_redirect_to_another_host_is_not_followed"),
    63: (
        "read a fault's trace",
        "tests.dispatch.test_database_away",
        "test_a_page_and_a_program_get_the_reason",
    ),
    64: ("forge a line of the log", LOGS, "test_an_id_that_could_forge_a_line_is_not_taken"),
    65: (
        "a message with a pickle",
        "tests.deploy.test_celery",
        "test_only_json_is_taken_from_the_broker",
    ),
    66: (
        "find an erased customer",
        "tests.dispatch.test_privacy",
        "test_no_text_of_an_erased_customer_is_left_in_any_table",
    ),
}


def test_all_of_them_are_listed() -> None:
    assert sorted(ATTACKS) == list(range(1, 67))


@pytest.mark.parametrize("number", sorted(ATTACKS))
def test_each_is_tried(number: int) -> None:
    about, module, name = ATTACKS[number]

    assert callable(getattr(importlib.import_module(module), name)), about


def test_there_is_no_reset_by_mail() -> None:
    """Who forgot their passphrase asks the owner; so no mail can be forged or raced."""
    assert not {name for name in routes() if "reset" in name or "forgot" in name}


def test_no_page_takes_a_file_but_a_list() -> None:
    """Nothing that was uploaded is ever served: a list is read and not kept."""
    boxes = {
        name
        for module in (dispatch.forms, dispatch.staff_forms, dispatch.system_forms)
        for name, form in vars(module).items()
        if isinstance(form, type)
        and issubclass(form, forms.Form)
        and any(isinstance(box, forms.FileField) for box in form.base_fields.values())
    }

    assert boxes == {"BacklogForm"}
    assert not hasattr(settings, "MEDIA_ROOT") or not settings.MEDIA_ROOT
