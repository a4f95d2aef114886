"""Tests of the outcome of answered rows: accepted, to change, in question, or to correct first."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from netcheck.answers.apply import confirmed, judged, remarks_of
from netcheck.answers.read import LONGEST, Answer
from netcheck.answers.table import NEVER_ACCEPTED, REPORT_COLUMNS, Decision, cells_of, choices_of, report_row
from netcheck.plan.model import Accepted, Position
from netcheck.report.model import Report
from netcheck.report.text.answers import to_json, to_text
from netcheck.rules.accept import matches, remarks_on
from netcheck.rules.engine import Checked, check
from netcheck.rules.finding import Finding, Severity
from netcheck.space.addressing import plan_with
from netcheck.tables.delimited import unguarded
from tests.report.made import TODAY

# Findings of the sample: taken-on-site, inside-pool and unreadable-value are conflicts, not-surveyed is a risk.
TAKEN, POOL, UNREAD, RISK = range(4)
LIVE, USE = "live with it as it is", "use the proposal"


def answer(finding: Finding, decision: str = LIVE, row: int = 2, **changes: str) -> Answer:
    """Return the row of a finding as the report writes it, with an answer."""
    rule, _, subjects, address = map(unguarded, cells_of(finding)[:4])
    plain = Answer(
        row=row,
        rule=rule,
        subjects=subjects,
        address=address,
        key=finding.key,
        decision=decision,
        remark="it is taken down",
        by="site IT",
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def flaw_of(checked: Checked, *answers: Answer, by: str = "") -> str:
    """Return the message about the one row that must be corrected."""
    outcome = judged(checked, answers, TODAY, by)
    (flaw,) = {flaw.what for flaw in outcome.flaws}
    assert not outcome.accepted
    return flaw


def test_an_acceptance_is_valid_for_this_conflict_only(sample: Report) -> None:
    """The entry has the address and the other party, so that it does not hide a new conflict."""
    taken = sample.checked.findings[TAKEN]
    outcome = judged(sample.checked, [answer(taken, until="2026-12-31")], TODAY)
    (entry,) = outcome.accepted
    assert (entry.rule, entry.subject, entry.by) == ("taken-on-site", "pasteuriser-plc/cpu", "site IT")
    assert (entry.address, entry.other) == ("10.62.20.61", "00-00-5E-00-53-90")
    assert (entry.because, entry.until) == ("it is taken down", date(2026, 12, 31))
    assert matches(entry, taken)
    assert not matches(entry, taken._replace(others=("00-00-5E-00-53-99",)))
    assert not matches(entry, taken._replace(address="10.62.20.62"))
    assert outcome.flaws == ()


@pytest.mark.parametrize("remark", ["", "  ", "-", "\u200b\u202e", "\u00a0", "...", "\n"], ids=ascii)
def test_a_conflict_is_never_accepted_without_a_remark(remark: str, sample: Report) -> None:
    """A conflict needs a remark with at least one letter or digit, of any script."""
    taken = sample.checked.findings[TAKEN]
    assert "never accepted without a remark" in flaw_of(sample.checked, answer(taken, remark=remark))
    (entry,) = judged(sample.checked, [answer(taken, remark="同意")], TODAY).accepted
    assert entry.because == "同意"


def test_the_severity_of_the_plan_decides(sample: Report) -> None:
    """The severity in the file is ignored: the plan's present severity decides; a risk needs no remark."""
    (entry,) = judged(sample.checked, [answer(sample.checked.findings[RISK], remark="")], TODAY).accepted
    assert (entry.rule, entry.because) == ("not-surveyed", "accepted without a remark")
    graver = tuple(each._replace(severity=Severity.CONFLICT) for each in sample.checked.findings)
    checked = replace(sample.checked, findings=graver)
    assert "never accepted without" in flaw_of(checked, answer(sample.checked.findings[RISK], remark=""))


def test_a_person_must_be_named(sample: Report) -> None:
    """A person is named by the row or, for all rows, by the caller; the row takes precedence."""
    taken = answer(sample.checked.findings[TAKEN], by="")
    assert "the column by is empty" in flaw_of(sample.checked, taken)
    rows = [taken, answer(sample.checked.findings[POOL])]
    outcome = judged(sample.checked, rows, TODAY, "plant IT")
    assert [entry.by for entry in outcome.accepted] == ["plant IT", "site IT"]


