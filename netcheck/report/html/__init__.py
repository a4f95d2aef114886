"""The HTML report and the setting sheet: templates for the layout, and modules that compute the values.

`page` writes the report and computes the values of its templates. `subnet_maps` lays out the map of every subnet, as
cells and as words. `rtt_chart` draws round-trip times. `setting_sheet` writes the values to type into each device.

To add a section, write a template `templates/ANCHOR.html` without a heading, and add one `Section` to `sections_of` in
`page`; its place there is its place on the page. The page adds the title, the entry in the contents, the fold and the
page break rules. Use `folded=True` for a section that starts closed, and `leading=True` for a section that a phone
shows open. Compute the values of the template in `values_of`. A table that becomes cards on a phone has the class
`cards` and a `data-label` on each cell. Names and addresses pass `unbroken`, so that they are not broken at the end of
a line. To add a table of requests that IT answers, add one line with the macro `requests_table` to `asked.html`.

`answers.js` saves the answers. Each cell of the class `decide` or `grant` gets its fields when it comes into view.
`ANSWER_COLUMNS` has the columns of the saved file.
"""
