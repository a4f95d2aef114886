"""Tests of the HTML report: its contents, no outside resources, and data that stays data."""

from __future__ import annotations

import re
from base64 import b64encode
from dataclasses import replace
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import Path

import pytest

from netcheck.caution import CAUTION
from netcheck.plan.model import Plan
from netcheck.proof.result import Phase, PhaseResult, Tally, Verdict
from netcheck.report.html.page import to_html
from netcheck.report.model import Report
from netcheck.report.words import CANNOT_SHOW, CAUTION_NUMBERS
from netcheck.rules.finding import AcceptedFinding
from tests.report.made import clock_from, every_verdict, plan_text, proof_of, report_from, write_plan, write_record

VOID = {"meta", "link", "img", "br", "hr", "input", "col"}  # HTML Standard section 13.1.2: void elements
UNUSED = {Verdict.RELAYED, Verdict.SKIPPED, Verdict.WRONG_SETTINGS, Verdict.NOT_TESTED}  # not in the sample
INLINE = {"span", "a", "strong", "em", "code"}
HARMLESS = {
    *("html", "head", "meta", "title", "style", "body", "header", "nav", "main", "section", "article", "aside"),
    *("footer", "h1", "h2", "h3", "h4", "p", "a", "ul", "li", "dl", "dt", "dd", "div", "span", "strong", "em", "code"),
    *("table", "caption", "colgroup", "col", "thead", "tbody", "tr", "th", "td", "ol", "pre", "br", "figure"),
    *("b", "i", "small", "figcaption", "label", "input", "select", "option", "output", "script", "button"),
    *("details", "summary"),
    *("svg", "defs", "desc", "g", "pattern", "rect", "path", "circle", "text"),
}


class Page(HTMLParser):
    """A page as the standard library's parser reads it: elements, attributes, ids and text; checks the nesting."""

    def __init__(self, data: bytes) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: set[str] = set()
        self.attributes: set[tuple[str, str | None]] = set()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.text = ""
        self.inline: list[tuple[str, str]] = []  # the text of style and script
        self.declared: list[tuple[str, dict[str, str | None]]] = []
        self._open: list[str] = []
        self.feed(data.decode("utf-8"))
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.declared.append((tag, dict(attrs)))
        self.attributes.update(attrs)
        self.ids += [value or "" for name, value in attrs if name == "id"]
        self.links += [value or "" for name, value in attrs if name in ("href", "src")]
        self._open += [] if tag in VOID else [tag]

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag
        self.text += "" if tag in INLINE else " "

    def handle_data(self, data: str) -> None:
        last = self._open[-1] if self._open else ""
        self.inline += [(last, data)] if last in ("style", "script") else []
        self.text += "" if last in ("style", "script") else data


def flat(text: str) -> str:
    """Return text with single spaces."""
    return " ".join(text.split())


def test_the_page_is_one_harmless_file(sample: Report) -> None:
    """The page has one script and one style, allowed by their SHA-256 (CSP Level 3 section 2.3.1).

    It has no form and no outside resource.
    """
    data = to_html(sample)
    page = Page(data)
    assert page.tags <= HARMLESS
    assert not [name for name, _ in page.attributes if name.startswith("on") or name == "style"]
    assert all(link.startswith("#") for link in page.links)
    digests = {name: b64encode(sha256(text.encode()).digest()).decode() for name, text in page.inline}
    assert [name for name, _ in page.inline] == ["style", "script"]
    assert (
        "content",
        f"default-src 'none'; style-src 'sha256-{digests['style']}'; script-src 'sha256-{digests['script']}'; "
        "base-uri 'none'; form-action 'none'",
    ) in page.attributes
    assert not re.search(rb"url\((?!#)|@import|https?:", data)


def test_every_link_has_a_target(sample: Report) -> None:
    """Each id occurs once, and every link leads to an id."""
    page = Page(to_html(sample))
    assert len(page.ids) == len(set(page.ids))
    assert {link.removeprefix("#") for link in page.links} <= set(page.ids)
    assert {f"rule-{finding.rule}" for finding in sample.checked.findings} <= set(page.ids)


def test_the_summary_has_plan_day_and_gaps(sample: Report) -> None:
    """The summary has headline, plan, hash, day, surveys and gaps."""
    text = flat(Page(to_html(sample)).text)
    for said in (
        "3 conflicts: do not install this plan as drafted; 1 accepted; 1 value cannot be read. 2 of 11 ports proven.",
        "Tarn Hollow creamery revision C",
        sample.plan.sha256,
        "Checked on 2026-11-20",
        "site-hosts.csv 2026-11-18 10.62.20.0/24 2",
        "Subnet packing: no survey covers 10.62.30.0/24",
    ):
        assert said in text


