"""Where photos, reports, copies and papers are kept: a folder, or any store that speaks S3.

Everything asks Django's `storages` by these names and knows no path, so that web and workers
can stand on several machines without a shared disk.
"""

from __future__ import annotations

import os
from pathlib import Path
from secrets import token_hex
from typing import Any

from django.conf import settings
from django.core.files.base import File
from django.core.files.storage import FileSystemStorage
from environs import Env

NAMES = ("photos", "reports", "copies", "papers")


class Folder(FileSystemStorage):
    """A folder below one that a setting names. A file is there whole or not at all, even after a
    crash; one of the same name takes its place, for our names say what is in them."""

    def __init__(self, root: str, below: str = "") -> None:
        super().__init__(allow_overwrite=True)
        self._root, self._below = root, below

    # Asked each time: tests move the folders.
    @property
    def base_location(self) -> str:
        return str(Path(getattr(settings, self._root)) / self._below)

    @property
    def location(self) -> str:
        return os.path.abspath(self.base_location)

    def listdir(self, path: str) -> tuple[list[str], list[str]]:
        """As everywhere else: a store that holds nothing yet is empty, and no error."""
        return super().listdir(path) if Path(self.path(path)).is_dir() else ([], [])

    def _save(self, name: str, content: File[Any]) -> str:
        target = Path(self.path(name))
        target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        half = target.with_name(f"{target.name}.{token_hex(4)}.part")
        try:
            with half.open("xb") as out:
                for chunk in content.chunks():
                    out.write(chunk)
                out.flush()
                # Before the rename: else a crash may leave the new name on an empty file.
                os.fsync(out.fileno())
            half.replace(target)
        except BaseException:
            half.unlink(missing_ok=True)
            raise
        return name


def of(env: Env) -> dict[str, dict[str, Any]]:
    """The part of STORAGES that the environment decides, by the names that are asked for."""
    bucket = env.str("STORE_BUCKET", "")
    if not bucket:
        places = {name: ("DATA_DIR", name) for name in NAMES}
        places |= {"photos": ("MEDIA_ROOT", "photos"), "copies": ("COPIES_DIR", "")}
        return {
            name: {"BACKEND": "deploy.stores.Folder", "OPTIONS": {"root": root, "below": below}}
            for name, (root, below) in places.items()
        }
    return {
        name: {"BACKEND": "storages.backends.s3.S3Storage", "OPTIONS": _s3(env, bucket, name)}
        for name in NAMES
    }


def _s3(env: Env, bucket: str, name: str) -> dict[str, Any]:
    from botocore.config import Config

    return {
        "bucket_name": bucket,
        "location": f"{env.str('STORE_FOLDER', '').strip('/')}/{name}".lstrip("/"),
        "endpoint_url": env.str("STORE_ENDPOINT", "") or None,
        "region_name": env.str("STORE_REGION", "") or "us-east-1",
        "access_key": env.str("STORE_KEY_ID", "") or None,
        "secret_key": env.str("STORE_SECRET", "") or None,
        # Nobody but us reads them: what is there is handed out by our pages, who ask who it is.
        "default_acl": None,
        "file_overwrite": True,
        "client_config": Config(
            signature_version="s3v4",
            s3={"addressing_style": "path"},
            connect_timeout=3,
            read_timeout=20,
            retries={"max_attempts": 2},
            # Stores other than the first one know no other checksums than the old ones.
            request_checksum_calculation="when_required",
            response_checksum_validation="when_required",
        ),
    }
