#!/bin/sh
# Runs the counter as a 64-bit ARM board would, on five drawn insects at 640x480, and prints how many instructions a frame
# takes there, decoding apart; exit 1 if that is more than the goal or the events are not those that this machine finds.
#
#   tests/house/aarch64.sh FOLDER [PYTHON]     e.g. /var/tmp/aarch64 .venv/bin/python; FOLDER is outside the checkout
#
# Needs root, debootstrap, gcc and qemu-user (the dynamic one: the static has no plugins), on Debian 12, and this machine's
# way to Debian's archive and pip's index. A FOLDER that holds such a root already is used again. No instruction is run
# twice for the time: what is counted does not depend on how busy the machine is.
set -eu

usage='usage: tests/house/aarch64.sh FOLDER [PYTHON]'
folder=${1:?$usage}
checkout=$(cd "$(dirname "$0")/../.." && pwd -P)
python=${2:-$checkout/.venv/bin/python}
root=$folder/root
site=$folder/site
# A common board's core; what else a core has (SVE ...) would be used if it were there.
core=cortex-a72
# The opening is over by the first; the clip's insects come back to where they were by the second.
few=150 more=450
# The goal that the counter was given.
most=1500000

archive() {
    # shellcheck disable=SC2016  # apt puts in the value
    apt-get indextargets --format '$(REPO_URI)' 'Created-By: Packages' | head -n 1
}

# A root that is only unpacked: nothing in it needs to be set up to run Python.
make_root() {
    debootstrap --foreign --arch=arm64 --variant=minbase --include=python3-minimal,libpython3-stdlib \
        bookworm "$root" "$(archive)" >"$folder/root.log"
    for deb in "$root"/var/cache/apt/archives/*.deb; do
        dpkg-deb --extract "$deb" "$root"
    done
    touch "$folder/root.made"
}

# version NAME: prints it as this machine has it, for pip.
version() {
    "$python" -c 'import importlib.metadata, sys; print(sys.argv[1] + "==" + importlib.metadata.version(sys.argv[1]))' "$1"
}

make_site() {
    rm -rf "$site"
    "$python" -m pip install --quiet --disable-pip-version-check --target "$site" --only-binary=:all: \
        --platform manylinux_2_28_aarch64 --platform manylinux_2_17_aarch64 --platform manylinux2014_aarch64 \
        --python-version 3.11 --implementation cp \
        "$(version numpy)" "$(version opencv-python-headless)" "$(version msgspec)" "$(version typer)"
}

draw() {
    PYTHONPATH=$checkout/tests "$python" -c '
import sys
from pathlib import Path
import numpy as np
from bench import cost
np.save(Path(sys.argv[1]) / "frames.npy", np.stack(cost.scene(5)))
(Path(sys.argv[1]) / "station.toml").write_text(cost.STATION_TOML)' "$folder"
}

# guest NUMBER: counts as a board would; the events go to guest.jsonl, the instructions to stdout.
guest() {
    qemu-aarch64 -cpu "$core" -plugin "$folder/instructions.so" -L "$root" -E PYTHONHASHSEED=0 -E OPENBLAS_NUM_THREADS=1 \
        -E PYTHONPATH="$site:$checkout/device:$checkout/models" -E PYTHONDONTWRITEBYTECODE=1 \
        "$root/usr/bin/python3.11" "$checkout/tests/house/count_frames.py" \
        "$folder/frames.npy" "$folder/station.toml" "$1" 2>"$folder/guest.log" >"$folder/guest.jsonl" ||
        { cat "$folder/guest.log" >&2; exit 1; }
    sed -n 's/^instructions //p' "$folder/guest.log"
}

mkdir -p "$folder"
[ -e "$folder/root.made" ] || make_root
make_site
gcc -shared -fPIC -O2 -o "$folder/instructions.so" "$checkout/tests/house/instructions.c"
draw
PYTHONPATH=$checkout/device:$checkout/models "$python" "$checkout/tests/house/count_frames.py" \
    "$folder/frames.npy" "$folder/station.toml" "$more" >"$folder/here.jsonl"
begun=$(guest "$few")
ended=$(guest "$more")
each=$(((ended - begun) / (more - few)))
echo "$each instructions a frame on aarch64 ($core), five insects at 640x480; goal $most"
cmp "$folder/here.jsonl" "$folder/guest.jsonl"
echo "$(wc -l <"$folder/here.jsonl") events, the same on both"
[ "$each" -le "$most" ]
