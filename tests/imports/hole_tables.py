"""Tables of holes as shops keep them, each turned for reading: one line is one column, its header first."""

from __future__ import annotations

from typing import Final

TABLES: Final = {
    "both_skis_in_one_row": """
pair                               | K-031
A toe front (from mark, + to tip)  | 105
A toe rear (from mark, + to tip)   | 70
A heel front (from mark, + to tip) | -150
A heel rear (from mark, + to tip)  | -190
A width toe                        | 36
A width heel                       | 38
B toe front (from mark, + to tip)  | 107.5
B toe rear (from mark, + to tip)   | 72.5
B heel front (from mark, + to tip) | -148
B heel rear (from mark, + to tip)  | -188
B width toe                        | 37
B width heel                       | 38.5
state                              | plugged
""",
    "facts_of_each_ski": """
tag               | K-031
model             | Larch 96
kind              | telemark
length_cm         | 178
mark from tail A  | 812
mark from tail B  | 810
zone back (mm)    | 330
zone front B (mm) | 275
""",
    "from_each_other": """
pair                      | K-031   | K-031
ski                       | A       | B
toe front ahead of mark   | 105     | 107.5
toe rear from toe front   | 35      | 35
heel front from toe rear  | 220     | 220.5
heel rear from heel front | 40      | 40
width toe                 | 36      | 37
width heel                | 38      | 38.5
state                     | plugged | plugged
""",
    "from_each_other_and_the_tail": """
pair                      | K-031   | K-031
ski                       | A       | B
heel rear from tail       | 622     | 622
heel front from heel rear | 40      | 40
toe rear from heel front  | 220     | 220.5
toe front from toe rear   | 35      | 35
width toe                 | 36      | 37
width heel                | 38      | 38.5
state                     | plugged | plugged
""",
    "from_the_tail": """
pair                 | K-031   | K-031
ski                  | A       | B
toe front from tail  | 917     | 917.5
toe rear from tail   | 882     | 882.5
heel front from tail | 662     | 662
heel rear from tail  | 622     | 622
width toe            | 36      | 37
width heel           | 38      | 38.5
state                | plugged | plugged
""",
    "german_in_cm": """
Paar                                            | K-031   | K-031
Ski                                             | A       | B
Vorderbacken vorn ab Marke (cm, + zur Spitze)   | 10,5    | 10,75
Vorderbacken hinten ab Marke (cm, + zur Spitze) | 7,0     | 7,25
Ferse vorn hinter Marke (cm)                    | 15      | 14,8
Ferse hinten hinter Marke (cm)                  | 19      | 18,8
Breite Vorderbacken (mm)                        | 36      | 37
Breite Ferse (mm)                               | 38      | 38,5
Lochzustand                                     | plugged | plugged
""",
    "left_and_right": """
pair                             | K-031   | K-031
ski                              | A       | B
toe front (from mark, + to tip)  | 105     | 107.5
toe rear (from mark, + to tip)   | 70      | 72.5
heel front (from mark, + to tip) | -150    | -148
heel rear (from mark, + to tip)  | -190    | -188
toe left                         | 18      | 18.5
toe right                        | 18      | 18.5
heel left                        | 19      | 19.25
heel right                       | 19      | 19.25
state                            | plugged | plugged
""",
    "not_stated": """
pair                | K-031   | K-031
ski                 | A       | B
toe front from mark | 105     | 107.5
toe rear            | 70      | 72.5
heel front          | 150     | 148
heel rear           | 190     | 188
width toe           | 36      | 37
width heel          | 38      | 38.5
state               | plugged | plugged
""",
    "numbered": """
pair  | K-031   | K-031   | K-031   | K-031
ski   | A       | A       | B       | B
x1    | 105     | -150    | 107.5   | -148
y1    | 18      | 19      | 18.5    | 19.25
x2    | 105     | -150    | 107.5   | -148
y2    | -18     | -19     | -18.5   | -19.25
x3    | 70      | -190    | 72.5    | -188
y3    | 18      | 19      | 18.5    | 19.25
x4    | 70      | -190    | 72.5    | -188
y4    | -18     | -19     | -18.5   | -19.25
state | plugged | plugged | plugged | plugged
""",
    "one_hole_a_row_of_both_skis": """
pair               | K-031   | K-031   | K-031   | K-031   | K-031   | K-031   | K-031   | K-031
x A (mm, + to tip) | 105     | 105     | 70      | 70      | -150    | -150    | -190    | -190
y A                | 18      | -18     | 18      | -18     | 19      | -19     | 19      | -19
x B (mm, + to tip) | 107.5   | 107.5   | 72.5    | 72.5    | -148    | -148    | -188    | -188
y B                | 18.5    | -18.5   | 18.5    | -18.5   | 19.25   | -19.25  | 19.25   | -19.25
state              | plugged | plugged | plugged | plugged | plugged | plugged | plugged | plugged
""",
    "one_ski_a_row": """
pair                               | K-031   | K-031
ski                                | A       | B
toe front (mm from mark, + to tip) | 105     | 107.5
toe rear (mm from mark, + to tip)  | 70      | 72.5
heel front (mm behind mark)        | 150     | 148
heel rear (mm behind mark)         | 190     | 188
width toe                          | 36      | 37
width heel                         | 38      | 38.5
state                              | plugged | plugged
""",
    "rear_from_front": """
pair                    | K-031   | K-031
ski                     | A       | B
toe front ahead of mark | 105     | 107.5
toe rear from front     | 35      | 35
heel front behind mark  | 150     | 148
heel rear from front    | 40      | 40
width toe               | 36      | 37
width heel              | 38      | 38.5
state                   | plugged | plugged
""",
    "skis_with_their_holes": """
tag                             | K-031    | K-031
model                           | Larch 96 | Larch 96
kind                            | telemark | telemark
ski                             | A        | B
length_cm                       | 178      | 178
mark_from_tail_mm               | 812      | 810
toe front (from mark, + to tip) | 105      | 107.5
toe rear (from mark, + to tip)  | 70       | 72.5
heel front (behind mark)        | 150      | 148
heel rear (behind mark)         | 190      | 188
width toe                       | 36       | 37
width heel                      | 38       | 38.5
hole state                      | plugged  | plugged
drill                           | 3.6      | 4.1
""",
}
