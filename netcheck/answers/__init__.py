"""The reviewer's decisions: the table that is filled in, how it is read, and what it changes in the plan."""