@pytest.mark.parametrize("word", [LIVE, " Live with it. ", "AS IT IS", "leave it as it is"])
def test_other_wordings_of_the_decision_are_understood(word: str, sample: Report) -> None:
    """Common wordings of a decision are understood, because some programs offer no list."""
    assert judged(sample.checked, [answer(sample.checked.findings[TAKEN], word)], TODAY).accepted


@pytest.mark.parametrize("word", ["agreed", "Agreed", " AGREED. ", "agree", "accepted", "Accept"])
def test_agreed_is_refused_if_there_is_a_proposal(word: str, sample: Report) -> None:
    """If a proposal exists, `agreed` can mean the conflict or the proposal, so it is refused."""
    taken = sample.checked.findings[TAKEN]
    assert taken.fix is not None
    outcome = judged(sample.checked, [answer(taken, word, remark="please use the proposed address")], TODAY)
    assert (outcome.accepted, outcome.moves) == ((), ())
    assert "can mean the proposal or the present state" in outcome.flaws[0].what
    assert outcome.flaws[0].do == 'Write "use the proposal" or "live with it as it is"'
    assert judged(sample.checked, [answer(taken._replace(fix=None), word)], TODAY).moves == ()
    risk = sample.checked.findings[RISK]
    assert risk.fix is None
    assert judged(sample.checked, [answer(risk, word)], TODAY).accepted


def test_the_proposal_is_written_into_the_plan(sample: Report) -> None:
    """The proposal that the reviewer saw is written, even if another one would be proposed today."""
    taken = sample.checked.findings[TAKEN]
    (move,) = judged(sample.checked, [answer(taken, USE, remark="")], TODAY).moves
    assert taken.fix is not None
    assert move.addresses == taken.fix.addresses
    (seen,) = judged(sample.checked, [answer(taken, USE, fix="10.62.20.200")], TODAY).moves
    assert [(subject, str(address)) for subject, address in seen.addresses] == [("pasteuriser-plc/cpu", "10.62.20.200")]
    assert "no proposal" in flaw_of(sample.checked, answer(sample.checked.findings[RISK], USE))


@pytest.mark.parametrize(
    ("decision", "more"),
    [
        ("change it to", {"change_to": "10.62.20.125"}),
        ("change it to 10.62.20.125", {}),
        ("Change to: 10.62.20.125.", {}),
        ("change it to …", {"remark": " 10.62.20.125 "}),
    ],
    ids=["column", "in the decision", "other words", "remark"],
)
def test_the_given_address_is_written_into_the_plan(decision: str, more: dict[str, str], sample: Report) -> None:
    """An address is written if it is in its own column, after the decision, or the only word of the remark."""
    row = replace(answer(sample.checked.findings[TAKEN], decision, remark=""), **more)  # type: ignore[arg-type]
    (move,) = judged(sample.checked, [row], TODAY).moves
    assert [(subject, str(address)) for subject, address in move.addresses] == [("pasteuriser-plc/cpu", "10.62.20.125")]


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("10.62.20", "change-to: "),
        ("fd00::1", "is not an IPv4 address"),
        ("a/b=10.62.20.125", "does not concern 'a/b'"),
    ],
)
def test_an_unusable_address_is_refused(value: str, words: str, sample: Report) -> None:
    """An address that cannot be used is refused, and no other one is guessed."""
    taken = sample.checked.findings[TAKEN]
    assert words in flaw_of(sample.checked, answer(taken, "change it to", change_to=value))


def test_a_new_address_that_is_in_conflict_is_refused(sample: Report) -> None:
    """The plan is checked with all new addresses before any of them is written."""
    plan, taken = sample.plan, sample.checked.findings[TAKEN]
    other = next(each for each in plan.interfaces if each.subnet == "process" and each.subject not in taken.subjects)
    assert other.address is not None
    rows = [answer(taken, "change it to", change_to=other.address.text)]
    outcome = judged(sample.checked, rows, TODAY)
    moved = check(plan_with(plan, outcome.addresses), sample.surveys, TODAY)
    after = confirmed(outcome, moved)
    assert after.moves == ()
    assert "is in conflict too: planned-twice" in after.flaws[0].what
    sound = judged(sample.checked, [answer(taken, USE)], TODAY)
    assert confirmed(sound, check(plan_with(plan, sound.addresses), sample.surveys, TODAY)) == sound


