#!/bin/sh
# Runs the counter on the camera stack of a board: Debian 13 with its real libcamera, picamera2 from pip's index and apt's
# OpenCV. libcamera's virtual camera replays a drawn scene; exit 1 unless the counter's own camera module sees every
# picture, with growing sensor times, and counts what is counted of the same pictures read from their files; and all that
# behind the filters of calls, addresses and memory, and with the /proc, that systemd would give the counter's service.
#
#   tests/house/board.sh FOLDER [PYTHON]     e.g. /var/tmp/board .venv/bin/python; FOLDER is outside the checkout
#
# Needs root, systemd-analyze, debootstrap and unshare, about 1 GB, and this machine's way to Debian's archive and pip's
# index. A FOLDER that holds such a root already is used again. Nothing in the checkout is touched.
set -eu

usage='usage: tests/house/board.sh FOLDER [PYTHON]'
folder=${1:?$usage}
checkout=$(cd "$(dirname "$0")/../.." && pwd -P)
python=${2:-$checkout/.venv/bin/python}
root=$folder/root
certificates=/etc/ssl/certs/ca-certificates.crt
# The release that was tried; what a board has comes from apt and may be older.
picamera2=0.3.38
packages=ca-certificates,python3-venv,python3-pip,python3-numpy,python3-opencv,python3-libcamera,libcamera-ipa
packages=$packages,python3-prctl,python3-av,python3-pil,python3-piexif,python3-libarchive-c,python3-jsonschema,python3-tqdm

archive() {
    # shellcheck disable=SC2016  # apt puts in the value
    apt-get indextargets --format '$(REPO_URI)' 'Created-By: Packages' | head -n 1
}

# inside COMMAND: runs it in the root, with /proc as $proc says, the checkout and the scene, and none of this machine's
# settings but the way out.
proc=rw
inside() {
    # shellcheck disable=SC2016  # the inner shell puts in the values
    unshare --mount sh -c 'mount -t proc -o "$1" proc "$0/proc" && mount --rbind /dev "$0/dev" &&
        mount --bind "$2" "$0/swapbell" && mount --bind "$3" "$0/scene" && shift 3 && exec chroot "$0" "$@"' \
        "$root" "$proc" "$checkout" "$folder/scene" /usr/bin/env -i LANG=C.UTF-8 PATH=/opt/venv/bin:/usr/bin:/bin \
        PIP_CERT="$certificates" PYTHONPATH=/swapbell/models:/swapbell/device PYTHONDONTWRITEBYTECODE=1 \
        ${https_proxy+"https_proxy=$https_proxy"} ${PIP_INDEX_URL+"PIP_INDEX_URL=$PIP_INDEX_URL"} "$@"
}

make_root() {
    rm -rf "$root"
    debootstrap --variant=minbase --include="$packages" trixie "$root" "$(archive)" >"$folder/root.log"
    cp /etc/resolv.conf "$root/etc/resolv.conf"
    cp "$certificates" "$root$certificates"
    mkdir -p "$root/swapbell" "$root/scene"
    inside python3 -m venv --system-site-packages /opt/venv
    inside pip install --quiet simplejpeg videodev2 openexr msgspec typer
    # Without its dependencies: those that Debian has are there, and two need hardware.
    inside pip install --quiet --no-deps "picamera2==$picamera2"
    touch "$folder/root.made"
}

draw() {
    "$python" "$checkout/tests/house/board_scene.py" "$folder/scene"
}

mkdir -p "$folder/scene"
[ -e "$folder/root.made" ] || make_root
[ -e "$folder/scene/station.toml" ] || draw
"$python" "$checkout/tests/house/board_rules.py" >"$folder/scene/rules.json"
proc=subset=pid,hidepid=invisible
inside python /swapbell/tests/house/board_confined.py /scene/rules.json \
    python /swapbell/tests/house/board_replay.py /scene >"$folder/told.json" 2>"$folder/replay.log" ||
    { cat "$folder/replay.log" >&2; exit 1; }
"$python" "$checkout/tests/house/board_verdict.py" "$folder/told.json"
