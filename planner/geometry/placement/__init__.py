"""The places where a binding may be screwed down: exact geometry in whole micrometres.

frames       one reference for both skis, and what to do about marks that lie
rule         the shop's policy as the numbers that the geometry needs
intervals    closed sets of whole numbers
sweep        where one piece may stand on one ski, hole by hole reused or drilled
apart        new holes of two pieces keep their distance from each other
stance       which place of the boot lies where: mid-sole or pin line on the mark
legal        the legal offsets of a whole pattern on a pair, as closed intervals
best_fit     where a reused piece really stands
stands       the stands of one piece on both skis as they are planned
settle       which offset of a range to take
room         how much room a planned hole has beyond what is asked
placed       a settled placement as the values of a plan
jig          whether a jig drills the new holes, and how it is set
standing     the ways that touch no screw
ways         the best way of each rung of the ladder
hole_table   the holes of many skis as arrays
batch_sweep  the sweep for many skis at once
batch        legal offsets of one pattern on many pairs for many soles
"""
