#!/bin/sh
# Runs the README's two commands on a freshly made Debian that has python3, python3-venv and nothing more, as an
# ordinary user, and prints how long each took; exit 1 if one fails. What is committed is what runs.
#
#   tests/house/clean_debian.sh SUITE FOLDER     e.g. bookworm /var/tmp/bookworm; FOLDER is outside the checkout
#
# Needs root, git, debootstrap and unshare, and this machine's way to Debian's archive and pip's index. A FOLDER that
# holds such a Debian already is used again with a new clone and an empty home. Nothing in the checkout is touched.
set -eu

usage='usage: tests/house/clean_debian.sh SUITE FOLDER'
suite=${1:?$usage}
root=${2:?$usage}
checkout=$(cd "$(dirname "$0")/../.." && pwd -P)
home=/home/visitor
certificates=/etc/ssl/certs/ca-certificates.crt

archive() {
    # shellcheck disable=SC2016  # apt puts in the value
    apt-get indextargets --format '$(REPO_URI)' 'Created-By: Packages' | head -n 1
}

make_debian() {
    debootstrap --variant=minbase --include=python3,python3-venv,ca-certificates "$suite" "$root" "$(archive)" >"$root.log"
    chroot "$root" useradd --create-home --home-dir "$home" visitor
}

lend_network() {
    cp /etc/resolv.conf "$root/etc/resolv.conf"
    cp "$certificates" "$root$certificates"
}

clone() {
    rm -rf "${root:?}$home"
    mkdir -p "$root$home"
    git clone --quiet --no-hardlinks "$checkout" "$root$home/swapbell"
    chroot "$root" chown -R visitor "$home"
}

# Runs a command line as the visitor, in the clone, with /proc and /dev and none of this machine's settings but the way
# out. Its last line is the processor time that it took, user and system, which a busy machine does not lengthen.
inside() {
    # shellcheck disable=SC2016  # the inner shell puts in the values
    unshare --mount sh -c 'mount -t proc proc "$0/proc" && mount --rbind /dev "$0/dev" && exec chroot --userspec=visitor "$@"' \
        "$root" "$root" /usr/bin/env -i HOME="$home" LANG=C.UTF-8 PATH=/usr/bin:/bin PIP_CERT="$certificates" \
        ${https_proxy+"https_proxy=$https_proxy"} ${PIP_INDEX_URL+"PIP_INDEX_URL=$PIP_INDEX_URL"} \
        sh -c "cd $home/swapbell && { $1; code=\$?; times >../times; tail -n 1 ../times; exit \$code; }"
}

seconds() {
    date +%s.%N
}

# timed NAME COMMAND: runs it, and prints when its first line came and when it ended.
timed() {
    echo "== $suite, $1: $2"
    begin=$(seconds)
    { inside "$2" 2>&1 || { echo "exit $?" && touch "$root.broken"; }; } | {
        IFS= read -r line
        first=$(seconds)
        echo "$line"
        tail -n 15
        echo "$begin $first $(seconds)" |
            awk -v name="$1" '{printf "== %s: first line after %.2f s, end after %.1f s\n", name, $2 - $1, $3 - $1}'
    }
}

[ -d "$root$home" ] || make_debian
lend_network
clone
rm -f "$root.broken"
timed cold './try </dev/null'
timed warm './try </dev/null'
timed 'cold, with tests' 'rm -rf .venv && ./try test </dev/null'
[ ! -e "$root.broken" ]
