"""Findings and verdicts for people and programs: pure functions from a value to text or bytes.

`build` makes one frozen `Report` (`model`) from a plan's check and its records; `changes` compares two revisions.
`formats` maps a file ending to a writer: `text/`, `text_report` (text and Markdown), `json_report`, `csv_tables`,
`workbook`, `html/`; `json_schemas` describes the JSON. What the writers share: `words` has the wording,
`finding_groups` the rows of findings, `part_rows` all other tables. `check_formats` writes the checks of several plans,
`address_list` who has which address, `proof_page` the page to sign, `live/` the screen of a running proof.

In HTML every value passes `safe` by jinja2's `finalize` and is then escaped; no value may stand in `<style>`,
`<script>`, an unquoted attribute or a link. The policy of the page allows its style and script by their hash, so there
is no `style=` attribute. Tables hold at most 100 rows each, because one table of thousands of rows opens slowly. A file
that a spreadsheet may open passes `tables.delimited.guarded`.
"""
