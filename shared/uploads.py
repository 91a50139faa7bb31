"""Files that are sent: kept in memory up to a limit, counted beyond it, never written to a disk.

Without this, whoever can reach a page could fill the disk with what no form has asked for.
"""

from __future__ import annotations

import io
from typing import Any, Final

from django.core.files.uploadedfile import InMemoryUploadedFile
from django.core.files.uploadhandler import FileUploadHandler

MOST_BYTES_A_FILE: Final = 12 * 1024 * 1024 + 1  # one more than any form allows, so that the form can say so
MOST_BYTES: Final = 64 * 1024 * 1024  # of all files of one request


class BoundedUploads(FileUploadHandler):
    """Keeps the beginning of each file; its `size` says how much was sent."""

    def __init__(self, request: Any = None) -> None:
        super().__init__(request)
        self.kept = 0
        self.file = io.BytesIO()

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        super().new_file(*args, **kwargs)
        self.file = io.BytesIO()

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        room = min(MOST_BYTES_A_FILE - self.file.tell(), MOST_BYTES - self.kept)
        taken = raw_data[: max(0, room)]
        self.file.write(taken)
        self.kept += len(taken)

    def file_complete(self, file_size: int) -> InMemoryUploadedFile:
        self.file.seek(0)
        return InMemoryUploadedFile(
            file=self.file,
            field_name=self.field_name,
            name=self.file_name or "",
            content_type=self.content_type,
            size=file_size,
            charset=self.charset,
            content_type_extra=self.content_type_extra,
        )
