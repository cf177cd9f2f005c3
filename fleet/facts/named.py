"""Types of texts in an entry: names under which it is found, and texts that a person typed freely."""

from typing import Annotated

import msgspec

PairTag = Annotated[str, msgspec.Meta(extra={"names": "whole"})]
"""A pair's asset tag. An entry is found under what its fields hold by this type, and by the three next."""
BindingId = Annotated[str, msgspec.Meta(extra={"names": "whole"})]
"""A binding's id."""
SkiTag = Annotated[str, msgspec.Meta(extra={"names": "ski"})]
"""A pair's tag, or one ski of a pair, ``K-031 A``: the name is the pair's."""
HoleId = Annotated[str, msgspec.Meta(extra={"names": "hole"})]
"""A hole's id, ``K-031/A7``: the name is what stands before the last stroke. An imported id may say nothing
of its pair; then the kind says it by `Event.names_in_state`."""
BootTag = Annotated[str, msgspec.Meta(extra={"names": "nothing"})]
"""A boot's tag. It may be the same as a pair's, so no entry is found under it."""
TYPED = msgspec.Meta(extra={"typed": True})
"""Beside the type of a field that people type freely: its text is kept with the note, not in the body."""
PERSON = msgspec.Meta(extra={"person": True})
"""Beside the type of a field that holds a person's name: the body has its place (`fleet.base.kept_names`)."""
PersonName = Annotated[str, PERSON]
"""A person's name, or that of a desk, which may be a person's. In older bodies it stands itself."""
TypedText = Annotated[str, TYPED]
"""A text that people type freely. In bodies written before there was this type it stands itself."""