def test_every_finding_has_its_reason_its_fix_and_its_boxes(sample: Report) -> None:
    """A finding has its texts in order, and on paper boxes and a line for a remark."""
    text = flat(Page(to_html(sample)).text)
    assert (
        "2 line-panel/lan 10.62.20.205 plan.toml line 43: device line-panel, interface lan "
        "10.62.20.205 is inside the pool 10.62.20.200-10.62.20.239 of subnet process. "
        "10.62.20.164 use the proposal live with it as it is change it to … question remark"
    ) in text
    rule = next(rule for rule in sample.rules if rule.slug == "inside-pool")
    why = rule.why.replace("`", "")
    assert f"■ conflict inside-pool Why it matters: {why} Source: RFC 2131 section 2.2" in text
    assert text.count("change it to … question remark") == len(sample.checked.findings)


def test_a_golden_fragment(sample: Report) -> None:
    """The markup of one overview row is fixed."""
    assert """\
<tr class="port-row" data-kind="proven" data-also="port-4">
<th scope="row"><a href="#port-4"><span class="w">separator-drive/lan:1</span></a></th>
<td>panel 3</td>
<td class="address">10.62.20.72</td>
<td><span class="chip verdict proven"><span aria-hidden="true">✓</span> proven</span> \
<span class="cable weak">cable: inferred</span></td>
<td class="address">00-00-5E-00-53-23</td>
<td>2026-11-19 09:16:43</td>
</tr>
""" in to_html(sample).decode("utf-8")


def test_evidence_for_the_cable_follows_every_verdict(sample: Report) -> None:
    """Every verdict of a port is followed by its evidence for the cable, such as `inferred`."""
    text = flat(Page(to_html(sample)).text)
    for port in sample.ports:
        if port.proof.cable:
            assert text.count(f"{port.proof.verdict} cable: {port.proof.cable}") >= 2
    assert text.count("proven cable: inferred") == 2


def test_a_port_in_full(sample: Report) -> None:
    """The entry of a port has the MACs, figures with their number of probes, phases, notes and the record's line."""
    text = flat(Page(to_html(sample)).text)
    for said in (
        "With the cable out, 00-00-5E-00-53-90 (site host camera-7) answers for 10.62.20.61.",
        "Answered by 00-00-5E-00-53-21 Recorded 2026-11-19 09:14:43 UTC, run.jsonl, line 2",
        "Silence by chance 4.1e-05, 1 in 24,000 Second owner unheard 3.8e-06, 1 in 260,000",
        "in 8.0 8 of 8 30 of 30 0.11, 0.21, 0.40 out 5.1 0 of 7 0 of 19 none",
        "00-00-5E-00-53-90 for 10.62.20.61, phase out: site host camera-7",
        "Silence by chance no figure: nothing can be sent without a link",
        "Echo blocked: ARP was answered, echo was not",
        "control 10.62.20.1 answered to the end",
        "Identity planned: the plan names this MAC",
    ):
        assert said in text


def test_numbers_and_limits_are_explained(sample: Report) -> None:
    """The page explains the method, its independence, what a proof cannot show, and the cautions."""
    text = flat(Page(to_html(sample)).text)
    assert "(n-k+1/2+i) / (n+1+i)" in text
    assert all(flat(sentence) in text for sentence in (CAUTION_NUMBERS, *CANNOT_SHOW, *CAUTION))


def test_the_seal_is_shown_with_how_to_verify_it(sample: Report) -> None:
    """The seal is shown with the command to verify it, the permit, and lines to sign."""
    text = flat(Page(to_html(sample)).text)
    assert f"Seal {sample.records[0].verification.seal}" in text
    assert "run netcheck verify run.jsonl, or the ten lines below, and compare the seal" in text
    assert "Permit work order 118" in text
    assert "signature under this seal" in text


def test_rules_and_accepted_findings(sample: Report) -> None:
    """Every rule has its text and source; an accepted finding has the person, the reason and the last day."""
    text = flat(Page(to_html(sample)).text)
    for rule in sample.rules:
        assert flat(f"{rule.what} {rule.why} {rule.source}").replace("`", "") in text
    assert "site IT the camera is taken down in week 50 2026-12-31" in text


