"""The HTML report and the setting sheet: templates that lay out, and modules that compute what they lay out.

`page` writes the report and computes the values of its templates; `subnet_maps` lays out the map of every subnet, in
cells and in words; `rtt_chart` draws round trips; `setting_sheet` writes what to type into each device.

To add a section: a template `templates/ANCHOR.html` without a heading of its own, and one `Section` in `sections_of` of
`page`, whose place there is its place on the page. The title, the entry in the contents, the fold, and the page break
rules come with it. `folded=True` is for a section that is only looked up, `leading=True` for one that a phone shows
opened. Values that the template needs are computed in `values_of`. A table that becomes cards on a phone has the class
`cards` and a `data-label` on each cell; names and addresses pass `unbroken`, so that paper does not break them. A table
of requests that IT answers is one line with the macro `requests_table` in `asked.html`.

`answers.js` saves the answers. Each cell of the class `decide` or `grant` gets its fields when it comes into view; the
columns of the file come from `ANSWER_COLUMNS`.
"""
