"""The HTML report and the setting sheet: templates that lay out, and modules that compute what they lay out.

`page_values` computes the values of the page; `map_parts` chooses the sheets of a subnet's map, `map_sheet` places its
cells and `map_words` says the same in words. `verifier` holds the printed verifier of records.
"""
