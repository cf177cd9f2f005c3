"""The places where a binding may be screwed down: exact geometry in whole micrometres.

frames       one reference for both skis, also where the two marks are printed at different places
rule         the shop's policy as the numbers that the geometry needs
intervals    interval sets: closed sets of whole numbers
sweep        the stretches of one piece on one ski, each hole reused or drilled
apart        new holes of two pieces keep their distance from each other
stance       the mount convention: mid-sole or pin line on the mark
legal        the legal offsets of a whole pattern on a pair, as closed intervals
best_fit     the place of a reused piece by its recorded holes
stands       the stands of one piece on both skis as they are planned
settle       the offset of a range that is taken
room         the room of a planned hole beyond the asked distance
placed       a settled placement as the values of a plan
jig          the jig setting that drills the new holes, if there is one
untouched    the ways that touch no screw
ways         the best way of each rung of the ladder
hole_table   the holes of many skis as arrays
"""