@pytest.mark.parametrize("rule", sorted(NEVER_ACCEPTED))
def test_errors_of_the_plan_cannot_be_accepted(rule: str, sample: Report) -> None:
    """These are an unreadable value, a broken mask, a network or broadcast address, and the gateway's own address."""
    finding = sample.checked.findings[UNREAD]._replace(rule=rule)
    assert Decision.LIVE not in choices_of(finding)
    checked = replace(sample.checked, findings=(finding,))
    assert f"{rule} cannot be accepted by any site" in flaw_of(checked, answer(finding, remark="we know"))
    assert finding.fix is None
    (flaw,) = judged(checked, [answer(finding, remark="we know")], TODAY).flaws
    assert flaw.do == 'Choose "change it to" with the value or "question"'


@pytest.mark.parametrize("decision", ["change it to", "question"])
def test_a_change_or_a_question_needs_a_remark(decision: str, sample: Report) -> None:
    """A decision to change or to ask needs a remark."""
    row = answer(sample.checked.findings[RISK], decision, remark=" - ")
    assert "needs a text" in flaw_of(sample.checked, row)


@pytest.mark.parametrize("decision", ["use the proposal", "change it to 10.62.20.125"])
def test_a_change_that_was_carried_out_is_done(decision: str, sample: Report) -> None:
    """A change that the plan already holds is done, and is not an error of the reviewer."""
    row = answer(sample.checked.findings[TAKEN], decision)
    outcome = judged(replace(sample.checked, findings=()), [row], TODAY)
    assert (outcome.done, outcome.flaws) == ((2,), ())


@pytest.mark.parametrize("decision", [LIVE, USE, "change it to 10.62.20.125", "question"])
def test_an_answer_for_another_address_is_refused(decision: str, sample: Report) -> None:
    """If the finding has another address than in the row, the reviewer has not seen this conflict."""
    taken = sample.checked.findings[TAKEN]
    moved = replace(sample.checked, findings=(taken._replace(address="10.62.20.99"),))
    for key in (taken.key, ""):
        what = (
            f"taken-on-site of pasteuriser-plc/cpu was answered for {taken.address}, but has 10.62.20.99 in this plan"
        )
        assert flaw_of(moved, answer(taken, decision, key=key)) == what


def test_a_change_to_the_address_of_the_new_finding_is_done(sample: Report) -> None:
    """The change was carried out, and the new address is in conflict too: that is a finding of its own."""
    taken = sample.checked.findings[TAKEN]
    moved = replace(sample.checked, findings=(taken._replace(address="10.62.20.99"),))
    for row in (
        answer(taken, USE, fix="10.62.20.99"),
        answer(taken, "change it to 10.62.20.99"),
        answer(taken, "change it to", change_to="pasteuriser-plc/cpu=10.62.20.99"),
        answer(taken, "withdraw"),
    ):
        outcome = judged(moved, [row], TODAY)
        assert (outcome.done, outcome.flaws) == ((2,), ())


def test_deleted_rows_count_as_not_answered(sample: Report) -> None:
    """Every open finding without a decision is counted, whether its row is blank or deleted."""
    outcome = judged(sample.checked, [answer(sample.checked.findings[TAKEN])], TODAY)
    assert outcome.unanswered == len(sample.checked.findings) - 1


@pytest.mark.parametrize("word", ["maybe", "not agreed", "agreed?", "no", "yes but", "=1", "x" * 9000], ids=len)
def test_an_unknown_decision_is_refused(word: str, sample: Report) -> None:
    """An unknown decision is refused, and the message names the known ones."""
    outcome = judged(sample.checked, [answer(sample.checked.findings[TAKEN], word)], TODAY)
    assert outcome.accepted == ()
    assert "is not a decision" in outcome.flaws[0].what
    assert "live with it as it is" in outcome.flaws[0].do
    assert len(outcome.flaws[0].what) < 100


