"""Disks that fill: a small file system, and files that may not grow."""
import os
import resource
import shutil
import subprocess
import tempfile


class SmallDisk:
    """A file system of its own with a size. Needs root."""

    name = "small file system"

    def __init__(self, folder, bytes_):
        self.folder = os.path.join(folder, "disk")
        os.makedirs(self.folder, exist_ok=True)
        self.mount("size=%d" % bytes_)

    def mount(self, options):
        subprocess.run(["mount", "-t", "tmpfs", "-o", options, "none", self.folder], check=True,
                       stderr=subprocess.DEVNULL)

    def limits(self):
        return {}

    def make_room(self):
        self.mount("remount,size=400m")

    def close(self):
        subprocess.run(["umount", self.folder], check=True)


class SmallFiles:
    """No file may grow beyond a size."""

    name = "limit of a file's size"

    def __init__(self, folder, bytes_):
        self.folder = os.path.join(folder, "files")
        os.makedirs(self.folder)
        self.bytes = bytes_

    def limits(self):
        if self.bytes is None:
            return {}
        most = self.bytes
        return {"preexec_fn": lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))}

    def make_room(self):
        self.bytes = None

    def close(self):
        shutil.rmtree(self.folder)


def disks():
    with tempfile.TemporaryDirectory() as folder:
        try:
            SmallDisk(folder, 600_000).close()
        except (OSError, subprocess.CalledProcessError):
            return [SmallFiles]
    return [SmallDisk, SmallFiles]