def test_instructions_to_the_author_are_not_in_the_report(sample: Report) -> None:
    """The instructions of a rule to the author of the plan are left out; `verify` is the only command."""
    text = flat(Page(to_html(sample)).text)
    told = [rule.do for rule in sample.rules if rule.do]
    assert len(told) >= 9
    assert [words for words in told if flat(words).replace("`", "") in text] == []
    assert set(re.findall(r"netcheck ([a-z]+)", text)) <= {"verify", "replaces"}


def test_a_broken_record_raises_an_alarm(plan_folder: Path, record_path: Path) -> None:
    """The alarm is in the summary and above the proofs, and no seal is shown."""
    lines = record_path.read_bytes().splitlines(keepends=True)
    record_path.write_bytes(b"".join([*lines[:4], *lines[5:]]))
    text = flat(Page(to_html(report_from(plan_folder, record_path))).text)
    alarm = "Damaged record. run.jsonl: chain broken at line 5; that line and the proofs after it are not evidence"
    assert text.count(alarm) == 2
    assert "Seal none: the chain is broken" in text


def test_without_records_and_without_findings(plan_folder: Path, sample: Report) -> None:
    """An empty part says that it is empty."""
    bare = report_from(plan_folder)
    clean = replace(bare, checked=replace(bare.checked, findings=(), accepted=()), surveys=())
    text = flat(Page(to_html(clean)).text)
    assert "No conflict and no risk found. No proof was given." in text
    assert "Can be installed: nothing against it was found" in text
    assert "Findings None." in text
    assert "No record of a proving run was given" in text


HOSTILE = [
    pytest.param("<script>alert(1)</script>", id="script"),
    pytest.param('"onload="alert(1)', id="attribute"),
    pytest.param("'><img src=x onerror=alert(1)>", id="element"),
    pytest.param("</style><script>x</script>", id="style-end"),
    pytest.param("{{ 7 * 7 }}{% raw %}", id="template"),
    pytest.param("=cmd|' /C calc'!A0", id="formula"),
    pytest.param("\x1b[31m\x07\x00", id="escape-sequence"),
    pytest.param("\u202eabc\u2066\u200b", id="bidi"),
    pytest.param("`code` <b>", id="backticks"),
    pytest.param("\ud800", id="lone-surrogate"),
    pytest.param("&lt;&#x27;", id="entity"),
    pytest.param("x" * 30_000, id="long"),
]
BAD_CHARACTERS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b-\u200f\u202a-\u202e\u2066-\u2069]")


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_stays_text(text: str, sample: Report) -> None:
    """Received text, in every place where it can occur, opens no element, attribute or script."""
    data = to_html(poisoned(sample, text))
    page = Page(data)
    assert page.tags <= HARMLESS
    assert not [name for name, _ in page.attributes if name.startswith("on") or name == "style"]
    assert not BAD_CHARACTERS.search(data.decode("utf-8"))
    if text.isprintable() and len(text) < 100:
        assert page.text.replace("`", "").count(text.replace("`", "")) > 10


def poisoned(report: Report, text: str) -> Report:
    """Return the report with this text in every place that can hold received text."""
    finding = report.checked.findings[0]._replace(message=text, where=text, subjects=(text, text), address=text)
    agreed = AcceptedFinding(finding, by=text, because=text, until=None)
    plan: Plan = replace(report.plan, name=text, revision=text)
    port = report.ports[0]
    other = replace(port.proof.others[0], phase=text, known_as=text)
    proof = replace(
        port.proof, interface=text, port=text, address=text, why=text, vendor=text, echo=text, cable=text,
        connector=text, identity=text, others=(other,), notes=(text,), evidence=((text, text),),
    )  # fmt: skip
    assert port.evidence is not None
    result = replace(port, proof=proof, interface=port.interface._replace(location=text), earlier=(port.evidence,))
    record = report.records[0]
    runs = (replace(record.content.runs[0], station=text, interface=text, permit=text, revision=text, sha256=text),)
    content = replace(record.content, runs=runs, sha256=text)
    verification = replace(record.verification, notes=(text,), plan=text, revision=text)
    survey = replace(report.surveys[0], entry=report.surveys[0].entry._replace(file=text))
    return replace(
        report,
        checked=replace(report.checked, plan=plan, findings=(finding,), accepted=(agreed,)),
        ports=(result, *report.ports[1:]),
        records=(replace(record, path=text, content=content, verification=verification),),
        surveys=(survey,),
    )


