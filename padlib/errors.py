"""The errors of padlib: one small tree.

    PadlibError                  everything that padlib raises on purpose
    ├── InputError               a file, a value or a suit file cannot be used as it is
    │   ├── MeshError            a mesh cannot be read or is not what the step needs
    │   └── SuitError            the suit file says something that cannot be done
    ├── FlatteningError          a panel cannot be laid flat without a flip or an overlap
    └── OutputError              an output could not be written; nothing earlier was touched

Every message is one sentence for the maker: which file or parameter, what is wrong, what to do.
"""


class PadlibError(Exception):
    """Base of every error that padlib raises on purpose; the command line exits with status 2."""


class InputError(PadlibError, ValueError):
    """Raised when a file, a value or a parameter cannot be used as it is."""


class MeshError(InputError):
    """Raised when a mesh cannot be read, or is not of the kind that the step needs."""


class SuitError(InputError):
    """Raised when a suit file says something unknown, contradictory or impossible."""


class FlatteningError(PadlibError):
    """Raised when a panel cannot be laid flat without a flipped triangle or an overlap.

    panels: the numbers of those at fault among several that are laid together, where that is known.
    """

    panels: tuple[int, ...] = ()


class OutputError(PadlibError, OSError):
    """Raised when an output cannot be written whole."""
