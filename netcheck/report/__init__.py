"""Findings and verdicts for people and programs: pure functions that turn a value into text or bytes.

`build` makes one frozen `Report` (`model`) from a plan's check and its records; `changes` compares two revisions.
`formats` maps a file ending to a writer: `text/`, `text_report` (text and Markdown), `json_report`, `csv_tables`,
`workbook`, `html/`; `json_schemas` describes the JSON. The writers share three modules: `words` has the wording,
`finding_groups` the rows of findings, `part_rows` all other tables. `check_formats` writes the checks of several plans,
`address_list` the address list, `proof_page` the page to sign, `live/` the screen of a running proof.

In HTML every value passes `safe` (jinja2's `finalize`) and is then escaped. No value may stand in `<style>`,
`<script>`, an unquoted attribute or a link. The policy of the page allows only its own style and script, by their hash,
so no element has a `style=` attribute. A table holds at most 100 rows, because a browser opens a table of thousands of
rows slowly. Text for a file that a spreadsheet may open passes `tables.delimited.guarded`.
"""
