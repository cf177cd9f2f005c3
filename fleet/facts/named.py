"""Names under which an entry is found: types that say what a tag or an id in it names."""

from __future__ import annotations

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
