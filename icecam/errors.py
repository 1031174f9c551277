"""The error tree: each error is one sentence that says what, where, by how much, what to change.

The command line catches `IcecamError` only and exits with 2; anything else is a defect and keeps
its traceback.
"""


class IcecamError(Exception):
    """Root of every refusal; its text is the one sentence shown to the sculptor."""


class JobError(IcecamError, ValueError):
    """A job file or a setting that cannot be used."""


class MeshError(IcecamError, ValueError):
    """A sculpture that cannot be read or placed."""


class BitError(IcecamError, ValueError):
    """A bit whose shape or size makes no sense."""


class TextError(IcecamError, ValueError):
    """RS-274 text that cannot be understood, or a toolpath that cannot be written."""


class OutputError(IcecamError, OSError):
    """An output folder that cannot be written or would be overwritten."""
