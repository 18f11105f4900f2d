#!/bin/sh
# Types what device/README.md says under "From a blank card to a counting station" on a Debian 13 without a camera, as an
# ordinary user, and ends with 1 where a line does not do what it says: all but those that need the camera must succeed;
# calibrate must offer its preview, and does its work on a picture of the card instead.
#
#   tests/house/board_readme.sh FOLDER [PYTHON]     FOLDER is board.sh's, made by it if it is not there yet
#
# Needs what board.sh needs. Nothing in the checkout is touched.
set -eu

usage='usage: tests/house/board_readme.sh FOLDER [PYTHON]'
folder=${1:?$usage}
checkout=$(cd "$(dirname "$0")/../.." && pwd -P)
python=${2:-$checkout/.venv/bin/python}
root=$folder/root
home=/home/visitor
certificates=/etc/ssl/certs/ca-certificates.crt

[ -e "$folder/root.made" ] || "$checkout/tests/house/board.sh" "$folder" "$python"

# A home as the page assumes it: the checkout, and what enrolling gave. sudo is a word that changes nothing for root.
prepare() {
    rm -rf "${root:?}$home"
    mkdir -p "$root$home/station"
    git clone --quiet --no-hardlinks "$checkout" "$root$home/swapbell"
    PYTHONPATH=$checkout/tests "$python" "$checkout/tests/house/board_card.py" "$root$home/station"
    printf '#!/bin/sh\nexec "$@"\n' >"$root/usr/local/bin/sudo"
    chmod +x "$root/usr/local/bin/sudo"
    chroot "$root" sh -c "id visitor >/dev/null 2>&1 || useradd --home-dir $home visitor; chown -R visitor $home"
}

# lines NUMBER: the commands of the chapter's so-manieth block.
lines() {
    sed -n '/^## From a blank card/,/^## Setting it up/p' "$checkout/device/README.md" |
        awk -v wanted="$1" '/^```sh/ { block++; next } /^```/ { inside = 0; next } { if (block == wanted) print }' |
        sed '/^$/,$d'
}

# types LINE: as root, because sudo is; its home is the visitor's.
types() {
    # shellcheck disable=SC2016  # the inner shell puts in the values
    unshare --mount sh -c 'mount -t proc proc "$0/proc" && mount --rbind /dev "$0/dev" && exec chroot "$@"' \
        "$root" "$root" /usr/bin/env -i HOME="$home" LANG=C.UTF-8 PATH=/usr/local/bin:/usr/bin:/bin:/usr/sbin:/sbin \
        DEBIAN_FRONTEND=noninteractive PIP_CERT="$certificates" \
        ${https_proxy+"https_proxy=$https_proxy"} ${http_proxy+"http_proxy=$http_proxy"} \
        ${PIP_INDEX_URL+"PIP_INDEX_URL=$PIP_INDEX_URL"} sh -c "$1" </dev/null
}

# says PATTERN CODE: ends with 1 unless the last line typed said this, and ended with this code.
says() {
    grep -q "$1" "$folder/line.log" || { echo "that line should have said $1" >&2; exit 1; }
    [ "$code" -eq "$2" ] || { echo "that line ended with $code instead of $2" >&2; exit 1; }
}

prepare
lines 1 | while IFS= read -r line; do
    echo "\$ $line"
    types "$line" >"$folder/line.log" 2>&1 || { cat "$folder/line.log" >&2; exit 1; }
done
lines 2 | while IFS= read -r line; do
    echo "\$ $line"
    case $line in
    *' --serve') types "timeout --signal=INT 15 $line" ;;
    *) types "$line" ;;
    esac >"$folder/line.log" 2>&1 && code=0 || code=$?
    cat "$folder/line.log"
    case $line in
    *' calibrate '*) says '^open in a browser: http://127' 124
        types "cd $home && counter/bin/swapbell-device calibrate station/card.png --out station/station.toml" ;;
    *' check '*) says '^fail  camera ' 1 ;;
    *) says '^next: sudo systemctl daemon-reload' 0 ;;
    esac
done
