"""The name and version of this program, as its installed package says; pyproject.toml is the one place
of the version.
"""

from functools import cache


@cache
def program() -> str:
    """``mountbook 0.2.0``; one run of the program is one version, so this is asked for once."""
    from importlib.metadata import version

    return f"mountbook {version('mountbook')}"
