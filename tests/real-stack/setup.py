"""Gets and lays out what the virtual machine needs, under target/real-stack: kernel, a few Debian packages, an initramfs.

Nothing is installed on this machine: packages are downloaded and unpacked. Does not start anything.
"""

import gzip
import pathlib
import re
import shutil
import subprocess
import sys
import venv

ROOT = pathlib.Path(__file__).resolve().parents[2]
WORK = ROOT / "target" / "real-stack"
TOOLS = {"qemu-system-x86_64": "qemu-system-x86", "busybox": "busybox-static", "dpkg": "dpkg", "apt-get": "apt"}
PACKAGES = ["bluez", "libell0", "udev", "libkmod2", "libglib2.0-0", "dbus-daemon", "dbus-bin", "libdbus-1-3", "libapparmor1",
            "libaudit1", "libcap-ng0"]
BUMBLE = "bumble==0.0.236"
# What the guest loads, in this order; what each needs comes before it.
MODULES = ["virtio_pci", "9pnet_virtio", "9p", "overlay", "xhci_pci", "usbserial", "ftdi_sio", "cdc_acm", "usb_f_acm", "dummy_hcd", "g_serial",
           "cmac", "ecb", "ccm", "algif_hash", "algif_skcipher", "uhid", "bluetooth", "hci_vhci"]
# Loaded only when a scene asks for them.
LATER = {"dummy_hcd", "g_serial"}


class Missing(Exception):
    """Something this machine has not; the message says how to get it."""


def need_tools():
    lacking = [package for tool, package in TOOLS.items() if not shutil.which(tool)]
    if lacking:
        raise Missing(f"not here: {', '.join(lacking)}; apt-get install --no-install-recommends {' '.join(lacking)}")


def run(*command, **options):
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, **options)
    if done.returncode:
        raise Missing(f"{' '.join(map(str, command))} ended with {done.returncode}:\n{done.stdout[-2000:]}")
    return done.stdout


def kernel_package():
    """The newest kernel that Debian's own name for it points to."""
    listed = run("apt-cache", "depends", "linux-image-amd64")
    found = re.search(r"Depends: (linux-image-\S+)", listed)
    if not found:
        raise Missing("apt knows no linux-image-amd64; run: apt-get update")
    return found.group(1)


def packages():
    """Downloads and unpacks; the unpacked root is kept, so a second run needs no network."""
    root = WORK / "root"
    if (root / ".complete").exists():
        return root
    shutil.rmtree(root, ignore_errors=True)
    store = WORK / "packages"
    store.mkdir(parents=True, exist_ok=True)
    # Fetched as root where apt's own user may not write here; that is said on stderr and does no harm.
    run("apt-get", "download", kernel_package(), *PACKAGES, cwd=store)
    for package in sorted(store.glob("*.deb")):
        run("dpkg", "-x", package, root)
    (root / ".complete").touch()
    return root


def python_environment():
    """The peripheral is played by bumble (Apache-2.0, from PyPI), in an environment of its own."""
    place = WORK / "venv"
    if not (place / ".complete").exists():
        shutil.rmtree(place, ignore_errors=True)
        venv.create(place, with_pip=True)
        run(place / "bin" / "python", "-m", "pip", "install", "--quiet", BUMBLE)
        (place / ".complete").touch()
    return place


def module_files(root):
    folder = next((root / "lib" / "modules").iterdir())
    return {path.name.removesuffix(".ko").replace("-", "_"): path for path in folder.rglob("*.ko")}


def in_order(files, built_in):
    """Names and files of the modules, each after what it depends on (the `depends=` of its .modinfo)."""
    order, done = [], set()

    def add(name):
        name = name.replace("-", "_")
        if name in done:
            return
        done.add(name)
        if name not in files:
            if name in built_in:
                return
            raise Missing(f"the kernel has no module {name}")
        depends = re.search(rb"\0depends=([^\0]*)\0", files[name].read_bytes())
        for needed in (depends.group(1).decode() if depends else "").split(","):
            if needed:
                add(needed)
        order.append((name, files[name]))

    for name in MODULES:
        add(name)
    return order


INIT = """#!/bin/busybox sh
B=/bin/busybox
$B mkdir -p /proc /sys /dev /host /over /root
$B mount -t proc proc /proc; $B mount -t sysfs sys /sys; $B mount -t devtmpfs dev /dev
for m in $($B cat /modules/now); do $B insmod /modules/$m.ko || echo "module $m: failed"; done
$B mount -t 9p -o ro,trans=virtio,version=9p2000.L,msize=262144,cache=loose host /host || $B poweroff -f
$B mount -t tmpfs over /over; $B mkdir -p /over/up /over/work
$B mount -t overlay -o lowerdir=/host,upperdir=/over/up,workdir=/over/work over /root
$B mount --move /proc /root/proc; $B mount --move /sys /root/sys; $B mount --move /dev /root/dev
$B mkdir -p /root/dev/pts /root/run /root/guest-modules
$B mount -t devpts pts /root/dev/pts; $B mount -t tmpfs run /root/run
$B cp /modules/*.ko /root/guest-modules/
exec $B chroot /root {python} {guest} {scene} {work}
"""


def cpio(entries):
    """A newc archive: (name, mode, bytes) each."""
    out = bytearray()

    def entry(name, mode, data, ino):
        fields = [ino, mode, 0, 0, 1, 0, len(data), 0, 0, 0, 0, len(name) + 1, 0]
        out.extend(b"070701" + b"".join(b"%08X" % field for field in fields) + name.encode() + b"\0")
        out.extend(b"\0" * (-len(out) % 4))
        out.extend(data)
        out.extend(b"\0" * (-len(out) % 4))

    for number, (name, mode, data) in enumerate(entries, 1):
        entry(name, mode, data, number)
    entry("TRAILER!!!", 0, b"", 0)
    return bytes(out)


def initramfs(root, python, scene):
    """Busybox, the modules and a script that mounts this machine's root read-only and starts guest.py in it."""
    kernel = next((root / "lib" / "modules").iterdir())
    built_in = {pathlib.Path(line).name.removesuffix(".ko").replace("-", "_")
                for line in (kernel / "modules.builtin").read_text().split()}
    order = in_order(module_files(root), built_in)
    now = "\n".join(name for name, _ in order if name not in LATER)
    script = INIT.format(python=python, guest=pathlib.Path(__file__).with_name("guest.py"), scene=scene, work=WORK)
    entries = [("bin", 0o40755, b""), ("modules", 0o40755, b""),
               ("bin/busybox", 0o100755, pathlib.Path(shutil.which("busybox")).read_bytes()),
               ("init", 0o100755, script.encode()), ("modules/now", 0o100644, now.encode())]
    entries += [(f"modules/{name}.ko", 0o100644, path.read_bytes()) for name, path in order]
    image = WORK / f"{scene}.cpio.gz"
    image.write_bytes(gzip.compress(cpio(entries), 3))
    return image


def prepare(scene):
    """Kernel and initramfs for a scene."""
    need_tools()
    WORK.mkdir(parents=True, exist_ok=True)
    root = packages()
    python = python_environment() / "bin" / "python"
    kernel = next((root / "boot").glob("vmlinuz-*"))
    return kernel, initramfs(root, python, scene)


if __name__ == "__main__":
    try:
        print(*prepare("serial"))
    except Missing as why:
        sys.exit(f"real-stack: {why}")
