"""The rules: their input, their findings, and the engine that runs them.

`check` in `engine` builds a `Scene` (the plan, its surveys and shared indexes) and runs every rule of `catalogue` on
it. It then separates the accepted findings (`accept`) and adds the fixes (`propose`). A rule is one record in the file
of its subject: slug, severity, what, why, a plan that breaks it, the corrected plan, source, and the check.
`reachability` traces the conversations. `names` compares host names and pairs planned names with DNS records.
"""