def test_open_rows_changes_and_questions(sample: Report) -> None:
    """Open rows are counted, and changes and questions are listed with their remarks.

    A remark without a decision is an error.
    """
    taken, pool, _, risk = sample.checked.findings[:4]
    rows = [
        answer(taken, "change it to", remark="use .125"),
        answer(pool, "question", remark="since when?"),
        answer(risk, "", remark=""),
        answer(risk, "", remark="hm", row=5),
        answer(risk, "", remark="", key="x-1"),
    ]
    outcome = judged(sample.checked, rows, TODAY)
    assert [(said.finding, said.remark) for said in outcome.changes] == [(taken, "use .125")]
    assert [(said.finding, said.remark) for said in outcome.questions] == [(pool, "since when?")]
    assert (outcome.unanswered, outcome.gone) == (len(sample.checked.findings) - 3, 1)
    assert [(flaw.row, flaw.what) for flaw in outcome.flaws] == [(5, "it has a remark and no decision")]
    text = to_text(outcome, "a.csv")
    assert "row 2: taken-on-site of pasteuriser-plc/cpu, site IT: use .125" in text
    assert f"1 in question, 1 to correct, {outcome.unanswered} not answered, 1 resolved without an answer" in text
    assert to_json(outcome, written=False)["change"][0]["key"] == taken.key


def test_a_row_without_a_finding_is_reported(sample: Report) -> None:
    """If the plan changed or is another plan, a row has no finding and is reported."""
    row = answer(sample.checked.findings[TAKEN], key="taken-on-site-000000000000")
    what = "this plan no longer has a finding taken-on-site of pasteuriser-plc/cpu with key taken-on-site-000000000000"
    assert flaw_of(sample.checked, row) == what
    assert flaw_of(replace(sample.checked, findings=()), replace(row, key="")).startswith(what.partition(" with ")[0])


def test_a_row_without_a_key_is_matched_by_its_columns(sample: Report) -> None:
    """A row without its key is matched by its other columns, unless two findings match."""
    taken = sample.checked.findings[TAKEN]
    assert judged(sample.checked, [answer(taken, key="")], TODAY).accepted
    twin = taken._replace(others=("00-00-5E-00-53-99",))
    checked = replace(sample.checked, findings=(taken, twin))
    assert "it fits 2 findings" in flaw_of(checked, answer(taken, key=""))
    (entry,) = judged(checked, [answer(twin)], TODAY).accepted
    assert entry.other == "00-00-5E-00-53-99"


def test_separately_sorted_columns_are_detected(sample: Report) -> None:
    """A key that does not match the rule and subjects of its row shows that columns were sorted separately."""
    taken, pool = sample.checked.findings[:2]
    for sorted_apart in (answer(taken, key=pool.key), answer(taken, key=pool.key, rule="")):
        assert "Sort whole rows" in judged(sample.checked, [sorted_apart], TODAY).flaws[0].do
    turned = answer(
        taken, subjects="2026-07-03", address="10,622,061"
    )  # spreadsheet programs change some names into dates and numbers
    assert judged(sample.checked, [turned], TODAY).accepted


def test_one_finding_answered_twice(sample: Report) -> None:
    """Two equal answers to a finding count once; two different ones are reported with both rows, and neither counts."""
    taken = sample.checked.findings[TAKEN]
    assert len(judged(sample.checked, [answer(taken), answer(taken, row=7)], TODAY).accepted) == 1
    what = flaw_of(sample.checked, answer(taken), answer(taken, "question", row=7))
    assert what == "rows 2 and 7 answer the same finding differently"


@pytest.mark.parametrize(
    "text",
    ["2026-12-31", "31.12.2026", "12/31/2026", "31/12/2026", "12/31/26", "31.12.26", "31-12-2026", "2026-12-31 00:00"],
)
def test_days_as_spreadsheets_write_them(text: str, sample: Report) -> None:
    """A date in the form of any country is read if it has one reading (common practice, no source)."""
    (entry,) = judged(sample.checked, [answer(sample.checked.findings[TAKEN], until=text)], TODAY).accepted
    assert entry.until == date(2026, 12, 31)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("03/04/2027", "until 03/04/2027 can mean two dates"),
        ("3/4/27", "can mean two dates"),
        ("2026-11-19", "until 2026-11-19 is in the past"),
        ("2026-02-30", "until: "),
        ("46387", "is not a day"),
        ("soon", "is not a day"),
    ],
)
def test_bad_dates_are_refused(text: str, words: str, sample: Report) -> None:
    """An ambiguous or past date, or text that is no date, leaves the finding open."""
    assert words in flaw_of(sample.checked, answer(sample.checked.findings[TAKEN], until=text))