def test_a_hostile_plan_from_files(tmp_path: Path) -> None:
    """A plan and a record with markup in names, read from files, give a page without that markup."""
    evil = "<script>alert(1)</script>"
    plan = write_plan(tmp_path / "evil", plan_text().replace("Tarn Hollow creamery", evil).replace("panel 3", evil))
    proof = proof_of("line-panel/lan:1", Verdict.PROVEN, evil, vendor=evil)
    record = write_record(tmp_path / "<img src=x>.jsonl", plan, (proof,), clock_from())
    page = Page(to_html(report_from(plan, record)))
    assert page.tags <= HARMLESS
    assert page.text.count(evil) > 10
    assert "<img src=x>.jsonl" in page.text


def test_the_same_report_gives_the_same_bytes(plan_folder: Path, record_path: Path) -> None:
    """The page does not depend on the time of writing."""
    assert to_html(report_from(plan_folder, record_path)) == to_html(report_from(plan_folder, record_path))


def test_impossible_figures_do_not_prevent_the_report(plan_folder: Path, tmp_path: Path) -> None:
    """Figures that no prober writes do not prevent the report."""
    odd = ((Phase.IN, PhaseResult(Tally(-5, 10**30), Tally(0, 0), -1e300)),)
    proofs = (proof_of("line-panel/lan:1", Verdict.PROVEN, "x", luck=-1.0, unheard=1e308, phases=odd),)
    record = write_record(tmp_path / "odd.jsonl", plan_folder, proofs, clock_from())
    text = Page(to_html(report_from(plan_folder, record))).text
    assert "Contradictory evidence." in text
    assert "unheard is 1.0e+308" in text


def test_every_verdict_is_in_the_page(sample: Report) -> None:
    """Each verdict of the sample is in the page with its meaning."""
    text = flat(Page(to_html(sample)).text)
    assert {proof.verdict for proof in every_verdict()} == set(Verdict) - UNUSED
    assert "impostor with the cable out, another device answered for the address" in text


ONE_OF_EACH = """format = 1
[site]
name = "Mill"
[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
[[device]]
name = "pump"
  [[device.interface]]
  name = "lan"
  subnet = "process"
  address = "10.62.20.50"
[[router]]
name = "core"
interfaces = ["10.62.20.1/24", "10.62.30.1/24"]
[[subnet]]
name = "control"
prefix = "10.62.30.0/24"
[[device]]
name = "panel"
  [[device.interface]]
  name = "lan"
  subnet = "control"
  address = "10.62.30.50"
[[conversation]]
from = "panel/lan"
to = "pump/lan"
"""


def test_one_thing_is_in_the_singular(tmp_path: Path) -> None:
    """No count says `1 findings`, `1 subnets` or `1 proofs`, and a single request is marked without `all`."""
    (tmp_path / "mill").mkdir()
    (tmp_path / "mill" / "plan.toml").write_text(ONE_OF_EACH.partition("[[router]]")[0], "utf-8")
    proof = replace(proof_of("line-panel/lan:1", Verdict.PROVEN, "Seen."), interface="pump/lan", address="10.62.20.50")
    record = write_record(tmp_path / "run.jsonl", tmp_path / "mill", (proof,), clock_from())
    text = Page(to_html(report_from(tmp_path / "mill", record))).text
    assert re.findall(r"\b1 (?:all|findings|subnets|proofs|ports|conflicts|risks|notes|requests|values)\b", text) == []
    assert "Reviewed: 1 finding on Mill" in text
    assert "1 subnet" in text
    assert "with 1 proof" in text
    assert "1 of 1 port proven" in text
    assert "Mark it as granted" in text


def test_a_conversation_without_services_asks_for_any(tmp_path: Path) -> None:
    """The page asks for `any` protocol and port if the plan names none, as the workbook and the CSV do."""
    (tmp_path / "mill").mkdir()
    (tmp_path / "mill" / "plan.toml").write_text(ONE_OF_EACH, "utf-8")
    page = to_html(report_from(tmp_path / "mill")).decode("utf-8")
    (row,) = re.findall(r'<table class="cards requests talks">.*?<tbody>(.*?)</tbody>', page, re.DOTALL)
    cells = [re.sub(r"<[^>]+>", "", cell).strip() for cell in re.findall(r"<td[^>]*>(.*?)</td>", row, re.DOTALL)]
    assert cells[:3] == ["pump/lan 10.62.20.50", "any", "not stated"]


def test_a_device_answers(sample: Report, plan_folder: Path) -> None:
    """The page has one word for it: a device or an address answers, and a reply is a packet or a text of the plan."""
    for report in (sample, report_from(plan_folder)):
        text = Page(to_html(report)).text
        assert "answered from one MAC" in text or not report.records
        assert re.findall(r"(?:address|device|router|that also)\s+repl(?:ies|ied)", text) == []
