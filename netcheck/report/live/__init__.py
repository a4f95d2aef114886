"""The screen of a running proof, its sounds and its spoken words: pure functions from the state of the run.

`screen` computes what is to be said from the view of the run (`proof/view`): one state, one instruction, one warning.
`draw` lays it out as lines for a terminal of any size, with the word in block letters. `signals` compares two screens
and returns the sounds and the words of each change. `app/operator` shows them and `app/sounds` plays them.
"""