def test_today_is_the_last_day(sample: Report) -> None:
    """An acceptance is valid up to and including its last day."""
    row = answer(sample.checked.findings[TAKEN], until=TODAY.isoformat())
    assert judged(sample.checked, [row], TODAY).accepted
    assert not judged(sample.checked, [row], TODAY + timedelta(days=1)).accepted


def test_an_equal_acceptance_is_not_written_again(sample: Report) -> None:
    """An equal acceptance is not written again; a changed one is renewed and keeps its last day if the row has none."""
    (agreed,) = sample.checked.accepted
    same = answer(agreed.finding, remark=agreed.because, by=agreed.by)
    outcome = judged(sample.checked, [same], TODAY)
    assert (outcome.accepted, len(outcome.already)) == ((), 1)
    (entry,) = judged(sample.checked, [replace(same, remark="later")], TODAY).accepted
    assert (entry.because, entry.until) == ("later", agreed.until)
    what = flaw_of(sample.checked, replace(same, decision="question"))
    assert what == '"question": the plan has this finding as accepted by site IT'


def test_text_of_a_reviewer_is_one_harmless_line(sample: Report) -> None:
    """Line breaks become spaces, control and bidirectional characters become visible, and very long text is refused."""
    taken = sample.checked.findings[TAKEN]
    row = answer(taken, remark="a\r\n b\x1b[2J\u202e", by="<b>=IT")
    (entry,) = judged(sample.checked, [row], TODAY).accepted
    assert (entry.because, entry.by) == ("a b\\x1b[2J\\u202e", "<b>=IT")
    assert to_text(judged(sample.checked, [row], TODAY), "\x1b.csv").replace("\n", "").isprintable()
    assert judged(sample.checked, [replace(row, remark="x" * 10_000)], TODAY).accepted[0].because == "x" * 10_000
    assert "32,768 characters" in flaw_of(sample.checked, replace(row, remark="x" * (LONGEST + 1)))


@pytest.mark.parametrize("name", ["a, b", "=1+1", "a;b", "-x", "'=x", "a, a", '{[<\\"'], ids=ascii)
def test_hostile_subjects_are_found_and_accepted(name: str, sample: Report) -> None:
    """The row of a device with any name is matched with its key and without, and the entry matches its finding."""
    subjects = (f"{name}/lan", f"{name} 2/lan", f"{name},3/lan")
    finding = sample.checked.findings[TAKEN]._replace(subjects=subjects, others=())
    checked = replace(sample.checked, findings=(finding,))
    for row in (answer(finding), answer(finding, key="")):
        (entry,) = judged(checked, [row], TODAY).accepted
        assert matches(entry, finding)


def with_entry(sample: Report, entry: Accepted) -> Checked:
    """Return the check of the sample's plan with a further accepted entry."""
    plan = replace(sample.plan, accepted=(*sample.plan.accepted, entry))
    return check(plan, sample.surveys, TODAY)


WIDE = Accepted(rule="inside-pool", subject="line-panel/lan", by="x", because="y", position=Position("plan.toml", "w"))


@pytest.mark.parametrize("word", ["withdraw", "Withdraw.", "withdraw the acceptance", "no longer accepted"])
def test_an_acceptance_is_withdrawn(word: str, sample: Report) -> None:
    """The entry that accepts the finding leaves the plan, and a second reading finds nothing to do."""
    (agreed,) = sample.checked.accepted
    outcome = judged(sample.checked, [answer(agreed.finding, word, remark="")], TODAY)
    (one,) = outcome.withdrawn
    assert (one.entries, one.reopened, outcome.flaws) == (sample.plan.accepted, 0, ())
    assert "Withdrawn\n  row 2: too-near of silo-io/bus, by site IT" in to_text(outcome, "a.csv")
    assert to_json(outcome, written=True)["withdrawn"][0]["key"] == agreed.finding.key
    after = check(replace(sample.plan, accepted=()), sample.surveys, TODAY)
    again = judged(after, [answer(agreed.finding, word, remark="")], TODAY)
    assert (again.withdrawn, again.done, again.flaws) == ((), (2,), ())


