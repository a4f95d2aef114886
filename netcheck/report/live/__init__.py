"""The screen of a running proof, its sounds and its spoken words: pure functions from the state of the run.

`screen` computes the content of the screen from the view of the run (`proof/view`): one state, one instruction, one
warning. `draw` lays it out as lines for a terminal of any size, with the action word in block letters. `signals`
compares two screens and returns the sounds and the spoken words of the change. `app/operator` shows the lines, and
`app/sounds` plays the sounds.
"""
