"""Writes the page of proof as HTML for printing and signing. Values and policy are as on the page of the report; there
is no script."""

from __future__ import annotations

from markupsafe import Markup

from netcheck.caution import CAUTION
from netcheck.report.html.page import TEMPLATES, digest, environment, page_header
from netcheck.report.model import Report
from netcheck.report.proof_page import FIELDS, HEADERS, HOLDS, SIGNED_BY, page_of_proof


def to_proof_page(report: Report) -> bytes:
    """Return the page as UTF-8; the same report gives the same bytes."""
    style = (TEMPLATES / "proof_page.css").read_text("utf-8") + page_header(report.plan, simulated=report.simulated)
    values = {
        "page": page_of_proof(report),
        "report": report,
        "headers": HEADERS,
        "holds": HOLDS,
        "signed_by": SIGNED_BY,
        "fields": FIELDS,
        "caution": CAUTION,
        "style": Markup(style),
        "style_hash": digest(style),
    }
    return environment().get_template("proof_page.html").render(values).encode("utf-8")