def test_a_withdrawal_counts_the_other_findings_of_its_entry(sample: Report) -> None:
    """Findings that only a withdrawn wide entry accepted are open again, unless a row accepts them now."""
    wide = WIDE._replace(rule="too-near", subject="silo-io/bus")
    checked = with_entry(replace(sample, checked=check(replace(sample.plan, accepted=()), sample.surveys, TODAY)), wide)
    (first,) = (each.finding for each in checked.accepted if each.finding.rule == "too-near")
    twin = first._replace(others=("00-00-5E-00-53-99",))
    both = replace(checked, accepted=(*checked.accepted, checked.accepted[0]._replace(finding=twin)))
    (one,) = judged(both, [answer(first, "withdraw")], TODAY).withdrawn
    assert (len(one.entries), one.reopened) == (1, 1)
    for rows in ([answer(first, "withdraw"), answer(twin, row=3)], [answer(twin, row=3), answer(first, "withdraw")]):
        outcome = judged(both, rows, TODAY)
        assert [(entry.other, entry.position.at) for entry in outcome.accepted] == [("00-00-5E-00-53-99", "row 3")]
        assert outcome.withdrawn[0].reopened == 0


def test_an_entry_that_accepts_nothing_is_withdrawn(sample: Report) -> None:
    """The note on an unused entry offers to withdraw it."""
    checked = with_entry(sample, WIDE._replace(subject="nobody/at-home"))
    note = next(each for each in checked.findings if each.rule == "accepted-unused")
    assert Decision.WITHDRAW in choices_of(note)
    (one,) = judged(checked, [answer(note, "withdraw")], TODAY).withdrawn
    assert [entry.subject for entry in one.entries] == ["nobody/at-home"]


def test_choices_of_an_accepted_finding(sample: Report) -> None:
    """An open finding cannot be withdrawn; an accepted one can be accepted again or withdrawn."""
    assert Decision.WITHDRAW not in choices_of(sample.checked.findings[TAKEN])
    assert choices_of(sample.checked.accepted[0].finding, accepted=True) == (Decision.LIVE, Decision.WITHDRAW)


def test_questions_and_changes_are_kept_with_their_words(sample: Report) -> None:
    """Each becomes a remark of the plan with author, date and text; a remark that the plan has is not added again."""
    taken, pool, _, risk = sample.checked.findings[:4]
    rows = [
        answer(taken, "change it to", change_to="10.62.20.125", remark="printers end at .124"),
        answer(pool, "question", remark="since when?", row=3),
        answer(risk, "change it to", remark="survey it again", row=4),
    ]
    outcome = judged(sample.checked, rows, TODAY)
    remarks = remarks_of(outcome, sample.plan, TODAY)
    assert [(one.rule, one.decision, one.change_to, one.remark, one.by, one.decided) for one in remarks] == [
        (
            "taken-on-site",
            "change it to",
            "pasteuriser-plc/cpu=10.62.20.125",
            "printers end at .124",
            "site IT",
            TODAY,
        ),
        ("inside-pool", "question", "", "since when?", "site IT", TODAY),
        ("not-surveyed", "change it to", "", "survey it again", "site IT", TODAY),
    ]
    assert remarks_on(sample.checked.findings, remarks) == {
        taken.key: remarks[:1],
        pool.key: remarks[1:2],
        risk.key: remarks[2:],
    }
    later = replace(sample.plan, remarks=tuple(one._replace(reply="done", by="other") for one in remarks))
    assert remarks_of(outcome, later, TODAY + timedelta(days=9)) == ()
    turned = remarks_of(judged(sample.checked, rows[::-1], TODAY), sample.plan, TODAY)
    assert set(turned) == set(remarks)


def test_earlier_answers_are_in_the_row(sample: Report) -> None:
    """The row of a finding shows the reviewer the earlier answers and the replies."""
    pool = sample.checked.findings[POOL]
    rows = [answer(pool, "question", remark="since when?")]
    (remark,) = remarks_of(judged(sample.checked, rows, TODAY), sample.plan, TODAY)
    cells = dict(zip(REPORT_COLUMNS, report_row("7", pool, None, [remark._replace(reply="since 2019")]), strict=True))
    assert cells["number"] == "7"
    assert cells["earlier-answers"] == "question by site IT on 2026-11-20: since when?; reply: since 2019"
    (agreed,) = sample.checked.accepted
    cells = dict(zip(REPORT_COLUMNS, report_row("8", agreed.finding, agreed), strict=True))
    assert cells["choices"] == "live with it as it is / withdraw"
    words = "accepted by site IT, until 2026-12-31: the camera is taken down in week 50"
    assert (cells["earlier-answers"], cells["decision"]) == (words, "")
